"""Sessions and their truth, read whole and checked before anything is made of them."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, ClassVar, Literal, NamedTuple, TypeVar

import numpy as np

from rushlight.errors import RushlightError
from rushlight.keep.session import SessionReader
from rushlight.records.arrays import Array
from rushlight.records.assessment import AssessedSession, SessionKind
from rushlight.records.document import Basis
from rushlight.records.figure import CAUSE_WORDS, ERROR_CAUSES, Cause
from rushlight.records.session import Event, SessionHeader, ShownGoal

Role = Literal["session", "truth"]
R = TypeVar("R", bound="Recorded")

GREATEST_GAP = 2.5
"""Frame periods that truth may be silent before a place between two rows counts as unknown."""


@dataclass(frozen=True, eq=False)
class Track:
    """One carried thing over time.

    Attributes
    ----------
    capture_ns, valid_ns, map_ns, trail
        (N,) as in `Fix` [ns]; map_ns and trail are −1 where unknown.
    xy_m
        (N, 2) [m].
    lit
        (N,) whether its light was on.
    """

    capture_ns: Array
    valid_ns: Array
    map_ns: Array
    trail: Array
    xy_m: Array
    lit: Array

    def rows(self, rows: Array) -> Track:
        """Some of its rows, in order."""
        return Track(
            self.capture_ns[rows],
            self.valid_ns[rows],
            self.map_ns[rows],
            self.trail[rows],
            self.xy_m[rows],
            self.lit[rows],
        )

    def at(self, time_ns: Array) -> tuple[Array, Array]:
        """Where it was, and whether it was lit.

        Parameters
        ----------
        time_ns
            (M,) [ns].

        Returns
        -------
        xy_m
            (M, 2) [m], straight between neighbours; NaN where the track is silent.
        lit
            (M,) of the neighbour nearest in time; False where the track is silent.
        """
        if len(self.valid_ns) < 2:
            return np.full((len(time_ns), 2), np.nan), np.zeros(len(time_ns), bool)
        when = among(self.valid_ns, time_ns)
        return when.between(self.xy_m), self.lit[when.near] & when.known


class Among(NamedTuple):
    """How moments stand to those of a track.

    Fields
    ------
    have, wanted : (N,), (M,) from the track's first moment [ns]
    near : (M,) index of the nearest
    known : (M,) whether the track is not silent then
    """

    have: Array
    wanted: Array
    near: Array
    known: Array

    def between(self, values: Array) -> Array:
        """(M, K) of values (N, K), straight between neighbours; NaN where it is silent."""
        found = [np.interp(self.wanted, self.have, each) for each in np.transpose(values)]
        return np.where(self.known[:, None], np.stack(found, axis=-1), np.nan)


def among(have_ns: Array, time_ns: Array) -> Among:
    """How moments (M,) stand to those of a track (N,), N ≥ 2 [ns]."""
    start = have_ns[0]
    have, wanted = (have_ns - start).astype(float), (time_ns - start).astype(float)
    period = float(np.median(np.diff(have)))
    after = np.clip(np.searchsorted(have, wanted), 1, len(have) - 1)
    before = after - 1
    near = np.where(wanted - have[before] <= have[after] - wanted, before, after)
    gap = np.where(
        (wanted >= have[0]) & (wanted <= have[-1]),
        have[after] - have[before],
        np.abs(wanted - have[near]),
    )
    return Among(have, wanted, near, gap <= GREATEST_GAP * period)


@dataclass(frozen=True, eq=False)
class Recorded(ABC):
    """A session with what is known of the truth behind it, wherever its places lie.

    Attributes
    ----------
    name
        Of the file.
    frame_ns
        (F,) capture times, each once, in order [ns].
    tracks
        By carried thing; coasted fixes and such without a place left out.
    events
        In order of time.
    truth, truth_events, truth_seed
        Of the truth file, or None.
    """

    all_causes: ClassVar[tuple[Cause, ...]] = ERROR_CAUSES

    name: str
    header: SessionHeader
    basis: Basis
    closed: bool
    frame_ns: Array
    tracks: Mapping[str, Any]
    events: tuple[Event, ...]
    truth: Mapping[str, Any] | None = None
    truth_events: tuple[Event, ...] = ()
    truth_seed: int | None = None

    @property
    @abstractmethod
    def kind(self) -> SessionKind:
        """What was done."""

    @property
    def cause(self) -> Cause | None:
        """The one cause that acted, "all" when everything did, None for a mixture or nothing."""
        causes = self.header.causes
        if causes is None or set(causes) >= set(self.all_causes):
            return "all"
        return causes[0] if len(causes) == 1 else None  # type: ignore[return-value]

    @property
    def cause_word(self) -> str:
        """The causes that acted, in words."""
        if self.cause is not None:
            return CAUSE_WORDS.get(self.cause, self.cause)
        words = [CAUSE_WORDS.get(each, each) for each in self.header.causes or ()]
        return " and ".join(words) or "no cause switched on"

    def summary(self) -> AssessedSession:
        """What is worth telling of it."""
        spanned = float(self.frame_ns[-1] - self.frame_ns[0]) * 1e-9 if len(self.frame_ns) else 0.0
        return AssessedSession(
            name=self.name,
            kind=self.kind,
            basis=self.basis,
            causes=self.header.causes,
            cause_word=self.cause_word,
            carried=list(self.header.carried),
            registration=self.header.registration,
            filter_name=self.header.filter_name,
            duration_s=spanned,
            frames=len(self.frame_ns),
            fixes=sum(len(track.capture_ns) for track in self.tracks.values()),
            goals=len(self.header.goals),
            truth=self.truth is not None,
        )


@dataclass(frozen=True, eq=False)
class Recording(Recorded):
    """A session of places on a surface; see `Recorded`."""

    tracks: Mapping[str, Track]
    truth: Mapping[str, Track] | None = None

    @property
    def goals(self) -> Sequence[ShownGoal]:
        """What stood on the display."""
        return self.header.goals

    @property
    def kind(self) -> SessionKind:
        """What was done: told by the script's name, else by whether the marks have a width."""
        if self.header.script in ("grid", "tapping", "strokes"):
            return self.header.script  # type: ignore[return-value]
        if not self.goals:
            return "strokes"
        return "grid" if any(goal.width_m is None for goal in self.goals) else "tapping"

    @property
    def pixels_act(self) -> bool:
        """Whether the pointer counts as drawn on display pixels."""
        return self.header.causes is None or "pixel" in self.header.causes


