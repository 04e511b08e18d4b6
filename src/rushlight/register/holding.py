"""Is a light held still now: the touches of `holds`, found while they last."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.dots import Dots
from rushlight.register.holds import (
    GAP_S,
    FollowedLight,
    Hold,
    averaged,
    follow_lights,
    still_reach_px,
    with_own_glow,
)


class Held(NamedTuple):
    """How far a touch has come.

    Fields
    ------
    held_s
        For how long the light has been still [s]; 0 where none is.
    hold
        The touch, in the frame in which it is complete.
    """

    held_s: float
    hold: Hold | None


@dataclass(eq=False)
class _Still:
    """A light and the stretch in which it is at rest now, as `find_holds` would part it."""

    light: FollowedLight
    start: int = 0
    total: Array = field(default_factory=lambda: np.zeros(2))
    seen: int = 0

    def look(self) -> None:
        """Take in what the light did since the last time."""
        for index in range(self.seen, len(self.light.xy)):
            xy, count = self.light.xy[index], index - self.start
            if count and np.linalg.norm(xy - self.total / count) > still_reach_px(self.light):
                self.start, self.total = index, np.zeros(2)
            self.total = self.total + xy
        self.seen = len(self.light.xy)

    @property
    def since_ns(self) -> int:
        """When it came to rest [ns]."""
        return self.light.times[self.start]

    @property
    def held_s(self) -> float:
        """For how long it has rested [s]."""
        return (self.light.times[-1] - self.since_ns) * 1e-9

    @property
    def flux(self) -> float:
        """Mean light of its dots, 0 where unknown."""
        return float(np.nan_to_num(np.mean(self.light.flux[self.start :])))


class Holding:
    """Watches for one touch after another; stillness and averaging are those of `find_holds`.

    Parameters
    ----------
    dwell_s
        How long a light must be held [s].

    Only a light that came to rest after `begin` counts, so neither lights of the room nor the
    touch before do; of several the brightest is taken.
    """

    def __init__(self, dwell_s: float) -> None:
        self._dwell_s = dwell_s
        self._lit: list[_Still] = []
        self._begun_ns = 0

    def begin(self, time_ns: int) -> None:
        """From this moment on [ns] a touch is waited for."""
        self._begun_ns = time_ns

    def see(self, time_ns: int, dots: Dots) -> Held:
        """Take in a frame.

        Parameters
        ----------
        time_ns
            Its capture [ns], later than that of the frame before.
        dots
            All that were found in it.
        """
        self._lit = [each for each in self._lit if (time_ns - each.light.times[-1]) * 1e-9 <= GAP_S]
        born = follow_lights(
            [each.light for each in self._lit], time_ns, with_own_glow(dots.good())
        )
        self._lit += [_Still(light) for light in born]
        for each in self._lit:
            each.look()
        able = [each for each in self._lit if each.since_ns > self._begun_ns]
        if not able:
            return Held(0.0, None)
        best = max(able, key=lambda each: each.flux)
        if best.held_s < self._dwell_s:
            return Held(best.held_s, None)
        return Held(best.held_s, averaged(best.light, best.start, len(best.light.xy)))
