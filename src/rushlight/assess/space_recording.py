"""Sessions of a rig of space and their truth: where things were, and how they were turned."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

import numpy as np

from rushlight.assess.recording import Recorded, Role, among, check_role, check_session, read_all
from rushlight.keep.session import SessionReader
from rushlight.physics.geometry import matrix_from_quaternion
from rushlight.records.arrays import Array
from rushlight.records.assessment import SessionKind
from rushlight.records.figure import SPACE_CAUSES, Cause


@dataclass(frozen=True, eq=False)
class SpaceTrack:
    """One carried thing over time.

    Attributes
    ----------
    capture_ns, valid_ns, map_ns
        (N,) as in `Fix` [ns].
    place_m
        (N, 3) of its point that counts [m].
    quaternion
        (N, 4), NaN where no rotation is told.
    poses
        Whether it was solved for its rotation too.
    second
        (N,) weight of the likeliest pose beside the one that was taken [1]; 0 for none.
    """

    capture_ns: Array
    valid_ns: Array
    map_ns: Array
    place_m: Array
    quaternion: Array
    poses: bool
    second: Array

    def rows(self, rows: Array) -> SpaceTrack:
        """Some of its rows, in order."""
        return SpaceTrack(
            self.capture_ns[rows],
            self.valid_ns[rows],
            self.map_ns[rows],
            self.place_m[rows],
            self.quaternion[rows],
            self.poses,
            self.second[rows],
        )

    @property
    def rotation(self) -> Array:
        """(N, 3, 3), NaN where no rotation is told."""
        return rotation_of(self.quaternion)

    def at(self, time_ns: Array) -> tuple[Array, Array]:
        """Where it was and how it was turned.

        Parameters
        ----------
        time_ns
            (M,) [ns].

        Returns
        -------
        place_m, rotation
            (M, 3) [m] and (M, 3, 3), straight between neighbours; NaN where the track is silent.
        """
        if len(self.valid_ns) < 2:
            return np.full((len(time_ns), 3), np.nan), np.full((len(time_ns), 3, 3), np.nan)
        when = among(self.valid_ns, time_ns)
        flips = np.cumsum(np.sum(self.quaternion[1:] * self.quaternion[:-1], axis=-1) < 0.0) % 2
        sign = np.concatenate([[1.0], 1.0 - 2.0 * flips])
        return when.between(self.place_m), rotation_of(
            when.between(self.quaternion * sign[:, None])
        )


def rotation_of(quaternion: Array) -> Array:
    """(N, 3, 3) of quaternions (N, 4) of any length; NaN where they are."""
    norm = np.linalg.norm(quaternion, axis=-1, keepdims=True)
    known = np.isfinite(norm[..., 0]) & (norm[..., 0] > 0.0)
    unit = np.where(known[:, None], quaternion, [1.0, 0.0, 0.0, 0.0])
    unit = unit / np.linalg.norm(unit, axis=-1, keepdims=True)
    return np.where(known[:, None, None], matrix_from_quaternion(unit), np.nan)


@dataclass(frozen=True, eq=False)
class SpaceRecording(Recorded):
    """A session of things in space; see `Recorded`."""

    all_causes: ClassVar[tuple[Cause, ...]] = SPACE_CAUSES

    tracks: Mapping[str, SpaceTrack]
    truth: Mapping[str, SpaceTrack] | None = None
    path: Path = Path()

    @property
    def kind(self) -> SessionKind:
        """What was done, told by the script's name; real footage has none."""
        script = self.header.script
        return script if script in ("places", "still", "swing") else "motion"  # type: ignore[return-value]


def is_of_space(path: Path) -> bool:
    """Whether a session holds places or poses in space."""
    with SessionReader(Path(path)) as reader:
        dimensions = reader.fix_table()["dimensions"]
    return bool(len(dimensions)) and bool(np.any(dimensions != 2))


def read_space_recordings(sessions: Sequence[Path], truths: Sequence[Path]) -> list[SpaceRecording]:
    """Sessions, each with its truth where one is given; as `recording.read_recordings`."""
    return read_all(sessions, truths, _read)


def _read(path: Path, role: Role) -> SpaceRecording:
    with SessionReader(Path(path)) as reader:
        check_role(reader, path, role)
        frames, fixes = reader.frame_table(), reader.fix_table()
        seed = reader.header.header.seed if reader.header.header else None
        recording = SpaceRecording(
            name=Path(path).name,
            header=reader.header,
            basis=reader.basis,
            closed=reader.closed,
            frame_ns=np.unique(frames["capture_ns"]),
            events=tuple(sorted(reader.events(), key=lambda event: event.time_ns)),
            truth_seed=seed,
            path=Path(path),
            tracks=_tracks(fixes),
        )
    if role == "session":
        check_session(recording, str(path))
    return recording


def _tracks(fixes: Mapping[str, Array]) -> dict[str, SpaceTrack]:
    place = np.stack([fixes[f"{axis}_m"] for axis in "xyz"], axis=-1)
    four = np.stack([fixes[f"q{axis}"] for axis in "wxyz"], axis=-1)
    known = np.isfinite(place).all(axis=-1) & ~fixes["predicted"].astype(bool)
    tracks = {}
    for carried in sorted(set(fixes["carried"][known].tolist())):
        rows = np.flatnonzero(known & (fixes["carried"] == carried))
        rows = rows[np.argsort(fixes["valid_ns"][rows], kind="stable")]
        tracks[carried] = SpaceTrack(
            capture_ns=fixes["capture_ns"][rows],
            valid_ns=fixes["valid_ns"][rows],
            map_ns=fixes["map_ns"][rows],
            place_m=place[rows],
            quaternion=four[rows],
            poses=bool(np.all(fixes["dimensions"][rows] == 6)),
            second=np.array(
                [max(json.loads(told)[1:], default=0.0) for told in fixes["hypotheses"][rows]]
            ),
        )
    return tracks
