"""Can every light be fed as the rig has it: currents, pulses, warmth, strings and supplies?"""

from __future__ import annotations

import math

from rushlight.physics.diode import parallel_shares, string_current
from rushlight.physics.power import can_supply, derated_power, led_resistor
from rushlight.records.parts import CellPart, EmitterPart
from rushlight.records.quantity import ZERO_CELSIUS_K
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.circuits import Branch, Supplied, circuits_of_rig
from rushlight.shelf.report import Report

WARM_C = 35.0
"""Air on the warmest day of use where the rig does not say [°C] (a choice of ours)."""
SPREAD_V = 0.1
"""By how much the forward voltages of two diodes of one kind may differ [V] (the standard
deviation that the shelf states for its parts)."""
GREATEST_SWING = 1.5
"""Current when fresh over current as planned, from which on a warning is given (our choice)."""


def warmest_c(rig: Rig) -> float:
    """Temperature of the air on the warmest day of use [°C]."""
    stated = rig.room.temperature if rig.room else None
    return WARM_C if stated is None else stated.value - ZERO_CELSIUS_K


def diode_heat_w(branch: Branch, current_a: float) -> float:
    """Power of one diode over a long press, light counted as heat too [W]."""
    volts = max(float(branch.diode_v(current_a)), branch.part.forward_voltage.si)
    return volts * current_a * branch.lasting_duty


def bearable_w(part: EmitterPart, ambient_c: float) -> float:
    """What a diode bears in air of this temperature [W]; its printed limit where the shelf tells
    no more."""
    if part.thermal_resistance is None or part.junction_limit is None:
        return float(part.greatest_power.si)
    limit_c = part.junction_limit.si - ZERO_CELSIUS_K
    allowed = derated_power(ambient_c, limit_c, part.thermal_resistance.si, part.greatest_power.si)
    return float(allowed)


def check_power(rig: Rig, shelf: Shelf, report: Report) -> None:
    """Add what is wrong with the current, warmth, wiring and supply of every light."""
    for supplied in circuits_of_rig(rig, shelf):
        for branch in supplied.branches:
            _check_wiring(branch, report)
            if _check_current(branch, report):
                _check_heat(branch, warmest_c(rig), report)
        _check_supply(supplied, shelf, report)
    for i, camera in enumerate(rig.cameras):
        lights = camera.illuminator
        if lights and lights.wiring and lights.wiring.diodes != lights.count:
            report.error(
                "wiring-miscounts",
                f"cameras[{i}].illuminator.wiring",
                None,
                f"joins {lights.wiring.diodes} diodes, and the illuminator has {lights.count}",
                "make in_series times strings equal to count",
            )


def _check_wiring(branch: Branch, report: Report) -> None:
    wiring = branch.wiring
    if wiring.resistor == "each-string" or wiring.strings == 1:
        return
    pair = 2.0 * branch.current_a
    more, less = parallel_shares(pair, SPREAD_V, branch.curve[2])
    report.error(
        "parallel-on-one-resistor",
        f"{branch.path}.wiring.resistor",
        wiring.resistor,
        f"sets {wiring.strings} strings side by side on one resistor, where the diode that needs "
        f"least voltage takes most current: of {1e3 * pair:.3g} mA, two that differ by "
        f"{SPREAD_V:g} V take {1e3 * float(more):.2g} and {1e3 * float(less):.2g} mA, and the "
        "warmer one takes ever more",
        'give each string its own, with resistor = "each-string", or set the diodes in series',
    )


def _check_current(branch: Branch, report: Report) -> bool:
    """Whether the current is one that the diode bears."""
    part, steady = branch.part, branch.part.greatest_current.si
    if branch.current_a <= steady * (1 + 1e-9):
        return True
    if branch.drive != "pulsed" or part.greatest_pulse is None:
        greatest = 1e3 * steady
        report.error(
            "current-above-part",
            f"{branch.path}.current",
            f"{1e3 * branch.current_a:g} mA",
            f"is above the {greatest:g} mA that {part.id} bears steadily",
            f'use "{greatest:g} mA" or less',
        )
        return False
    return _check_pulse(branch, report)


def _check_pulse(branch: Branch, report: Report) -> bool:
    part = branch.part
    greatest = part.greatest_pulse.si if part.greatest_pulse else math.nan
    longest = part.longest_pulse.si if part.longest_pulse else 0.0
    share = part.greatest_pulse_duty.si if part.greatest_pulse_duty else 0.0
    limits = f"{1e6 * longest:g} µs at a time and {100 * share:g} % of the time"
    steady = f'or use "{1e3 * part.greatest_current.si:g} mA", which it bears steadily'
    if branch.current_a > greatest * (1 + 1e-9):
        report.error(
            "pulse-above-part",
            f"{branch.path}.current",
            f"{1e3 * branch.current_a:g} mA",
            f"is above the {1e3 * greatest:g} mA that {part.id} bears even in pulses",
            f'use "{1e3 * greatest:g} mA" or less for {limits}',
        )
        return False
    if math.isnan(branch.pulse_s):
        report.error(
            "pulse-missing",
            f"{branch.path}.pulse",
            None,
            f"is missing, and {part.id} bears {1e3 * branch.current_a:g} mA in short pulses only",
            f'add the length of a pulse, such as pulse = "{1e6 * longest:g} µs", {steady}',
        )
        return False
    if branch.pulse_s > longest * (1 + 1e-9) or branch.duty > share * (1 + 1e-9):
        report.error(
            "pulse-too-long",
            f"{branch.path}.pulse",
            f"{1e6 * branch.pulse_s:g} µs",
            f"with a duty of {100 * branch.duty:g} % is more than {part.id} bears at "
            f"{1e3 * branch.current_a:g} mA, which is {limits}",
            f"shorten pulse and duty, {steady}",
        )
        return False
    return True


