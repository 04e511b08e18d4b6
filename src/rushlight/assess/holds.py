"""What each hold at a shown place gave: deviations of the pointer, and frames without a fix.

Who held where is known from the marks, so a fix counts for the hold that it lies nearest to,
whatever name it bears: how true a place is and whether it was named rightly are two questions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.assess.recording import Recording
from rushlight.errors import Finding
from rushlight.records.arrays import Array
from rushlight.records.assessment import PlaceResult
from rushlight.records.rig import Rig
from rushlight.records.session import ShownGoal

SETTLING_SHARE = 0.2
"""Share of each hold left out at its beginning, while the hand comes to rest; no source."""
SEEN_SHARE = 0.5
"""Share of a hold's lit frames that must have a fix for the hold to tell of errors; below it what
is there may be anything but the light. No source."""


@dataclass(frozen=True, eq=False)
class Hold:
    """One hold at one place.

    Attributes
    ----------
    recording, goal
        Where it stands.
    pointer_m, rest_m
        (N, 2) pointer minus truth [m], as drawn on display pixels where these act, and not.
    lit
        Frames in which the light should have been seen.
    misnamed
        Fixes among the N that bore another one's name.
    """

    recording: Recording
    goal: ShownGoal
    pointer_m: Array
    rest_m: Array
    lit: int
    misnamed: int

    @property
    def n(self) -> int:
        """Frames with a fix."""
        return len(self.pointer_m)

    @property
    def seen(self) -> bool:
        """Whether enough was seen to tell of errors."""
        return self.n > 0 and self.n >= SEEN_SHARE * self.lit

    @property
    def bias_m(self) -> Array:
        """(2,) mean deviation [m]; NaN without a fix."""
        return self.pointer_m.mean(axis=0) if self.n else np.full(2, np.nan)

    @property
    def rms_m(self) -> float:
        """Root-mean-square distance [m]; NaN without a fix."""
        return float(np.sqrt(np.mean(np.sum(self.pointer_m**2, axis=1)))) if self.n else np.nan

    @property
    def spread_m(self) -> float:
        """Two-dimensional standard deviation within the hold [m]; NaN below two fixes."""
        return _spread(self.pointer_m)

    @property
    def jitter_m(self) -> float:
        """The same before the pointer is drawn on display pixels [m]."""
        return _spread(self.rest_m)

    @property
    def dropout(self) -> float:
        """Share of the lit frames without a fix; NaN where none was lit."""
        return 1.0 - self.n / self.lit if self.lit else np.nan

    def result(self) -> PlaceResult:
        """As it stands in the document."""
        right, up = self.bias_m
        return PlaceResult(
            session=self.recording.name,
            cause=self.recording.cause,
            carried=self.goal.carried,
            block=self.goal.block,
            trial=self.goal.trial,
            place_m=self.goal.place_m,
            deviation_m=(float(right), float(up)),
            spread_m=self.spread_m,
            rms_m=self.rms_m,
            n=self.n,
            lit=self.lit,
            seen=self.seen,
        )


def _spread(deviation_m: Array) -> float:
    if len(deviation_m) < 2:
        return float("nan")
    # From the first, so that what did not move at all has none, and no trace of rounding.
    moved_m = deviation_m - deviation_m[0]
    return float(np.sqrt(np.sum(np.var(moved_m, axis=0, ddof=1))))


def drawn(xy_m: Array, rig: Rig | None) -> Array:
    """Where a pointer at these places is drawn: on the middle of the nearest display pixel.

    Parameters
    ----------
    xy_m
        (..., 2) [m].
    rig
        Its first surface is the display; without one the places stay as they are.

    Returns
    -------
    (..., 2) [m]
    """
    if rig is None or not rig.surfaces:
        return xy_m
    surface = rig.surfaces[0]
    pitch_m = np.array([surface.width.value, surface.height.value]) / surface.pixels
    return np.asarray((np.floor(xy_m / pitch_m) + 0.5) * pitch_m)


def holds_of(recording: Recording, rig: Rig | None) -> list[Hold]:
    """Every hold of a session.

    The first fifth of each is left out, and half a frame at its end, in which the light may go
    out. Of several fixes of one frame that fall to one hold, the nearest counts.

    Parameters
    ----------
    recording
        With goals.
    rig
        For the display's pixels, or None.
    """
    if len(recording.frame_ns) < 2:
        return []
    period_ns = float(np.median(np.diff(recording.frame_ns)))
    return [_hold(recording, goal, rig, period_ns) for goal in recording.goals]


def _hold(recording: Recording, goal: ShownGoal, rig: Rig | None, period_ns: float) -> Hold:
    start = goal.from_ns + SETTLING_SHARE * (goal.until_ns - goal.from_ns)
    end = goal.until_ns - 0.5 * period_ns
    times = recording.frame_ns
    times = times[(times >= start) & (times <= end)]
    if recording.truth is not None:
        true = recording.truth.get(goal.carried)
        times = times[true.at(times)[1]] if true else times[:0]
    xy, valid_ns, capture_ns, named = _fixes_at(recording, goal, times)
    target = target_of(recording, goal, valid_ns)
    rows = _nearest_each(recording, goal, xy, target, valid_ns, capture_ns)
    xy, target = xy[rows], target[rows]
    pointer = drawn(xy, rig) if recording.pixels_act else xy
    return Hold(
        recording, goal, pointer - target, xy - target, len(times), int(np.sum(~named[rows]))
    )


def _fixes_at(
    recording: Recording, goal: ShownGoal, times: Array
) -> tuple[Array, Array, Array, Array]:
    """Fixes of any name at these frames: places, moments, capture times, rightly named."""
    parts = [(np.zeros((0, 2)), np.zeros(0, int), np.zeros(0, int), np.zeros(0, bool))]
    for carried, track in recording.tracks.items():
        rows = np.flatnonzero(np.isin(track.capture_ns, times))
        named = np.full(len(rows), carried == goal.carried)
        parts.append((track.xy_m[rows], track.valid_ns[rows], track.capture_ns[rows], named))
    xy, valid_ns, capture_ns, named = (np.concatenate(each) for each in zip(*parts, strict=True))
    return xy, valid_ns, capture_ns, named


def target_of(recording: Recording, goal: ShownGoal, time_ns: Array) -> Array:
    """Where the tip truly was, or else the mark that it was to be on: (N, 2) [m]."""
    true = (recording.truth or {}).get(goal.carried)
    if true is None:
        return np.broadcast_to(np.asarray(goal.place_m), (len(time_ns), 2))
    return true.at(time_ns)[0]


def _nearest_each(
    recording: Recording,
    goal: ShownGoal,
    xy_m: Array,
    target_m: Array,
    time_ns: Array,
    capture_ns: Array,
) -> Array:
    """Rows of the fixes that fall to this hold, one a frame."""
    own = np.linalg.norm(xy_m - target_m, axis=1)
    keep: Array = np.isfinite(own)
    for other in recording.goals:
        if other.carried == goal.carried:
            continue
        held = (time_ns >= other.from_ns) & (time_ns <= other.until_ns)
        if held.any():
            their = np.linalg.norm(xy_m - target_of(recording, other, time_ns), axis=1)
            keep = keep & ~(held & (their < own))
    rows = np.flatnonzero(keep)
    rows = rows[np.lexsort((own[rows], capture_ns[rows]))]
    return rows[np.unique(capture_ns[rows], return_index=True)[1]]


def hold_findings(holds: Sequence[Hold]) -> list[Finding]:
    """What to know of the holds of all sessions, with the session where it is worst.

    Parameters
    ----------
    holds
        Any number.
    """
    found = [
        _counted(
            holds, "place-unseen", "holds", [bool(each.lit) and not each.seen for each in holds],
            [1] * len(holds),
            "gave a fix in fewer than half their frames, and count against coverage and dropouts "
            "but not as an error", "look whether the places are in view or hidden by a body",
        ),
        _counted(
            holds, "hold-empty", "holds", [not each.lit for each in holds], [1] * len(holds),
            "have no frame with the light on and count for nothing",
            "hold longer, or let the mark stand until it was touched",
        ),
        _counted(
            holds, "misnamed", "fixes", [each.misnamed for each in holds],
            [each.n for each in holds],
            "bear the name of another carried thing, which the errors here do not count",
            "begin with the things apart, or one after the other",
        ),
    ]  # fmt: skip
    bare = sorted({hold.recording.name for hold in holds if hold.recording.truth is None})
    if bare:
        found.append(
            Finding(
                "warning", "hand-mixed-in", ", ".join(bare), "",
                "without truth beside it mixes in the hand's own error",
                "set the tip by a jig, or give --truth, to judge the rig alone",
            )
        )  # fmt: skip
    return [each for each in found if each is not None]


def _counted(
    holds: Sequence[Hold],
    code: str,
    what: str,
    counts: Sequence[int],
    of: Sequence[int],
    allowed: str,
    remedy: str,
) -> Finding | None:
    if not sum(counts):
        return None
    by_session: dict[str, int] = {}
    for hold, count in zip(holds, counts, strict=True):
        by_session[hold.recording.name] = by_session.get(hold.recording.name, 0) + count
    worst = max(by_session, key=lambda name: by_session[name])
    given = f"{sum(counts)} of {sum(of)}, most in {worst}"
    return Finding("warning", code, f"grid: {what}", given, allowed, remedy)
