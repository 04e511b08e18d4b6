"""Reading a session, whole or by frame; `SessionWriter` of `keep.writer` writes it."""

from __future__ import annotations

import json
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np

from rushlight.errors import RushlightError
from rushlight.keep.rows import Columns, Row, dots_from, event_from, fix_from, link_from
from rushlight.keep.schema import (
    ABSENT,
    APPLICATION_ID,
    SCHEMA_VERSION,
    TABLES,
    Column,
    ColumnKind,
    Table,
)
from rushlight.keep.writer import SessionWriter as SessionWriter
from rushlight.records.arrays import Array
from rushlight.records.document import Basis, validate
from rushlight.records.dots import Dots, Frame
from rushlight.records.session import Event, Fix, SessionHeader, TrailLink

_CHUNK_ROWS = 50_000
_DTYPES: dict[ColumnKind, type] = {"whole": np.int64, "real": float, "text": object, "flag": bool}


class SessionReader:
    """A session on disk, as a context manager; also one left by a killed process.

    Tables come as read-only arrays by column name. In them NaN is an unknown number, −1 a whole
    number of what did not happen, None a text that is not there.

    Parameters
    ----------
    path
        The session's file. Nothing is changed, and its folder need not be writable.

    Attributes
    ----------
    header
        What the session was made from.
    basis
        Whether it was measured or simulated.
    closed
        Whether the recording was closed in order. If not, the process ended abruptly: all but
        the last moment is there.

    Raises
    ------
    RushlightError
        When the file is missing, no session, damaged, or of a later version.
    """

    def __init__(self, path: Path) -> None:
        self.path = Path(path)
        self._copy: tempfile.TemporaryDirectory[str] | None = None
        if not self.path.is_file():
            allowed = "is a folder" if self.path.is_dir() else "does not exist"
            raise RushlightError.of(
                str(self.path), "", allowed, "give a session file", "session-missing"
            )
        try:
            self._database = self._open()
            self._check_mark()
            self.header, self.closed = self._read_header()
        except BaseException:
            self.close()
            raise
        self.basis: Basis = self.header.header.basis if self.header.header else "measured"

    def close(self) -> None:
        """Let go of the file."""
        if hasattr(self, "_database"):
            self._database.close()
        if self._copy is not None:
            self._copy.cleanup()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def frame_table(self, camera: str | None = None) -> Columns:
        """Frames in order of camera and number: ``camera frame capture_ns capture_std_ns``."""
        return self.table("frame", camera=camera)

    def dot_table(self, camera: str | None = None) -> Columns:
        """Dots in order of camera, frame and number, one row a dot."""
        return self.table("dot", camera=camera)

    def trail_table(self, camera: str | None = None) -> Columns:
        """Which dot belongs to which trail, in order of camera and frame."""
        return self.table("trail", camera=camera)

    def fix_table(self) -> Columns:
        """Fixes in the order in which they were put."""
        return self.table("fix")

    def event_table(self) -> Columns:
        """Events in the order in which they were put."""
        return self.table("event")

    def departure_table(self) -> Columns:
        """When frames left by which output, in the order in which that became known."""
        return self.table("departure")

    def frames(self, camera: str | None = None) -> Iterator[Frame]:
        """Frames one after another, without pictures, by camera and number."""
        columns = self.frame_table(camera)
        for row in range(len(columns["frame"])):
            yield _frame(columns, row)

    def sightings(self, camera: str | None = None) -> Iterator[tuple[Frame, Dots]]:
        """Every frame with its dots, in order of capture time over all cameras."""
        frames, dots = self.frame_table(camera), self.dot_table(camera)
        spans = _spans(dots)
        for row in np.argsort(frames["capture_ns"], kind="stable"):
            frame = _frame(frames, row)
            start, end = spans.get((frame.camera, frame.index), (0, 0))
            yield frame, dots_from({name: column[start:end] for name, column in dots.items()})

    def dots(self, camera: str, index: int) -> Dots:
        """The dots of one frame; none for a dark frame.

        Raises
        ------
        RushlightError
            When the session holds no such frame.
        """
        columns = self.table("dot", camera=camera, frame=int(index))
        if len(columns["dot"]) == 0 and not self._all(
            "SELECT 1 FROM frame WHERE camera = ? AND frame = ?", (camera, int(index))
        ):
            raise RushlightError.of(
                str(self.path),
                "",
                f'holds no frame {index} of camera "{camera}"',
                "give a frame that was recorded",
                "session-frame",
            )
        return dots_from(columns)

    def links(self, camera: str | None = None) -> Iterator[TrailLink]:
        """Links one after another, by camera and frame."""
        columns = self.trail_table(camera)
        for row in range(len(columns["frame"])):
            yield link_from(columns, row)

    def fixes(self) -> Iterator[Fix]:
        """Fixes one after another, as they were put."""
        columns = self.fix_table()
        for row in range(len(columns["frame"])):
            yield fix_from(columns, row)

    def events(self) -> Iterator[Event]:
        """Events one after another, as they were put."""
        columns = self.event_table()
        for row in range(len(columns["time_ns"])):
            yield event_from(columns, row)

    def table(self, name: str, camera: str | None = None, frame: int | None = None) -> Columns:
        """All rows of a table as arrays by column name, of one camera or frame if given."""
        table = TABLES[name]
        wanted = {"camera": camera, "frame": frame}
        given = {column: value for column, value in wanted.items() if value is not None}
        where = " AND ".join(f"{column} = ?" for column in given) or "1"
        # A session of an earlier version lacks what later ones added.
        there = {row[1] for row in self._all(f"PRAGMA table_info({name})")}
        if not there:
            return _columns(table, [])
        names = ", ".join(f'"{each}"' if each in there else "NULL" for each in table.names)
        query = f"SELECT {names} FROM {name} WHERE {where} ORDER BY {table.order}"
        try:
            cursor = self._database.execute(query, tuple(given.values()))
            chunks = [_columns(table, [])]
            while rows := cursor.fetchmany(_CHUNK_ROWS):
                chunks.append(_columns(table, rows))
        except sqlite3.DatabaseError as error:
            raise self._unreadable(error) from None
        joined = {each: np.concatenate([chunk[each] for chunk in chunks]) for each in table.names}
        for column in joined.values():
            column.setflags(write=False)
        return joined

    def _open(self) -> sqlite3.Connection:
        """Open without changing anything; a log beside the file is read with it.

        SQLite must make a file beside a session in log mode. Where it cannot, as on a read-only
        folder, file and log are copied and the copy is read.
        """
        database = _connect_read_only(self.path)
        try:
            database.execute("SELECT 1 FROM sqlite_schema").fetchall()
        except sqlite3.OperationalError:
            database.close()
            self._copy = tempfile.TemporaryDirectory(prefix="rushlight-session-")
            copy = Path(self._copy.name) / "session"
            for suffix in ("", "-wal"):
                if Path(f"{self.path}{suffix}").exists():
                    shutil.copyfile(f"{self.path}{suffix}", f"{copy}{suffix}")
            database = _connect_read_only(copy)
        except sqlite3.DatabaseError:
            database.close()
            raise self._no_session() from None
        return database

    def _check_mark(self) -> None:
        ((mark,),) = self._all("PRAGMA application_id")
        ((version,),) = self._all("PRAGMA user_version")
        if mark != APPLICATION_ID:
            raise self._no_session()
        if version > SCHEMA_VERSION:
            raise RushlightError.of(
                str(self.path),
                "",
                f"has tables of version {version}, and this program reads up to {SCHEMA_VERSION}",
                "use a later version of Rushlight",
                "session-version",
            )

    def _read_header(self) -> tuple[SessionHeader, bool]:
        try:
            ((text, closed),) = self._all("SELECT header, closed FROM session")
            data = json.loads(text)
        except ValueError as error:
            raise self._unreadable(error) from None
        return validate(SessionHeader, data, self.path.name), bool(closed)

    def _all(self, query: str, values: Row = ()) -> list[Row]:
        try:
            return self._database.execute(query, values).fetchall()
        except sqlite3.DatabaseError as error:
            raise self._unreadable(error) from None

    def _no_session(self) -> RushlightError:
        return RushlightError.of(
            str(self.path), "", "is not a session", "give a file that was recorded", "no-session"
        )

    def _unreadable(self, error: Exception) -> RushlightError:
        return RushlightError.of(
            str(self.path),
            "",
            f"is damaged and cannot be read ({error})",
            "take another copy of it",
            "session-damaged",
        )


