"""How far an estimate lies from a published limit, in bands and plain words."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FAR_BELOW = "far below"
WITHIN_TEN = "within a factor of ten"
ABOVE = "above the estimate"
NOT_KNOWN = "not known"


def band_of(ratio: ArrayLike) -> NDArray[np.str_]:
    """In which band an estimate falls.

    Parameters
    ----------
    ratio : (...) [1], estimate over limit, ≥ 0

    Returns
    -------
    (...) text
        "far below" is under a tenth of the limit, "within a factor of ten" from a tenth up to it,
        "above the estimate" of the limit beyond; "not known" for NaN. The estimate itself may be
        a factor of two out either way, and none of the bands is an approval.

    Notes
    -----
    Source: bands of our own.

    Examples
    --------
    >>> print(*band_of([0.002, 0.3, 1.4, np.nan]), sep="; ")
    far below; within a factor of ten; above the estimate; not known
    """
    value = np.asarray(ratio, float)
    return np.select(
        [np.isnan(value), value > 1.0, value >= 0.1], [NOT_KNOWN, ABOVE, WITHIN_TEN], FAR_BELOW
    )


def factor_words(ratio: float) -> str:
    """How many times below or above its limit an estimate lies, rounded to the cautious side.

    Examples
    --------
    >>> print(factor_words(0.0312), factor_words(0.45), factor_words(3.21), sep="; ")
    32 times below; 2.2 times below; 3.3 times above
    """
    if not np.isfinite(ratio):
        return NOT_KNOWN
    if ratio <= 0.0:
        return "nothing arrives"
    below = ratio <= 1.0
    factor = 1.0 / ratio if below else ratio
    digits = 1 - int(np.floor(np.log10(factor)))
    step = 10.0**-digits
    turned = np.floor if below else np.ceil
    rounded = float(turned(factor / step * (1 + 1e-12)) * step)
    return f"{rounded:.{max(digits, 0)}f} times {'below' if below else 'above'}"
