"""Smoothing of one trail in the picture, by the name of the filter.

Each filter takes a dot's place and covariance and gives back a smoothed pair. A smoothed point
lags behind a moving hand; that lag stands in no covariance here, for it is no random error.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, Protocol, get_args

import numpy as np

from rushlight.errors import RushlightError
from rushlight.physics.motion import kalman_predict, kalman_update, process_noise, transition
from rushlight.physics.smoothing import OneEuro
from rushlight.records.arrays import Array

FilterName = Literal["none", "one-euro", "kalman"]
FILTERS: tuple[FilterName, ...] = get_args(FilterName)

MIN_CUTOFF_HZ = 2.0
BETA_HZ_PER_PX_S = 0.04
"""One-euro settings, chosen by hand for hands at walls, no source: at rest a cut-off of 2 Hz, at
500 px/s one of 22 Hz, which lags 7 ms (computed: 1/(2π f))."""

AGILITY_PX2_S3 = 1e4
"""Spectral density of the white acceleration that hands are credited with [px²/s³], by hand, no
source: 300 px/s² that lasts a tenth of a second. The linker credits more, so as to lose nobody."""

SPEED_STD_PX_S = 800.0
"""Deviation of the speed of a light that was just found [px/s]; no source."""


class PointFilter(Protocol):
    """Smooths one trail; each trail has its own."""

    def __call__(self, time_s: float, xy_px: Array, cov_px2: Array) -> tuple[Array, Array]:
        """The smoothed place (2,) [px] and its covariance (2, 2) [px²] at a later time [s]."""
        ...


class NoFilter:
    """Passes every dot as it was measured."""

    def __call__(self, time_s: float, xy_px: Array, cov_px2: Array) -> tuple[Array, Array]:
        """The dot's own place and covariance."""
        return xy_px, cov_px2


class OneEuroFilter:
    """The one-euro filter on the picture's speed, the same in every direction.

    Its covariance is the dot's own: an upper bound for the random part.
    """

    def __init__(self) -> None:
        self._smooth = OneEuro(MIN_CUTOFF_HZ, BETA_HZ_PER_PX_S, speed="norm")

    def __call__(self, time_s: float, xy_px: Array, cov_px2: Array) -> tuple[Array, Array]:
        """The smoothed place, and the dot's own covariance."""
        return self._smooth(time_s, xy_px), cov_px2


class KalmanFilter:
    """A Kalman filter of constant velocity."""

    _OBSERVE = np.hstack([np.eye(2), np.zeros((2, 2))])

    def __init__(self) -> None:
        self._time_s: float | None = None

    def __call__(self, time_s: float, xy_px: Array, cov_px2: Array) -> tuple[Array, Array]:
        """The filtered place and its covariance."""
        if self._time_s is None:
            self._mean = np.concatenate([xy_px, np.zeros(2)])
            self._cov = np.zeros((4, 4))
            self._cov[:2, :2] = cov_px2
            self._cov[2:, 2:] = SPEED_STD_PX_S**2 * np.eye(2)
        else:
            dt_s = time_s - self._time_s
            mean, cov = kalman_predict(
                self._mean,
                self._cov,
                np.kron(transition(dt_s), np.eye(2)),
                np.kron(process_noise(dt_s, AGILITY_PX2_S3), np.eye(2)),
            )
            after = kalman_update(mean, cov, xy_px, self._OBSERVE, cov_px2)
            self._mean, self._cov = after.mean, after.cov
        self._time_s = time_s
        return self._mean[:2].copy(), self._cov[:2, :2].copy()


_MAKERS: dict[FilterName, Callable[[], PointFilter]] = {
    "none": NoFilter,
    "one-euro": OneEuroFilter,
    "kalman": KalmanFilter,
}


def filter_maker(name: str) -> Callable[[], PointFilter]:
    """What makes a new filter for each trail.

    Parameters
    ----------
    name
        One of `FILTERS`.

    Raises
    ------
    RushlightError
        When there is no filter of that name.
    """
    for known, maker in _MAKERS.items():
        if name == known:
            return maker
    raise RushlightError.of(
        "filter", f'"{name}"', "is not a filter", f"use one of {', '.join(FILTERS)}", "filter-name"
    )
