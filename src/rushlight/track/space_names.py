"""Which thing is which, where two look alike: who could be taken for whom.

Nothing but codes, zones and having been followed all along tells such things apart. Where none of
these does, names are given anyhow, and the weight that is told for them is shared.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from rushlight.physics.geometry.likeness import Match, matches
from rushlight.physics.geometry.rotation import pose_matrix
from rushlight.records.arrays import Array
from rushlight.records.space import Thing, within_zone
from rushlight.track.space_cameras import SpaceCameras
from rushlight.track.space_codes import could_be
from rushlight.track.space_moments import Seen
from rushlight.track.space_thing import ThingAt


class Followed(NamedTuple):
    """What became of one thing at a moment.

    Fields
    ------
    at : where it is, or None
    was : whether it was followed before
    anew : whether dots are taken for it that need not be of what it was: found, or found again
        after it had coasted
    reach_m : how far from where it was foretold its dots were looked for [m]
    free : by camera, the dots that were free when it took its own
    """

    at: ThingAt | None
    was: bool
    anew: bool
    reach_m: float
    free: Sequence[Seen | None]


class Names:
    """Knows, from moment to moment, which names of things may have been exchanged.

    Parameters
    ----------
    cameras, things
        As followed.
    """

    def __init__(self, cameras: SpaceCameras, things: Sequence[Thing]) -> None:
        self._things = {thing.id: thing for thing in things}
        self._alike: dict[tuple[str, str], list[tuple[Match, float]]] = {}
        self._stand = cameras.rig_from_camera[0, :3, 3] if len(cameras) == 1 else None
        self._open: set[frozenset[str]] = set()
        for one in things:
            for other in things:
                found = [] if one.id == other.id else _looks(one, other, len(cameras))
                if found:
                    self._alike[one.id, other.id] = found

    def shared(self, thing: str) -> int:
        """By how many things, itself included, its name may be claimed."""
        return 1 + sum(thing in pair for pair in self._open)

    def step(self, now: dict[str, Followed]) -> None:
        """Take what became of the things, by their ids, at a moment."""
        for one, other in self._alike:
            if one < other and (other, one) in self._alike:
                pair, first, second = frozenset((one, other)), now[one], now[other]
                if _may_be_exchanged(first, second):
                    self._open.add(pair)
                if pair in self._open and any(
                    not self._could_be(mine, theirs, now[mine])
                    for mine, theirs in ((one, other), (other, one))
                ):
                    self._open.discard(pair)

    def _could_be(self, mine: str, theirs: str, now: Followed) -> bool:
        """Whether another thing may have made the dots that were taken for this one's."""
        at = now.at
        if at is None or at.predicted:
            return True
        other, named = self._things[theirs], at.found.named
        read = np.zeros((len(other.lights), len(named.dot)), bool)
        for camera, own in enumerate(now.free):
            here = named.camera == camera
            if own is not None and here.any():
                read[:, here] = could_be(other, own.light)[:, named.dot[here]]
        for match, scale in self._alike[mine, theirs]:
            light = np.array(match.order)[named.light]
            if not read[light, np.arange(len(light))].all():
                continue
            pose = at.found.pose @ pose_matrix(match.rotation, match.step_m)
            if self._stand is not None:
                pose[:3, 3] = self._stand + (pose[:3, 3] - self._stand) * scale
            if within_zone(other, pose[None])[0]:
                return True
        return False


def _looks(one: Thing, other: Thing, cameras: int) -> list[tuple[Match, float]]:
    """In which ways, and at how many times its distance, another thing looks like one."""
    # One camera does not tell a small thing from a large one that is farther away.
    scale = _size_m(other) / _size_m(one) if cameras == 1 and len(one.lights) > 1 else 1.0
    return [(match, scale) for match in matches(one.lights_m, other.lights_m / scale)]


def _size_m(thing: Thing) -> float:
    return float(np.linalg.norm(thing.lights_m - thing.lights_m.mean(axis=0)))


def _may_be_exchanged(one: Followed, other: Followed) -> bool:
    """Whether at this moment dots may have been taken for the wrong one of two things."""
    if (one.anew and not other.was) or (other.anew and not one.was):
        return True
    if one.at is None or other.at is None:
        return False
    apart = _place(one.at) - _place(other.at)
    return bool(np.linalg.norm(apart) < max(one.reach_m, other.reach_m))


def _place(at: ThingAt) -> Array:
    return at.found.pose[:3, 3]


def shared_weights(weights: tuple[float, ...], names: int) -> tuple[float, ...]:
    """Weights of poses, this one first, when each may be of so many names."""
    return tuple(weight / names for _ in range(names) for weight in weights)
