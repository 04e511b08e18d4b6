"""Are the room's walls, windows, lamps and other lights possible, and can they be told apart?"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from rushlight.physics.children import child_stature
from rushlight.physics.daylight import EDGES_M
from rushlight.records.arrays import Array
from rushlight.records.rig import Rig, Surface
from rushlight.records.room import CameraPlace, Disturber, Neighbour, Room, Window
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.report import Report
from rushlight.shelf.room_light import corners_m

SLACK_M = 0.3
"""How far off its wall a window may be: walls are thick and tapes sag (our own choice)."""
UNLIKELY = 1.08
"""Ratio beyond the 5th and 95th percentile from which a stature is taken for a slip (our own
choice)."""
CHILDREN = (3, 12)
"""Ages for which published reach bands stand here (2010 ADA Standards, advisory 308.1)."""


def check_room(rig: Rig, shelf: Shelf, report: Report) -> None:
    """Add what is wrong with the room, what shines in it, and what is read or reached in it."""
    _check_readers(rig, report)
    _check_ages(rig, report)
    room = rig.room
    if room is None:
        return
    for kind in ("places", "windows", "lamps", "neighbours", "disturbers"):
        report.ids(f"room.{kind}", [each.id for each in getattr(room, kind)])
    for i, disturber in enumerate(room.disturbers):
        _check_disturber(disturber, f"room.disturbers[{i}]", report)
    for i, neighbour in enumerate(room.neighbours):
        _check_neighbour(neighbour, f"room.neighbours[{i}]", shelf, report)
    for i, window in enumerate(room.windows):
        if window.transmission is not None and window.transmission.value > 1:
            report.error(
                "share-above-all",
                f"room.windows[{i}].transmission",
                window.transmission,
                "is more light than falls on it",
                'use "100 %" or less',
            )
    _check_bearing(room, report)
    if "surface" in rig.kinds and rig.surfaces:
        _check_inside(rig, room, rig.surfaces[0], report)
        for i, window in enumerate(room.windows):
            _check_window(window, f"room.windows[{i}]", room, rig.surfaces[0], report)


def _check_readers(rig: Rig, report: Report) -> None:
    for i, surface in enumerate(rig.surfaces):
        text = surface.text_height
        if text is not None and text.value > surface.height.value:
            report.error(
                "text-above-surface",
                f"surfaces[{i}].text_height",
                text,
                f"is more than the whole surface, {surface.height.text} high",
                'give the height of a capital letter on the surface, such as "25 mm"',
            )
    room = rig.room
    reader = room.farthest_reader if room else None
    if room and reader and room.depth and reader.value > room.depth.value:
        report.error(
            "reader-outside-room",
            "room.farthest_reader",
            reader,
            f"is farther than the room is deep, {room.depth.text}",
            "correct the one or the other",
        )


def _check_ages(rig: Rig, report: Report) -> None:
    youngest, oldest = CHILDREN
    for i, person in enumerate(rig.people):
        if person.age is None:
            continue
        low, _, high = child_stature(person.age)
        most = f"most children of {person.age} measure {low:.2f} to {high:.2f} m"
        if not low / UNLIKELY <= person.stature.value <= high * UNLIKELY:
            report.warning(
                "child-stature-unlikely",
                f"people[{i}].stature",
                person.stature,
                f"is far from what the age of {person.age} lets expect: {most} (CDC growth "
                "charts 2000, 5th to 95th percentile)",
                "correct the one or the other",
            )
        report.note(
            "child-in-proportion",
            f"people[{i}].age",
            person.age,
            f"is a child's: {most} (CDC growth charts 2000); no published sizes of their "
            "shoulders and arms stand here, and what the rig leaves out is taken from adults in "
            "proportion to the stature",
            "measure shoulder_height, shoulder_breadth and reach of the children",
        )
        if not youngest <= person.age <= oldest:
            report.note(
                "age-without-band",
                f"people[{i}].age",
                person.age,
                f"has no published reach band: advice stands for {youngest} to {oldest} years",
                "judge by the person's own reach",
            )


def _check_bearing(room: Room, report: Report) -> None:
    if room.latitude is not None and abs(room.latitude.value) > np.pi / 2 * (1 + 1e-9):
        report.error(
            "latitude-beyond-pole",
            "room.latitude",
            room.latitude,
            "lies beyond a pole",
            'give "-90 deg" to "90 deg", north positive',
        )
    if (room.facing is None) != (room.latitude is None):
        missing = "latitude" if room.latitude is None else "facing"
        report.note(
            "sun-hours-unknown",
            f"room.{missing}",
            None,
            "is left out, so that the hours of the sun are not told",
            "add it, or remove the other",
        )


def _check_disturber(disturber: Disturber, path: str, report: Report) -> None:
    if disturber.duty is not None and disturber.duty.value > 1:
        report.error(
            "share-above-all",
            f"{path}.duty",
            disturber.duty,
            "is lit for more than all of the time",
            'use "100 %" or less',
        )
    wave = disturber.wavelength
    if wave is not None and not EDGES_M[0] <= wave.value <= EDGES_M[-1]:
        report.error(
            "wavelength-outside",
            f"{path}.wavelength",
            wave,
            "is no light that such cameras see, from 400 to 1100 nm",
            'use "940 nm" for most remote controls, or leave it out',
        )


def _check_neighbour(neighbour: Neighbour, path: str, shelf: Shelf, report: Report) -> None:
    if shelf.find("emitter", neighbour.part) is None:
        report.error(
            "part-unknown",
            f"{path}.part",
            neighbour.part,
            "is not an emitter on the shelf",
            shelf.remedy("emitter", neighbour.part),
        )


def _check_inside(rig: Rig, room: Room, surface: Surface, report: Report) -> None:
    """Everything that shines, and the room's left wall, must be where the room is."""
    if room.left and room.width:
        right = room.width.value - room.left.value - surface.width.value
        if right < 0:
            report.error(
                "surface-beyond-wall",
                "room.left",
                room.left,
                f"takes the surface {-right:.2f} m through the wall on its right, in a room "
                f"{room.width.text} wide",
                "correct the one or the other",
            )
    for kind, names in (
        ("windows", ("corner", "opposite")),
        ("lamps", ("position",)),
        ("neighbours", ("corner", "opposite")),
        ("disturbers", ("position",)),
    ):
        for i, thing in enumerate(getattr(room, kind)):
            for name in names:
                given = getattr(thing, name)
                wrong = _outside(given, room, surface)
                if wrong:
                    report.error(
                        "outside-room",
                        f"room.{kind}[{i}].{name}",
                        given,
                        wrong,
                        COUNT_FROM,
                    )
    _check_projector(room, surface, report)
    for i, place in enumerate(room.places):
        _check_camera_place(place, f"room.places[{i}]", room, surface, report)


