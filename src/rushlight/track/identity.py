"""Which trail is which carried thing.

A light that blinks a code is known by it whenever the code was read (`see.blink`), also after a
lift, and no other trail gets its name. All other lights look alike: a name lasts as long as its
trail, which is kept by its motion through short lifts, and ends with it. A new trail is taken to be
the thing that is expected nearest, among those that are not lit elsewhere at the same time. A thing
is expected at the mark that its holder is shown; without one, near its last place, and the longer
it was dark the nearer to where its holder stands. Two people who both lift, and then press at each
other's place unasked, are taken for one another; a steady lamp or reflection in view takes up a
name. A hidden light looks like a released one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.session import ShownGoal

RETURN_S = 0.5
"""Time in the dark after which a hand is nearer to its home than to its last place [s]: about as
long as a reach takes; no source."""

_EARLY_NS = 50_000_000  # a frame's own moment may lie a little before the mark it belongs to

Marks = Callable[[int], Mapping[str, Array]]
"""The place (2,) of the mark that each thing's holder is shown at a time [ns], if any."""


@dataclass
class _Thing:
    """A carried thing: where it was last, and the trail that is it now."""

    name: str
    home: Array | None
    last: Array | None = None
    trail: int | None = None
    seen_ns: int = 0
    confidence: float = 0.0

    def expected(self, time_ns: int) -> Array | None:
        """Where it is likely to light at a time."""
        if self.last is None or self.home is None:
            return self.home if self.last is None else self.last
        kept = math.exp(-(time_ns - self.seen_ns) * 1e-9 / RETURN_S)
        return self.home + kept * (self.last - self.home)


@dataclass(frozen=True)
class Named:
    """Who a trail is taken to be.

    Attributes
    ----------
    carried
        The thing's id, None when every thing is lit elsewhere.
    confidence
        0 to 1; 1 when no other thing could be meant, 0 when none could.
    replaces
        The trail that bore the name until now although its light was gone, or None.
    """

    carried: str | None
    confidence: float
    replaces: int | None = None


def no_marks(time_ns: int) -> Mapping[str, Array]:
    """Nobody is shown where to press."""
    return {}


def marks_of(goals: Sequence[ShownGoal]) -> Marks:
    """The marks of a script that asks each person to touch them.

    Parameters
    ----------
    goals
        What was shown and when, as the footage's sidecar tells it.
    """

    def marks(time_ns: int) -> Mapping[str, Array]:
        return {
            goal.carried: np.array(goal.place_m)
            for goal in goals
            if goal.from_ns - _EARLY_NS <= time_ns <= goal.until_ns
        }

    return marks


class Identity:
    """Gives trails the names of carried things.

    Parameters
    ----------
    carried
        The things' ids in the rig's order.
    homes
        Place where each is likely to light first, None where unknown; in the same coordinates
        as all other places: metres on the surface or pixels.
    reach
        Farthest that a thing is expected to be from its expected place, in those coordinates, > 0.
    marks
        Where each holder is asked to press.
    coded
        Ids of the things that only their code can name.
    """

    def __init__(
        self,
        carried: Sequence[str],
        homes: Sequence[Array | None] | None,
        reach: float,
        marks: Marks = no_marks,
        coded: Collection[str] = (),
    ) -> None:
        places = [None] * len(carried) if homes is None else list(homes)
        self._things = [_Thing(name, home) for name, home in zip(carried, places, strict=True)]
        self._reach = reach
        self._marks = marks
        self._coded = frozenset(coded)
        self._named: dict[int, _Thing] = {}

    def name(self, trail: int, first_ns: int, place: Array) -> Named:
        """Name a trail: a new one, or one that has its name already and keeps it.

        Parameters
        ----------
        trail
            Its id.
        first_ns
            When its light was first seen [ns].
        place
            (2,) where it is; NaN when unknown.

        Returns
        -------
        Named
        """
        known = self._named.get(trail)
        if known is not None:
            return Named(known.name, known.confidence)
        free = [
            thing
            for thing in self._things
            if thing.name not in self._coded and (thing.trail is None or thing.seen_ns < first_ns)
        ]
        if not free:
            return Named(None, 0.0)
        marks = self._marks(first_ns)
        expected = [marks.get(thing.name, thing.expected(first_ns)) for thing in free]
        distances = [_distance(one, place) for one in expected]
        best = int(np.argmin(distances))
        if not distances[best] <= self._reach:
            # Too far from every expected place: sooner a thing of which nothing is known.
            best = next((i for i, one in enumerate(expected) if one is None), best)
        confidence = _confidence(distances, best)
        replaces = self._give(free[best], trail, confidence)
        return Named(free[best].name, confidence, replaces)

    def knows(self, trail: int) -> bool:
        """Whether a trail bears a name, also while its light is off."""
        return trail in self._named

    def claim(self, trail: int, carried: str, confidence: float) -> Named:
        """Name a trail whose code was read, whatever it was taken for until now.

        Parameters
        ----------
        trail
            Its id.
        carried
            The thing that blinks this code.
        confidence
            Of the reading, 0 to 1.

        Returns
        -------
        Named
            `replaces` is another trail that bore the name until now.
        """
        self.ended(trail)
        thing = next(thing for thing in self._things if thing.name == carried)
        return Named(carried, confidence, self._give(thing, trail, confidence))

    def _give(self, thing: _Thing, trail: int, confidence: float) -> int | None:
        """Let a trail be a thing; the trail that was it until now."""
        before = thing.trail
        if before is not None:
            del self._named[before]
        thing.trail, thing.confidence = trail, confidence
        self._named[trail] = thing
        return before

    def seen(self, trail: int, time_ns: int, place: Array) -> None:
        """Note where a trail is; one without a name is passed over.

        Parameters
        ----------
        trail
            Its id.
        time_ns
            When [ns].
        place
            (2,) where; NaN keeps the last known place.
        """
        thing = self._named.get(trail)
        if thing is None:
            return
        thing.seen_ns = time_ns
        if np.isfinite(place).all():
            thing.last = place

    def ended(self, trail: int) -> None:
        """A trail is over; its name is free again.

        Parameters
        ----------
        trail
            Its id.
        """
        thing = self._named.pop(trail, None)
        if thing is not None:
            thing.trail = None


def _distance(one: Array | None, other: Array) -> float:
    """Distance of two places, infinite where one is unknown."""
    if one is None:
        return math.inf
    distance = math.hypot(*(one - other))
    return math.inf if math.isnan(distance) else distance


def _confidence(distances: Sequence[float], best: int) -> float:
    """How much nearer the chosen thing is than the next: 1 alone, ½ when two are as near."""
    others = [distance for i, distance in enumerate(distances) if i != best]
    if not others:
        return 1.0
    nearest = min(others)
    if math.isinf(nearest):
        return 1.0 if math.isfinite(distances[best]) else 1.0 / len(distances)
    if math.isinf(distances[best]):
        return 0.5
    total = nearest + distances[best]
    return nearest / total if total > 0 else 0.5
