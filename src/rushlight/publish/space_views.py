"""The rig's space from the front, from the side and from above, to scale; and its things."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.physics.geometry import transform_points, undistort_px
from rushlight.publish.sheet import EMBER, REED, Drawing, Point, Sheet
from rushlight.publish.wording import camera_words, metres
from rushlight.records.arrays import Array
from rushlight.records.space import ResolvedSpace, Thing

_APART_MM = 7.0
_MARGINS_MM = (30.0, 30.0, 12.0, 12.0)
_AIR_M = 0.06
_SHORTEST_MM = 7.0
"""Shorter measures are told in words alone [mm of paper]."""
_SEEN_SHARE = 0.4
_LETTER_MM = 1.7
_BESIDE_MM = 2.0


@dataclass(frozen=True)
class _View:
    """Which axes of the rig run to the right and up on the paper."""

    name: str
    across: int
    up: int
    flipped: bool
    words: str


_VIEWS = (
    _View("view-front", 0, 1, False, "seen square onto x and y: x to the right, y upward"),
    _View("view-side", 2, 1, False, "seen along x: z to the right, y upward"),
    _View("view-above", 0, 2, True, "seen along y: x to the right, z downward"),
)
_AXES = "xyz"


def room_views(space: ResolvedSpace) -> list[Drawing]:
    """Screens, zones and cameras along the three axes of the rig."""
    return [_room_view(space, view) for view in _VIEWS]


def sight_m(space: ResolvedSpace, camera: int) -> Array:
    """(5, 3) where a camera's middle and the corners of its picture look, at its focus [m]."""
    c = space.cameras
    size = c.size_px[0, camera]
    px = np.array([[0.5, 0.5], [0, 0], [1, 0], [1, 1], [0, 1]]) * size - 0.5
    flat = undistort_px(px, c.K[0, camera], c.distortion[0, camera])
    # Beyond where the lens model holds, the corner of a plain lens stands for it.
    plain = (px - c.K[0, camera, :2, 2]) / np.diagonal(c.K[0, camera])[:2]
    flat = np.where(np.isfinite(flat), flat, plain)
    ray = np.concatenate([flat, np.ones((5, 1))], axis=-1) * space.focus_m[camera]
    return np.asarray(transform_points(c.rig_from_camera[0, camera], ray))


def _room_view(space: ResolvedSpace, view: _View) -> Drawing:
    def flat(points: Array) -> list[Point]:
        return [(float(p[view.across]), float(p[view.up])) for p in np.atleast_2d(points)]

    screens = [_outline(screen.corners_m) for screen in space.screens]
    lenses = space.cameras.rig_from_camera[0, :, :3, 3]
    every = np.concatenate(
        [np.zeros((1, 3)), lenses, *screens, *[[t.low_m, t.high_m] for t in space.things]]
    )
    low, high = every.min(axis=0) - _AIR_M, every.max(axis=0) + _AIR_M
    bottom, top = (high, low) if view.flipped else (low, high)
    left, right, base, ceiling = _MARGINS_MM
    sheet = Sheet(
        float(low[view.across]), float(high[view.across]),
        float(bottom[view.up]), float(top[view.up]),
        (left, right + _APART_MM * len(lenses), base + _APART_MM * len(lenses), ceiling),
    )  # fmt: skip
    for camera in range(len(lenses)):
        corners = sight_m(space, camera)
        _sight(sheet, flat(lenses[camera])[0], flat(corners), view, (low, high))
    for thing in space.things:
        a, b = flat(np.stack([thing.low_m, thing.high_m]))
        sheet.polygon(
            [a, (b[0], a[1]), b, (a[0], b[1])], "zone", fill=REED, fill_opacity=0.16, stroke=REED,
            stroke_width=0.4, stroke_dasharray="2 1",
        )  # fmt: skip
        _zone_name(sheet, (a, b), f"zone of {thing.id}'s {thing.main}", [flat(c) for c in screens])
    for screen, corners in zip(space.screens, screens, strict=True):
        sheet.polygon(flat(corners), "screen", fill="none", stroke="currentColor", stroke_width=1.4)
        _screen_words(sheet, flat(corners), f"screen {screen.id}")
    sheet.dot((0.0, 0.0), 1.0, "origin", fill="currentColor")
    sheet.text((0.0, 0.0), "0", (-3.0, 3.6))
    told = []
    measured: tuple[set[float], set[float]] = (set(), set())
    for number, (name, lens) in enumerate(zip(space.camera_ids, lenses, strict=True)):
        at = flat(lens)[0]
        _camera(sheet, at, camera_words(name), number)
        low_end, least = sheet.bottom_m, _SHORTEST_MM * 1e-3 * sheet.scale
        new = [round(at[i], 3) not in measured[i] and abs(at[i]) > least for i in (0, 1)]
        if new[0]:
            away = 5.0 + _APART_MM * len(measured[0])
            sheet.dimension((0.0, low_end), (at[0], low_end), _fixed(at[0]), away)
        if new[1]:
            away = 5.0 + _APART_MM * len(measured[1])
            sheet.dimension((sheet.right_m, 0.0), (sheet.right_m, at[1]), _fixed(at[1]), away)
        for axis in (0, 1):
            measured[axis].update({round(at[axis], 3)} if new[axis] else set())
        told.append(f"{camera_words(name)} at {fixed_words(lens)}")
    return sheet.finish(
        view.name,
        f"{space.name}: {view.words}",
        f"{view.words[0].upper()}{view.words[1:]}, from the rig's origin (0): {'; '.join(told)}. "
        + " ".join(_zone_words(thing) for thing in space.things),
    )


