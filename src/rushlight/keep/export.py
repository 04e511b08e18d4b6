"""Sessions as CSV and Parquet, for other programs.

Names of columns carry their units. A file's name begins with its basis, so that a simulated
table is not taken for a measured one when it is parted from its folder.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.errors import RushlightError
from rushlight.keep.rows import Columns
from rushlight.keep.schema import ABSENT, TABLES, Column, ColumnKind, Table
from rushlight.keep.session import SessionReader
from rushlight.records.arrays import Array
from rushlight.records.document import write_text

_SQL_TYPES: dict[ColumnKind, str] = {
    "whole": "BIGINT",
    "real": "DOUBLE",
    "text": "VARCHAR",
    "flag": "BOOLEAN",
}


def export_csv(reader: SessionReader, folder: Path) -> list[Path]:
    """Write every table of a session as comma-separated values (RFC 4180, UTF-8).

    Unknown values are empty; flags are 0 and 1.

    Parameters
    ----------
    reader
        The session.
    folder
        Made if need be; files of the same names are replaced.

    Returns
    -------
    list of Path
        The files, the description last.

    Raises
    ------
    RushlightError
        When the folder cannot be written.
    """
    return _export(reader, folder, "csv", _write_csv)


def export_parquet(reader: SessionReader, folder: Path) -> list[Path]:
    """Write every table of a session as Parquet, unknown values being null.

    The basis and the session's content hash stand in each file's own key-value metadata too.
    Parameters, returns and errors are those of `export_csv`.
    """
    return _export(reader, folder, "parquet", _write_parquet)


def _export(
    reader: SessionReader,
    folder: Path,
    ending: str,
    write: Callable[[SessionReader, Table, Path], None],
) -> list[Path]:
    folder = Path(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        paths = []
        for table in TABLES.values():
            path = folder / f"{reader.basis}-{table.name}.{ending}"
            write(reader, table, path)
            paths.append(path)
    except OSError as error:
        raise RushlightError.of(
            str(folder), "", f"cannot be written ({error.strerror})", "choose another place"
        ) from None
    write_text(folder / "READ-ME.txt", _description(reader, ending))
    return [*paths, folder / "READ-ME.txt"]


def _write_csv(reader: SessionReader, table: Table, path: Path) -> None:
    columns = reader.table(table.name)
    texts = [_texts(column, columns[column.name]) for column in table.columns]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(table.names)
        writer.writerows(zip(*texts, strict=True))


def _texts(column: Column, values: Array) -> list[Any]:
    if column.kind == "flag":
        return [int(value) for value in values]
    empty = _unknown(column, values)
    return [
        "" if unknown else value
        for value, unknown in zip(values.tolist(), empty.tolist(), strict=True)
    ]


def _unknown(column: Column, values: Array) -> Array:
    """Which values stand for something that is unknown or did not happen."""
    if column.kind == "real":
        return np.asarray(np.isnan(values))
    if column.kind == "whole":
        return np.asarray((values == ABSENT) & column.optional)
    return np.array([value is None for value in values], dtype=bool)


def _write_parquet(reader: SessionReader, table: Table, path: Path) -> None:
    import duckdb  # slow to import: only where Parquet is really written

    selected = ", ".join(
        f'CAST(values_of."{column.name}" AS {_SQL_TYPES[column.kind]}) AS "{column.name}"'
        for column in table.columns
    )
    with duckdb.connect() as database:
        database.register("values_of", _masked(table, reader.table(table.name)))
        notes = {"basis": reader.basis, "session": _hash_of(reader)}
        listed = ", ".join(f"{key}: {_quoted(value)}" for key, value in notes.items())
        database.execute(
            f"COPY (SELECT {selected} FROM values_of) TO {_quoted(str(path))} "
            f"(FORMAT parquet, COMPRESSION zstd, KV_METADATA {{{listed}}})"
        )


def _masked(table: Table, columns: Columns) -> Columns:
    return {
        column.name: np.ma.array(columns[column.name], mask=_unknown(column, columns[column.name]))
        if column.kind in ("real", "whole")
        else columns[column.name]
        for column in table.columns
    }


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def _hash_of(reader: SessionReader) -> str:
    return reader.header.header.content_hash if reader.header.header else ""


def _description(reader: SessionReader, ending: str) -> str:
    header = reader.header
    basis = {
        "simulated": "These numbers are simulated: nobody measured them.",
        "measured": "These numbers were measured.",
    }.get(reader.basis, f"These numbers are {reader.basis}.")
    role = {
        "session": "They are what was found in the pictures.",
        "truth": "They are the truth from which simulated pictures were made.",
    }[header.role]
    abrupt = [] if reader.closed else ["The recording ended abruptly; its last moment is missing."]
    unknown = "An empty cell is unknown." if ending == "csv" else "A null is unknown."
    lines = [
        f"{reader.basis.upper()}: {header.role} of the rig {header.rig_name or '(not named)'}",
        "",
        basis,
        role,
        *abrupt,
        f"Content hash of the session's header: {_hash_of(reader)}",
        "",
        "frame  one row a picture",
        "dot    one row a spot of light found in it",
        "trail  which dot belongs to which trail",
        "fix    where something was, and when",
        "event  what else happened",
        "",
        "Names end in their unit: _ns nanoseconds on the session's clock, _px pixels, _m metres,",
        "_dn grey levels, _m2, _px2, _rad2, _m_rad for variances and covariances. Frames count",
        "from 0; the centre of a picture's top-left pixel is (0, 0). On a surface x runs right",
        f"and y up from its lower-left corner. {unknown}",
    ]
    return "\n".join(lines) + "\n"
