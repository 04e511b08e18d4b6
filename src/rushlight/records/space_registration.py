"""What ties the cameras of a rig of space to the rig and to one another, with its doubt."""

from __future__ import annotations

from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from rushlight.physics.geometry import matrix_from_quaternion
from rushlight.physics.geometry.rotation import pose_matrix
from rushlight.records.arrays import Array
from rushlight.records.document import Document, FloatOrUnknown, Record, Slug
from rushlight.records.registration import Matrix, Row, Verdict
from rushlight.records.space_plan import Point, SpaceMethod

CAMERA_NUMBERS = 15
"""Numbers of each camera in a covariance: six of its place and angles as steps in the order of
`rushlight.physics.geometry.pose_moved`, then nine of its lens as in `LENS_PARAMETERS`."""


class SpaceCamera(Record):
    """One camera as registered.

    Attributes
    ----------
    size_px
        Columns and rows of its pictures.
    camera_matrix, distortion
        (3, 3) [px], and (5,) k1 k2 p1 p2 k3 [1].
    translation_m, quaternion
        ``rig_from_camera``: its place in the rig [m], and its rotation, scalar first.
    clock_offset_ns, clock_std_ns
        How far its clock runs ahead of the first camera's: subtract it from its times [ns]; and
        one standard deviation, None where it was not sought.
    """

    camera: Slug
    size_px: tuple[int, int]
    camera_matrix: Matrix
    distortion: Annotated[Row, Field(min_length=5, max_length=5)]
    translation_m: Point
    quaternion: tuple[float, float, float, float]
    clock_offset_ns: int = 0
    clock_std_ns: float | None = None

    @property
    def K(self) -> Array:
        """(3, 3) camera matrix [px]."""
        return np.array(self.camera_matrix, float)

    @property
    def k(self) -> Array:
        """(5,) lens coefficients."""
        return np.array(self.distortion, float)

    @property
    def rig_from_camera(self) -> Array:
        """(4, 4) where it stands in the rig."""
        return pose_matrix(matrix_from_quaternion(self.quaternion), self.translation_m)


class SpaceRow(Record):
    """What one look, placing or frame of a swing left over.

    Attributes
    ----------
    kind
        ``look``, ``placing``, or ``frame`` of a swing.
    carried
        What was worn, placed or swung.
    from_ns, until_ns
        First and last frame that count, on the first camera's clock [ns].
    mark_m, far_m
        The near mark of a look and the far one; the mark of a placing, and None; both None for a
        frame [m].
    cameras, dots, frames
        Which cameras saw it, how many dots, and over how many frames each is averaged.
    rms_px, expected_px
        Root-mean-square distance of the dots from where the fit has them, and what it should be
        if everything is as supposed [px].
    off_mm
        How far the point lies from its mark, or from its line past two marks, by the other rows
        alone [mm]; for a frame how far the bar's length is off. None where that is not told.
    used
        Whether the registration rests on it.
    """

    kind: Literal["look", "placing", "frame"]
    carried: Slug
    from_ns: int
    until_ns: int
    mark_m: Point | None = None
    far_m: Point | None = None
    cameras: list[Slug]
    dots: int
    frames: int
    rms_px: FloatOrUnknown
    expected_px: FloatOrUnknown
    off_mm: FloatOrUnknown | None = None
    used: bool = True


class LengthCheck(Record):
    """A distance between two lights, as told and as found without trusting what was told.

    Attributes
    ----------
    carried, lights
        On which thing, between which of its lights.
    told_m, told_std_m
        As the rig's document has it, with its deviation [m].
    found_m, std_m
        As the registration finds it, with its deviation [m]; NaN where it cannot tell.
    agrees
        Whether both agree within their doubts; None where the check tells too little to judge.
    """

    carried: Slug
    lights: tuple[Slug, Slug]
    told_m: float
    told_std_m: float
    found_m: FloatOrUnknown
    std_m: FloatOrUnknown
    agrees: bool | None


class SpaceRegistration(Document):
    """The cameras of a viewpoint, body or volume rig: where they stand, with their doubt.

    Attributes
    ----------
    rig
        Content hash of the rig.
    kinds
        Of the rig, those in space.
    method
        ``looks`` past marks, ``placings`` on marks, a ``swing`` of the scale bar, or measured
        ``mounting`` alone; or a calibrated ``pair`` of cameras alone.
    cameras
        In the order of the rig's.
    cov
        (15 C, 15 C) joint covariance: of each camera six steps of its place and angles [m, rad],
        then the nine numbers of its lens. The first camera of a rig of kind volume alone defines
        the rig's frame: its six are 0.
    rows
        Each look, placing or frame of a swing.
    lengths
        Distances between lights, found against told.
    rms_px, expected_px
        Root-mean-square distance of the used dots from where the fit has them, and what it
        should be if everything is as supposed [px]; None where no dots were used.
    misfit, freedom
        Sum of squares in units of its expectation, beliefs included, and its degrees of freedom.
    verdict
        Whether it may be relied on, and why.
    """

    SCHEMA = "rushlight/space-registration"

    rig: str
    kinds: list[str]
    method: SpaceMethod | Literal["pair"]
    cameras: Annotated[list[SpaceCamera], Field(min_length=1)]
    cov: Matrix
    rows: list[SpaceRow] = []
    lengths: list[LengthCheck] = []
    rms_px: FloatOrUnknown | None = None
    expected_px: FloatOrUnknown | None = None
    misfit: float | None = None
    freedom: int | None = None
    verdict: Verdict

    @property
    def K(self) -> Array:
        """(C, 3, 3) camera matrices [px]."""
        return np.stack([each.K for each in self.cameras])

    @property
    def k(self) -> Array:
        """(C, 5) lens coefficients."""
        return np.stack([each.k for each in self.cameras])

    @property
    def rig_from_camera(self) -> Array:
        """(C, 4, 4) where the cameras stand in the rig."""
        return np.stack([each.rig_from_camera for each in self.cameras])

    @property
    def cov_array(self) -> Array:
        """(15 C, 15 C) the joint covariance."""
        return np.array(self.cov, float)

    @property
    def clock_offset_ns(self) -> Array:
        """(C,) how far each clock runs ahead of the first camera's [ns]."""
        return np.array([each.clock_offset_ns for each in self.cameras], np.int64)

    def index(self, camera: str) -> int:
        """Place of a camera in the order of the cameras.

        Raises
        ------
        KeyError
            When it has no such camera.
        """
        names = [each.camera for each in self.cameras]
        if camera not in names:
            raise KeyError(camera)
        return names.index(camera)
