"""What ties camera to display: lens calibration, picture survey, registration."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rushlight.records.document import Document, FloatOrUnknown, Record, Slug

Row = list[FloatOrUnknown]
Matrix = list[Row]


class Verdict(Record):
    """Whether a calibration or registration may be relied on."""

    vouched: bool
    reasons: list[str]


class LensView(Record):
    """One view of the board.

    Attributes
    ----------
    name
        Of its picture.
    used
        Whether the lens rests on it.
    rms_px, held_out_rms_px
        Root-mean-square miss of its corners by the lens, and by the lens of the other views
        alone [px].
    tilt_rad
        Angle of the board to the picture plane [rad].
    share
        Part of the picture that the board's corners enclose [1].
    edge_px
        Blur across the squares' edges, standard deviation [px].
    window_px
        Half-window by which its corners were measured [px].
    """

    name: str
    used: bool
    rms_px: float
    held_out_rms_px: FloatOrUnknown | None = None
    tilt_rad: float
    share: float
    edge_px: float
    window_px: int


class LensCalibration(Document):
    """A camera's intrinsics and distortion.

    Attributes
    ----------
    model
        Brown–Conrady: fx fy cx cy k1 k2 p1 p2 k3.
    params, cov
        (P,) and (P, P) [px for the first four].
    view_rms_px
        (V,) per view that the lens rests on.
    views
        All views, used or not; empty where the calibration came from elsewhere.
    held_out_rms_px
        Root-mean-square miss of views by the lens of the others [px].
    noise_px
        Standard deviation of a corner along each axis [px].
    covered
        Part of the picture in which corners were seen [1].
    doubt_seen_px, doubt_worst_px
        Doubt of the rays, root-mean-square: over that part, and at the worst place of the whole
        picture [px].
    square_m
        Width and height of the board's squares as measured [m]; None for a board not to scale,
        on which the lens does not depend.
    verdict
        Whether it may be relied on; None where nobody judged.
    """

    SCHEMA = "rushlight/lens-calibration"

    camera: Slug
    model: Literal["brown-conrady"] = "brown-conrady"
    params: Annotated[Row, Field(min_length=9, max_length=9)]
    cov: Matrix
    size_px: tuple[int, int]
    view_rms_px: list[float]
    views: list[LensView] = []
    held_out_rms_px: FloatOrUnknown | None = None
    noise_px: FloatOrUnknown | None = None
    covered: float | None = None
    doubt_seen_px: FloatOrUnknown | None = None
    doubt_worst_px: FloatOrUnknown | None = None
    square_m: tuple[float, float] | None = None
    verdict: Verdict | None = None


SurveyKind = Literal["length", "place", "gap"]


def _unset(value: object) -> bool:
    """Left out of the file and its hash, so that surveys without readings keep theirs."""
    return value is None


class SurveyReading(Record):
    """One reading of a picture survey.

    Attributes
    ----------
    kind
        A length between two marks, a coordinate of a mark, or a gap under a straight edge.
    where
        Between which marks, in words.
    read_m, told_m
        As read, and as the survey's result has it [m].
    std_m
        Of the reading, as stated [m].
    score
        What the reading misses the result by, in units of what such a miss should be [1]; NaN
        where nothing checks the reading.
    suspect
        Whether it is probably wrong.
    """

    kind: SurveyKind
    where: str
    read_m: float
    told_m: float
    std_m: float
    score: FloatOrUnknown
    suspect: bool = False


class DisplaySurvey(Document):
    """Display pixels to metres on the surface; by default an exact rectangle.

    Attributes
    ----------
    surface_from_display
        (3, 3) [m from px], display pixels with their origin top-left.
    cov
        (8, 8) of the map [m²], in the order and units of the plane parameters of
        `physics.surface_model`, or None.
    flatness_m, flatness_cov
        (Q,) amplitudes of the flatness modes [m], and (Q, Q) [m²]; or None.
    flatness_rms_m
        Departure from a plane that was expected before the gaps were read [m].
    size_m
        (2,) size of the surface in whose coordinates `cov` and `flatness_m` are told [m].
    display_px
        (2,) columns and rows of the display as they were counted then.
    readings
        That it rests on.
    misfit, freedom
        Sum of squares of the readings' misses in units of their stated doubt, and its degrees
        of freedom.
    verdict
        Whether it may be relied on; None where nobody judged.
    """

    SCHEMA = "rushlight/display-survey"

    surface: Slug
    surface_from_display: Matrix
    cov: Matrix | None = None
    flatness_m: Row | None = None
    flatness_cov: Matrix | None = None
    size_m: tuple[float, float] | None = Field(default=None, exclude_if=_unset)
    flatness_rms_m: float | None = Field(default=None, exclude_if=_unset)
    display_px: tuple[int, int] | None = Field(default=None, exclude_if=_unset)
    readings: list[SurveyReading] | None = Field(default=None, exclude_if=_unset)
    misfit: float | None = Field(default=None, exclude_if=_unset)
    freedom: int | None = Field(default=None, exclude_if=_unset)
    verdict: Verdict | None = Field(default=None, exclude_if=_unset)


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
    carried
        What was held on it, None when not known.
    residual_m, leave_one_out_m
        (2,) mapped minus goal [m]; and as mapped by the other touches alone.
    used
        Whether the fit uses it; if not, both residuals are by the fit without it.
    flux
        Mean light of its dots [grey levels × px]; None where it was not kept.
    """

    goal_m: tuple[float, float]
    px: tuple[float, float]
    px_cov: Matrix
    frames: int
    carried: Slug | None = None
    residual_m: tuple[float, float] | None = None
    leave_one_out_m: tuple[float, float] | None = None
    used: bool = True
    flux: FloatOrUnknown | None = None


