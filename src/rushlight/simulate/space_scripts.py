"""What people do before the cameras of a rig of space: register, stand, move, keep still."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.errors import RushlightError
from rushlight.physics.geometry.rotation import matrix_from_rotation_vector
from rushlight.physics.sighting import FACED_STD_RAD, HELD_STD_M, look_line
from rushlight.records.arrays import Array
from rushlight.records.space import Thing
from rushlight.records.space_footage import SpaceHold, SpaceMark
from rushlight.records.space_plan import PlannedMark
from rushlight.simulate.space_paths import Path, PathScore, random_stand, wander
from rushlight.simulate.space_world import SpaceWorld

SPACE_SCRIPTS = ("registration", "places", "motion", "still", "swing")

HOLD_S, PLACE_HOLD_S = 1.0, 0.3
"""How long a step of a registration, and a place of the accuracy set, is held [s]. Invented, as
are the constants below."""
PLACES = 40
SWING_S, SWING_M_S = 16.0, 0.8
MOTION_S, STILL_S = 12.0, 10.0
_SETTLE_S = 0.1  # between arriving and counting as held


@dataclass(frozen=True)
class Hidden:
    """A light that something covers for a while.

    Attributes
    ----------
    thing, light
        Ids.
    from_s, until_s
        When.
    camera
        Before which camera only; None for all.
    """

    thing: str
    light: str
    from_s: float
    until_s: float
    camera: str | None = None


@dataclass(frozen=True, eq=False)
class SpaceScript:
    """What happens before the cameras.

    Attributes
    ----------
    name
        Out of `SPACE_SCRIPTS`.
    paths
        One for each thing that takes part; its lights are on throughout.
    marks, holds
        Of a registration, what was held where and when; when something was held still.
    duration_s
        Until the end [s].
    hidden
        Lights that are covered for a while.
    """

    name: str
    paths: tuple[Path, ...]
    marks: tuple[SpaceMark, ...]
    holds: tuple[SpaceHold, ...]
    duration_s: float
    hidden: tuple[Hidden, ...] = ()


def register_by_marks(
    world: SpaceWorld, marks: Sequence[PlannedMark], hold_s: float = HOLD_S
) -> SpaceScript:
    """One person takes the steps of a registration: looks past marks, or placings on marks.

    Parameters
    ----------
    world
        Whose causes say whether hands stray: they belong to the registration.
    marks
        In this order; all of one thing.
    hold_s : float [s], > 0

    Raises
    ------
    RushlightError
        When there are none, or they are of a thing or a point that the rig has not, or a line
        past two marks misses the zone.
    """
    thing, points = _thing_of(world, marks)
    hand = world.hand("registration")
    score: PathScore | None = None
    steps = []
    for number, mark in enumerate(marks):
        held, rotation = _stand_at(world, thing, mark, number, hand)
        # The hand may hold another point there; the path is told of the point that counts.
        index = thing.point_names.index(mark.point)
        place = held + rotation @ (points[0] - points[index])
        if score is None:
            score = PathScore(thing, place, rotation)
        else:
            score.reach(place, rotation)
        score.stay(_SETTLE_S)
        begin_s = score.now_s
        score.stay(hold_s)
        steps.append(_held_mark(mark, begin_s, score.now_s))
        score.stay(_SETTLE_S)
    assert score is not None
    return SpaceScript(
        "registration",
        (score.path(),),
        tuple(steps),
        tuple(_hold(thing, each.from_ns, each.until_ns) for each in steps),
        score.now_s,
    )


def stand_by_mark(
    world: SpaceWorld, mark: PlannedMark, hand: np.random.Generator
) -> tuple[Thing, Array, Array]:
    """Where a thing is while one step of a registration is taken by itself.

    Parameters
    ----------
    world
        As of `register_by_marks`.
    mark
        Of the step.
    hand
        How it strays, each time anew.

    Returns
    -------
    thing, place_m, rotation
        Which thing; where its point that counts in use is (3,) [m], and how it is turned (3, 3).

    Raises
    ------
    RushlightError
        When the mark is of a thing or a point that the rig has not, or its line misses the zone.
    """
    thing, points = _thing_of(world, (mark,))
    held, rotation = _stand_at(world, thing, mark, 0, hand)
    own = points[thing.point_names.index(mark.point)]
    return thing, held + rotation @ (world.points_m[thing.id][0] - own), rotation


def register_by_swing(
    world: SpaceWorld, seconds: float = SWING_S, name: str = "registration"
) -> SpaceScript:
    """The scale bar is swung all through its zone.

    Parameters
    ----------
    world
        The rig.
    seconds : float [s], > 0
    name
        Of the script: ``swing`` is another swing, by which a registration is checked.

    Raises
    ------
    RushlightError
        When the rig has no scale bar.
    """
    bar = world.space.scale_bar
    if bar is None:
        raise RushlightError.of(
            "script",
            name,
            "needs a scale bar to swing",
            'add a carried thing of kind "scale-bar" with two lights to the rig',
            "no-scale-bar",
        )
    return _wandering(world, name, (bar,), seconds, SWING_M_S, world.hand(name))


def places(
    world: SpaceWorld,
    count: int = PLACES,
    hold_s: float = PLACE_HOLD_S,
    which: int | None = None,
    again: int = 0,
) -> SpaceScript:
    """Each thing is held at places of its zone, turned anyhow within its ranges.

    Parameters
    ----------
    world
        The rig.
    count : int, ≥ 1
    hold_s : float [s], > 0
    which
        Only the thing of this index moves; None for all at once.
    again : int, ≥ 0
        How many of the first stands are taken once more at the end.
    """
    if count < 1:
        raise RushlightError.of("places", str(count), "are too few", "give 1 or more", "places")
    hand = world.hand("places")
    paths, holds, end_s = [], [], 0.0
    for thing in _some(world, which):
        stands = [random_stand(thing, hand) for _ in range(count)]
        score = PathScore(thing, *stands[0])
        for number, stand in enumerate([*stands, *stands[:again]]):
            if number:
                score.reach(*stand)
            score.stay(_SETTLE_S)
            begin_s = score.now_s
            score.stay(hold_s)
            holds.append(_hold(thing, round(begin_s * 1e9), round(score.now_s * 1e9)))
        score.stay(_SETTLE_S)
        paths.append(score.path())
        end_s = max(end_s, score.now_s)
    return SpaceScript("places", tuple(paths), (), tuple(holds), end_s)


def motion(world: SpaceWorld, seconds: float = MOTION_S) -> SpaceScript:
    """Each thing moves smoothly all through its zone, at the speed that the rig is meant for."""
    things = world.space.things
    return _wandering(world, "motion", things, seconds, world.space.speed_m_s, world.hand("motion"))


def still(world: SpaceWorld, seconds: float = STILL_S) -> SpaceScript:
    """Each thing rests in the middle of its zone, not turned."""
    paths = []
    for thing in world.space.things:
        score = PathScore(thing, (thing.low_m + thing.high_m) / 2.0, np.eye(3))
        score.stay(seconds)
        paths.append(score.path())
    return SpaceScript(
        "still",
        tuple(paths),
        (),
        tuple(_hold(each, 0, round(seconds * 1e9)) for each in world.space.things),
        seconds,
    )


def _wandering(
    world: SpaceWorld,
    name: str,
    things: Sequence[Thing],
    seconds: float,
    speed_m_s: float,
    hand: np.random.Generator,
) -> SpaceScript:
    paths = []
    for thing in things:
        way, turned = wander(thing, seconds, speed_m_s, hand)
        score = PathScore(thing, way[0], turned[0])
        score.follow(way, turned, seconds)
        paths.append(score.path())
    return SpaceScript(name, tuple(paths), (), (), seconds)


def _some(world: SpaceWorld, which: int | None) -> Sequence[Thing]:
    return world.space.things if which is None else (world.space.things[which],)


def _thing_of(world: SpaceWorld, marks: Sequence[PlannedMark]) -> tuple[Thing, Array]:
    """The thing that all marks are of, and where its points are on whoever registers."""
    if not marks:
        raise RushlightError.of(
            "registration",
            "",
            "has no marks to look past or to touch",
            "give the plan of this rig; without a display a scale bar is swung instead",
            "no-marks",
        )
    known = {thing.id: thing for thing in world.space.things}
    for mark in marks:
        if mark.carried != marks[0].carried or mark.carried not in known:
            raise RushlightError.of(
                "registration: marks",
                f'"{mark.carried}"',
                "is not the one thing of the rig that registers",
                "give the plan of this rig",
                "mark-thing",
            )
        if mark.point not in known[mark.carried].point_names:
            raise RushlightError.of(
                "registration: marks",
                f'"{mark.point}"',
                f'is no point of "{mark.carried}"',
                "give the plan of this rig",
                "mark-point",
            )
    thing = known[marks[0].carried]
    return thing, np.asarray(world.registering_points_m[thing.id])


def _stand_at(
    world: SpaceWorld, thing: Thing, mark: PlannedMark, number: int, hand: np.random.Generator
) -> tuple[Array, Array]:
    """Where the held point is (3,) [m], and how the thing is turned (3, 3)."""
    strays = "registration" in world.causes
    near = np.array(mark.from_m)
    off, faced, along = hand.standard_normal(3), hand.standard_normal(3), float(hand.uniform())
    if mark.kind == "placing":
        _, rotation = random_stand(thing, hand)
        return near + strays * HELD_STD_M * off, rotation
    line = look_line(near, np.array(mark.to_m))
    place = near + _reach_m(thing, near, line.direction, along, number) * line.direction
    place = place + strays * HELD_STD_M * (off[:2] @ line.across)
    # A head is turned off the line by no more than heads are turned there at all.
    std = np.minimum(FACED_STD_RAD, thing.ranges_rad[[1, 0, 2]] / np.sqrt(3.0))
    return place, matrix_from_rotation_vector(strays * std * faced) @ line.facing


def _reach_m(thing: Thing, near: Array, way: Array, share: float, number: int) -> float:
    """How far along a line past two marks the eye is: anywhere that the line is in the zone."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = np.stack([thing.low_m - near, thing.high_m - near]) / way
    first, last = float(np.nanmax(ends.min(axis=0))), float(np.nanmin(ends.max(axis=0)))
    if not max(first, 0.0) <= last:
        raise RushlightError.of(
            f"registration: marks[{number}]",
            "",
            f'is a line that misses the zone of "{thing.id}"',
            "give the plan of this rig",
            "mark-off-zone",
        )
    return max(first, 0.0) * (1.0 - share) + last * share


def _held_mark(mark: PlannedMark, begin_s: float, end_s: float) -> SpaceMark:
    return SpaceMark(
        carried=mark.carried,
        point=mark.point,
        kind=mark.kind,
        from_m=mark.from_m,
        to_m=mark.to_m,
        from_ns=round(begin_s * 1e9),
        until_ns=round(end_s * 1e9),
    )


def _hold(thing: Thing, from_ns: int, until_ns: int) -> SpaceHold:
    return SpaceHold(carried=thing.id, from_ns=from_ns, until_ns=until_ns)
