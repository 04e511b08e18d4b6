"""Which values of the rig's parts were measured, so that plans tell what they rest on."""

from __future__ import annotations

from rushlight.errors import Finding
from rushlight.records.rig import Rig
from rushlight.records.sourced import Sourced
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.cost import parts_used
from rushlight.shelf.report import Report


def check_measured(rig: Rig, shelf: Shelf, report: Report) -> None:
    """Note the measured values of each part that the rig uses, and whether they were simulated."""
    for kind, part_id in dict.fromkeys(parts_used(rig)):
        names = shelf.measured.get((kind, part_id), ())
        part = shelf.find(kind, part_id)
        values = {name: getattr(part, name) for name in names}
        told = {name: value for name, value in values.items() if isinstance(value, Sourced)}
        if not told:
            continue
        words = ", ".join(f"{name} {_text(value)}" for name, value in told.items())
        simulated = any(value.basis == "simulated" for value in told.values())
        origin = "comes from simulated pictures" if simulated else "was measured"
        report.findings.append(
            Finding(
                "note",
                "part-measured",
                f"{report.name}: {kind} {part_id}",
                words,
                f"{origin} and is used in place of the shelf's typical values",
                "remove its file if you use another specimen",
            )
        )


def _text(value: Sourced) -> str:
    spread = "" if value.std is None else f" ± {value.std:.2g}"
    return f"{value.value:.4g}{spread} {value.unit}".strip()
