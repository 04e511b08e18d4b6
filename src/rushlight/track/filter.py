"""Smoothing of one trail in the picture, by the name of the filter.

Each filter takes a dot's place and covariance and gives back a smoothed pair. A smoothed point
lags behind a moving hand; that lag stands in no covariance here, for it is no random error.
`rushlight run --tune` measures lag and jitter of a recording and proposes the settings.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Literal, Protocol, get_args

from rushlight.errors import RushlightError
from rushlight.physics.smoothing import OneEuro
from rushlight.records.arrays import Array
from rushlight.records.rig import Smoothing
from rushlight.track.motion import Motion

FilterName = Literal["none", "one-euro", "kalman"]
FILTERS: tuple[FilterName, ...] = get_args(FilterName)

MIN_CUTOFF_HZ = 2.0
BETA_HZ_PER_PX_S = 0.04
"""One-euro settings where the rig gives none, chosen by hand for hands at walls, no source: at
rest a cut-off of 2 Hz, at 500 px/s one of 22 Hz, which lags 7 ms (computed: 1/(2π f))."""

AGILITY_PX2_S3 = 1e4
"""Spectral density of the white acceleration that hands are credited with [px²/s³] where the rig
gives none, by hand, no source: 300 px/s² that lasts a tenth of a second. The linker credits
more, so as to lose nobody."""

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

    Parameters
    ----------
    cutoff_hz
        Cut-off at rest [Hz], > 0.
    speed_gain
        How much the cut-off rises with speed [Hz per px/s], ≥ 0.
    """

    def __init__(
        self, cutoff_hz: float = MIN_CUTOFF_HZ, speed_gain: float = BETA_HZ_PER_PX_S
    ) -> None:
        self._smooth = OneEuro(cutoff_hz, speed_gain, speed="norm")

    def __call__(self, time_s: float, xy_px: Array, cov_px2: Array) -> tuple[Array, Array]:
        """The smoothed place, and the dot's own covariance."""
        return self._smooth(time_s, xy_px), cov_px2


class KalmanFilter:
    """A Kalman filter of constant velocity.

    Parameters
    ----------
    agility_px2_s3
        Spectral density of the hand's acceleration [px²/s³], > 0.
    """

    def __init__(self, agility_px2_s3: float = AGILITY_PX2_S3) -> None:
        self._motion = Motion(agility_px2_s3, SPEED_STD_PX_S)

    def __call__(self, time_s: float, xy_px: Array, cov_px2: Array) -> tuple[Array, Array]:
        """The filtered place and its covariance."""
        self._motion.seen(time_s, xy_px, cov_px2)
        return self._motion.mean[:2].copy(), self._motion.cov[:2, :2].copy()


def filter_maker(name: str, smoothing: Smoothing | None = None) -> Callable[[], PointFilter]:
    """What makes a new filter for each trail.

    Parameters
    ----------
    name
        One of `FILTERS`.
    smoothing
        The rig's settings; what it leaves out is as the constants of this module say. Its own
        filter name does not count here.

    Raises
    ------
    RushlightError
        When there is no filter of that name.
    """
    given = smoothing or Smoothing()
    if name == "none":
        return NoFilter
    if name == "one-euro":
        return partial(
            OneEuroFilter,
            MIN_CUTOFF_HZ if given.cutoff is None else given.cutoff.value,
            BETA_HZ_PER_PX_S if given.speed_gain is None else given.speed_gain,
        )
    if name == "kalman":
        return partial(KalmanFilter, AGILITY_PX2_S3 if given.agility is None else given.agility)
    raise RushlightError.of(
        "filter", f'"{name}"', "is not a filter", f"use one of {', '.join(FILTERS)}", "filter-name"
    )
