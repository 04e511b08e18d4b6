"""How far an estimate lies from a published limit, in bands and plain words."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FAR_BELOW = "far below"
WITHIN_TEN = "within a factor of ten"
ABOVE = "above the limit, as estimated"
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
        "above the limit, as estimated" beyond; "not known" for NaN. The estimate itself may be
        a factor of two out either way, and none of the bands is an approval.

    Notes
    -----
    Source: bands of our own.

    Examples
    --------
    >>> print(*band_of([0.002, 0.3, 1.4, np.nan]), sep="; ")
    far below; within a factor of ten; above the limit, as estimated; not known
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
    # The small part keeps a rounding error of the division from moving a whole step.
    rounded = step * float(
        np.floor(factor / step + 1e-9) if below else np.ceil(factor / step - 1e-9)
    )
    return f"{rounded:.{max(digits, 0)}f} times {'below' if below else 'above'}"


def band_words(ratio: float) -> str:
    """An estimate beside its limit in plain words, with the factor.

    Examples
    --------
    >>> for ratio in (0.002, 0.3, 1.4):
    ...     print(band_words(ratio))
    far below (500 times)
    within a factor of ten (3.3 times below)
    above the limit, as estimated (1.4 times)
    """
    band, factor = str(band_of(ratio)), factor_words(ratio)
    if band == NOT_KNOWN or ratio <= 0.0:
        return NOT_KNOWN if band == NOT_KNOWN else f"{band} ({factor})"
    if band == WITHIN_TEN:
        return f"{band} ({factor})"
    return f"{band} ({factor.rsplit(' ', 1)[0]})"
