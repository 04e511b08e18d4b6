"""Writing a session: records are put from the live loop, a thread of its own saves them."""

from __future__ import annotations

import os
import sqlite3
import threading
import time
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType
from typing import Self

from rushlight.errors import RushlightError
from rushlight.keep.rows import (
    Row,
    departure_row,
    dot_rows,
    event_row,
    fix_row,
    frame_row,
    link_row,
)
from rushlight.keep.schema import APPLICATION_ID, SCHEMA_VERSION, SESSION_DDL, TABLES
from rushlight.records.document import Basis
from rushlight.records.dots import Dots, Frame
from rushlight.records.session import Departure, Event, Fix, SessionHeader, TrailLink

COMMIT_INTERVAL_S = 0.2
"""Longest time that a record waits to be saved: a killed process loses little more."""

MOST_TOLD = 4096
"""Saved frames that are remembered for whoever asks; no source."""

SESSION = "session"
"""The session's own name among the outputs."""

GREATEST_BACKLOG = 200_000
"""Rows that may wait for the disk before whoever puts them has to wait too."""


class SessionWriter:
    """A session being recorded, as a context manager.

    Records may be put from several threads. Each put takes some microseconds unless the disk
    has fallen far behind; then it waits, so that neither memory grows without end nor a record
    is lost. A process killed at any moment leaves a file that `SessionReader` opens.

    Parameters
    ----------
    path
        The session's file; it must not exist yet.
    header
        What the session was made from.
    basis
        Whether what is put was measured or simulated.
    seed
        Of the random numbers used, or None where none were.
    live
        Whether times are of this host's monotonic clock; then the session notes of every frame
        when it was saved, as a departure by the output "session".

    Raises
    ------
    RushlightError
        When the file exists or cannot be written, now or at any later put or at the end.
    """

    def __init__(
        self,
        path: Path,
        header: SessionHeader,
        basis: Basis,
        seed: int | None = None,
        live: bool = False,
    ) -> None:
        self.path = Path(path)
        inputs = {
            role: given
            for role in ("rig", "footage", "registration")
            if (given := getattr(header, role)) is not None
        }
        self.header = header.stamped(basis, inputs=inputs, seed=seed)
        self._rows: dict[str, list[Row]] = {name: [] for name in TABLES}
        self._live = live
        self._saved: list[Row] = []
        self._told: list[Row] = []
        self._backlog = 0
        self._ending = False
        self._failure: RushlightError | None = None
        self._changed = threading.Condition()
        self._database = self._create()
        self._thread = threading.Thread(
            target=self._save_until_end, name="session-writer", daemon=True
        )
        self._thread.start()

    def put_frame(self, frame: Frame) -> None:
        """Add a frame: its camera, number and time, not its picture."""
        self._put("frame", [frame_row(frame)])

    def put_dots(self, camera: str, index: int, dots: Dots) -> None:
        """Add the dots of one frame, all at once."""
        self._put("dot", dot_rows(camera, index, dots))

    def put_links(self, links: Iterable[TrailLink]) -> None:
        """Add the memberships of dots in trails."""
        self._put("trail", [link_row(link) for link in links])

    def put_fix(self, fix: Fix) -> None:
        """Add a fix."""
        self._put("fix", [fix_row(fix)])

    def put_event(self, event: Event) -> None:
        """Add an event."""
        self._put("event", [event_row(event)])

    def saved(self) -> list[Departure]:
        """Of a live session, what was saved since the last time, by frames."""
        with self._changed:
            told, self._told = self._told, []
        return [Departure(*row) for row in told]

    def put_departures(self, departures: Iterable[Departure]) -> None:
        """Add when frames left by the outputs."""
        self._put("departure", [departure_row(departure) for departure in departures])

    def close(self) -> None:
        """Save what waits, and fold everything into the one file.

        Raises
        ------
        RushlightError
            When something could not be saved.
        """
        with self._changed:
            if self._ending:
                return
            self._ending = True
            self._changed.notify_all()
        self._thread.join()
        try:
            if self._failure is None:
                self._finish()
        finally:
            self._database.close()
        if self._failure is not None:
            raise self._failure

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            self.close()
        except RushlightError as failure:
            if error is None or error is failure:
                raise
            error.add_note(str(failure))

    def _create(self) -> sqlite3.Connection:
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise _unwritable(self.path, error.strerror or str(error)) from None
        try:
            # A leftover log of another session of this name would be folded into the new one.
            for leftover in (f"{self.path}-wal", f"{self.path}-journal"):
                if os.path.exists(leftover):
                    raise FileExistsError
            os.close(os.open(self.path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        except FileExistsError:
            raise RushlightError.of(
                str(self.path),
                "",
                "exists already, and a session is never overwritten",
                "choose another name, or move it away with its -wal file",
                "session-exists",
            ) from None
        except OSError as error:
            raise _unwritable(self.path, error.strerror or str(error)) from None
        try:
            database = sqlite3.connect(
                self.path, isolation_level=None, check_same_thread=False, timeout=10.0
            )
            database.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            database.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
            database.execute("PRAGMA journal_mode = WAL")
            database.execute("PRAGMA synchronous = NORMAL")
            database.execute("BEGIN")
            database.execute(SESSION_DDL)
            for table in TABLES.values():
                database.execute(table.ddl)
            database.execute("INSERT INTO session VALUES (1, ?, 0)", (self.header.json_text(),))
            database.execute("COMMIT")
        except sqlite3.Error as error:
            raise _unwritable(self.path, str(error)) from None
        return database

    def _put(self, table: str, rows: list[Row]) -> None:
        with self._changed:
            while self._backlog > GREATEST_BACKLOG and self._failure is None:
                self._changed.notify_all()
                self._changed.wait()
            if self._failure is not None:
                raise self._failure
            if self._ending:
                raise ValueError("expected an open session, got one that is closed")
            self._rows[table] += rows
            self._backlog += len(rows)

    def _save_until_end(self) -> None:
        ending = False
        while not ending:
            with self._changed:
                self._changed.wait_for(self._is_pressed, COMMIT_INTERVAL_S)
                ending = self._ending
                rows, self._rows = self._rows, {name: [] for name in TABLES}
                self._backlog = 0
                self._changed.notify_all()
            try:
                self._save_and_note(rows, ending)
            except Exception as error:  # of whatever kind: the putting thread must hear of it
                with self._changed:
                    self._failure = self._failure_of(error)
                    self._changed.notify_all()
                return

    def _is_pressed(self) -> bool:
        """Whether to save before the interval is over."""
        return self._ending or self._backlog > GREATEST_BACKLOG

    def _save_and_note(self, rows: dict[str, list[Row]], ending: bool) -> None:
        """Save, and let the moment of it be saved with the next rows."""
        if not any(rows.values()) and not ending:
            return
        self._save({**rows, "departure": rows["departure"] + self._saved})
        now_ns = time.monotonic_ns()
        # Frames of several cameras share their numbers.
        frames = dict.fromkeys(frame for _, frame, *_ in rows["frame"])
        self._saved = [(SESSION, frame, now_ns) for frame in frames] if self._live else []
        with self._changed:
            self._told = (self._told + self._saved)[-MOST_TOLD:]
        if ending:
            self._save({"departure": self._saved})

    def _save(self, rows: dict[str, list[Row]]) -> None:
        if not any(rows.values()):
            return
        self._database.execute("BEGIN")
        try:
            for name, waiting in rows.items():
                self._database.executemany(TABLES[name].insert, waiting)
            self._database.execute("COMMIT")
        except BaseException:
            if self._database.in_transaction:
                self._database.execute("ROLLBACK")
            raise

    def _finish(self) -> None:
        try:
            self._database.execute("UPDATE session SET closed = 1")
            _fold(self._database)
        except sqlite3.Error as error:
            raise _unwritable(self.path, str(error)) from None

    def _failure_of(self, error: Exception) -> RushlightError:
        if isinstance(error, sqlite3.IntegrityError) and "UNIQUE" in str(error):
            return RushlightError.of(
                str(self.path),
                "",
                f"was given the same row twice ({error})",
                "put each frame, its dots and its links once",
                "session-twice",
            )
        return _unwritable(self.path, str(error))


def fold_session(path: Path) -> None:
    """Make one file again of a session whose process was killed, so that one file travels.

    What was recorded is kept, and so is the mark that it was not closed in order.

    Raises
    ------
    RushlightError
        When the file is missing, cannot be written, or is still being recorded.
    """
    try:
        database = sqlite3.connect(f"{Path(path).resolve().as_uri()}?mode=rw", uri=True)
        try:
            _fold(database)
        finally:
            database.close()
    except sqlite3.Error as error:
        raise _unwritable(path, str(error)) from None


def _fold(database: sqlite3.Connection) -> None:
    """Bring the log into the file and leave log mode."""
    database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    database.execute("PRAGMA journal_mode = DELETE")


def _unwritable(path: Path, reason: str) -> RushlightError:
    return RushlightError.of(
        str(path),
        "",
        f"cannot be written ({reason})",
        "choose another place, or free space there",
        "session-write",
    )
