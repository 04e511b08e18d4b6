"""Can the carried things shine as the rig has them, and be held?"""

from __future__ import annotations

import math

from rushlight.physics.power import can_supply
from rushlight.records.parts import CellPart, EmitterPart
from rushlight.records.rig import Carried, CarriedEmitter, Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.report import Report, likeliest

LONGEST_FROM_TIP_M = 0.3
SWITCHED_DUTY = 0.3
"""Share of the time that a switched stylus is pressed: an assumption, no source."""


def duty_of(emitter: CarriedEmitter) -> float:
    """Share of the time that an emitter is lit; NaN where it must be stated and is not."""
    if emitter.duty is not None:
        return float(emitter.duty.value)
    if emitter.drive == "coded" and emitter.code:
        # As if it blinked all day: errs high, for eyes, heat and cells alike.
        return emitter.code.count("1") / len(emitter.code)
    return {"steady": 1.0, "switched": SWITCHED_DUTY}.get(emitter.drive, math.nan)


def check_carried(rig: Rig, shelf: Shelf, report: Report) -> None:
    """Add what is wrong with each carried thing, its lights and its supply."""
    people = [person.id for person in rig.people]
    for i, carried in enumerate(rig.carried):
        path = f"carried[{i}]"
        if carried.person is not None and carried.person not in people:
            report.error(
                "person-unknown",
                f"{path}.person",
                carried.person,
                "is not the id of a person of this rig",
                likeliest(carried.person, people, "add them to people, or leave it out"),
            )
        if carried.person is None and carried.kind == "stylus" and len(people) > 1:
            report.warning(
                "stylus-of-nobody",
                f"{path}.person",
                None,
                f"is left out, and {people[0]} is taken to hold it",
                "name the person",
            )
        _check_tilt(carried, path, report)
        parts = [
            _check_emitter(emitter, carried, f"{path}.emitters[{j}]", shelf, report)
            for j, emitter in enumerate(carried.emitters)
        ]
        _check_supply(carried, parts, path, shelf, report)


def check_anchors(rig: Rig, shelf: Shelf, report: Report) -> None:
    """Add what is wrong with each anchor's light."""
    for i, anchor in enumerate(rig.anchors):
        path = f"anchors[{i}]"
        part = _emitter_part(anchor.part, f"{path}.part", shelf, report)
        if part is not None and anchor.current.value > part.greatest_current.si * (1 + 1e-9):
            _report_current(anchor.current, anchor.part, part, f"{path}.current", report)


def _check_tilt(carried: Carried, path: str, report: Report) -> None:
    if carried.tilt is None:
        return
    least, greatest = carried.tilt
    if least.value > greatest.value:
        report.error(
            "tilt-reversed",
            f"{path}.tilt",
            carried.tilt,
            "begins with the greater angle",
            f'write ["{greatest.text}", "{least.text}"]',
        )
    if max(least.value, greatest.value) >= math.pi / 2:
        report.error(
            "tilt-flat",
            f"{path}.tilt",
            carried.tilt,
            "lays the stylus flat on the surface or beyond",
            "count from the surface's normal, and stay below 90 deg",
        )


def _emitter_part(part_id: str, path: str, shelf: Shelf, report: Report) -> EmitterPart | None:
    part = shelf.find("emitter", part_id)
    if isinstance(part, EmitterPart):
        return part
    report.error(
        "part-unknown",
        path,
        part_id,
        "is not an emitter on the shelf",
        shelf.remedy("emitter", part_id),
    )
    return None


def _check_emitter(
    emitter: CarriedEmitter, carried: Carried, path: str, shelf: Shelf, report: Report
) -> EmitterPart | None:
    distance = emitter.distance_from_tip
    if distance is not None and distance.value > LONGEST_FROM_TIP_M:
        report.error(
            "far-from-tip",
            f"{path}.distance_from_tip",
            distance,
            "is more than 0.3 m from the tip, and a tilt of 30° would move its dot by half of it",
            'put the emitter near the tip, such as "12 mm"',
        )
    _check_shares(emitter, path, report)
    if math.isnan(duty_of(emitter)):
        report.error(
            "duty-missing",
            f"{path}.duty",
            None,
            f"is missing, and a {emitter.drive} light needs it",
            'add the share of the time that it is lit, such as duty = "10 %"',
        )
    if emitter.part is None:
        return None
    part = _emitter_part(emitter.part, f"{path}.part", shelf, report)
    if part is None or emitter.current is None:
        return None
    if emitter.current.value > part.greatest_current.si * (1 + 1e-9):
        _report_current(emitter.current, emitter.part, part, f"{path}.current", report)
        return part
    power = part.forward_voltage.si * emitter.current.value
    if power > part.greatest_power.si * (1 + 1e-9):
        largest = part.greatest_power.si / part.forward_voltage.si
        report.error(
            "power-above-part",
            f"{path}.current",
            emitter.current,
            f"makes {1e3 * power:.0f} mW of heat and light, more than the "
            f"{1e3 * part.greatest_power.si:g} mW that {emitter.part} bears",
            f'use "{math.floor(1e3 * largest):g} mA" or less',
        )
    return part