def read_recordings(sessions: Sequence[Path], truths: Sequence[Path]) -> list[Recording]:
    """Sessions, each with its truth where one is given.

    A truth belongs to the session made from the same footage; where neither names its footage,
    truths belong to sessions in the order given.

    Parameters
    ----------
    sessions, truths
        Files; there may be fewer truths than sessions when they name their footage.

    Raises
    ------
    RushlightError
        When there is no session, a file is none, or a truth belongs to no session.
    """
    return read_all(sessions, truths, _read)


def read_all(
    sessions: Sequence[Path], truths: Sequence[Path], read: Callable[[Path, Role], R]
) -> list[R]:
    """The same for any kind of session.

    Parameters
    ----------
    sessions, truths
        As in `read_recordings`.
    read
        Reads one file of a role.
    """
    if not sessions:
        raise RushlightError.of("assess", "", "got no session", "name at least one", "no-session")
    names = _names(sessions)
    found = [
        replace(read(path, "session"), name=name)
        for path, name in zip(sessions, names, strict=True)
    ]
    if not truths:
        return found
    owners = _owners(found, [read(path, "truth") for path in truths])
    return [_with_truth(session, owners.get(index)) for index, session in enumerate(found)]


def _names(paths: Sequence[Path]) -> list[str]:
    """The files' names, with as many folders before them as tell them apart."""
    resolved = [Path(path).resolve() for path in paths]
    for depth in range(1, max(len(path.parts) for path in resolved) + 1):
        names = ["/".join(path.parts[-depth:]) for path in resolved]
        if len(set(names)) == len(names):
            return names
    raise RushlightError.of(
        "assess", "", "got the same session twice", "name each session once", "session-twice"
    )