def _connect_read_only(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=10.0)


def _columns(table: Table, rows: list[Row]) -> Columns:
    values = zip(*rows, strict=True) if rows else [()] * len(table.columns)
    return {
        column.name: _column(column, each)
        for column, each in zip(table.columns, values, strict=True)
    }


def _column(column: Column, values: Row) -> Array:
    if column.kind == "whole" and column.optional:
        values = tuple(ABSENT if value is None else value for value in values)
    return np.array(values, dtype=_DTYPES[column.kind])


def _frame(columns: Columns, row: int) -> Frame:
    return Frame(
        camera=columns["camera"][row],
        index=int(columns["frame"][row]),
        capture_ns=int(columns["capture_ns"][row]),
        capture_std_ns=float(columns["capture_std_ns"][row]),
        image=None,
    )


def _spans(dots: Columns) -> dict[tuple[str, int], tuple[int, int]]:
    """First row, and the row after the last, of each frame's dots, which stand together."""
    camera, frame = dots["camera"], dots["frame"]
    if len(frame) == 0:
        return {}
    changed = (frame[1:] != frame[:-1]) | (camera[1:] != camera[:-1])
    starts = np.flatnonzero(np.concatenate([[True], changed]))
    ends = np.append(starts[1:], len(frame))
    return {
        (camera[start], int(frame[start])): (int(start), int(end))
        for start, end in zip(starts, ends, strict=True)
    }