def place_words(place_m: Array) -> str:
    """A place along the three axes, to the centimetre."""
    return ", ".join(
        f"{axis} {metres(float(step))}" for axis, step in zip(_AXES, place_m, strict=True)
    )


def fixed_words(place_m: Array) -> str:
    """Where something is fixed along the three axes, to the millimetre where that is planned."""
    return ", ".join(
        f"{axis} {'−' if step < 0.0 else ''}{_fixed(step)}"
        for axis, step in zip(_AXES, place_m.tolist(), strict=True)
    )


def _fixed(value_m: float) -> str:
    """A length without its sign; with millimetres unless it is of whole centimetres."""
    whole = abs(100.0 * value_m - round(100.0 * value_m)) < 0.05
    return metres(abs(value_m)) if whole else f"{abs(value_m):.3f}\u00a0m"


def _zone_words(thing: Thing) -> str:
    spans = ", ".join(
        f"{axis} {metres(float(low))} to {metres(float(high))}"
        for axis, low, high in zip(_AXES, thing.low_m, thing.high_m, strict=True)
    )
    return f"Zone of {thing.id}'s {thing.main}: {spans}."


def _outline(corners_m: Array) -> Array:
    """(4, 3) lower left, lower right, upper right, upper left."""
    low, right, up = corners_m
    return np.stack([low, right, right + up - low, up])


def _zone_name(
    sheet: Sheet, ends: tuple[Point, Point], words: str, screens: Sequence[Sequence[Point]]
) -> None:
    """A zone's name within it, or below it where that has more room; beside a screen, not on it."""
    (x, y), (x1, y1) = np.sort([sheet.at(end) for end in ends], axis=0)
    middle = tuple(np.mean(ends, axis=0))
    long = _LETTER_MM * len(words)
    under_ends_drawing = y1 + 5.6 > sheet.at((0.0, sheet.bottom_m))[1]
    if min((x1 - x) / long, (y1 - y) / 6.0) >= 1.0 or under_ends_drawing:
        sheet.text(middle, words)
        return
    below, left = (y1 - y) / 2 + 4.6, (x + x1 - long) / 2
    for screen in screens:
        (low, top), (high, bottom) = np.sort([sheet.at(c) for c in screen], axis=0)[[0, -1]]
        on = low < left + long and left < high and top < y1 + 5.6 and y1 + 1.0 < bottom
        if on and high - low < _SHORTEST_MM:
            sheet.text(middle, words, (high + _BESIDE_MM - (x + x1) / 2, below), "start")
            return
    sheet.text(middle, words, (0.0, below))


def _screen_words(sheet: Sheet, corners: Sequence[Point], words: str) -> None:
    """Its name beside it: within it where it is seen from the front, at its end else."""
    across = [x for x, _ in corners]
    upward = [y for _, y in corners]
    wide, high = max(across) - min(across), abs(max(upward) - min(upward))
    if min(wide, high) > _SHORTEST_MM * 1e-3 * sheet.scale:
        sheet.text(corners[0], words, (2.0, -2.2), "start")
    elif high > wide:
        sheet.text((min(across), sum(upward) / len(upward)), words, (-2.6, 0.0), turned=True)
    else:
        sheet.text((max(across), upward[0]), words, (3.0, 1.2), "start")


def _sight(
    sheet: Sheet, lens: Point, ends: Sequence[Point], view: _View, box: tuple[Array, Array]
) -> None:
    """The middle line of a camera's view and its outermost edges, within the sheet.

    A camera that looks toward or away from whoever reads the drawing shows no view in it.
    """
    if np.hypot(*np.subtract(ends[0], lens)) < _SEEN_SHARE * np.hypot(*np.ptp(ends[1:], axis=0)):
        return
    low = (box[0][view.across], box[0][view.up])
    high = (box[1][view.across], box[1][view.up])
    one, other = _outermost(lens, ends[1:])
    wedge = _within([lens, one, other], low, high)
    if len(wedge) > 2:
        sheet.polygon(wedge, "view", fill=EMBER, fill_opacity=0.1)
    for end in (one, other):
        sheet.line(lens, _cut(lens, end, low, high), "view-edge", 0.3, stroke=EMBER)
    middle = _cut(lens, ends[0], low, high)
    sheet.line(lens, middle, "line-of-sight", 0.35, stroke=EMBER, stroke_dasharray="3 1.4")


