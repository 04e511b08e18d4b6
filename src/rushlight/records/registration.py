"""What ties camera to display: lens calibration, picture survey, registration."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rushlight.records.document import Document, FloatOrUnknown, Record, Slug

Row = list[FloatOrUnknown]
Matrix = list[Row]


class LensCalibration(Document):
    """A camera's intrinsics and distortion.

    Attributes
    ----------
    model
        Brown–Conrady: fx fy cx cy k1 k2 p1 p2 k3.
    params, cov
        (P,) and (P, P) [px for the first four].
    view_rms_px
        (V,) per view.
    """

    SCHEMA = "rushlight/lens-calibration"

    camera: Slug
    model: Literal["brown-conrady"] = "brown-conrady"
    params: Annotated[Row, Field(min_length=9, max_length=9)]
    cov: Matrix
    size_px: tuple[int, int]
    view_rms_px: list[float]


class DisplaySurvey(Document):
    """Display pixels to metres on the surface; by default an exact rectangle.

    Attributes
    ----------
    surface_from_display
        (3, 3) [m from px], display pixels with their origin top-left.
    cov
        (8, 8) of the map, or None.
    flatness_m, flatness_cov
        (Q,) amplitudes of the flatness modes [m], and (Q, Q); or None.
    """

    SCHEMA = "rushlight/display-survey"

    surface: Slug
    surface_from_display: Matrix
    cov: Matrix | None = None
    flatness_m: Row | None = None
    flatness_cov: Matrix | None = None


class Touch(Record):
    """One beacon held during registration.

    Attributes
    ----------
    goal_m
        Place of the beacon on the surface [m].
    px, px_cov
        (2,) dot in the picture [px], and (2, 2) covariance of its mean [px²].
    frames
        Number of frames averaged.
    residual_m, leave_one_out_m
        (2,) goal minus mapped [m]; and as predicted by the other touches alone.
    used
        Whether the fit uses it.
    """

    goal_m: tuple[float, float]
    px: tuple[float, float]
    px_cov: Matrix
    frames: int
    residual_m: tuple[float, float] | None = None
    leave_one_out_m: tuple[float, float] | None = None
    used: bool = True


class Validity(Record):
    """What the registration holds for; if any of it changes, register anew."""

    camera: Slug
    size_px: tuple[int, int]
    surface: Slug
    surface_size_m: tuple[float, float]
    mirrored: bool = False
    survey: str | None = None


class CameraMap(Record):
    """One camera's part of a registration.

    Attributes
    ----------
    camera_matrix, distortion
        (3, 3) [px] and (5,), with the corrections found by the registration.
    surface_from_normalised
        (3, 3) from undistorted normalised image coordinates to the surface [m].
    camera_position_m
        (3,) of the lens in the surface frame, for parallax.
    """

    camera: Slug
    camera_matrix: Matrix
    distortion: Row
    surface_from_normalised: Matrix
    camera_position_m: tuple[float, float, float]


class Verdict(Record):
    """Whether the registration may be relied on."""

    vouched: bool
    reasons: list[str]


class Registration(Document):
    """Camera to surface, with its doubt.

    Attributes
    ----------
    maps
        One a camera.
    parameters, estimate, cov
        Names, values and joint covariance of the linear model about the maps: plane (8, in
        centred surface coordinates scaled by half the surface's larger side), lens (k1, k2),
        flatness modes [m].
    flatness_m
        (Q,) amplitudes of the flatness modes that the map corrects for [m].
    mean_height_m
        Height above the wall at which the emitters stood on average, absorbed in the map [m].
    clock_offset_ns
        One a camera.
    """

    SCHEMA = "rushlight/registration"

    maps: list[CameraMap]
    parameters: list[str]
    estimate: Row
    cov: Matrix
    flatness_m: Row
    mean_height_m: float
    clock_offset_ns: list[int]
    touches: list[Touch]
    valid_for: Validity
    rms_residual_m: float
    touch_std_m: float
    verdict: Verdict