def _check_heat(branch: Branch, ambient_c: float, report: Report) -> None:
    part, heat = branch.part, diode_heat_w(branch, branch.current_a)
    if math.isnan(heat):
        return
    rated, warm = part.greatest_power.si, bearable_w(part, ambient_c)
    if heat <= warm * (1 + 1e-9):
        return
    hot = heat <= rated * (1 + 1e-9)
    most_a = branch.current_a * warm / heat
    where = f" in air of {ambient_c:g} °C" if hot else ""
    report.error(
        "too-warm-for-part" if hot else "power-above-part",
        f"{branch.path}.current",
        f"{1e3 * branch.current_a:g} mA",
        f"makes {1e3 * heat:.0f} mW of heat and light, more than the {1e3 * warm:.3g} mW that "
        f"{part.id} bears{where}",
        f'use "{math.floor(1e3 * most_a):g} mA" or less',
    )


def _check_supply(supplied: Supplied, shelf: Shelf, report: Report) -> None:
    if not supplied.branches and supplied.kind == "carried" and supplied.feed is None:
        return
    if supplied.feed is None:
        what = "the cell" if supplied.kind == "carried" else "the supply"
        report.add(
            "warning" if supplied.kind == "carried" else "note",
            "cell-missing",
            supplied.feed_path,
            None,
            "is left out, so that neither resistor nor runtime can be told",
            f"name {what} that feeds it",
        )
        return
    if supplied.cell is None:
        report.error(
            "part-unknown",
            supplied.feed_path,
            supplied.feed,
            "is not a cell on the shelf",
            shelf.remedy("cell", supplied.feed),
        )
        return
    _check_voltage(supplied, supplied.cell, report)
    _check_load(supplied, supplied.cell, report)


def _check_voltage(supplied: Supplied, cell: CellPart, report: Report) -> None:
    for branch in supplied.branches:
        count = branch.wiring.in_series
        forward = count * branch.part.forward_voltage.si
        diodes = f"{count} × {branch.part.id}" if count > 1 else branch.part.id
        needs = "need" if count > 1 else "needs"
        if forward >= supplied.nominal_v:
            needed = math.floor(forward / cell.voltage.si) + 1
            fewer = ", fewer diodes in series" if count > 1 else ""
            report.error(
                "voltage-too-low",
                supplied.feed_path,
                supplied.feed,
                f"gives {supplied.nominal_v:g} V ({supplied.words}), and {diodes} {needs} "
                f"{forward:g} V to shine",
                f"use cells = {needed} or more{fewer}, or another supply",
            )
            continue
        dims = forward >= supplied.spent_v
        if dims:
            report.warning(
                "dims-before-spent",
                supplied.feed_path,
                supplied.feed,
                f"falls to {supplied.spent_v:g} V before it is spent ({supplied.words}), and "
                f"{diodes} {'go' if count > 1 else 'goes'} out below {forward:g} V",
                "expect less runtime than its charge says, or use more cells",
            )
        _check_fresh(branch, supplied, dims, report)


def _check_fresh(branch: Branch, supplied: Supplied, dims: bool, report: Report) -> None:
    """Fresh cells give more than their nominal voltage; `dims` where that was warned of before."""
    planned = branch.current_a
    forward = branch.wiring.in_series * float(branch.diode_v(planned))
    if forward >= supplied.nominal_v:
        return
    resistor = led_resistor(supplied.nominal_v, forward, planned).resistor_ohm
    fresh = float(
        string_current(supplied.fresh_v, resistor, branch.wiring.in_series, *branch.curve)
    )
    greatest = branch.part.greatest_current.si
    told = f"sends {1e3 * fresh:.3g} mA through {branch.part.id} while fresh ({supplied.words})"
    if branch.drive != "pulsed" and planned <= greatest < fresh:
        report.warning(
            "fresh-above-part",
            supplied.feed_path,
            supplied.feed,
            f"{told}, more than the {1e3 * greatest:g} mA that it bears",
            f'plan with less current, such as "{math.floor(1e3 * planned * greatest / fresh)} mA"',
        )
    elif not dims and fresh > GREATEST_SWING * planned:
        report.warning(
            "current-swings",
            supplied.feed_path,
            supplied.feed,
            f"{told}, {fresh / planned:.1f} times what is planned",
            "leave the resistor more voltage: more cells, or fewer diodes in series",
        )


def _check_load(supplied: Supplied, cell: CellPart, report: Report) -> None:
    """A pressed stylus shines for seconds, so only pulsed and coded lights count as pulses."""
    peak_a = sum(branch.total_a for branch in supplied.branches)
    mean_a = sum(branch.total_a * branch.lasting_duty for branch in supplied.branches)
    continuous = cell.greatest_current.si
    pulse = cell.greatest_pulse.si if cell.greatest_pulse else continuous
    if math.isnan(mean_a) or can_supply(peak_a, mean_a, continuous, pulse):
        return
    limit = f"{1e3 * continuous:g} mA steadily"
    if cell.greatest_pulse:
        limit += f" and {1e3 * pulse:g} mA in pulses"
    drawn = f"{1e3 * peak_a:g} mA"
    if mean_a < peak_a:
        drawn += f" in pulses and {1e3 * mean_a:.3g} mA on average"
    report.error(
        "current-above-cell",
        supplied.feed_path,
        supplied.feed,
        f"gives {limit}, and the lights draw {drawn}",
        "use a stronger cell or less current",
    )