COUNT_FROM = "count from the surface's lower-left corner: to the right, up, out of the wall"


def _check_projector(room: Room, surface: Surface, report: Report) -> None:
    if surface.projector is None:
        return
    given = surface.projector.position
    x, y, z = (step.value for step in given)
    # One that throws from behind stands beyond the display, and nobody said how deep it is there.
    wrong = _outside_m(x, y, max(z, 0.0), room, surface)
    if wrong:
        report.error("outside-room", "surfaces[0].projector.position", given, wrong, COUNT_FROM)


def _check_camera_place(
    place: CameraPlace, path: str, room: Room, surface: Surface, report: Report
) -> None:
    wholly = place_outside(place, room, surface)
    if wholly:
        report.error("outside-room", f"{path}.corner", place.corner, wholly, COUNT_FROM)
        return
    for name in ("corner", "opposite"):
        given = getattr(place, name)
        partly = _outside(given, room, surface, 1e-6)
        if partly:
            report.warning(
                "place-partly-outside",
                f"{path}.{name}",
                given,
                f"{partly}, where no camera can stand",
                "give corners within the room; a search uses what lies inside",
            )


def place_outside(place: CameraPlace, room: Room, surface: Surface) -> str:
    """How a place for cameras lies wholly outside the room; "" if some of it is inside.

    Parameters
    ----------
    place
        A box.
    room, surface
        The room, and the surface that it is counted from.
    """
    corners = np.array([[step.value for step in at] for at in (place.corner, place.opposite)])
    depth = room.depth.value if room.depth else 4.0
    within = np.array([surface.width.value, surface.height.value, depth]) / 2.0
    # Rooms are boxes: of the place's points this one is outside only where all of them are.
    x, y, z = np.clip(within, corners.min(axis=0), corners.max(axis=0))
    if z <= 0.0:
        return f"lies {-z:.2f} m behind the display's wall" if z < 0.0 else (
            "lies in the display's wall"
        )  # fmt: skip
    return _outside_m(float(x), float(y), float(z), room, surface, 1e-6)


