"""The power budget of everything that shines: resistors, currents, warmth, hours on a cell."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.diode import string_current
from rushlight.physics.discharge import Discharge, discharge
from rushlight.physics.power import capacity_at_load, led_resistor, rating_on_sale
from rushlight.physics.touch_heat import junction_temperature, resistor_temperature
from rushlight.records.circuit import PlanBranch, PlanCircuit
from rushlight.records.parts import CellPart
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.check_power import bearable_w, diode_heat_w, warmest_c
from rushlight.shelf.circuits import Branch, Supplied, circuits_of_rig
from rushlight.shelf.resolve import lit_emitters

Array = NDArray[Any]

SERIES = "E24"


@dataclass(frozen=True)
class PowerLine:
    """One emitter's circuit; NaN where the supply is not known.

    Attributes
    ----------
    carried, emitter
        Ids.
    resistor_ohm, current_a, resistor_w, rating_w
        Series resistor of series E24; the current that then flows at the nominal voltage; its
        greatest heat, when the cell is fresh; twice that, the rating to buy.
    runtime_h
        On the cell, with every light of the thing at the share of time lit that the rig says.
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
    circuits = {each.name: each for each in plan_circuits(rig, shelf) if each.kind == "carried"}
    lines = []
    for index, (carried, emitter) in enumerate(lit_emitters(rig)):
        circuit = circuits.get(carried.id)  # a marker has none
        branches = circuit.branches if circuit else []
        branch = next((each for each in branches if each.light == emitter.id), None)
        if circuit is None or branch is None or math.isnan(resolved.emitters.supply_v[0, index]):
            lines.append(PowerLine(carried.id, emitter.id, *[math.nan] * 5))
            continue
        values = (branch.resistor_ohm, branch.nominal_a, branch.resistor_w, circuit.runtime_h)
        ohm, current, heat, hours = (math.nan if v is None else v for v in values)
        lines.append(PowerLine(carried.id, emitter.id, ohm, current, heat, 2.0 * heat, hours))
    return lines


def lines_of_circuits(circuits: list[PlanCircuit]) -> list[PowerLine]:
    """One line for every light of carried things that hangs on a circuit."""
    lines = []
    for circuit in (each for each in circuits if each.kind == "carried"):
        for one in circuit.branches:
            values = (one.resistor_ohm, one.nominal_a, one.resistor_w, circuit.runtime_h)
            ohm, current, heat, hours = (math.nan if v is None else v for v in values)
            lines.append(PowerLine(circuit.name, one.light, ohm, current, heat, 2.0 * heat, hours))
    return lines


def plan_circuits(rig: Rig, shelf: Shelf) -> list[PlanCircuit]:
    """Every circuit of a rig, with its numbers."""
    ambient = warmest_c(rig)
    return [_circuit(each, ambient) for each in circuits_of_rig(rig, shelf) if each.branches]


def _circuit(supplied: Supplied, ambient_c: float) -> PlanCircuit:
    branches = [_branch(each, supplied, ambient_c) for each in supplied.branches]
    fresh = [each.fresh_a for each in branches]
    known = all(each is not None for each in fresh)
    peak = sum(b.strings * (b.fresh_a or 0.0) for b in branches) if known else None
    mean = sum(b.strings * (b.fresh_a or 0.0) * (b.duty or math.nan) for b in branches)
    emptied = _emptied(supplied, branches) if known and supplied.cell else None
    half = emptied.hours_to_share(0.5) if emptied else math.inf
    return PlanCircuit(
        kind=supplied.kind,
        name=supplied.name,
        feed=supplied.feed,
        cells=supplied.cells,
        switch=supplied.switch,
        nominal_v=_known(supplied.nominal_v),
        fresh_v=_known(supplied.fresh_v),
        spent_v=_known(supplied.spent_v),
        ambient_c=ambient_c,
        peak_a=peak,
        mean_a=_known(mean) if known else None,
        runtime_h=_known(emptied.runtime_h) if emptied else None,
        half_light_h=_known(half),
        light_left=float(emptied.current_a[-1] / emptied.current_a[0]) if emptied else None,
        curve_known=bool(supplied.cell and supplied.cell.discharge),
        branches=branches,
    )


