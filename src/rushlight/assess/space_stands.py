"""Stands: a thing held still for a while, told by the truth, and what the fixes say meanwhile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.assess.space_recording import SpaceRecording, SpaceTrack
from rushlight.physics.geometry.rotation import rotation_vector_from_matrix
from rushlight.physics.uncertainty import rms
from rushlight.records.arrays import Array
from rushlight.records.space_assessment import StandResult

REST_M_S, REST_RAD_S = 5e-3, 0.02
"""Slower than this [m/s], [rad/s] a thing counts as held still; no source."""
LEAST_S = 0.2
"""Shortest stand [s]; no source."""
FEWEST, LEAST_SHARE = 3, 0.5
"""Frames with a fix, and their share of a stand's, below which its errors are not told."""
SAME_M, SAME_RAD = 1e-3, 2e-3
"""Within which two stands are in the same pose [m], [rad]; no source."""


@dataclass(frozen=True, eq=False)
class Stand:
    """One stand.

    Attributes
    ----------
    recording, carried, number
        Which, and which thing, counted from 0.
    frames
        How many frames it has.
    place_m, rotation
        (3,), (3, 3) the true pose, on average.
    found_m, true_m
        (n, 3) fixes and truths of the same moments [m].
    turned_rad
        (n, 3) rotation vectors from truth to fix; NaN where no rotation is told.
    poses
        Whether the thing was solved for its rotation.
    """

    recording: SpaceRecording
    carried: str
    number: int
    frames: int
    place_m: Array
    rotation: Array
    found_m: Array
    true_m: Array
    turned_rad: Array
    poses: bool

    @property
    def n(self) -> int:
        """Frames with a fix."""
        return len(self.found_m)

    @property
    def seen(self) -> bool:
        """Whether enough was seen to tell of errors."""
        return self.n >= FEWEST and self.n >= LEAST_SHARE * self.frames

    @property
    def dropout(self) -> float:
        """Share of frames without a fix."""
        return max(0.0, 1.0 - self.n / self.frames)

    @property
    def off_m(self) -> Array:
        """(n, 3) fix minus truth [m]."""
        return np.asarray(self.found_m - self.true_m)

    @property
    def rms_m(self) -> float:
        """Of the distance [m]; NaN without a fix."""
        if not self.n:
            return float("nan")
        return float(rms(np.linalg.norm(self.off_m, axis=-1)))

    @property
    def turn_rms_rad(self) -> float:
        """Of the angle; NaN without a fix."""
        if not self.n:
            return float("nan")
        return float(rms(np.linalg.norm(self.turned_rad, axis=-1)))

    @property
    def spread_m(self) -> float:
        """Three-dimensional standard deviation [m]; NaN of a single fix."""
        return _spread(self.off_m)

    def result(self) -> StandResult:
        """As it stands in an assessment."""
        nothing = np.full(3, np.nan)
        return StandResult(
            session=self.recording.name,
            cause=self.recording.cause,
            carried=self.carried,
            number=self.number,
            place_m=_three(self.place_m),
            turned_rad=_three(rotation_vector_from_matrix(self.rotation)),
            deviation_m=_three(self.off_m.mean(axis=0) if self.n else nothing),
            turn_deviation_rad=_three(self.turned_rad.mean(axis=0) if self.n else nothing),
            spread_m=self.spread_m,
            turn_spread_rad=_spread(self.turned_rad),
            rms_m=self.rms_m,
            turn_rms_rad=self.turn_rms_rad,
            n=self.n,
            frames=self.frames,
            seen=self.seen,
        )


def _three(values: Array) -> tuple[float, float, float]:
    x, y, z = (float(each) for each in values)
    return x, y, z


def _spread(values: Array) -> float:
    if len(values) < 2:
        return float("nan")
    return float(np.sqrt(np.sum(np.var(values, axis=0, ddof=1))))


def stands_of(recording: SpaceRecording) -> list[Stand]:
    """Every stand of a session whose truth is known."""
    found: list[Stand] = []
    for carried, true in (recording.truth or {}).items():
        track = recording.tracks.get(carried)
        for number, rows in enumerate(rests(true)):
            found.append(_stand(recording, carried, number, true.rows(rows), track))
    return found


def rests(true: SpaceTrack) -> list[Array]:
    """Rows of each stretch in which a thing was held still."""
    if len(true.valid_ns) < 2:
        return []
    step_s = np.diff(true.valid_ns) * 1e-9
    moved = np.linalg.norm(np.diff(true.place_m, axis=0), axis=-1) / step_s
    turned = _turned(true.rotation[1:], true.rotation[:-1])
    turned_s = np.where(np.isfinite(turned).all(axis=-1), np.linalg.norm(turned, axis=-1), 0.0)
    still = (moved < REST_M_S) & (turned_s / step_s < REST_RAD_S)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], still, [False]]).astype(int)))
    runs = [np.arange(a, b + 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return [
        rows for rows in runs if (true.valid_ns[rows[-1]] - true.valid_ns[rows[0]]) >= LEAST_S * 1e9
    ]


def _turned(here: Array, there: Array) -> Array:
    """(N, 3) rotation vectors that take `there` to `here`; NaN where either is unknown."""
    between = here @ np.swapaxes(there, -1, -2)
    known = np.isfinite(between).all(axis=(-2, -1))
    safe = np.where(known[:, None, None], between, np.eye(3))
    return np.where(known[:, None], rotation_vector_from_matrix(safe), np.nan)


def _stand(
    recording: SpaceRecording,
    carried: str,
    number: int,
    true: SpaceTrack,
    track: SpaceTrack | None,
) -> Stand:
    place, rotation = true.place_m.mean(axis=0), true.rotation[len(true.valid_ns) // 2]
    nothing = np.zeros((0, 3))
    if track is None:
        rows = np.zeros(0, int)
    else:
        inside = (track.valid_ns >= true.valid_ns[0]) & (track.valid_ns <= true.valid_ns[-1])
        rows = np.flatnonzero(inside)
    if track is None or not len(rows):
        return Stand(
            recording, carried, number, len(true.valid_ns), place, rotation,
            nothing, nothing, nothing, bool(track and track.poses),
        )  # fmt: skip
    some = track.rows(rows)
    true_m, true_rotation = true.at(some.valid_ns)
    return Stand(
        recording,
        carried,
        number,
        len(true.valid_ns),
        place,
        rotation,
        some.place_m,
        true_m,
        _turned(some.rotation, true_rotation),
        track.poses,
    )


def same_poses(stands: Sequence[Stand]) -> list[list[Stand]]:
    """Stands of one thing in the same pose under one registration, where there are several."""
    groups: list[list[Stand]] = []
    for stand in stands:
        for group in groups:
            if _same(stand, group[0]):
                group.append(stand)
                break
        else:
            groups.append([stand])
    return [group for group in groups if len(group) > 1]


def _same(one: Stand, other: Stand) -> bool:
    if one.carried != other.carried:
        return False
    if one.recording.header.registration != other.recording.header.registration:
        return False
    turned = _turned(one.rotation[None], other.rotation[None])[0]
    return bool(
        np.linalg.norm(one.place_m - other.place_m) <= SAME_M
        and not np.linalg.norm(turned) > SAME_RAD
    )
