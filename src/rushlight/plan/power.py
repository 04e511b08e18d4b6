"""The power budget of everything carried: resistor, current, heat, hours on a cell."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rushlight.errors import Finding
from rushlight.physics.power import (
    can_supply,
    capacity_at_load,
    led_resistor,
    mean_current,
    runtime_h,
)
from rushlight.records.parts import CellPart
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve import lit_emitters

SERIES = "E24"


@dataclass(frozen=True)
class PowerLine:
    """One emitter's circuit; NaN where the supply is not known.

    Attributes
    ----------
    carried, emitter
        Ids.
    resistor_ohm, current_a, resistor_w, rating_w
        Series resistor of series E24; the current that then flows; its heat; the rating to buy.
    runtime_h
        On the cell, at the share of time lit that the rig says.
    """

    carried: str
    emitter: str
    resistor_ohm: float
    current_a: float
    resistor_w: float
    rating_w: float
    runtime_h: float


def power_lines(
    rig: Rig, shelf: Shelf, resolved: ResolvedRig, name: str
) -> tuple[list[PowerLine], list[Finding]]:
    """The circuit of every emitter of the first rig, and what is wrong with it."""
    lines, findings = [], []
    for index, (carried, emitter) in enumerate(lit_emitters(rig)):
        e = resolved.emitters
        where = f"{name}: {carried.id}"
        supply, forward = float(e.supply_v[0, index]), float(e.forward_v[0, index])
        wanted, duty = float(e.current_a[0, index]), float(e.duty[0, index])
        if math.isnan(supply):
            lines.append(PowerLine(carried.id, emitter.id, *[math.nan] * 5))
            findings.append(
                Finding("note", "supply-unknown", where, "", "names no cell", "add cell and cells")
            )
            continue
        if supply <= forward:
            lines.append(PowerLine(carried.id, emitter.id, *[math.nan] * 5))
            findings.append(
                Finding(
                    "error",
                    "supply-too-low",
                    where,
                    f"{supply:.2g} V",
                    f"does not exceed the emitter's {forward:.2g} V",
                    "use more cells in series",
                )
            )
            continue
        chosen = led_resistor(supply, forward, wanted, SERIES)
        current = float(chosen.current_a)
        hours = math.nan
        if carried.cell:
            cell = shelf.cell(carried.cell)
            hours = _hours(cell, current, duty)
            findings += _cell_findings(cell, current, duty, where)
        lines.append(
            PowerLine(
                carried.id,
                emitter.id,
                float(chosen.resistor_ohm),
                current,
                float(chosen.dissipation_w),
                float(chosen.rating_w),
                hours,
            )
        )
    return lines, findings


def _hours(cell: CellPart, current_a: float, duty: float) -> float:
    if not cell.capacity:
        return math.nan
    points = sorted((point.current.si, point.charge.si / 3600.0) for point in cell.capacity)
    loads, charges = zip(*points, strict=True)
    return float(runtime_h(capacity_at_load(current_a, loads, charges), current_a, duty))


def _cell_findings(cell: CellPart, current_a: float, duty: float, where: str) -> list[Finding]:
    pulse = cell.greatest_pulse or cell.greatest_current
    mean = float(mean_current(current_a, duty))
    if bool(can_supply(current_a, mean, cell.greatest_current.si, pulse.si)):
        return []
    return [
        Finding(
            "warning",
            "cell-too-weak",
            f"{where}.cell",
            cell.id,
            f"may give {cell.greatest_current.si * 1e3:.3g} mA steadily and "
            f"{pulse.si * 1e3:.3g} mA in pulses; this light draws {current_a * 1e3:.3g} mA",
            "use a larger cell, such as an AA or AAA pair, or less current",
        )
    ]
