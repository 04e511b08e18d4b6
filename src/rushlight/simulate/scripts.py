"""What people do before the camera: touch beacons, visit a grid, tap rings, draw strokes.

Every hand is invented. A script says where the tips are and when the lights are on; the marks
that stand on the display meanwhile are its goals, which the tool may know.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.errors import RushlightError
from rushlight.physics.pointing import ring_targets, tapping_order
from rushlight.records.arrays import Array
from rushlight.records.session import ShownGoal
from rushlight.simulate.hands import REACTION_S, Score, Timeline, move_time, ways_held
from rushlight.simulate.world import World

SCRIPTS = ("registration", "grid", "tapping", "strokes")

BEACON_INSET = 0.08
"""Default beacons stand in three rows of three, this share of width and height inside the edge."""
REGISTRATION_HOLD_S = 0.6
GRID_HOLD_S = 0.4
DARK_S = 0.4
"""From one place to the next. Invented, as are the constants below."""
PRESS_S = 0.12
SETTLE_S = 0.06
RING_TARGETS = 9
TAP_SCATTER_ALONG = 0.20
TAP_SCATTER_ACROSS = 0.15
"""Standard deviation of a tap along and across the way to the target, in target widths."""
STROKE_S = 2.4
STROKES_EACH = 3


@dataclass(frozen=True, eq=False)
class Script:
    """What happens before the camera.

    Attributes
    ----------
    name
        Out of `SCRIPTS`.
    timelines
        One for each stylus that takes part.
    goals
        Marks on the display.
    duration_s
        Until everything is dark again [s].
    """

    name: str
    timelines: tuple[Timeline, ...]
    goals: tuple[ShownGoal, ...]
    duration_s: float


def default_beacons(size_m: Array) -> Array:
    """Three rows of three beacons, for want of a plan: (9, 2) [m]."""
    shares = np.array([BEACON_INSET, 0.5, 1.0 - BEACON_INSET])
    across, up = np.meshgrid(shares, shares)
    return np.column_stack([across.ravel(), up.ravel()]) * size_m


def grid_places(size_m: Array, columns: int, rows: int) -> Array:
    """Middles of equal cells, row by row from the lower left: (columns × rows, 2) [m]."""
    if columns < 1 or rows < 1:
        raise RushlightError.of(
            "grid", f"{columns} × {rows}", "has no places", "give at least 1 column and 1 row"
        )
    across, up = np.meshgrid((np.arange(columns) + 0.5) / columns, (np.arange(rows) + 0.5) / rows)
    return np.column_stack([across.ravel(), up.ravel()]) * size_m


def within_pixels(places_m: Array, pixel_m: Array) -> Array:
    """Places moved by up to half a display pixel, evenly: (N, 2) [m].

    The middles of equal cells often fall on pixels' edges, every one of them, where rounding to
    whole pixels is at its worst. Places that people point at are spread over the pixel.

    Notes
    -----
    The additive recurrence of the plastic number in two dimensions (from memory).
    """
    plastic = 1.324717957244746
    steps = np.arange(1, len(places_m) + 1)[:, None] * np.array([plastic**-1, plastic**-2])
    return np.asarray(places_m + (steps % 1.0 - 0.5) * pixel_m)


def registration(
    world: World, beacons_m: Array | None = None, hold_s: float = REGISTRATION_HOLD_S
) -> Script:
    """The registering styli touch each beacon once, one after another, held still while lit.

    Parameters
    ----------
    world : World
    beacons_m : (B, 2) [m] or None
        In the order of touching; `default_beacons` when left out.
    hold_s : float [s], > 0

    Returns
    -------
    Script
        One block a stylus, one trial a beacon.

    Raises
    ------
    RushlightError
        When a beacon lies off the surface.
    """
    beacons = default_beacons(world.size_m) if beacons_m is None else np.asarray(beacons_m, float)
    _check_on_surface(beacons, world.size_m)
    hand = world.hand("registration")
    scatter_on = "registration" in world.causes
    timelines, goals, start_s = [], [], 0.0
    for emitter in world.registering:
        carried = world.cast.carried[emitter]
        ways = ways_held(world, emitter, "registration", hand, len(beacons))
        missed_m = world.rig.emitters.touch_std_m[0, emitter] * hand.standard_normal(beacons.shape)
        score = Score(emitter, beacons[0], ways[0])
        score.stay(start_s + DARK_S)
        for trial, (beacon, miss, way) in enumerate(zip(beacons, missed_m, ways, strict=True)):
            shown_s = score.now_s
            score.reach(beacon + scatter_on * miss, way, DARK_S)
            score.stay(hold_s, lit=True)
            goals.append(
                _goal(carried, f"touches-{emitter + 1}", trial, beacon, shown_s, score.now_s)
            )
        start_s = score.now_s
        timelines.append(score.timeline())
    return Script("registration", tuple(timelines), tuple(goals), start_s + DARK_S)


def grid(world: World, columns: int = 9, rows: int = 6, hold_s: float = GRID_HOLD_S) -> Script:
    """Each stylus visits each place of a grid, its tip set exactly there by a jig.

    All styli work at once, each beginning elsewhere in the round.

    Parameters
    ----------
    world : World
    columns, rows : int, ≥ 1
    hold_s : float [s], > 0

    Returns
    -------
    Script
        One block a stylus, one trial a place; a goal stands while the light is on.

    Raises
    ------
    RushlightError
        When the grid is empty.
    """
    pixel_m = world.size_m / world.rig.surface.display_px[0]
    places = within_pixels(grid_places(world.size_m, columns, rows), pixel_m)
    hand = world.hand("grid")
    timelines, goals = [], []
    for emitter, carried in enumerate(world.cast.carried):
        first = emitter * len(places) // len(world.cast.carried)
        order = np.roll(np.arange(len(places)), -first)
        ways = ways_held(world, emitter, "tip", hand, len(places))
        score = Score(emitter, places[order[0]], ways[0])
        for index, way in zip(order, ways, strict=True):
            score.reach(places[index], way, DARK_S)
            shown_s = score.now_s
            score.stay(hold_s, lit=True)
            goals.append(
                _goal(
                    carried, f"grid-{emitter + 1}", int(index), places[index], shown_s, score.now_s
                )
            )
        timelines.append(score.timeline())
    return Script("grid", tuple(timelines), tuple(goals), score.now_s + DARK_S)


def tapping(world: World, targets: int = RING_TARGETS) -> Script:
    """Each stylus taps its own ring of targets, all at once, in two conditions one after another.

    The multi-directional task of ISO/TS 9241-411:2012 in form: each move crosses the ring, and
    the light is on only while a target is selected. Movement times and scatter are invented.

    Parameters
    ----------
    world : World
    targets : int, ≥ 3, odd for moves of equal length

    Returns
    -------
    Script
        One block for each condition and stylus; trial 0 is the tap from which the first move
        starts.
    """
    hand = world.hand("tapping")
    count = len(world.cast.carried)
    width_m, height_m = world.size_m
    room_m = float(min(0.8 * width_m / count, 0.6 * height_m))
    conditions = ((0.85 * room_m, 0.10 * room_m), (0.5 * room_m, 0.12 * room_m))
    timelines: list[Timeline] = []
    goals: list[ShownGoal] = []
    end_s = 0.0
    for rank, emitter in enumerate(_left_to_right(world)):
        centre = np.array([(rank + 0.5) * width_m / count, height_m / 2.0])
        score = Score(emitter, centre, ways_held(world, emitter, "tip", hand, 1)[0])
        score.stay(DARK_S)
        for number, (distance_m, target_m) in enumerate(conditions):
            ring = ring_targets(targets, distance_m, centre)
            order = np.append(tapping_order(targets), 0)
            block = f"ring-{number + 1}-{emitter + 1}"
            _tap_ring(world, score, hand, ring[order], target_m, block, goals)
            score.stay(1.0)
        end_s = max(end_s, score.now_s)
        timelines.append(score.timeline())
    return Script("tapping", tuple(timelines), tuple(goals), end_s)


def _tap_ring(
    world: World,
    score: Score,
    hand: np.random.Generator,
    ring_m: Array,
    target_m: float,
    block: str,
    goals: list[ShownGoal],
) -> None:
    ways = ways_held(world, score.emitter, "tip", hand, len(ring_m))
    carried = world.cast.carried[score.emitter]
    for trial, (goal, way) in enumerate(zip(ring_m, ways, strict=True)):
        shown_s = score.now_s
        step = goal - score.tip_m
        distance_m = float(np.hypot(*step))
        along = step / distance_m if distance_m > 0 else np.array([1.0, 0.0])
        miss = hand.standard_normal(2) * [TAP_SCATTER_ALONG, TAP_SCATTER_ACROSS] * target_m
        across = np.array([-along[1], along[0]])
        pace = float(np.exp(0.08 * hand.standard_normal()))
        score.stay(REACTION_S if trial == 0 else SETTLE_S)
        seconds = pace * move_time(distance_m, target_m)
        score.reach(goal + miss[0] * along + miss[1] * across, way, seconds)
        score.stay(SETTLE_S)
        score.stay(PRESS_S, lit=True)
        goals.append(_goal(carried, block, trial, goal, shown_s, score.now_s, target_m))


def strokes(world: World) -> Script:
    """Each stylus draws long waves across the surface with its light on, crossing the others.

    Parameters
    ----------
    world : World

    Returns
    -------
    Script
        One block a stylus, one trial a stroke; the goal stands at the stroke's end.
    """
    hand = world.hand("strokes")
    width_m, height_m = world.size_m
    timelines, goals = [], []
    for emitter, carried in enumerate(world.cast.carried):
        ways = ways_held(world, emitter, "tip", hand, STROKES_EACH + 1)
        paths = [_wave(hand, emitter) * [width_m, height_m] for _ in range(STROKES_EACH)]
        score = Score(emitter, paths[0][0], ways[0])
        score.stay(DARK_S)
        for trial, path in enumerate(paths):
            score.reach(path[0], ways[trial], 2.0 * DARK_S)
            shown_s = score.now_s
            turn = np.linspace(0.0, 1.0, len(path))[:, None]
            way = (1.0 - turn) * ways[trial] + turn * ways[trial + 1]
            # The way of holding changes along the stroke; its length stays that of the ends.
            length = np.linalg.norm(way, axis=-1, keepdims=True)
            score.follow(path, way / length * np.linalg.norm(ways[0]), STROKE_S)
            goals.append(
                _goal(carried, f"strokes-{emitter + 1}", trial, path[-1], shown_s, score.now_s)
            )
        score.stay(DARK_S)
        timelines.append(score.timeline())
    return Script("strokes", tuple(timelines), tuple(goals), score.now_s)


def _wave(hand: np.random.Generator, emitter: int) -> Array:
    """A wave over 70 % of the width as shares of width and height, odd styli from the right."""
    t = np.linspace(0.0, 1.0, int(STROKE_S * 1000))
    share = t**3 * (10.0 - 15.0 * t + 6.0 * t * t)
    phase, waves, middle = (
        hand.uniform(0.0, 2 * np.pi),
        hand.uniform(0.8, 1.4),
        hand.normal(0.5, 0.05),
    )
    y = middle + 0.2 * np.sin(2.0 * np.pi * waves * share + phase)
    x = 0.15 + 0.7 * share
    return np.column_stack([x if emitter % 2 == 0 else 1.0 - x, y])


def _left_to_right(world: World) -> Sequence[int]:
    """The styli in the order in which their holders stand along the wall."""
    places = [
        index if standing is None else (standing.x_low_m + standing.x_high_m) / 2.0
        for index, standing in enumerate(world.cast.standing)
    ]
    return [int(index) for index in np.argsort(places, kind="stable")]


def _goal(
    carried: str,
    block: str,
    trial: int,
    place_m: Array,
    from_s: float,
    until_s: float,
    width_m: float | None = None,
) -> ShownGoal:
    return ShownGoal(
        carried=carried,
        block=block,
        trial=trial,
        place_m=(float(place_m[0]), float(place_m[1])),
        width_m=width_m,
        from_ns=round(from_s * 1e9),
        until_ns=round(until_s * 1e9),
    )


def _check_on_surface(places_m: Array, size_m: Array) -> None:
    for number, place in enumerate(places_m):
        if not np.all((place >= 0) & (place <= size_m)):
            raise RushlightError.of(
                f"beacons[{number}]",
                f"({place[0]:.3f}, {place[1]:.3f}) m",
                f"lies off the surface of {size_m[0]:.3f} × {size_m[1]:.3f} m",
                "give the plan of this rig",
                "beacon-off-surface",
            )
