"""Are the surfaces, the people before them and the room's light possible?"""

from __future__ import annotations

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.parts import DisplayPart
from rushlight.records.person import Person
from rushlight.records.rig import Rig, Surface
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.people import shoulder_height_m, standing_area_m2, standing_outline_m
from rushlight.shelf.report import Report
from rushlight.shelf.room_light import has_lights

TALLEST_M = 2.8
"""Above every person on record, who reached 2.72 m (from memory); a typing slip beyond."""
LONGEST_REACH = 1.2
"""Shoulder to tip over stature: an arm is about 0.45 of it, a long stylus as much again
(a choice of ours)."""
MOST_BENT = 0.05
"""Departure from a plane over the surface's width, beyond which it is no flat display (ours)."""


def check_surfaces(rig: Rig, shelf: Shelf, report: Report) -> None:
    """Add what is wrong with each surface and its display."""
    for i, surface in enumerate(rig.surfaces):
        path = f"surfaces[{i}]"
        if surface.reflectance.value > 1:
            report.error(
                "share-above-all",
                f"{path}.reflectance",
                surface.reflectance,
                "is more light than falls on it",
                'use "100 %" or less',
            )
        _check_fits(surface, path, rig, report)
        if i > 0 and surface.pose is None:
            report.error(
                "pose-missing",
                f"{path}.pose",
                None,
                "is missing, and only the first surface is the rig frame itself",
                "add the place of its lower-left corner and its turn",
            )
        if i == 0 and surface.pose is not None:
            report.warning(
                "pose-of-first",
                f"{path}.pose",
                None,
                "is not used: the first surface is the rig frame itself",
                "remove it",
            )
        if surface.display is not None:
            _check_display(surface, path, shelf, report)


def _check_fits(surface: Surface, path: str, rig: Rig, report: Report) -> None:
    """A surface larger than its room, or more a bowl than a wall, is a typing slip."""
    room = rig.room
    if room and room.width and surface.width.value > room.width.value:
        report.error(
            "surface-wider-than-room",
            f"{path}.width",
            surface.width,
            f"is wider than the room, {room.width.text}",
            "correct the one or the other",
        )
    top_m = surface.height_above_floor.value + surface.height.value
    if room and room.height and top_m > room.height.value:
        report.error(
            "surface-above-ceiling",
            f"{path}.height",
            surface.height,
            f"takes the upper edge {top_m - room.height.value:.2f} m above the ceiling",
            "lower it, or correct the room's height",
        )
    if surface.flatness.value > MOST_BENT * surface.width.value:
        report.error(
            "not-flat",
            f"{path}.flatness",
            surface.flatness,
            f"is more than {100 * MOST_BENT:g} % of the width, and no flat display",
            "give the root-mean-square departure from the best plane, often some millimetres",
        )


def _check_display(surface: Surface, path: str, shelf: Shelf, report: Report) -> None:
    part = shelf.find("display", surface.display or "")
    if not isinstance(part, DisplayPart):
        report.error(
            "part-unknown",
            f"{path}.display",
            surface.display,
            "is not a display on the shelf",
            shelf.remedy("display", surface.display or ""),
        )
        return
    if tuple(surface.pixels) != tuple(part.size_px):
        report.warning(
            "pixels-not-own",
            f"{path}.pixels",
            surface.pixels,
            f"are not the {part.size_px[0]} × {part.size_px[1]} that {surface.display} has",
            "use its own, or the picture is rescaled and blurred",
        )
    if surface.refresh.value > part.refresh.si * (1 + 1e-9):
        report.error(
            "refresh-above-part",
            f"{path}.refresh",
            surface.refresh,
            f"is above the {part.refresh.si:g} Hz of {surface.display}",
            f'use "{part.refresh.si:g} Hz" or less',
        )


