"""What the power budget warns of: light that fades too soon, and parts that get hot."""

from __future__ import annotations

from rushlight.errors import Finding
from rushlight.physics.touch_heat import TOUCH_C, touch_words
from rushlight.records.circuit import PlanBranch, PlanCircuit

FADED = 0.5
"""Light over that of fresh cells below which a rig planned for fresh ones is in doubt (our
choice)."""


def circuit_words(circuit: PlanCircuit) -> str:
    """What a circuit is called."""
    return {
        "carried": circuit.name,
        "illuminator": f"illuminator of {circuit.name}",
        "anchor": f"anchor {circuit.name}",
    }[circuit.kind]


def power_findings(
    circuits: list[PlanCircuit], wanted_runtime_h: float | None, file: str
) -> list[Finding]:
    """Warnings and notes about every circuit.

    Parameters
    ----------
    circuits
        As planned.
    wanted_runtime_h
        The rig's own target [h], or None.
    file
        Of the rig, to stand in the findings.
    """
    found = []
    for circuit in circuits:
        found += _fading(circuit, wanted_runtime_h, file)
        for branch in circuit.branches:
            found += _hot(circuit, branch, file)
    return found


def _fading(circuit: PlanCircuit, wanted_h: float | None, file: str) -> list[Finding]:
    left = circuit.light_left
    if left is None or left >= FADED:
        return []
    half = circuit.half_light_h
    soon = half is not None and wanted_h is not None and half < wanted_h
    if not soon:
        return []
    when = "" if half is None else f", and half of it after {half:.3g} h"
    return [
        Finding(
            "warning",
            "light-fades",
            f"{file}: {circuit_words(circuit)}",
            f"{100 * left:.0f} % of the light of fresh cells",
            f"is what is left when its cells are spent{when}",
            "change cells early, use more cells in series with a larger resistor, or plan with "
            "the weaker light",
        )
    ]


def _hot(circuit: PlanCircuit, branch: PlanBranch, file: str) -> list[Finding]:
    warmth = {"its resistor": branch.resistor_c, "the chip of its emitter": branch.junction_c}
    return [
        Finding(
            "warning",
            "hot-to-touch",
            f"{file}: {circuit_words(circuit)}",
            f"{value:.0f} °C",
            f"is what {what} may reach in air of {circuit.ambient_c:g} °C (an estimate in free "
            f"air): {touch_words(value)} (ISO 13732-1, from memory)",
            "keep it out of reach and give it air, or use less current or a larger rating",
        )
        for what, value in warmth.items()
        if value is not None and value > TOUCH_C[-1][0]
    ]