class Validity(Record):
    """What the registration holds for; if any of it changes, register anew.

    Attributes
    ----------
    display_px
        Columns and rows of the display when it was made, None where they were not kept: the map
        itself counts metres.
    """

    camera: Slug
    size_px: tuple[int, int]
    surface: Slug
    surface_size_m: tuple[float, float]
    mirrored: bool = False
    survey: str | None = None
    display_px: tuple[int, int] | None = None


class CameraMap(Record):
    """One camera's part of a registration.

    Attributes
    ----------
    camera_matrix, distortion
        (3, 3) [px] and (5,), with the corrections found by the registration.
    surface_from_normalised
        (3, 3) from undistorted normalised image coordinates to the surface [m].
    camera_position_m
        (3,) of the lens, for parallax; z from the plane in which the lights stood [m].
    """

    camera: Slug
    camera_matrix: Matrix
    distortion: Row
    surface_from_normalised: Matrix
    camera_position_m: tuple[float, float, float]


class Registration(Document):
    """Camera to surface, with its doubt.

    Attributes
    ----------
    maps
        One a camera.
    parameters, estimate, cov
        Names, values and joint covariance of the linear model about the maps, in the order and
        units of `physics.surface_model`: plane (8) [m], lens (5) in units of `lens_std` (where
        `lens_corr` is told, in units of the columns of their `lens_spread`), bends (7) in units
        of their expected amplitude. The plane's values are 0: the map holds them.
    lens_std, flatness_rms_m
        What was supposed beforehand: (5,) standard deviations of the lens coefficients [1],
        and the wall's root-mean-square departure from a plane [m]; where a survey told of the
        wall's bends, that was supposed of them instead, and this is but their unit.
    lens_corr
        (5, 5) correlations of the coefficients off the diagonal; None where independent.
    flatness_m
        (Q,) amplitudes of the flatness modes that the map corrects for [m].
    mean_height_m
        Height above the wall at which the emitters stood on average, absorbed in the map [m].
    clock_offset_ns
        One a camera.
    rms_residual_m, expected_rms_m
        Root-mean-square distance of the used touches from their beacons, and what it should be
        if touches, lens and wall are as supposed [m].
    touch_std_m
        How far a touch was supposed to lie from its beacon, by hand and by the way of holding,
        one standard deviation along each axis [m].
    aside_m
        Where each of several styli's touches lie on average, counted from the mean of all that
        the map serves [m]; empty where one stylus registered.
    misfit, freedom
        Sum of squares in units of its expectation, and its degrees of freedom.
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
    lens_std: Row | None = None
    lens_corr: Matrix | None = None
    flatness_rms_m: float | None = None
    expected_rms_m: float | None = None
    misfit: float | None = None
    freedom: int | None = None
    aside_m: dict[Slug, tuple[float, float]] = {}