def _report_current(
    current: object, part_id: str, part: EmitterPart, path: str, report: Report
) -> None:
    greatest = 1e3 * part.greatest_current.si
    report.error(
        "current-above-part",
        path,
        current,
        f"is above the {greatest:g} mA that {part_id} bears steadily",
        f'use "{greatest:g} mA" or less',
    )


def _check_shares(emitter: CarriedEmitter, path: str, report: Report) -> None:
    shares = {f"{path}.duty": emitter.duty}
    if emitter.diffuser is not None:
        shares[f"{path}.diffuser.transmission"] = emitter.diffuser.transmission
        shares[f"{path}.diffuser.spread"] = emitter.diffuser.spread
    for field, share in shares.items():
        if share is not None and share.value > 1:
            report.error(
                "share-above-all", field, share, "is more than all of it", 'use "100 %" or less'
            )
        elif share is not None and share.value == 0 and not field.endswith(".spread"):
            report.error(
                "share-of-nothing", field, share, "leaves no light at all", "give a share above 0 %"
            )


def _check_supply(
    carried: Carried, parts: list[EmitterPart | None], path: str, shelf: Shelf, report: Report
) -> None:
    lit = [
        (emitter, part)
        for emitter, part in zip(carried.emitters, parts, strict=True)
        if part is not None and emitter.current is not None
    ]
    if carried.cell is None:
        if lit:
            report.warning(
                "cell-missing",
                f"{path}.cell",
                None,
                "is left out, so that neither resistor nor runtime can be told",
                "name the cell that feeds it",
            )
        return
    cell = shelf.find("cell", carried.cell)
    if not isinstance(cell, CellPart):
        report.error(
            "part-unknown",
            f"{path}.cell",
            carried.cell,
            "is not a cell on the shelf",
            shelf.remedy("cell", carried.cell),
        )
        return
    _check_voltage(carried, cell, lit, path, report)
    _check_load(carried, cell, [emitter for emitter, _ in lit], path, report)


def _check_voltage(
    carried: Carried,
    cell: CellPart,
    lit: list[tuple[CarriedEmitter, EmitterPart]],
    path: str,
    report: Report,
) -> None:
    fresh, spent = carried.cells * cell.voltage.si, carried.cells * cell.end_voltage.si
    supply = f"{carried.cells} × {carried.cell}" if carried.cells > 1 else carried.cell
    for emitter, part in lit:
        forward = part.forward_voltage.si
        if forward >= fresh:
            needed = math.floor(forward / cell.voltage.si) + 1
            report.error(
                "voltage-too-low",
                f"{path}.cell",
                carried.cell,
                f"gives {fresh:g} V ({supply}), and {emitter.part} needs {forward:g} V to shine",
                f"use cells = {needed} or more, or another supply",
            )
        elif forward >= spent:
            report.warning(
                "dims-before-spent",
                f"{path}.cell",
                carried.cell,
                f"falls to {spent:g} V before it is spent ({supply}), and {emitter.part} goes out "
                f"below {forward:g} V",
                "expect less runtime than its charge says, or use more cells",
            )


def _check_load(
    carried: Carried, cell: CellPart, emitters: list[CarriedEmitter], path: str, report: Report
) -> None:
    """A pressed stylus shines for seconds, so only pulsed and coded lights count as pulses."""
    currents = [each.current.value if each.current else 0.0 for each in emitters]
    steady = [
        current * (duty_of(each) if each.drive in ("pulsed", "coded") else 1.0)
        for each, current in zip(emitters, currents, strict=True)
    ]
    peak_a, mean_a = sum(currents), sum(steady)
    continuous = cell.greatest_current.si
    pulse = cell.greatest_pulse.si if cell.greatest_pulse else continuous
    if math.isnan(mean_a) or can_supply(peak_a, mean_a, continuous, pulse):
        return
    limit = f"{1e3 * continuous:g} mA steadily"
    if cell.greatest_pulse:
        limit += f" and {1e3 * pulse:g} mA in pulses"
    report.error(
        "current-above-cell",
        f"{path}.cell",
        carried.cell,
        f"gives {limit}, and the lights draw {1e3 * peak_a:g} mA",
        "use a stronger cell or less current",
    )
