"""How smoothing settings did on a recording: jitter against lag, and which were chosen."""

from __future__ import annotations

from typing import Literal

from rushlight.errors import Finding
from rushlight.records.document import Basis, Document, Record


class TunedPoint(Record):
    """One filter with one setting, as measured on the recording.

    Attributes
    ----------
    cutoff_hz, speed_gain, agility_px2_s3
        As in `Smoothing`; None where the filter has no such setting.
    jitter, jitter_low, jitter_high
        Root-mean-square distance from the mean in stretches at rest, in the document's unit.
    lag_ms, lag_low_ms, lag_high_ms
        Shift in time that best lays the smoothed trail on the raw one in moving stretches [ms].
    slow_lag_ms
        The same shift on the slowest third of the pieces of motion, None where there are few.
    stray, stray_ms
        Root-mean-square distance that is left after that shift, in the document's unit; and in
        time at the root-mean-square speed [ms].
    late_ms
        The greatest of lag (upper end), slow lag and stray: what a limit is held against [ms].
    front
        Whether nothing that was tried is both steadier and less late.
    """

    filter: Literal["none", "one-euro", "kalman"]
    cutoff_hz: float | None = None
    speed_gain: float | None = None
    agility_px2_s3: float | None = None
    jitter: float
    jitter_low: float | None
    jitter_high: float | None
    lag_ms: float
    lag_low_ms: float | None
    lag_high_ms: float | None
    slow_lag_ms: float | None
    stray: float
    stray_ms: float
    late_ms: float
    front: bool


class AheadRow(Record):
    """How far off moving things are a while ahead, in the document's unit.

    Attributes
    ----------
    ahead_ms
        How far ahead [ms].
    held, foretold
        Root-mean-square distance of the later measured place from the last measured one, and
        from the foretold one.
    foretold_low, foretold_high
        Interval of the latter.
    stated
        Root-mean-square distance that the foretold covariance and the later dot's own doubt
        let expect.
    n
        Places compared.
    """

    ahead_ms: float
    held: float
    foretold: float
    foretold_low: float | None
    foretold_high: float | None
    stated: float
    n: int


class Tuning(Document):
    """Jitter against lag of many settings on one recording, and the chosen one.

    Attributes
    ----------
    session
        Name of its file.
    unit
        mm where the session's own fixes tell a map of the surface, else px.
    map_misfit_mm
        Root-mean-square distance of that map from the session's fixes, None in px.
    dots, rest_stretches, rest_s, moving_stretches, moving_s
        What was measured: dots taken, stretches, and their length [s].
    noise_px
        Noise of a raw dot along each axis, from third differences [px].
    rest_below_px_s, moving_above_px_s
        Speeds that tell rest and motion [px/s].
    moving_speed
        Root-mean-square speed in moving stretches [unit/s].
    rules
        How all this was found and chosen, in words.
    most_lag_ms
        The user's limit, None for the knee.
    points, chosen
        All that was tried, and the index of the choice; ``now`` is the index of the defaults of
        the filter with which the session was run.
    ahead
        What foretelling would do on this recording.
    """

    SCHEMA = "rushlight/tuning"

    session: str
    basis: Basis
    unit: Literal["mm", "px"]
    map_misfit_mm: float | None
    dots: int
    rest_stretches: int
    rest_s: float
    moving_stretches: int
    moving_s: float
    noise_px: float
    rest_below_px_s: float
    moving_above_px_s: float
    moving_speed: float
    rules: list[str]
    most_lag_ms: float | None
    points: list[TunedPoint]
    chosen: int
    now: int
    ahead: list[AheadRow]
    findings: list[Finding]