def check_ambient(rig: Rig, report: Report) -> None:
    """Add what is missing or wrong about the room's infrared light."""
    if rig.ambient is None:
        if not has_lights(rig.room):
            report.error(
                "ambient-missing",
                "ambient",
                None,
                "is missing, and without the room's infrared light no plan can be made",
                'add [ambient] with irradiance, such as "0.1 W/m2" by lamps of white diodes, or '
                "the [[room.windows]] and [[room.lamps]] from which it is estimated",
            )
        return
    gradient = rig.ambient.gradient
    if gradient is None:
        report.note(
            "gradient-assumed",
            "ambient.gradient",
            None,
            "is left out, and the room's light is taken as even",
            'give it where a window is near, such as "40 %"',
        )
    elif gradient.value > 1:
        report.error(
            "share-above-all",
            "ambient.gradient",
            gradient,
            "would leave less than no light on one side",
            'use "100 %" or less',
        )


def check_people(rig: Rig, report: Report) -> None:
    """Add what is wrong with each person's size, place and reach."""
    for i, person in enumerate(rig.people):
        path = f"people[{i}]"
        if person.stature.value > TALLEST_M:
            report.error(
                "stature-too-tall",
                f"{path}.stature",
                person.stature,
                "is taller than anybody",
                "correct the number or its unit",
            )
            continue
        if person.reach.value > LONGEST_REACH * person.stature.value:
            report.error(
                "reach-too-long",
                f"{path}.reach",
                person.reach,
                f"is too long for a stature of {person.stature.text}",
                "measure from the shoulder to the tip of the stylus",
            )
        shoulder_m = shoulder_height_m(person)
        if shoulder_m is None:
            report.error(
                "shoulder-missing",
                f"{path}.shoulder_height",
                None,
                "is missing, and cannot be told from the stature of someone seated",
                "measure it from the floor",
            )
        elif shoulder_m >= person.stature.value:
            report.error(
                "shoulder-above-head",
                f"{path}.shoulder_height",
                person.shoulder_height,
                f"is not below the stature of {person.stature.text}",
                "measure both from the floor",
            )
            shoulder_m = None
        if "surface" in rig.kinds and rig.surfaces:
            _check_standing(person, path, shoulder_m, rig.surfaces[0], report)


def _check_standing(
    person: Person, path: str, shoulder_m: float | None, surface: Surface, report: Report
) -> None:
    outline = standing_outline_m(person)
    if np.any(outline[:, 1] <= 0):
        behind = "all" if np.all(outline[:, 1] <= 0) else "part"
        report.error(
            "standing-behind-wall",
            f"{path}.standing",
            person.standing,
            f"lies with {behind} of its corners in or behind the wall, where nobody can stand",
            "give each corner as [along the wall, out of it], the second above 0",
        )
        return
    if standing_area_m2(person) < 1e-4:
        report.error(
            "standing-no-area",
            f"{path}.standing",
            person.standing,
            "encloses no floor to stand on",
            "list the corners one after another round the place",
        )
        return
    if shoulder_m is None:
        return
    distance = _nearest_m(outline, shoulder_m - surface.height_above_floor.value, surface)
    if distance > person.reach.value:
        report.error(
            "out-of-reach",
            f"{path}.reach",
            person.reach,
            f"touches nothing of the surface: from where {person.id} stands the shoulder comes no "
            f"nearer than {distance:.2f} m",
            "let them stand nearer, or hang the surface within reach",
        )


def _nearest_m(outline: Array, shoulder_y_m: float, surface: Surface) -> float:
    """Least distance from a shoulder above the standing place to the surface [m].

    The distance grows with every step away from the wall, so the nearest place lies on the
    outline; each of its sides is walked in 200 steps.
    """
    share = np.linspace(0, 1, 201)[:, None, None]
    walked = (outline + share * (np.roll(outline, -1, axis=0) - outline)).reshape(-1, 2)
    x, z = walked.T
    aside = np.maximum(np.maximum(-x, x - surface.width.value), 0)
    above = max(-shoulder_y_m, shoulder_y_m - surface.height.value, 0.0)
    return float(np.min(np.sqrt(aside**2 + above**2 + z**2)))