def _branch(branch: Branch, supplied: Supplied, ambient_c: float) -> PlanBranch:
    part, planned = branch.part, branch.current_a
    forward = branch.wiring.in_series * float(branch.diode_v(planned))
    bears = bearable_w(part, ambient_c)
    ohm = nominal = fresh = spent = heat = rating = spot = None
    if supplied.nominal_v > forward:
        chosen = led_resistor(supplied.nominal_v, forward, planned, SERIES)
        ohm = float(chosen.resistor_ohm)
        nominal, fresh, spent = (
            float(string_current(volts, ohm, branch.wiring.in_series, *branch.curve))
            for volts in (supplied.nominal_v, supplied.fresh_v, supplied.spent_v)
        )
        heat = _known(fresh**2 * ohm * branch.lasting_duty)
        rating = None if heat is None else rating_on_sale(2.0 * heat)
        if heat is not None and rating is not None:
            spot = float(resistor_temperature(heat, rating, ambient_c))
    power = _known(diode_heat_w(branch, planned if fresh is None else fresh))
    resistance = part.thermal_resistance
    junction = (
        None
        if power is None or resistance is None
        else float(junction_temperature(power, resistance.si, ambient_c))
    )
    return PlanBranch(
        light=branch.light,
        part=part.id,
        in_series=branch.wiring.in_series,
        strings=branch.wiring.strings,
        drive=branch.drive,
        duty=_known(branch.duty),
        pulse_s=_known(branch.pulse_s),
        planned_a=planned,
        nominal_a=nominal,
        fresh_a=fresh,
        spent_a=spent,
        resistor_ohm=ohm,
        resistor_w=heat,
        rating_w=rating,
        resistor_c=spot,
        diode_w=power,
        diode_bears_w=bears,
        junction_c=junction,
    )


def _emptied(supplied: Supplied, branches: list[PlanBranch]) -> Discharge | None:
    """The discharge of the cells under all lights; None where the cell's charge is not known.

    Lights of one thing with different duties are added up by their averages, drawn as one.
    """
    cell = supplied.cell
    if cell is None or not cell.capacity:
        return None
    peaks = [b.strings * (b.fresh_a or 0.0) for b in branches]
    duties = [b.duty if b.duty is not None else math.nan for b in branches]
    mean = sum(peak * duty for peak, duty in zip(peaks, duties, strict=True))
    duty = mean / sum(peaks) if sum(peaks) > 0 else math.nan
    if not 0 < duty <= 1 + 1e-12:
        return None
    # The charge of the data sheet is for steady loads: pulses count by their average.
    lasting = sum(
        peak * each.lasting_duty for peak, each in zip(peaks, supplied.branches, strict=True)
    )
    charge = _charge_ah(cell, lasting)
    if not charge > 0:
        return None
    curve = [(point.used, point.voltage.si) for point in cell.discharge] or [
        (0.0, cell.voltage.si),
        (1.0, cell.end_voltage.si),
    ]
    used, volts = zip(*curve, strict=True)

    def drawn(supply_v: Array) -> Array:
        total = np.zeros_like(supply_v)
        for plan, own in zip(branches, supplied.branches, strict=True):
            ohm = math.nan if plan.resistor_ohm is None else plan.resistor_ohm
            total = total + plan.strings * string_current(supply_v, ohm, plan.in_series, *own.curve)
        return total

    return discharge(
        used,
        volts,
        supplied.cells,
        charge,
        drawn,
        min(duty, 1.0),
        end_v=cell.end_voltage.si,
        internal_ohm=cell.internal_resistance.si if cell.internal_resistance else 0.0,
    )


def _charge_ah(cell: CellPart, load_a: float) -> float:
    points = sorted((point.current.si, point.charge.si / 3600.0) for point in cell.capacity)
    loads, charges = zip(*points, strict=True)
    return float(capacity_at_load(load_a, loads, charges))


def _known(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
