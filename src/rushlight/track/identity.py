"""Which trail is which carried thing, told by motion alone.

The lights look alike, so a name lasts as long as its trail and ends at every lift. A new trail
is taken to be the thing whose last place is nearest, among those that are not lit elsewhere at
the same time. Two people who both lift and then press at each other's place are taken for one
another; a steady lamp or reflection in view takes up a name. A hidden light looks like a
released one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.records.arrays import Array


@dataclass
class _Thing:
    """A carried thing: where it was last, and the trail that is it now."""

    name: str
    place: Array | None
    trail: int | None = None
    seen_ns: int = 0


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


class Identity:
    """Gives trails the names of carried things.

    Parameters
    ----------
    carried
        The things' ids in the rig's order.
    homes
        Places where each is likely to light first, or None for each unknown one; in the same
        coordinates as all other places: metres on the surface or pixels.
    reach
        Farthest that a thing moves unseen between two presses, in those coordinates, > 0.
    """

    def __init__(
        self, carried: Sequence[str], homes: Sequence[Array | None] | None, reach: float
    ) -> None:
        places = [None] * len(carried) if homes is None else list(homes)
        self._things = [_Thing(name, place) for name, place in zip(carried, places, strict=True)]
        self._reach = reach
        self._named: dict[int, _Thing] = {}

    def name(self, trail: int, first_ns: int, place: Array) -> Named:
        """Name a new trail.

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
        free = [thing for thing in self._things if thing.trail is None or thing.seen_ns < first_ns]
        if not free:
            return Named(None, 0.0)
        distances = [_distance(thing.place, place) for thing in free]
        best = int(np.argmin(distances))
        if not distances[best] <= self._reach:
            # Too far from every known place: sooner a thing that was never seen.
            best = next((i for i, thing in enumerate(free) if thing.place is None), best)
        thing = free[best]
        replaces = thing.trail
        if replaces is not None:
            del self._named[replaces]
        thing.trail = trail
        self._named[trail] = thing
        return Named(thing.name, _confidence(distances, best), replaces)

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
            thing.place = place

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
