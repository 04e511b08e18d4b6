"""Where something will be when the display shows it, and how surely.

A fix is as old as its picture; with computing and display it is older still when light leaves
the surface. To make up for that, place and speed are carried on in a straight line. What is
foretold is a guess about a hand: its doubt grows with the speed's own doubt and with what the
hand may do meanwhile, and both stand in the covariance; `track.ahead` measures the same
from a recording.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rushlight.records.session import Fix
from rushlight.track.motion import Motion
from rushlight.track.turning import Turning

HAND_AGILITY_M2_S3 = 1.0
"""Spectral density of a hand's acceleration on the surface [m²/s³]: 3 m/s² that lasts a tenth of
a second. By hand, no source; `rushlight run --tune` shows the error that it states beside the
error that a recording shows."""

HAND_SPEED_STD_M_S = 1.0
"""Deviation of the speed of a light that was just found [m/s]; no source."""

UNKNOWN_STD_M = 0.002
"""Deviation of a fix that tells none [m], only to weigh it; no source."""

UNKNOWN_TURN_STD_RAD = 0.02
"""Deviation of an orientation that tells none [rad], only to weigh it; no source."""

_FORGET_NS = 1_000_000_000


@dataclass(slots=True)
class _Kept:
    """What is remembered of one trail."""

    motion: Motion
    turning: Turning
    begun_ns: int
    last_ns: int

    def seconds(self, time_ns: int) -> float:
        """Since the trail began [s]; small numbers keep their digits."""
        return (time_ns - self.begun_ns) * 1e-9


class Foretold:
    """Carries every fix ahead to the moment at which it will be shown.

    Give it each fix as it comes, of all things and trails; it keeps a state of motion for each.
    It filters by itself: fixes that were smoothed before are late, and what is foretold from
    them stays as late.

    Parameters
    ----------
    ahead_s
        How far ahead [s], ≥ 0.
    agility_m2_s3
        Spectral density of the hand's acceleration [m²/s³], > 0.

    Raises
    ------
    ValueError
        When a setting is out of its range.
    """

    def __init__(self, ahead_s: float, agility_m2_s3: float = HAND_AGILITY_M2_S3) -> None:
        if not (math.isfinite(ahead_s) and ahead_s >= 0.0):
            raise ValueError(f"ahead_s must be finite and ≥ 0 s, got {ahead_s}")
        if not agility_m2_s3 > 0.0:
            raise ValueError(f"agility_m2_s3 must be > 0, got {agility_m2_s3}")
        self.ahead_s = ahead_s
        self._agility_m2_s3 = agility_m2_s3
        self._trails: dict[tuple[str, str, int], _Kept] = {}

    def __call__(self, fix: Fix) -> Fix:
        """The fix as it is expected to be, `ahead_s` after the moment that it speaks of.

        Parameters
        ----------
        fix
            One that was coasted is carried on, but teaches nothing of a trail already seen.

        Returns
        -------
        Fix
            With ``valid_ns`` moved, ``predicted`` set, place and orientation foretold, and their
            covariances grown; NaN where the fix tells none, and between place and orientation,
            which are foretold each by itself. Times of its making and switch are the fix's own.
            The fix itself where nothing is to be foretold, and
            where a later one of its trail came before it.
        """
        axes = 3 if fix.dimensions > 2 else 2
        place, cov = fix.position_m[:axes], fix.cov[:axes, :axes]
        if self.ahead_s == 0.0 or not np.isfinite(place).all():
            return fix
        kept = self._kept_for(fix)
        if fix.valid_ns < kept.last_ns:
            return fix
        told = bool(np.isfinite(cov).all())
        turned = axes == 3 and bool(np.isfinite(fix.quaternion).all())
        turn_told = bool(np.isfinite(fix.cov[3:, 3:]).all())
        if turned and not (fix.predicted and kept.turning.is_known):
            own = fix.cov[3:, 3:] if turn_told else UNKNOWN_TURN_STD_RAD**2 * np.eye(3)
            kept.turning.seen(kept.seconds(fix.valid_ns), fix.quaternion, own)
        if not (fix.predicted and kept.motion.is_known):
            measured = cov if told else UNKNOWN_STD_M**2 * np.eye(axes)
            kept.motion.seen(kept.seconds(fix.valid_ns), place, measured)
            kept.last_ns = fix.valid_ns
        mean, expected = kept.motion.at(kept.seconds(fix.valid_ns) + self.ahead_s)
        position, whole = fix.position_m.copy(), np.full((6, 6), np.nan)
        position[:axes] = mean[:axes]
        if told:
            whole[:axes, :axes] = expected[:axes, :axes]
        quaternion = fix.quaternion
        if turned:
            quaternion, turn = kept.turning.at(kept.seconds(fix.valid_ns) + self.ahead_s)
            whole[3:, 3:] = turn if turn_told else np.nan
        return fix.replace(
            quaternion=quaternion,
            valid_ns=fix.valid_ns + round(self.ahead_s * 1e9),
            predicted=True,
            position_m=position,
            cov=whole,
        )

    def _kept_for(self, fix: Fix) -> _Kept:
        """What is remembered of the fix's trail; anew where it was not seen of late."""
        key = (fix.carried, fix.point, fix.trail)
        kept = self._trails.get(key)
        if kept is None or fix.valid_ns - kept.last_ns > _FORGET_NS:
            self._trails = {
                other: each
                for other, each in self._trails.items()
                if fix.valid_ns - each.last_ns <= _FORGET_NS
            }
            motion = Motion(self._agility_m2_s3, HAND_SPEED_STD_M_S)
            kept = self._trails[key] = _Kept(motion, Turning(), fix.valid_ns, fix.valid_ns)
        return kept
