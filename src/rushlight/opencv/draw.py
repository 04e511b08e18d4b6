"""Flat shapes drawn at sub-pixel places with soft edges."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rushlight.records.arrays import Array

FINER = 4
"""So many times finer than the picture shapes are drawn, and then averaged."""
_SHIFT = 8  # corners are told in 1/256 of a fine pixel


def painted(
    size_px: tuple[int, int],
    ground: tuple[int, int, int],
    shapes: Sequence[tuple[Array, tuple[int, int, int]]],
) -> Array:
    """Shapes painted one over the other.

    Parameters
    ----------
    size_px
        Columns and rows.
    ground
        Red, green, blue, 0 to 255, of what no shape covers.
    shapes
        Corners (N, 2) in display pixels (the upper left pixel reaches from 0 to 1), and colour.

    Returns
    -------
    ndarray, shape (rows, columns, 3)
        Red, green, blue, 8 bits.
    """
    import cv2

    columns, rows = size_px
    fine = np.empty((rows * FINER, columns * FINER, 3), np.uint8)
    fine[:] = ground
    reach = 2.0**30 / (FINER << _SHIFT)
    for corners, colour in shapes:
        # A fine pixel's middle lies half a pixel from its edge.
        at = np.clip(np.asarray(corners, float), -reach, reach) * FINER - 0.5
        whole = np.round(at * (1 << _SHIFT)).astype(np.int32)
        cv2.fillPoly(fine, [whole.reshape(-1, 1, 2)], colour, cv2.LINE_8, _SHIFT)
    return np.asarray(cv2.resize(fine, (columns, rows), interpolation=cv2.INTER_AREA))


def png_of(picture: Array) -> bytes:
    """A picture (rows, columns, 3) of red, green, blue as a PNG file."""
    import cv2

    done, content = cv2.imencode(".png", picture[..., ::-1])
    if not done:
        raise ValueError("the picture could not be coded")
    return bytes(content)
