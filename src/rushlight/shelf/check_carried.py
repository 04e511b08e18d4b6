"""Do the carried things and anchors make sense, and can they be held?"""

from __future__ import annotations

import math

from rushlight.records.rig import Carried, CarriedEmitter, Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.circuits import duty_of
from rushlight.shelf.report import Report, likeliest

LONGEST_FROM_TIP_M = 0.3


def check_carried(rig: Rig, shelf: Shelf, report: Report) -> None:
    """Add what is wrong with each carried thing and its lights."""
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
        for j, emitter in enumerate(carried.emitters):
            _check_emitter(emitter, f"{path}.emitters[{j}]", shelf, report)


def check_anchors(rig: Rig, shelf: Shelf, report: Report) -> None:
    """Add what is wrong with each anchor's light."""
    for i, anchor in enumerate(rig.anchors):
        path = f"anchors[{i}]"
        _emitter_part(anchor.part, f"{path}.part", shelf, report)


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


def _emitter_part(part_id: str, path: str, shelf: Shelf, report: Report) -> None:
    if shelf.find("emitter", part_id) is not None:
        return
    report.error(
        "part-unknown",
        path,
        part_id,
        "is not an emitter on the shelf",
        shelf.remedy("emitter", part_id),
    )


def _check_emitter(emitter: CarriedEmitter, path: str, shelf: Shelf, report: Report) -> None:
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
    if emitter.part is not None:
        _emitter_part(emitter.part, f"{path}.part", shelf, report)


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
