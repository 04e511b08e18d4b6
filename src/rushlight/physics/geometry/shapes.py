"""Arguments as float arrays of the expected last axes, or an error that names both shapes."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def floats(values: ArrayLike) -> FloatArray:
    """The values as an array of 64-bit floats, of whatever shape they have."""
    return np.asarray(values, dtype=np.float64)


def trailing(values: ArrayLike, axes: tuple[int | None, ...], name: str) -> FloatArray:
    """The values as floats, if their last axes are `axes` (None: any length).

    Parameters
    ----------
    values : array_like, shape (..., *axes)
        The argument as the caller gave it.
    axes : tuple of int or None
        Expected lengths of the last axes.
    name : str
        Name of the argument, for the message.

    Returns
    -------
    ndarray, shape (..., *axes)
        The same values as 64-bit floats.

    Raises
    ------
    ValueError
        If the last axes differ.

    Examples
    --------
    >>> trailing([1.0, 2.0], (3,), "points_m")
    Traceback (most recent call last):
    ValueError: points_m must have shape (..., 3), not (2,)
    """
    array = floats(values)
    tail = array.shape[-len(axes) :]
    if array.ndim < len(axes) or any(
        want is not None and want != got for want, got in zip(axes, tail, strict=True)
    ):
        wanted = ", ".join("N" if want is None else str(want) for want in axes)
        raise ValueError(f"{name} must have shape (..., {wanted}), not {array.shape}")
    return array
