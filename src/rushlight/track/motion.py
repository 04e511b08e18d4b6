"""Place and speed of a point, learnt from where it was seen, and carried on in a straight line."""

from __future__ import annotations

import math

import numpy as np

from rushlight.physics.motion import kalman_predict, kalman_update, process_noise, transition
from rushlight.records.arrays import Array


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
