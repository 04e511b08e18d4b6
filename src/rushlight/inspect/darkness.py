"""What dark pictures tell: black level, and pixels that stand out among their neighbours."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from rushlight.capture.depth import Levels
from rushlight.inspect.result import Measure, interval_of
from rushlight.inspect.transfer import LEAST_VARIANCE_DN2, ROUNDING_DN2

HOT_SIGMAS, HOT_LEAST_DN = 6.0, 3.0
"""A hot pixel stands this far above the others of a dark picture, in levels of 8 bits; no
source."""

LIT_DN = 20.0
DEAD_SHARE = 0.5
"""A dead pixel gives less than this part of what its neighbours give, where they give so many
levels of 8 bits; no source."""

CLIPPED_SHARE = 0.002
"""Part of dark pixels at 0 from which darkness is taken to be cut off; no source."""


class Black:
    """What the dark takes tell.

    Attributes
    ----------
    given, clipped
        Whether there are any, and whether darkness is cut off at 0 in them.
    level_dn, std_dn
        Black level [DN]; without dark takes the shelf's, its std NaN.
    readable
        Whether noise hides the steps of rounding, so that dark noise can be read.
    n
        Pictures.

    Notes
    -----
    `finer` is the number of levels in one of 8 bits, in which the shelf tells black levels.
    """

    def __init__(
        self,
        dark: Sequence[Levels],
        usable: npt.NDArray[np.bool_],
        shelf_black_dn: float,
        finer: float = 1.0,
    ) -> None:
        self.given = bool(dark)
        self._finer = finer
        self.clipped = self.given and any(
            float(np.mean(pictures == 0)) > CLIPPED_SHARE for pictures in dark
        )
        self.n = sum(len(pictures) for pictures in dark)
        if not self.given:
            self.level_dn, self.std_dn = shelf_black_dn * finer, math.nan
            self.readable = False
            return
        levels = [float(pictures[:, usable].mean()) for pictures in dark]
        variances = [_temporal_variance(pictures) for pictures in dark]
        self.level_dn = float(np.mean(levels))
        self.readable = not self.clipped and min(variances) >= LEAST_VARIANCE_DN2
        spread = float(np.std(levels, ddof=1)) if len(levels) > 1 else 0.0
        count = sum(pictures.size for pictures in dark)
        random = math.sqrt(float(np.mean(variances)) / count)
        # Without noise to hide them, the steps of rounding leave the level open by half a step.
        rounding = 0.0 if self.readable else math.sqrt(ROUNDING_DN2)
        self.std_dn = math.sqrt(spread**2 + random**2 + rounding**2)

    def measures(self) -> list[Measure]:
        """The black level, where it can be read."""
        if not self.given or self.clipped:
            return []
        what = interval_of(
            self.level_dn / self._finer,
            self.std_dn / self._finer,
            self.n,
            "mean of the dark pictures",
        )
        name = "black level" if self._finer == 1.0 else "black level in levels of 8 bits"
        return [Measure(name, what, "", "black_level")]


def _temporal_variance(pictures: Levels) -> float:
    """Mean variance of a pixel over time [DN²]."""
    difference = pictures[0].astype(np.int32) - pictures[1]
    return 0.5 * float(np.var(difference))


def odd_pixels(
    dark: Sequence[Levels], lit: Sequence[Levels], full_scale_dn: int = 255
) -> tuple[tuple[tuple[int, int, str], ...], npt.NDArray[np.bool_]]:
    """Hot and dead pixels as (x, y, what), and which pixels are neither.

    Parameters
    ----------
    dark, lit
        Stacks (N, H, W) of one size, at least one of them lit.
    full_scale_dn
        Level at full scale [DN].

    Returns
    -------
    found, usable
        The list, and (H, W) that is false at each of them.
    """
    from scipy import ndimage

    finer = (full_scale_dn + 1) / 256
    usable = np.ones(lit[0].shape[1:], bool)
    found: list[tuple[int, int, str]] = []
    for pictures in dark[:1]:
        mean = pictures.mean(axis=0, dtype=np.float64)
        middle = float(np.median(mean))
        spread = 1.4826 * float(np.median(np.abs(mean - middle)))
        hot = mean - middle > max(HOT_LEAST_DN * finer, HOT_SIGMAS * spread)
        found += [(int(x), int(y), "hot") for y, x in np.argwhere(hot)]
        usable &= ~hot
    # The brightest take whose middle is not yet white shows best what does not answer to light.
    fair = [p for p in lit if np.median(p) < 0.9 * full_scale_dn]
    if fair:
        brightest = max(fair, key=lambda pictures: float(np.median(pictures)))
        base = float(np.median(dark[0])) if dark else 0.0
        mean = brightest.mean(axis=0, dtype=np.float64) - base
        around = ndimage.median_filter(mean, size=5, mode="nearest")
        dead = (around > LIT_DN * finer) & (mean < DEAD_SHARE * around) & usable
        found += [(int(x), int(y), "dead") for y, x in np.argwhere(dead)]
        usable &= ~dead
    return tuple(found), usable
