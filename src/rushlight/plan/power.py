"""The power budget of everything carried: resistor, current, heat, hours on a cell."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rushlight.physics.power import capacity_at_load, led_resistor, runtime_h
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


def power_lines(rig: Rig, shelf: Shelf, resolved: ResolvedRig) -> list[PowerLine]:
    """The circuit of every emitter of the first rig.

    Whether a cell can bear the light at all is for the check of the rig to say.
    """
    lines = []
    e = resolved.emitters
    for index, (carried, emitter) in enumerate(lit_emitters(rig)):
        if carried.cell is None:
            lines.append(PowerLine(carried.id, emitter.id, *[math.nan] * 5))
            continue
        chosen = led_resistor(
            e.supply_v[0, index], e.forward_v[0, index], e.current_a[0, index], SERIES
        )
        current = float(chosen.current_a)
        lines.append(
            PowerLine(
                carried.id,
                emitter.id,
                float(chosen.resistor_ohm),
                current,
                float(chosen.dissipation_w),
                float(chosen.rating_w),
                _hours(shelf.cell(carried.cell), current, float(e.duty[0, index])),
            )
        )
    return lines


def _hours(cell: CellPart, current_a: float, duty: float) -> float:
    if not cell.capacity:
        return math.nan
    points = sorted((point.current.si, point.charge.si / 3600.0) for point in cell.capacity)
    loads, charges = zip(*points, strict=True)
    return float(runtime_h(capacity_at_load(current_a, loads, charges), current_a, duty))
