"""How hard a move is, and how long it should take: the law of pointing.

Follows the guidance of ISO/TS 9241-411:2012 and of Soukoreff & MacKenzie 2004; no conformity is
claimed.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Array = NDArray[np.float64]
DifficultyForm = Literal["shannon", "fitts", "welford"]

EFFECTIVE_WIDTH_PER_SD = 4.133
"""√(2πe), as rounded in ISO/TS 9241-411:2012 and Soukoreff & MacKenzie 2004."""


def index_of_difficulty(
    distance: ArrayLike, width: ArrayLike, form: DifficultyForm = "shannon"
) -> Array:
    """How many bits a move of this distance to a target of this width takes.

    Parameters
    ----------
    distance : (...) [m or any length], ≥ 0
    width : (...) [the same length], > 0
    form : "shannon", "fitts" or "welford"
        log₂(A/W + 1), log₂(2A/W), log₂(A/W + ½).

    Returns
    -------
    (...) [bit]

    Raises
    ------
    ValueError
        When a width is not positive or a distance is negative.

    Notes
    -----
    Source: MacKenzie 1992, Hum.-Comput. Interact. 7 (shannon; the form of ISO/TS 9241-411);
    Fitts 1954, J. Exp. Psychol. 47; Welford 1960, Ergonomics 3 (all from memory).

    Examples
    --------
    >>> print(f"{index_of_difficulty(0.3, 0.02):.0f}")
    4
    """
    a, w = np.asarray(distance, float), np.asarray(width, float)
    if np.any(w <= 0) or np.any(a < 0):
        raise ValueError(f"need distance ≥ 0 and width > 0, got {np.min(a)} and {np.min(w)}")
    inner = {"shannon": a / w + 1, "fitts": 2 * a / w, "welford": a / w + 0.5}
    if form not in inner:
        raise ValueError(f'form must be "shannon", "fitts" or "welford", got {form!r}')
    if form == "fitts" and np.any(a == 0):
        raise ValueError('form "fitts" needs distance > 0')
    return np.asarray(np.log2(inner[form]))[()]


def effective_width(sd: ArrayLike) -> Array:
    """How wide the targets would be if the spread of selections were 96 % inside them.

    Parameters
    ----------
    sd : (...) [m], ≥ 0
        Standard deviation of the selections along the task axis.

    Returns
    -------
    (...) [m]

    Notes
    -----
    Source: ISO/TS 9241-411:2012; Soukoreff & MacKenzie 2004, Int. J. Hum.-Comput. Stud. 61.

    Examples
    --------
    >>> print(f"{effective_width(0.01):.5f}")
    0.04133
    """
    return np.asarray(EFFECTIVE_WIDTH_PER_SD * np.asarray(sd, float))[()]


def effective_width_from_error_rate(width: ArrayLike, error_rate: ArrayLike) -> Array:
    """What the effective width is when only the share of misses is known.

    Parameters
    ----------
    width : (...) [m], > 0
    error_rate : (...) [1], 0 ≤ rate < 1

    Returns
    -------
    (...) [m]
        Infinitely wide as the rate nears 1.

    Raises
    ------
    ValueError
        When a rate lies outside [0, 1).

    Notes
    -----
    Source: Soukoreff & MacKenzie 2004; W·2.066/z(1 − ER/2). A rate of 0 has no z: the source
    takes .5089 W, which is the rate rounding to .0049 % (from memory).

    Examples
    --------
    >>> print(f"{effective_width_from_error_rate(0.02, 0.039):.4f}")
    0.0200
    """
    w, rate = np.broadcast_arrays(np.asarray(width, float), np.asarray(error_rate, float))
    if np.any((rate < 0) | (rate >= 1)):
        raise ValueError(f"error rate must lie in [0, 1), got {np.min(rate)} to {np.max(rate)}")
    z = special.ndtri(1 - np.where(rate == 0, 0.5, rate) / 2)
    return np.where(rate == 0, 0.5089 * w, w * 2.066 / z)[()]


class Line(NamedTuple):
    """A straight line through movement times: intercept [s], slope [s/bit], correlation."""

    intercept_s: float
    slope_s_bit: float
    correlation: float


def movement_time_line(difficulty_bit: ArrayLike, movement_time_s: ArrayLike) -> Line:
    """How movement time grows with difficulty.

    Parameters
    ----------
    difficulty_bit : (N,) [bit], N ≥ 2, not all equal
    movement_time_s : (N,) [s]

    Returns
    -------
    Line
        Use it to judge whether the model holds, not to get a throughput from 1/slope.

    Notes
    -----
    Source: ordinary least squares; Fitts 1954 for the law.

    Examples
    --------
    >>> line = movement_time_line([1.0, 2.0, 3.0], [0.3, 0.4, 0.5])
    >>> print(f"{line.intercept_s:.2f} s + {line.slope_s_bit:.2f} s/bit")
    0.20 s + 0.10 s/bit
    """
    x, y = np.asarray(difficulty_bit, float), np.asarray(movement_time_s, float)
    if x.ndim != 1 or x.shape != y.shape or len(x) < 2 or np.ptp(x) == 0:
        raise ValueError(f"expected two unequal points or more, got {x.shape} and {y.shape}")
    (xx, xy), (_, yy) = np.cov(x, y)
    slope = float(xy / xx)
    correlation = float(xy / np.sqrt(xx * yy)) if yy > 0 else float("nan")
    return Line(float(y.mean()) - slope * float(x.mean()), slope, correlation)


def lagged_movement_time(difficulty_bit: ArrayLike, delay_s: ArrayLike) -> Array:
    """How long a move takes on average when the display lags by a delay.

    Parameters
    ----------
    difficulty_bit : (...) [bit], ≥ 0
    delay_s : (...) [s], ≥ 0
        Fitted to delays from 8.3 to 225 ms and one kind of device: an expectation of the size
        of the loss, no prediction for a certain rig.

    Returns
    -------
    (...) [s]

    Notes
    -----
    Source: MacKenzie & Ware 1993, INTERCHI, MT = 230 + (169 + 1.03 LAG) ID in ms.

    Examples
    --------
    >>> print(f"{lagged_movement_time(7.0, 0.0):.3f}")
    1.413
    """
    bits, lag = np.asarray(difficulty_bit, float), np.asarray(delay_s, float)
    return np.asarray(0.230 + (0.169 + 1.03 * lag) * bits)[()]
