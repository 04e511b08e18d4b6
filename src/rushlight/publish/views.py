"""The room from the side, from above and from the front, to scale, with the lengths to build by."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from rushlight.publish.aim import Hanging, aim_words
from rushlight.publish.sheet import EMBER, REED, Drawing, Point, Sheet
from rushlight.publish.wording import camera_words, metres
from rushlight.records.person import Person
from rushlight.records.place import PlacedPose
from rushlight.records.rig import Rig, Surface
from rushlight.shelf.people import standing_outline_m

_HEAD_SHARE = 0.13
"""Height of a drawn head over stature; a drawing, no measure."""
_RAY_M = 1.0
"""How far to draw a line of sight that meets neither wall nor floor [m]."""
_APART_MM, _LINE_MM = 9.0, 4.4
"""Between parallel measures, and between lines of words, on the paper [mm]."""


def side_view(rig: Rig, hangings: Sequence[Hanging]) -> Drawing:
    """Heights above the floor and distances from the wall.

    Parameters
    ----------
    rig
        With one surface at least.
    hangings
        Its cameras.
    """
    surface = rig.surfaces[0]
    low, high = _low_high(surface)
    hung = _projector_m(rig)
    far = max([*(float(h.lens_m[2]) for h in hangings), *_standing_depths(rig), *hung[2:], 0.5])
    statures = [person.stature.value for person in rig.people]
    heights = [*(h.height_m for h in hangings), *(up + low for up in hung[1:2])]
    top = max([high, *heights, *statures]) + 0.15
    beside = _APART_MM * len(hangings)
    sheet = Sheet(
        0.0, far, 0.0, top, (26.0, 16.0 + beside, 9.0 + beside, 4.0 + _LINE_MM * len(hangings))
    )
    for hanging in hangings:
        _sight_from_side(sheet, hanging, low)
    sheet.line((0.0, 0.0), (far + 0.1, 0.0), "floor", 0.8)
    sheet.line((0.0, 0.0), (0.0, top), "wall", 0.4)
    sheet.line((0.0, low), (0.0, high), "surface", 2.0)
    sheet.text((0.0, (low + high) / 2), "surface", (4.5, 0.0), turned=True)
    _people_from_side(sheet, rig)
    sheet.dimension((0.0, 0.0), (0.0, low), metres(low), -8.0)
    sheet.dimension((0.0, low), (0.0, high), metres(high - low), -8.0)
    lenses = [(round(float(h.lens_m[2]), 3), round(h.height_m, 3)) for h in hangings]
    for number, (z, y) in enumerate(dict.fromkeys(lenses)):
        sheet.dimension((z, 0.0), (z, y), metres(y), 10.0 + _APART_MM * number)
        sheet.dimension((0.0, 0.0), (z, 0.0), metres(z), 12.0 + _APART_MM * number)
    if surface.projector:
        _projector(sheet, surface.projector, lambda p: (p[2], p[1] + low))
    _cameras(sheet, hangings, lambda h: (float(h.lens_m[2]), h.height_m))
    places = "; ".join(
        f"{camera_words(h.camera)} {metres(h.height_m)} high and {metres(float(h.lens_m[2]))} "
        f"from the wall, {aim_words(h.turn_deg, h.tilt_deg, h.roll_deg)}"
        for h in hangings
    )
    return sheet.finish(
        "side-view",
        f"{rig.name}: side view, as planned",
        f"The surface from {metres(low)} to {metres(high)} above the floor; {places}.",
    )


def top_view(rig: Rig, hangings: Sequence[Hanging]) -> Drawing:
    """Where camera and people stand before the wall, seen from the ceiling.

    Parameters
    ----------
    rig
        With one surface at least.
    hangings
        Its cameras.
    """
    surface = rig.surfaces[0]
    width = float(surface.width.value)
    lenses = [(float(h.lens_m[0]), float(h.lens_m[2])) for h in hangings]
    outlines = [standing_outline_m(person) for person in rig.people]
    hung = _projector_m(rig)
    across = [0.0, width, *(x for x, _ in lenses), *(x for o in outlines for x in o[:, 0])]
    across += hung[:1]
    far = max([*(z for _, z in lenses), *_standing_depths(rig), *hung[2:], 0.5])
    foot = 6.0 + _APART_MM * len(hangings)
    sheet = Sheet(min(across), max(across), far, 0.0, (26.0, 20.0, foot, 18.0))
    for hanging in hangings:
        _sight_from_above(sheet, hanging)
    sheet.line((min(across) - 0.1, 0.0), (max(across) + 0.1, 0.0), "wall", 0.4)
    sheet.line((0.0, 0.0), (width, 0.0), "surface", 2.0)
    sheet.text((width / 2, 0.0), "surface", (0.0, 5.5))
    dashes = ("none", "2 1", "0.6 0.8")
    for number, (person, outline) in enumerate(zip(rig.people, outlines, strict=True)):
        corners = [(float(x), float(z)) for x, z in outline]
        dash = dashes[number % len(dashes)]
        sheet.polygon(
            corners, "standing", fill=REED, fill_opacity=0.18, stroke=REED, stroke_dasharray=dash,
            stroke_width=0.4,
        )  # fmt: skip
        middle = outline.mean(axis=0)
        at = (float(middle[0]), float(outline[:, 1].max()))
        sheet.text(at, f"{person.id} stands here", (0.0, 4.5 + 4.2 * (number % 2)))
    sheet.dimension((0.0, 0.0), (width, 0.0), metres(width), -10.0)
    for number, (x, z) in enumerate(lenses):
        sheet.dimension((x, 0.0), (x, z), metres(z), 10.0 + _APART_MM * number)
        if abs(x) > 0.005:
            sheet.dimension((0.0, z), (x, z), metres(abs(x)), 6.0 + _APART_MM * number)
    if surface.projector:
        _projector(sheet, surface.projector, lambda p: (p[0], p[2]))
    _cameras(sheet, hangings, lambda h: (float(h.lens_m[0]), float(h.lens_m[2])), above=True)
    places = "; ".join(
        f"{camera_words(h.camera)} {metres(x)} along the surface from its left edge, "
        f"{metres(z)} from it"
        for h, (x, z) in zip(hangings, lenses, strict=True)
    )
    return sheet.finish(
        "top-view",
        f"{rig.name}: top view, as planned",
        f"The surface is {metres(width)} wide; {places}; shaded: where people stand.",
    )


def front_view(rig: Rig, hangings: Sequence[Hanging], beacons_m: Sequence[Point]) -> Drawing:
    """The surface as the user sees it, with the beacons in the order of touching.

    Parameters
    ----------
    rig
        With one surface at least.
    hangings
        Its cameras.
    beacons_m
        Places from the surface's lower-left corner [m].
    """
    surface = rig.surfaces[0]
    low, high = _low_high(surface)
    width = float(surface.width.value)
    sheet = Sheet(0.0, width, 0.0, high, (28.0, 14.0, 14.0, 16.0))
    sheet.line((-0.15, 0.0), (width + 0.15, 0.0), "floor", 0.8)
    sheet.polygon(
        [(0.0, low), (width, low), (width, high), (0.0, high)], "surface", fill="none",
        stroke="currentColor", stroke_width=0.9,
    )  # fmt: skip
    for number, hanging in enumerate(hangings):
        if np.isfinite(hanging.aim_m).all():
            x, y = (float(step) for step in hanging.aim_m)
            _cross(sheet, (x, y + low), hanging.camera, number)
    for number, (x, y) in enumerate(beacons_m, start=1):
        sheet.dot((x, y + low), 3.2, "beacon", fill=EMBER, fill_opacity=0.15, stroke=EMBER,
                  stroke_width=0.6)  # fmt: skip
        sheet.text((x, y + low), str(number), (0.0, 1.2), font_weight="bold")
    sheet.dimension((0.0, high), (width, high), metres(width), -6.0)
    sheet.dimension((0.0, low), (0.0, high), metres(high - low), -10.0)
    sheet.dimension((0.0, 0.0), (0.0, low), metres(low), -10.0)
    return sheet.finish(
        "front-view",
        f"{rig.name}: the surface from the front, with its beacons",
        f"The surface, {metres(width)} wide and {metres(high - low)} high, its lower edge "
        f"{metres(low)} above the floor; {len(beacons_m)} beacons, numbered in the order of "
        "touching; the cross is where the camera's line of sight meets the wall.",
    )


def _low_high(surface: Surface) -> Point:
    """Heights above the floor of the lower and upper edge [m]."""
    low = float(surface.height_above_floor.value)
    return low, low + float(surface.height.value)


def _standing_depths(rig: Rig) -> list[float]:
    return [float(z) for person in rig.people for z in standing_outline_m(person)[:, 1]]


def _cameras(
    sheet: Sheet,
    hangings: Sequence[Hanging],
    place: Callable[[Hanging], Point],
    above: bool = False,
) -> None:
    for number, hanging in enumerate(hangings):
        at = place(hanging)
        x, y = sheet.at(at)
        sheet.elements.append(
            f'<rect class="camera" x="{x - 2:.3f}" y="{y - 2:.3f}" width="4" height="4" '
            f'fill="{EMBER}" stroke="currentColor" stroke-width="0.4"/>'
        )
        words = camera_words(hanging.camera)
        if not above:
            words += f": {aim_words(hanging.turn_deg, hanging.tilt_deg, hanging.roll_deg)}"
        shift = (3.5, -_LINE_MM) if above else (4.0, -_LINE_MM * (number + 1))
        sheet.text(at, words, shift, "start" if above else "end")


def _projector_m(rig: Rig) -> list[float]:
    """Where the projector hangs, in surface coordinates [m]; empty where none is told."""
    pose = rig.surfaces[0].projector
    return [] if pose is None else [float(step.value) for step in pose.position]


def _projector(sheet: Sheet, pose: PlacedPose, place: Callable[[list[float]], Point]) -> None:
    at = place([float(step.value) for step in pose.position])
    sheet.dot(at, 2.0, "projector", fill=REED, stroke="currentColor", stroke_width=0.4)
    sheet.text(at, "projector", (0.0, -3.6))


def _sight_from_side(sheet: Sheet, hanging: Hanging, low: float) -> None:
    lens = (float(hanging.lens_m[2]), hanging.height_m)
    ends = [
        _stopped(lens, (0.0, float(hanging.edges_m[edge, 1]) + low), hanging.tilt_deg)
        for edge in (0, 2)
    ]
    _wedge(sheet, lens, ends)
    if np.isfinite(hanging.aim_m).all():
        _axis(sheet, lens, _stopped(lens, (0.0, float(hanging.aim_m[1]) + low), hanging.tilt_deg))


def _stopped(lens: Point, on_wall: Point, tilt_deg: float) -> Point:
    """Where a line of sight ends: on the wall, or on the floor before it."""
    if not math.isfinite(on_wall[1]):
        tilt = math.radians(tilt_deg)
        return (lens[0] - _RAY_M * math.cos(tilt), lens[1] + _RAY_M * math.sin(tilt))
    if on_wall[1] >= 0.0:
        return on_wall
    share = lens[1] / (lens[1] - on_wall[1])
    return (lens[0] * (1.0 - share), 0.0)


def _sight_from_above(sheet: Sheet, hanging: Hanging) -> None:
    lens = (float(hanging.lens_m[0]), float(hanging.lens_m[2]))
    ends = [(float(hanging.edges_m[edge, 0]), 0.0) for edge in (3, 1)]
    if not all(math.isfinite(x) for x, _ in ends):
        return
    # A wide camera sees far beyond the drawing: its rays are cut at the sheet's edge.
    margin = 0.1
    left, right = sheet.left_m - margin, sheet.right_m + margin
    cut = [_cut(lens, end, left, right) for end in ends]
    _wedge(sheet, lens, [cut[0], (max(ends[0][0], left), 0.0), (min(ends[1][0], right), 0.0),
                         cut[1]])  # fmt: skip
    if np.isfinite(hanging.aim_m).all():
        _axis(sheet, lens, (float(hanging.aim_m[0]), 0.0))


def _cut(lens: Point, end: Point, left: float, right: float) -> Point:
    """The end of a ray, or where it leaves the strip between left and right."""
    x = min(max(end[0], left), right)
    if x == end[0] or end[0] == lens[0]:
        return end
    share = (x - lens[0]) / (end[0] - lens[0])
    return (x, lens[1] + share * (end[1] - lens[1]))


def _wedge(sheet: Sheet, lens: Point, ends: Sequence[Point]) -> None:
    sheet.polygon([lens, *ends], "view", fill=EMBER, fill_opacity=0.1)
    for end in (ends[0], ends[-1]):
        sheet.line(lens, end, "view-edge", 0.3, stroke=EMBER)


def _axis(sheet: Sheet, lens: Point, end: Point) -> None:
    sheet.line(lens, end, "line-of-sight", 0.35, stroke=EMBER, stroke_dasharray="3 1.4")


def _cross(sheet: Sheet, at: Point, camera: str, number: int) -> None:
    x, y = sheet.at(at)
    for dx, dy in ((3.0, 0.0), (0.0, 3.0)):
        sheet.elements.append(
            f'<line class="aim" x1="{x - dx:.3f}" y1="{y - dy:.3f}" x2="{x + dx:.3f}" '
            f'y2="{y + dy:.3f}" stroke="{EMBER}" stroke-width="0.5"/>'
        )
    down = 3.4 + _LINE_MM * (number // 2 + 1) if number % 2 else -4.6 - _LINE_MM * (number // 2)
    sheet.text(at, f"{camera_words(camera)} looks here", (0.0, down))


def _people_from_side(sheet: Sheet, rig: Rig) -> None:
    if not rig.people:
        return
    outlines = [standing_outline_m(person) for person in rig.people]
    near = min(float(outline[:, 1].min()) for outline in outlines)
    far = max(float(outline[:, 1].max()) for outline in outlines)
    sheet.line((near, 0.0), (far, 0.0), "standing", 1.6, stroke=REED)
    tallest = max(rig.people, key=lambda person: float(person.stature.value))
    z, stature = (near + far) / 2, float(tallest.stature.value)
    head = _HEAD_SHARE * stature
    sheet.line((z, 0.0), (z, stature - head), "person", 1.0, stroke=REED, opacity=0.7)
    radius = 1e3 / sheet.scale * head / 2
    sheet.dot((z, stature - head / 2), radius, "person", fill=REED, fill_opacity=0.7)
    sheet.text((near, 0.0), f"people stand here; {_statures(rig.people)}", (0.0, 4.6), "start")


def _statures(people: Sequence[Person]) -> str:
    values = sorted(float(person.stature.value) for person in people)
    if values[0] == values[-1]:
        return f"stature {metres(values[0])}"
    return f"statures {values[0]:.2f} to {metres(values[-1])}"
