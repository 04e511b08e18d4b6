"""How a thing moves before the cameras: the place of its point, and how it is turned.

Every constant here is invented. The movements serve to exercise the tool, not to predict people.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation, Slerp

from rushlight.physics.geometry import quaternion_from_matrix
from rushlight.physics.geometry.rotation import rotation_of_facing
from rushlight.records.arrays import Array
from rushlight.records.space import Thing

MOVE_S, MOVE_M_S, MOVE_RAD_S = 0.4, 1.0, 4.0
"""From one place to the next: the least time [s], the greatest mean speed and turn."""

_KNOT_S = 1e-3
_BEND = 0.97  # how nearly a wave is a triangle: even over its range, with rounded ends
_MOST_WAVES_HZ, _PLAIN_WAVES_HZ = 2.0, 0.5  # invented movements, as all below
_RATIOS = np.array([1.0, 1.37, 0.71])
_TURN_RATIOS = np.array([0.53, 0.67, 0.43])


@dataclass(frozen=True, eq=False)
class Path:
    """One thing through a script.

    Attributes
    ----------
    thing
        Its id.
    time_s
        (K,) rising knots [s].
    place_m
        (K, 3) of its point that counts [m], straight lines in between.
    quaternion
        (K, 4) of the thing, scalar first, neighbours on one side of the sphere.
    """

    thing: str
    time_s: Array
    place_m: Array
    quaternion: Array

    def at(self, time_s: Array) -> tuple[Array, Array]:
        """Place (..., 3) [m] of the point and rotation (..., 3, 3) at times (...) [s]."""
        place = [np.interp(time_s, self.time_s, self.place_m[:, i]) for i in range(3)]
        four = [np.interp(time_s, self.time_s, self.quaternion[:, i]) for i in range(4)]
        q = np.stack(four, axis=-1)
        q = q / np.linalg.norm(q, axis=-1, keepdims=True)
        flat = Rotation.from_quat(q.reshape(-1, 4)[:, [1, 2, 3, 0]]).as_matrix()
        return np.stack(place, axis=-1), flat.reshape(*q.shape[:-1], 3, 3)


class PathScore:
    """Writes a path, one movement after another.

    Parameters
    ----------
    thing
        Whose.
    place_m, rotation
        (3,) [m] and (3, 3) where it begins.
    """

    def __init__(self, thing: Thing, place_m: Array, rotation: Array) -> None:
        self._thing = thing.id
        self.now_s = 0.0
        self._time = [np.zeros(1)]
        self._place = [np.asarray(place_m, float)[None]]
        self._rotation = [np.asarray(rotation, float)[None]]

    def stay(self, seconds: float) -> None:
        """Hold still."""
        self._add(np.array([seconds]), self._place[-1][-1:], self._rotation[-1][-1:])

    def reach(self, place_m: Array, rotation: Array) -> None:
        """Move to a place and a way of being turned, smoothly from rest to rest."""
        here, turned = self._place[-1][-1], self._rotation[-1][-1]
        ends = Rotation.from_matrix(np.stack([turned, rotation]))
        way_m = float(np.linalg.norm(place_m - here))
        angle = float((ends[0].inv() * ends[1]).magnitude())
        seconds = max(MOVE_S, way_m / MOVE_M_S, angle / MOVE_RAD_S)
        t = np.linspace(0.0, seconds, max(2, int(np.ceil(seconds / _KNOT_S))) + 1)[1:]
        share = t / seconds
        share = share**3 * (10.0 - 15.0 * share + 6.0 * share**2)
        place = here + share[:, None] * (np.asarray(place_m) - here)
        self._add(t, place, Slerp([0.0, 1.0], ends)(np.clip(share, 0.0, 1.0)).as_matrix())

    def follow(self, place_m: Array, rotation: Array, seconds: float) -> None:
        """Move along (K, 3) and (K, 3, 3) at even times."""
        self._add(np.linspace(0.0, seconds, len(place_m) + 1)[1:], place_m, rotation)

    def _add(self, t: Array, place_m: Array, rotation: Array) -> None:
        self._time.append(self.now_s + t)
        self._place.append(place_m)
        self._rotation.append(rotation)
        self.now_s += float(t[-1])

    def path(self) -> Path:
        """What has been written."""
        four = quaternion_from_matrix(np.concatenate(self._rotation))
        turns = np.sum(four[1:] * four[:-1], axis=-1) < 0.0
        sign = np.concatenate([[1.0], np.where(np.cumsum(turns) % 2 == 1, -1.0, 1.0)])
        return Path(
            self._thing,
            np.concatenate(self._time),
            np.concatenate(self._place),
            four * sign[:, None],
        )


def random_stand(thing: Thing, hand: np.random.Generator) -> tuple[Array, Array]:
    """A place in a thing's zone (3,) [m] and a rotation (3, 3) within its ranges, all alike."""
    place = hand.uniform(thing.low_m, thing.high_m)
    turn, nod, lean = hand.uniform(-1.0, 1.0, 3) * thing.ranges_rad
    return place, rotation_of_facing(turn, nod, lean)


def wander(
    thing: Thing, seconds: float, speed_m_s: float, hand: np.random.Generator
) -> tuple[Array, Array]:
    """A smooth way all through a thing's zone and its ranges of turning.

    Parameters
    ----------
    thing
        Whose zone.
    seconds
        For how long [s].
    speed_m_s
        Root-mean-square speed of the point [m/s]; less where the zone is too small for it.
    hand
        Random numbers.

    Returns
    -------
    place_m, rotation : (K, 3), (K, 3, 3) at even times, about a millisecond apart
    """
    half = (thing.high_m - thing.low_m) / 2.0
    # A triangle of amplitude a and frequency f moves at 4 a f.
    unit_m_s = float(np.linalg.norm(4.0 * half * _RATIOS))
    rate = min(speed_m_s / unit_m_s, _MOST_WAVES_HZ) if unit_m_s > 0.0 else _PLAIN_WAVES_HZ
    t = np.linspace(0.0, seconds, max(2, int(np.ceil(seconds / _KNOT_S))) + 1)[1:]
    starts = hand.uniform(0.0, 2.0 * np.pi, 6)
    rates = rate * np.concatenate([_RATIOS, _TURN_RATIOS]) * hand.uniform(0.9, 1.1, 6)
    waves = np.arcsin(_BEND * np.sin(2.0 * np.pi * rates * t[:, None] + starts)) / np.arcsin(_BEND)
    place = (thing.low_m + thing.high_m) / 2.0 + half * waves[:, :3]
    return place, rotation_of_facing(*(waves[:, 3:] * thing.ranges_rad).T)
