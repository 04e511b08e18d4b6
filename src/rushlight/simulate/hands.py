"""Simulated hands: where the tips are, which way the styli lean, and when the lights are on.

Every constant here is invented. The hands serve to exercise the tool, not to predict people.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import numpy as np

from rushlight.physics.motion import minimum_jerk
from rushlight.physics.stylus import held_direction, mean_direction
from rushlight.records.arrays import Array
from rushlight.simulate.world import World

REACTION_S = 0.25
MOVE_INTERCEPT_S = 0.12
MOVE_S_PER_BIT = 0.16
"""Movement time of a reach: intercept + slope × index of difficulty. Invented."""
_KNOT_S = 1e-3  # a knot each millisecond: linear in between, off by some µm at 20 m/s²


@dataclass(frozen=True, eq=False)
class Timeline:
    """One stylus through a script.

    Attributes
    ----------
    emitter
        Index of its emitter.
    time_s, tip_m, direction
        (K,), (K, 2), (K, 3) knots, straight lines in between; times increase.
    lit_s
        (L, 2) from and to, increasing and apart from one another.
    """

    emitter: int
    time_s: Array
    tip_m: Array
    direction: Array
    lit_s: Array

    def at(self, time_s: Array) -> tuple[Array, Array]:
        """Tip (..., 2) [m] and direction (..., 3) at given times (...) [s]."""
        tip = [np.interp(time_s, self.time_s, self.tip_m[:, axis]) for axis in range(2)]
        way = [np.interp(time_s, self.time_s, self.direction[:, axis]) for axis in range(3)]
        return np.stack(tip, axis=-1), np.stack(way, axis=-1)

    def lit_within(self, start_s: Array, end_s: Array) -> tuple[Array, Array]:
        """From when to when the light is on between two times; end ≤ start where it is dark.

        Of two lit spells within one span only the later counts: spells are far longer and
        farther apart than exposures.
        """
        if len(self.lit_s) == 0:
            return np.asarray(start_s, float), np.asarray(start_s, float)
        last = np.maximum(np.searchsorted(self.lit_s[:, 0], end_s, side="right") - 1, 0)
        return np.maximum(start_s, self.lit_s[last, 0]), np.minimum(end_s, self.lit_s[last, 1])


def blinking(line: Timeline, bits: str, bit_s: float, begin_s: float) -> Timeline:
    """A timeline whose light blinks a code while it is on.

    Parameters
    ----------
    line
        Lit throughout while on.
    bits
        One digit a bit, 1 for lit, repeated for ever.
    bit_s
        Length of a bit [s], > 0.
    begin_s
        When a first bit began [s].
    """
    spells = []
    for start_s, end_s in line.lit_s:
        first, last = math.floor((start_s - begin_s) / bit_s), math.ceil((end_s - begin_s) / bit_s)
        for bit in range(first, last):
            if bits[bit % len(bits)] == "0":
                continue
            on_s = max(start_s, begin_s + bit * bit_s)
            off_s = min(end_s, begin_s + (bit + 1) * bit_s)
            if spells and on_s - spells[-1][1] < 1e-9:
                spells[-1][1] = off_s
            elif off_s > on_s:
                spells.append([on_s, off_s])
    return dataclasses.replace(line, lit_s=np.array(spells).reshape(-1, 2))


class Score:
    """Writes a timeline, one thing after another.

    Parameters
    ----------
    emitter
        Index.
    tip_m, direction
        (2,) [m] and (3,) where it begins.
    """

    def __init__(self, emitter: int, tip_m: Array, direction: Array) -> None:
        self.emitter = emitter
        self.now_s = 0.0
        self._time = [np.zeros(1)]
        self._tip = [np.asarray(tip_m, float)[None]]
        self._direction = [np.asarray(direction, float)[None]]
        self._lit: list[tuple[float, float]] = []

    @property
    def tip_m(self) -> Array:
        """(2,) where the tip is now [m]."""
        return np.asarray(self._tip[-1][-1])

    def stay(self, seconds: float, lit: bool = False) -> None:
        """Hold still, with the light on or off."""
        here, way = self._tip[-1][-1:], self._direction[-1][-1:]
        self._add(np.array([seconds]), here, way, lit)

    def reach(self, tip_m: Array, direction: Array, seconds: float) -> None:
        """Move in the dark to a place and a way of holding, smoothly from rest to rest."""
        count = max(2, int(np.ceil(seconds / _KNOT_S)))
        t = np.linspace(0.0, seconds, count + 1)[1:]
        start = np.concatenate([self.tip_m, self._direction[-1][-1]])
        way = minimum_jerk(start, np.concatenate([tip_m, direction]), seconds, t)[0]
        self._add(t, way[:, :2], way[:, 2:], lit=False)

    def follow(self, tip_m: Array, direction: Array, seconds: float) -> None:
        """Draw along a line with the light on: (K, 2) and (K, 3) at even times."""
        t = np.linspace(0.0, seconds, len(tip_m) + 1)[1:]
        self._add(t, tip_m, direction, lit=True)

    def _add(self, t: Array, tip_m: Array, direction: Array, lit: bool) -> None:
        if lit:
            self._lit.append((self.now_s, self.now_s + float(t[-1])))
        self._time.append(self.now_s + t)
        self._tip.append(tip_m)
        self._direction.append(direction)
        self.now_s += float(t[-1])

    def timeline(self) -> Timeline:
        """What has been written."""
        return Timeline(
            emitter=self.emitter,
            time_s=np.concatenate(self._time),
            tip_m=np.concatenate(self._tip),
            direction=np.concatenate(self._direction),
            lit_s=np.array(self._lit, float).reshape(-1, 2),
        )


def ways_held(world: World, emitter: int, cause: str, hand: np.random.Generator, n: int) -> Array:
    """Which way a stylus leans on n occasions: (n, 3).

    Tilt uniform over its range, lean normal about its mean. With the cause off, as
    `held_on_average`, which a registration absorbs.
    """
    emitters = world.rig.emitters
    tilt, lean = emitters.tilt_rad[0, emitter], emitters.lean_rad[0, emitter]
    tilts = hand.uniform(tilt[0], tilt[1], n)
    leans = lean + emitters.lean_std_rad[0, emitter] * hand.standard_normal(n)
    if cause in world.causes:
        return held_direction(tilts, leans)
    return np.tile(held_on_average(world), (n, 1))


def held_on_average(world: World) -> Array:
    """The mean direction over all ways of holding and all styli that register: (3,).

    It is shorter than 1: on average a light stands nearer to the tip than it does at any time.
    """
    emitters = world.rig.emitters
    ways = mean_direction(emitters.tilt_rad[0], emitters.lean_rad[0], emitters.lean_std_rad[0])
    return np.asarray(ways[list(world.registering)].mean(axis=0))


def move_time(distance_m: float, width_m: float) -> float:
    """How long a reach takes [s]: linear in the index of difficulty log₂(D/W + 1); invented."""
    return MOVE_INTERCEPT_S + MOVE_S_PER_BIT * float(np.log2(distance_m / width_m + 1.0))
