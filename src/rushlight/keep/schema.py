"""The tables of a session file: one list of columns from which everything else is made.

The file is SQLite, so that any program that reads SQLite reads a session. What is unknown, or
did not happen, is NULL. Times are whole nanoseconds on the session's clock. Cameras and carried
things stand by their ids. A covariance keeps its upper triangle: it is symmetric.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

APPLICATION_ID = 0x52555348
"""Marks a SQLite file as a session (the letters RUSH)."""

SCHEMA_VERSION = 2
"""Version of the tables; a reader refuses a later one.

Version 2 added the table of departures and the moments of events (capture, detect, map, sent); in
a session of version 1 they read as what did not happen.
"""

ColumnKind = Literal["whole", "real", "text", "flag"]

ABSENT = -1
"""Stands in arrays of whole numbers for what did not happen; NULL in the file."""

POSE_AXES = ("x", "y", "z", "rx", "ry", "rz")
"""Axes of a fix's covariance: position [m], small rotation [rad]."""


def _cov_name(first: str, second: str) -> str:
    turned = [axis.startswith("r") for axis in (first, second)]
    unit = "rad2" if all(turned) else "m_rad" if any(turned) else "m2"
    return f"cov_{first}_{second}_{unit}"


FIX_COV = tuple(
    _cov_name(POSE_AXES[row], POSE_AXES[column]) for row in range(6) for column in range(row, 6)
)
"""Columns of a fix's covariance, the upper triangle row by row."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name with its unit, what it holds, and whether it may be NULL."""

    name: str
    kind: ColumnKind
    optional: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """One table: its columns, and those whose values together name a row (none: any number)."""

    name: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """The columns' names, in order."""
        return tuple(column.name for column in self.columns)

    @property
    def ddl(self) -> str:
        """The statement that makes the table."""
        sql = {"whole": "INTEGER", "real": "REAL", "text": "TEXT", "flag": "INTEGER"}
        lines = [
            f'"{column.name}" {sql[column.kind]}{"" if column.optional else " NOT NULL"}'
            for column in self.columns
        ]
        if not self.key:
            return f"CREATE TABLE {self.name} ({', '.join(lines)}) STRICT"
        key = f"PRIMARY KEY ({', '.join(self.key)})"
        return f"CREATE TABLE {self.name} ({', '.join([*lines, key])}) STRICT, WITHOUT ROWID"

    @property
    def insert(self) -> str:
        """The statement that adds a row."""
        return f"INSERT INTO {self.name} VALUES ({', '.join('?' * len(self.columns))})"

    @property
    def order(self) -> str:
        """What rows are read in: the order of the key, or as they were added."""
        return ", ".join(self.key) if self.key else "rowid"


def _whole(*names: str) -> tuple[Column, ...]:
    return tuple(Column(name, "whole") for name in names)


def _real(*names: str) -> tuple[Column, ...]:
    return tuple(Column(name, "real", optional=True) for name in names)


def _text(*names: str, optional: bool = False) -> tuple[Column, ...]:
    return tuple(Column(name, "text", optional) for name in names)


def _maybe(*names: str) -> tuple[Column, ...]:
    return tuple(Column(name, "whole", optional=True) for name in names)


FRAME = Table(
    "frame",
    _text("camera") + _whole("frame", "capture_ns") + _real("capture_std_ns"),
    key=("camera", "frame"),
)

DOT = Table(
    "dot",
    _text("camera")
    + _whole("frame", "dot")
    + _real(
        "x_px",
        "y_px",
        "cov_xx_px2",
        "cov_xy_px2",
        "cov_yy_px2",
        "flux_dn_px",
        "width_xx_px2",
        "width_xy_px2",
        "width_yy_px2",
        "peak_dn",
    )
    + _whole("saturated_px")
    + _real("quality")
    + _whole("reason"),
    key=("camera", "frame", "dot"),
)

TRAIL = Table(
    "trail",
    _text("camera")
    + _whole("frame")
    + _maybe("dot")
    + _whole("trail")
    + _text("carried", "emitter", optional=True)
    + _real("confidence")
    + _text("state"),
    key=("camera", "frame", "trail"),
)

FIX = Table(
    "fix",
    _whole("capture_ns", "valid_ns")
    + _maybe("detect_ns", "map_ns", "sent_ns")
    + _whole("frame")
    + _text("carried", "point")
    + _maybe("trail")
    + _whole("dimensions")
    + _text("surface", optional=True)
    + (Column("switch", "flag"),)
    + _text("cameras")
    + (Column("predicted", "flag"),)
    + _text("hypotheses")
    + _real("x_m", "y_m", "z_m", "qw", "qx", "qy", "qz")
    + _real(*FIX_COV),
)

EVENT = Table(
    "event",
    _whole("time_ns")
    + _text("kind")
    + _text("carried", optional=True)
    + _maybe("trail", "frame")
    + _text("detail")
    + _maybe("capture_ns", "detect_ns", "map_ns", "sent_ns"),
)

DEPARTURE = Table("departure", _text("output") + _whole("frame", "sent_ns"))

TABLES: dict[str, Table] = {
    table.name: table for table in (FRAME, DOT, TRAIL, FIX, EVENT, DEPARTURE)
}
"""Every table of measurements by name."""

SESSION_DDL = (
    "CREATE TABLE session (id INTEGER PRIMARY KEY CHECK (id = 1), header TEXT NOT NULL, "
    "closed INTEGER NOT NULL) STRICT"
)
"""One row: the header as JSON, and whether the session was closed in order."""
