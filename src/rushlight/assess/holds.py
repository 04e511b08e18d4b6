"""What each hold at a shown place gave: deviations of the pointer, and frames without a fix."""

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
STRANGE_M = 0.05
"""A fix this far off that lies nearer to another one's place bears the wrong name; no source."""


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
        Fixes that bore another one's name; they count as not found.
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
        return 1.0 - min(self.n, self.lit) / self.lit if self.lit else np.nan

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
        )


def _spread(deviation_m: Array) -> float:
    if len(deviation_m) < 2:
        return float("nan")
    return float(np.sqrt(np.sum(np.var(deviation_m, axis=0, ddof=1))))


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
    return (np.floor(xy_m / pitch_m) + 0.5) * pitch_m


def holds_of(recording: Recording, rig: Rig | None) -> list[Hold]:
    """Every hold of a session.

    The first fifth of each is left out, and the last frame's breadth, in which the light may
    go out half-way.

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
    track = recording.tracks.get(goal.carried)
    none = np.zeros((0, 2))
    if track is None:
        return Hold(recording, goal, none, none, len(times), 0)
    rows = np.flatnonzero(np.isin(track.capture_ns, times))
    xy, target = track.xy_m[rows], _target(recording, goal, track.valid_ns[rows])
    own = _is_own(recording, goal, xy, target, track.valid_ns[rows])
    xy, target = xy[own], target[own]
    pointer = drawn(xy, rig) if recording.pixels_act else xy
    return Hold(recording, goal, pointer - target, xy - target, len(times), int(np.sum(~own)))


def _target(recording: Recording, goal: ShownGoal, time_ns: Array) -> Array:
    """Where the tip truly was, or else the mark that it was to be on: (N, 2) [m]."""
    true = (recording.truth or {}).get(goal.carried)
    if true is None:
        return np.broadcast_to(np.asarray(goal.place_m), (len(time_ns), 2))
    return true.at(time_ns)[0]


def _is_own(
    recording: Recording, goal: ShownGoal, xy_m: Array, target_m: Array, time_ns: Array
) -> Array:
    """Which fixes lie where this one was, rather than where another one was: (N,) bool."""
    own = np.linalg.norm(xy_m - target_m, axis=1)
    keep = np.isfinite(own)
    if len(time_ns) == 0:
        return keep
    for other in recording.goals:
        together = other.from_ns <= time_ns[-1] and other.until_ns >= time_ns[0]
        if other.carried == goal.carried or not together:
            continue
        their = np.linalg.norm(xy_m - _target(recording, other, time_ns), axis=1)
        keep &= ~((own > STRANGE_M) & (their < own))
    return keep


def hold_findings(holds: Sequence[Hold]) -> list[Finding]:
    """What to know of the holds of one session."""
    if not holds:
        return []
    name = holds[0].recording.name
    found = []
    if holds[0].recording.truth is None:
        found.append(
            Finding(
                "warning", "hand-mixed-in", name, "",
                "has no truth beside it, so that the hand's own error is mixed in",
                "set the tip by a jig, or give --truth, to judge the rig alone",
            )
        )  # fmt: skip
    unseen = [hold for hold in holds if hold.lit and not hold.n]
    if unseen:
        found.append(
            Finding(
                "warning", "place-unseen", name, f"{len(unseen)} of {len(holds)} holds",
                "gave no fix, so that they count against coverage and dropouts, and no error",
                "look whether the places are in view or hidden by a body",
            )
        )  # fmt: skip
    unlit = sum(not hold.lit for hold in holds)
    if unlit:
        found.append(
            Finding(
                "warning", "hold-empty", name, f"{unlit} of {len(holds)} holds",
                "held no frame with the light on and count for nothing",
                "hold longer, or let the mark stand until it was touched",
            )
        )  # fmt: skip
    misnamed = sum(hold.misnamed for hold in holds)
    if misnamed:
        found.append(
            Finding(
                "warning", "misnamed", name, f"{misnamed} fixes",
                "bore the name of another carried thing and count as not found",
                "begin with the things apart, or one after the other",
            )
        )  # fmt: skip
    return found