def _outermost(lens: Point, ends: Sequence[Point]) -> list[Point]:
    """The two ends between which all others lie, as seen from the lens."""
    way = np.array(ends) - lens
    middle = way.mean(axis=0)
    turn = np.arctan2(middle[0] * way[:, 1] - middle[1] * way[:, 0], way @ middle)
    # So far out that the wedge reaches across the drawing.
    far = [lens + 10.0 * way[int(which(turn))] for which in (np.argmin, np.argmax)]
    return [(float(x), float(y)) for x, y in far]


def _within(corners: Sequence[Point], low: Point, high: Point) -> list[Point]:
    """A convex shape cut at the edges of a box (Sutherland and Hodgman, 1974; from memory)."""
    shape = [np.array(corner, float) for corner in corners]
    for axis in (0, 1):
        for limit, sign in ((low[axis], 1.0), (high[axis], -1.0)):
            kept = []
            for here, after in zip(shape, [*shape[1:], *shape[:1]], strict=True):
                inside, next_inside = (
                    sign * here[axis] >= sign * limit,
                    (sign * after[axis] >= sign * limit),
                )
                if inside:
                    kept.append(here)
                if inside != next_inside:
                    share = (limit - here[axis]) / (after[axis] - here[axis])
                    kept.append(here + share * (after - here))
            shape = kept
            if not shape:
                return []
    return [(float(x), float(y)) for x, y in shape]


def _cut(lens: Point, end: Point, low: Point, high: Point) -> Point:
    """The end of a ray, or where it leaves the box."""
    share = 1.0
    for axis in (0, 1):
        way = end[axis] - lens[axis]
        limit = high[axis] if way > 0 else low[axis]
        if abs(way) > 1e-12:
            share = min(share, (limit - lens[axis]) / way)
    share = max(share, 0.0)
    return (lens[0] + share * (end[0] - lens[0]), lens[1] + share * (end[1] - lens[1]))


def _camera(sheet: Sheet, at: Point, words: str, number: int) -> None:
    x, y = sheet.at(at)
    sheet.elements.append(
        f'<rect class="camera" x="{x - 2:.3f}" y="{y - 2:.3f}" width="4" height="4" '
        f'fill="{EMBER}" stroke="currentColor" stroke-width="0.4"/>'
    )
    sheet.text(at, words, (0.0, -3.6 - 4.4 * (number % 2)))


def thing_views(thing: Thing) -> list[Drawing]:
    """A thing with its lights and named points, from the front, the side and above."""
    return [_thing_view(thing, view) for view in _VIEWS]


def _thing_view(thing: Thing, view: _View) -> Drawing:
    every = np.concatenate([thing.lights_m, thing.points_m])
    low, high = every.min(axis=0), every.max(axis=0)
    air = max(0.08 * float(np.max(high - low)), 0.008)
    bottom, top = (high + air, low - air) if view.flipped else (low - air, high + air)
    sheet = Sheet(
        float(low[view.across] - air), float(high[view.across] + air),
        float(bottom[view.up]), float(top[view.up]), (26.0, 26.0, 14.0, 12.0),
    )  # fmt: skip
    span = thing.lights_m.min(axis=0), thing.lights_m.max(axis=0)
    for number, (name, place) in enumerate(zip(thing.point_names, thing.points_m, strict=True)):
        at = (float(place[view.across]), float(place[view.up]))
        x, y = sheet.at(at)
        for dx, dy in ((2.2, 2.2), (2.2, -2.2)):
            sheet.elements.append(
                f'<line class="point" x1="{x - dx:.3f}" y1="{y - dy:.3f}" x2="{x + dx:.3f}" '
                f'y2="{y + dy:.3f}" stroke="{REED}" stroke-width="0.7"/>'
            )
        sheet.text(at, name, (0.0, 6.2 + 4.2 * number), font_style="italic")
    placed: list[Point] = []
    for name, place in zip(thing.light_ids, thing.lights_m, strict=True):
        at = (float(place[view.across]), float(place[view.up]))
        sheet.dot(at, 1.8, "light", fill=EMBER, stroke="currentColor", stroke_width=0.3)
        crowd = sum(np.hypot(at[0] - o[0], at[1] - o[1]) * 1e3 / sheet.scale < 9.0 for o in placed)
        sheet.text(at, name, (0.0, -3.4 - 4.2 * crowd))
        placed.append(at)
    for axis, upright in ((view.across, False), (view.up, True)):
        length = float(span[1][axis] - span[0][axis])
        if length < 5e-4:
            continue
        a, b = float(span[0][axis]), float(span[1][axis])
        words = millimetres(length)
        if upright:
            sheet.dimension((sheet.right_m, a), (sheet.right_m, b), words, 10.0)
        else:
            sheet.dimension((a, sheet.bottom_m), (b, sheet.bottom_m), words, 7.0)
    return sheet.finish(
        f"thing-{thing.id}-{view.name.removeprefix('view-')}",
        f"{thing.id}: {view.words}",
        f"{thing.id}, {view.words}: lights as discs, points by name as crosses; the measures are "
        "those between the outermost lights.",
    )


def millimetres(value_m: float) -> str:
    """A length to the tenth of a millimetre."""
    return f"{round(1e3 * value_m, 1):g}\u00a0mm".replace("-", "−")
