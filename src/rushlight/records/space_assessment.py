"""What sessions of a rig of space showed, stand by stand, trial by trial."""

from __future__ import annotations

from rushlight.records.document import Basis, FloatOrUnknown, Record

Three = tuple[FloatOrUnknown, FloatOrUnknown, FloatOrUnknown]


class StandResult(Record):
    """What one stand showed: a thing that was held still for a while.

    Attributes
    ----------
    cause
        As in `Figure`; None when several but not all causes acted.
    place_m, turned_rad
        Where its point truly was in the rig [m], and the rotation vector of the thing [rad].
    deviation_m, turn_deviation_rad
        Mean of fix minus truth [m], and mean rotation from truth to fix [rad]: the systematic
        part; NaN where no rotation is told.
    spread_m, turn_spread_rad
        Three-dimensional standard deviations within the stand: the random part.
    rms_m, turn_rms_rad
        Root-mean-square distance, and angle, of fix and truth.
    n, frames
        Frames with a fix, and frames of the stand.
    seen
        Whether enough frames have a fix for the stand to count among the errors.
    """

    session: str
    cause: str | None
    carried: str
    number: int
    place_m: Three
    turned_rad: Three
    deviation_m: Three
    turn_deviation_rad: Three
    spread_m: FloatOrUnknown
    turn_spread_rad: FloatOrUnknown
    rms_m: FloatOrUnknown
    turn_rms_rad: FloatOrUnknown
    n: int
    frames: int
    seen: bool


class ViewTrial(Record):
    """One trial of the view task: a near mark held in line with a far one.

    Attributes
    ----------
    session
        Whose tracking errors it met.
    near_m, far_m
        The two marks in the rig [m].
    error_rad
        Angle at the true eye between the marks where they should be, when the hand took them to
        be in line [rad].
    time_s
        From the start until it did [s]; NaN when it never did.
    perfect_error_rad, perfect_time_s
        The same hand's with an eye that is found exactly and without delay.
    basis
        Simulated: the hand is invented.
    """

    session: str
    near_m: Three
    far_m: Three
    error_rad: FloatOrUnknown
    time_s: FloatOrUnknown
    perfect_error_rad: FloatOrUnknown
    perfect_time_s: FloatOrUnknown
    basis: Basis


class LengthResult(Record):
    """A length found by the rig beside the length told.

    Attributes
    ----------
    told_m, found_m
        [m], the found one a mean over the frames.
    spread_m
        Standard deviation over the frames [m].
    n
        Frames in which both ends were found.
    """

    session: str
    carried: str
    told_m: float
    found_m: FloatOrUnknown
    spread_m: FloatOrUnknown
    n: int
