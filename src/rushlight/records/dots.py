"""What a camera saw in one frame: the frame itself, and the dots found in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np

from rushlight.records.arrays import Array, ArrayRecord, shaped

REASONS = (
    "",
    "faint",
    "hot pixel",
    "edge of frame",
    "fit did not settle",
    "too wide",
    "reflection",
)
"""Why a dot is doubtful, by the number that stands in `Dots.reason`; 0 is a good dot."""


@dataclass(frozen=True, eq=False)
class Frame:
    """One picture of one camera, with the moment of its capture.

    Attributes
    ----------
    camera
        The camera's id.
    index
        The frame's number in its source, from 0.
    capture_ns
        Middle of the exposure [ns], on the session's clock.
    capture_std_ns
        Standard deviation of that moment [ns]; NaN when unknown.
    image
        (H, W) of uint8 or uint16, or None for sensors that send coordinates only.
    """

    camera: str
    index: int
    capture_ns: int
    capture_std_ns: float
    image: Array | None


@dataclass(frozen=True, eq=False)
class Dots(ArrayRecord):
    """The dots of one frame.

    Attributes
    ----------
    xy
        (N, 2) centres [px]; the centre of the top-left pixel is (0, 0).
    cov
        (N, 2, 2) covariance of the centres [px²]; NaN when unknown.
    flux
        (N,) light above the background [grey levels × px]; NaN when unknown.
    width
        (N, 3) the spot's second moments xx, xy, yy [px²]; NaN when unknown.
    peak
        (N,) brightest pixel above the background [grey levels].
    saturated
        (N,) number of pixels at full scale.
    quality
        (N,) 1 for a dot as expected, towards 0 for a doubtful one.
    reason
        (N,) index into `REASONS`.
    """

    xy: Array = shaped("N", 2)
    cov: Array = shaped("N", 2, 2)
    flux: Array = shaped("N")
    width: Array = shaped("N", 3)
    peak: Array = shaped("N")
    saturated: Array = shaped("N", dtype=np.int64)
    quality: Array = shaped("N")
    reason: Array = shaped("N", dtype=np.int64)

    def __len__(self) -> int:
        return int(self.xy.shape[0])

    @classmethod
    def none(cls) -> Self:
        """The dots of a dark frame."""
        return cls(
            xy=np.zeros((0, 2)),
            cov=np.zeros((0, 2, 2)),
            flux=np.zeros(0),
            width=np.zeros((0, 3)),
            peak=np.zeros(0),
            saturated=np.zeros(0, int),
            quality=np.zeros(0),
            reason=np.zeros(0, int),
        )

    def good(self) -> Self:
        """Only the dots without a reason against them."""
        keep = self.reason == 0
        return self.replace(
            xy=self.xy[keep],
            cov=self.cov[keep],
            flux=self.flux[keep],
            width=self.width[keep],
            peak=self.peak[keep],
            saturated=self.saturated[keep],
            quality=self.quality[keep],
            reason=self.reason[keep],
        )