def check_role(reader: SessionReader, path: Path, role: Role) -> None:
    """Refuse a truth given as a session, and the other way round."""
    held = reader.header.role
    if held != role:
        raise RushlightError.of(
            str(path),
            "",
            f"holds a {held}, not a {role}",
            "give what was found as sessions, and what was true with --truth",
            "session-role",
        )


def _read(path: Path, role: Role) -> Recording:
    with SessionReader(Path(path)) as reader:
        check_role(reader, path, role)
        frames, fixes = reader.frame_table(), reader.fix_table()
        events = tuple(sorted(reader.events(), key=lambda event: event.time_ns))
        seed = reader.header.header.seed if reader.header.header else None
        recording = Recording(
            name=Path(path).name,
            header=reader.header,
            basis=reader.basis,
            closed=reader.closed,
            frame_ns=np.unique(frames["capture_ns"]),
            tracks=_tracks(fixes),
            events=events,
            truth_seed=seed,
        )
    if role == "session":
        check_session(recording, str(path))
    return recording


def _tracks(fixes: Mapping[str, Array]) -> dict[str, Track]:
    known = np.isfinite(fixes["x_m"]) & np.isfinite(fixes["y_m"]) & ~fixes["predicted"]
    tracks = {}
    for carried in sorted(set(fixes["carried"][known].tolist())):
        rows = np.flatnonzero(known & (fixes["carried"] == carried))
        rows = rows[np.argsort(fixes["valid_ns"][rows], kind="stable")]
        tracks[carried] = Track(
            capture_ns=fixes["capture_ns"][rows],
            valid_ns=fixes["valid_ns"][rows],
            map_ns=fixes["map_ns"][rows],
            trail=fixes["trail"][rows],
            xy_m=np.stack([fixes["x_m"][rows], fixes["y_m"][rows]], axis=-1),
            lit=fixes["switch"][rows],
        )
    return tracks


def check_session(recording: Recorded, where: str) -> None:
    """Refuse a session that would judge itself, and one that holds nothing."""
    if recording.header.script == "registration":
        raise RushlightError.of(
            where,
            "",
            "comes from the footage that made a registration, which would judge itself",
            "assess a grid filmed apart from it",
            "session-of-registration",
        )
    if not recording.tracks:
        remedy = (
            "run it with a registration"
            if recording.header.registration is None
            else ("check that the lights are on and in the camera's view")
        )
        raise RushlightError.of(where, "", "holds no fix", remedy, "session-empty")


def _owners(sessions: list[R], truths: list[R]) -> dict[int, R]:
    footage = [session.header.footage for session in sessions]
    owners: dict[int, R] = {}
    for position, truth in enumerate(truths):
        named = truth.header.footage
        matches = [index for index, each in enumerate(footage) if named and each == named]
        if not matches and len(truths) == len(sessions):
            # By order, unless both say that they come from different footage.
            matches = [position] if not (named and footage[position]) else []
        if not matches:
            raise RushlightError.of(
                truth.name,
                "",
                "belongs to none of the sessions",
                "give the truth that was written with the session's footage",
                "truth-foreign",
            )
        owners.update(dict.fromkeys(matches, truth))
    return owners


def _with_truth(session: R, truth: R | None) -> R:
    if truth is None:
        return session
    if not truth.tracks:
        raise RushlightError.of(
            truth.name, "", "holds no true place", "write it anew", "truth-empty"
        )
    first = max(session.frame_ns[0], truth.frame_ns[0]) if len(truth.frame_ns) else np.inf
    last = min(session.frame_ns[-1], truth.frame_ns[-1]) if len(truth.frame_ns) else -np.inf
    if first > last:
        raise RushlightError.of(
            truth.name,
            "",
            f"speaks of another time than {session.name}",
            "give the truth that was written with the session's footage",
            "truth-elsewhen",
        )
    return replace(
        session, truth=truth.tracks, truth_events=truth.events, truth_seed=truth.truth_seed
    )
