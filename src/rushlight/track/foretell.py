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

from rushlight.physics.motion import kalman_predict, kalman_update, process_noise, transition
from rushlight.records.arrays import Array
from rushlight.records.session import Fix

HAND_AGILITY_M2_S3 = 1.0
"""Spectral density of a hand's acceleration on the surface [m²/s³]: 3 m/s² that lasts a tenth of
a second. By hand, no source; `rushlight run --tune` shows the error that it states beside the
error that a recording shows."""

HAND_SPEED_STD_M_S = 1.0
"""Deviation of the speed of a light that was just found [m/s]; no source."""

UNKNOWN_STD_M = 0.002
"""Deviation of a fix that tells none [m], only to weigh it; no source."""

_FORGET_NS = 1_000_000_000


def both_axes(matrix: Array, axes: int = 2) -> Array:
    """A matrix for place and speed of one axis, for as many axes that do not act on one another.

    Parameters
    ----------
    matrix
        (..., 2, 2).
    axes
        How many: 2 on a surface, 3 in space.

    Returns
    -------
    Array
        (..., 2 axes, 2 axes), for a state of places followed by speeds.
    """
    whole = matrix[..., :, None, :, None] * np.eye(axes)[:, None, :]
    return np.asarray(whole.reshape(*matrix.shape[:-2], 2 * axes, 2 * axes))


class Motion:
    """Place and speed of one point, learnt from where it was seen.

    Parameters
    ----------
    agility
        Spectral density of the hand's acceleration [unit²/s³], > 0.
    speed_std
        Deviation of its speed when it is first seen [unit/s], > 0.

    Attributes
    ----------
    mean, cov
        (2D,) places, then speeds, after the last sighting, and (2D, 2D); only there once it was
        seen.
    """

    def __init__(self, agility: float, speed_std: float) -> None:
        self.agility = agility
        self._speed_std = speed_std
        self._time_s: float | None = None

    def seen(self, time_s: float, place: Array, cov: Array) -> None:
        """Take in a sighting.

        Parameters
        ----------
        time_s
            Not before the sighting before it [s].
        place, cov
            (D,) [unit] and (D, D) [unit²].
        """
        axes = len(place)
        if self._time_s is None:
            self.mean = np.concatenate([place, np.zeros(axes)])
            self.cov = np.zeros((2 * axes, 2 * axes))
            self.cov[:axes, :axes] = cov
            self.cov[axes:, axes:] = self._speed_std**2 * np.eye(axes)
        else:
            mean, expected = self.at(time_s)
            observe = np.eye(axes, 2 * axes)
            after = kalman_update(mean, expected, place, observe, cov)
            self.mean, self.cov = after.mean, after.cov
        self._time_s = time_s

    @property
    def is_known(self) -> bool:
        """Whether it was seen."""
        return self._time_s is not None

    def at(self, time_s: float) -> tuple[Array, Array]:
        """State expected at a time [s] not before the last sighting: (2D,) and (2D, 2D)."""
        if self._time_s is None:
            raise ValueError("nothing was seen yet, so nothing can be foretold")
        return foretell(self.mean, self.cov, time_s - self._time_s, self.agility)


def foretell(mean: Array, cov: Array, ahead_s: float, agility: float) -> tuple[Array, Array]:
    """The state a while ahead, at constant velocity, with all doubt that this brings.

    Parameters
    ----------
    mean
        (..., 2D) places [unit], then speeds [unit/s].
    cov
        (..., 2D, 2D).
    ahead_s
        How far ahead [s], ≥ 0.
    agility
        Spectral density of the hand's acceleration [unit²/s³], ≥ 0.

    Returns
    -------
    mean, cov
        Of the same shapes; the place's variance grows by 2 τ cov(place, speed), by
        (speed's deviation × τ)², and by agility × τ³/3.

    Raises
    ------
    ValueError
        When the time is not known or lies behind.

    Notes
    -----
    Source: one step of `kalman_predict` with `process_noise` of white acceleration.
    """
    if not (math.isfinite(ahead_s) and ahead_s >= 0.0):
        raise ValueError(f"ahead_s must be finite and ≥ 0 s, got {ahead_s}")
    axes = mean.shape[-1] // 2
    return kalman_predict(
        mean,
        cov,
        both_axes(transition(ahead_s), axes),
        both_axes(process_noise(ahead_s, agility), axes),
    )


@dataclass(slots=True)
class _Kept:
    """What is remembered of one trail."""

    motion: Motion
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
            With ``valid_ns`` moved, ``predicted`` set, the place foretold, and its covariance
            grown; NaN where the fix tells no covariance. Times of its making, switch and
            orientation are the fix's own. The fix itself where nothing is to be foretold, and
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
        if not (fix.predicted and kept.motion.is_known):
            measured = cov if told else UNKNOWN_STD_M**2 * np.eye(axes)
            kept.motion.seen(kept.seconds(fix.valid_ns), place, measured)
            kept.last_ns = fix.valid_ns
        mean, expected = kept.motion.at(kept.seconds(fix.valid_ns) + self.ahead_s)
        position, whole = fix.position_m.copy(), np.full((6, 6), np.nan)
        position[:axes] = mean[:axes]
        if told:
            whole[:axes, :axes] = expected[:axes, :axes]
        return fix.replace(
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
            kept = self._trails[key] = _Kept(motion, fix.valid_ns, fix.valid_ns)
        return kept
