"""How two cameras stand to one another, and both their lenses, by photographs of one board."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from pydantic import Field

from rushlight.physics.geometry import matrix_from_quaternion
from rushlight.physics.geometry.rotation import pose_matrix
from rushlight.records.arrays import Array
from rushlight.records.document import Document, Record, Slug
from rushlight.records.registration import Matrix, Row, Verdict


class PairView(Record):
    """One board as both cameras saw it.

    Attributes
    ----------
    names
        Of the two pictures.
    used
        Whether the pair rests on it.
    rms_px
        Root-mean-square miss of its corners in each picture: by the pair, or where it is left
        out, by each camera's own lens [px].
    """

    names: tuple[str, str]
    used: bool
    rms_px: tuple[float, float]


class PairCalibration(Document):
    """Two lenses and how the cameras stand to one another, fitted at once.

    Attributes
    ----------
    cameras
        Ids of the one and of the other.
    params
        Of each the nine fx fy cx cy [px] and k1 k2 p1 p2 k3.
    translation_m, quaternion
        ``other_from_one``: the first camera's place in the second's frame [m], and the rotation,
        scalar first.
    cov
        (24, 24) covariance: lens of the one (9), of the other (9), turn about the other camera's
        axes (3) [rad], shift (3) [m].
    views
        All boards that both cameras saw.
    rms_px, noise_px
        Root-mean-square miss of the used corners, and the standard deviation of a corner along
        each axis that it implies [px].
    square_m
        Width and height of the board's squares, by which the distance is known [m].
    verdict
        Whether it may be relied on.
    """

    SCHEMA = "rushlight/pair-calibration"

    cameras: tuple[Slug, Slug]
    size_px: tuple[tuple[int, int], tuple[int, int]]
    params: tuple[
        Annotated[Row, Field(min_length=9, max_length=9)],
        Annotated[Row, Field(min_length=9, max_length=9)],
    ]
    translation_m: tuple[float, float, float]
    quaternion: tuple[float, float, float, float]
    cov: Matrix
    views: list[PairView]
    rms_px: float
    noise_px: float
    square_m: tuple[float, float]
    verdict: Verdict

    @property
    def other_from_one(self) -> Array:
        """(4, 4) from the first camera's frame to the second's."""
        return pose_matrix(matrix_from_quaternion(self.quaternion), self.translation_m)

    @property
    def distance_m(self) -> tuple[float, float]:
        """How far the cameras stand apart, and its standard deviation [m]."""
        shift = np.array(self.translation_m)
        along = shift / np.linalg.norm(shift)
        variance = along @ np.array(self.cov)[21:, 21:] @ along
        return float(np.linalg.norm(shift)), float(np.sqrt(variance))
