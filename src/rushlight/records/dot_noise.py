"""The noise of a sensor that sends coordinates, learnt from a light at rest."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from rushlight.records.document import Document, FloatOrUnknown, Slug


class DotNoise(Document):
    """How much a sensor's dots scatter while the lights stand still.

    Attributes
    ----------
    camera
        The sensor's id in the rig.
    frames, dots
        Frames looked at, and lights in view.
    duration_s, rate_hz
        Length of the recording [s], and frames a second [Hz]; NaN when unknown.
    cov_px2
        Covariance of a dot's place [px²], rows xx xy, xy yy; at least that of the steps.
    step_px
        Step between the places that the sensor tells, along x and y [px]; NaN when unknown.
    drop_share
        Share of the lights' appearances that are missing, 0 to 1: lost frames and lost dots.
    moved_px
        How far the mean place of a light wandered between the recording's quarters [px]; shows
        that it stood still.
    """

    SCHEMA = "rushlight/dot-noise"

    camera: Slug
    frames: Annotated[int, Field(ge=2)]
    dots: Annotated[int, Field(ge=1)]
    duration_s: FloatOrUnknown
    rate_hz: FloatOrUnknown
    cov_px2: tuple[tuple[float, float], tuple[float, float]]
    step_px: tuple[FloatOrUnknown, FloatOrUnknown]
    drop_share: Annotated[float, Field(ge=0, le=1)]
    moved_px: Annotated[float, Field(ge=0)]
