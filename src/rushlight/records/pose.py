"""Poses with their covariance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.records.arrays import Array, ArrayRecord, shaped


@dataclass(frozen=True, eq=False)
class Pose(ArrayRecord):
    """Where frame `b` stands in frame `a`: ``a_from_b``.

    Attributes
    ----------
    a, b
        Names of the two frames.
    translation_m
        (3,) of b's origin in a [m].
    quaternion
        (4,) w, x, y, z; unit length.
    cov
        (6, 6) of translation [m] and small rotation [rad]; NaN when unknown.
    """

    a: str
    b: str
    translation_m: Array = shaped(3)
    quaternion: Array = shaped(4)
    cov: Array = shaped(6, 6, default=np.nan)

    def __post_init__(self) -> None:
        super().__post_init__()
        if abs(float(np.linalg.norm(self.quaternion)) - 1.0) > 1e-6:
            raise ValueError(f"Pose.quaternion: expected unit length, got {self.quaternion}")