def _outside(place: Any, room: Room, surface: Surface, slack_m: float = SLACK_M) -> str:
    """How a place lies outside the room by more than a slack; "" if it does not."""
    x, y, z = (step.value for step in place)
    return _outside_m(x, y, z, room, surface, slack_m)


def _outside_m(
    x: float, y: float, z: float, room: Room, surface: Surface, slack_m: float = SLACK_M
) -> str:
    floor = surface.height_above_floor.value
    if y + floor < -slack_m:
        return f"lies {-(y + floor):.2f} m below the floor"
    if room.height and y + floor > room.height.value + slack_m:
        return f"lies {y + floor - room.height.value:.2f} m above the ceiling"
    if z < -slack_m:
        return f"lies {-z:.2f} m behind the display's wall"
    if room.depth and z > room.depth.value + slack_m:
        return f"lies {z - room.depth.value:.2f} m behind the room's far wall"
    return beyond_side_walls(x, room, surface, slack_m)


def side_walls_m(room: Room, surface: Surface) -> tuple[float, float]:
    """Between which x [m] the room lies, infinite where nothing bounds it.

    Where ``left`` is not given the surface may hang anywhere between the walls, so that no wall is
    farther than the room's width from the surface's other edge.
    """
    left, width = room.left, room.width
    taken_m = surface.width.value + (left.value if left is not None else 0.0)
    if width is not None and width.value < taken_m:  # a surface that is through a wall is told so
        return -math.inf, math.inf
    if left is not None:
        return -left.value, (width.value - left.value if width is not None else math.inf)
    if width is None:
        return -math.inf, math.inf
    return surface.width.value - width.value, width.value


def beyond_side_walls(x: float, room: Room, surface: Surface, slack_m: float = 0.0) -> str:
    """How a place at x [m] lies beyond a wall on the left or right; "" if it does not."""
    low, high = side_walls_m(room, surface)
    if low - slack_m <= x <= high + slack_m:
        return ""
    beyond, side = (low - x, "left") if x < low else (x - high, "right")
    told = f"lies {beyond:.2f} m beyond the wall on the {side}"
    if room.left is not None or room.width is None:
        return told
    return (
        f"{told}, wherever that is: in a room {room.width.text} wide, with a surface "
        f"{surface.width.text} wide on its wall, x can only be {low:g} to {high:g} m"
    )


def _check_window(window: Window, path: str, room: Room, surface: Surface, report: Report) -> None:
    corner, opposite = corners_m(window)
    axis = int(np.argmin(np.abs(opposite - corner)))
    if axis == 2 and corner[2] < SLACK_M and _overlaps(corner, opposite, surface):
        report.error(
            "window-in-surface",
            f"{path}.corner",
            window.corner,
            "puts it where the picture is",
            "give the corners of the opening beside the surface",
        )
        return
    walls = _walls(axis, room, surface)
    if walls and min(abs(corner[axis] - wall) for wall in walls) > SLACK_M:
        where = " or ".join(f"{wall:g}" for wall in walls)
        report.error(
            "window-off-wall",
            f"{path}.corner",
            window.corner,
            f"stands free in the room: its {'xyz'[axis]} is {corner[axis]:g} m, and walls are at "
            f"{where} m",
            "let both corners share the coordinate of the window's wall",
        )


def _walls(axis: int, room: Room, surface: Surface) -> list[float]:
    """Where the walls across an axis stand [m], as far as all of them are known."""
    if axis == 0 and room.left and room.width:
        return [-room.left.value, room.width.value - room.left.value]
    if axis == 1 and room.height:
        return [room.height.value - surface.height_above_floor.value]
    if axis == 2 and room.depth:
        return [0.0, room.depth.value]
    return []


def _overlaps(corner: Array, opposite: Array, surface: Surface) -> bool:
    low, high = np.minimum(corner, opposite), np.maximum(corner, opposite)
    return bool(
        low[0] < surface.width.value
        and high[0] > 0.0
        and low[1] < surface.height.value
        and high[1] > 0.0
    )
