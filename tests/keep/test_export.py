"""Exports hold what the session holds, read again by other programs."""

import csv
import subprocess
import sys
from pathlib import Path

import duckdb
import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.keep.export import export_csv, export_parquet
from rushlight.keep.schema import TABLES
from rushlight.keep.session import SessionReader, SessionWriter
from rushlight.records.document import Basis
from rushlight.records.dots import Dots, Frame
from rushlight.records.session import Event, Fix, SessionHeader, TrailLink

LATE_NS = 1_700_000_000_000_000_001


def record(path: Path, basis: Basis) -> None:
    header = SessionHeader(rig_name="barn-wall", cameras=["beam"], carried=["stylus"], clocks=[])
    dots = Dots(
        xy=[[1 / 3, 2.0], [3.0, 4.0]],  # type: ignore[arg-type]
        cov=np.full((2, 2, 2), np.nan),
        flux=np.array([np.nan, 5.0]),
        width=np.ones((2, 3)),
        peak=np.ones(2),
        saturated=np.zeros(2),
        quality=np.ones(2),
        reason=np.zeros(2),
    )
    fix = Fix(
        capture_ns=LATE_NS,
        valid_ns=LATE_NS,
        detect_ns=-1,
        map_ns=-1,
        sent_ns=-1,
        frame=0,
        carried="stylus",
        point="tip",
        trail=-1,
        dimensions=2,
        surface=None,
        switch=True,
        cameras=("beam",),
        predicted=False,
        hypotheses=(1.0,),
        position_m=np.array([0.1, 0.2, np.nan]),
        cov=np.diag([1e-6, 2e-6, *[np.nan] * 4]),
    )
    with SessionWriter(path, header, basis) as session:
        session.put_frame(Frame("beam", 0, LATE_NS, float("nan"), None))
        session.put_dots("beam", 0, dots)
        session.put_links([TrailLink("beam", 0, -1, 2, None, None, 0.5, "coasting")])
        session.put_fix(fix)
        session.put_event(Event(LATE_NS, "fault", detail='a "word", and\nanother'))


@pytest.fixture
def session(tmp_path: Path) -> SessionReader:
    record(tmp_path / "a.session", "simulated")
    return SessionReader(tmp_path / "a.session")


def rows(path: Path, columns: str) -> list[tuple[object, ...]]:
    with duckdb.connect() as database:
        return database.execute(f"SELECT {columns} FROM '{path}'").fetchall()


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_exports_are_read_again(session: SessionReader, tmp_path: Path, ending: str) -> None:
    export = export_csv if ending == "csv" else export_parquet
    with session:
        paths = export(session, tmp_path / "out")
    assert [path.name for path in paths] == [
        *(f"simulated-{name}.{ending}" for name in TABLES),
        "READ-ME.txt",
    ]
    at = {name: tmp_path / "out" / f"simulated-{name}.{ending}" for name in TABLES}
    assert rows(at["frame"], "camera, frame, capture_ns, capture_std_ns") == [
        ("beam", 0, LATE_NS, None)
    ]
    assert rows(at["dot"], "dot, x_px, flux_dn_px, saturated_px") == [
        (0, 1 / 3, None, 0),
        (1, 3.0, 5.0, 0),
    ]
    assert rows(at["trail"], "dot, trail, carried, state") == [(None, 2, None, "coasting")]
    assert rows(at["fix"], "sent_ns, trail, surface, CAST(switch AS INT), x_m, z_m") == [
        (None, None, None, 1, 0.1, None)
    ]
    assert rows(at["fix"], "cov_x_x_m2, cov_y_y_m2, cov_z_z_m2") == [(1e-6, 2e-6, None)]
    assert rows(at["event"], "kind, detail") == [("fault", 'a "word", and\nanother')]


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_an_empty_session_exports_its_columns(tmp_path: Path, ending: str) -> None:
    header = SessionHeader(cameras=[], carried=[], clocks=[])
    with SessionWriter(tmp_path / "a.session", header, "measured"):
        pass
    export = export_csv if ending == "csv" else export_parquet
    with SessionReader(tmp_path / "a.session") as session:
        export(session, tmp_path)
    with duckdb.connect() as database:
        for name, table in TABLES.items():
            described = database.execute(
                f"DESCRIBE SELECT * FROM '{tmp_path}/measured-{name}.{ending}'"
            ).fetchall()
            assert tuple(row[0] for row in described) == table.names


def test_parquet_columns_have_their_types(session: SessionReader, tmp_path: Path) -> None:
    with session:
        export_parquet(session, tmp_path)
    with duckdb.connect() as database:
        described = database.execute(
            f"DESCRIBE SELECT capture_ns, switch, x_m, carried, cov_x_x_m2 "
            f"FROM '{tmp_path}/simulated-fix.parquet'"
        ).fetchall()
    assert [row[1] for row in described] == ["BIGINT", "BOOLEAN", "DOUBLE", "VARCHAR", "DOUBLE"]


def test_simulated_numbers_say_so(session: SessionReader, tmp_path: Path) -> None:
    with session:
        export_csv(session, tmp_path / "csv")
        export_parquet(session, tmp_path / "parquet")
    for folder in ("csv", "parquet"):
        text = (tmp_path / folder / "READ-ME.txt").read_text(encoding="utf-8")
        assert text.startswith("SIMULATED: session of the rig barn-wall\n")
        assert "nobody measured them" in text
    with duckdb.connect() as database:
        notes = database.execute(
            "SELECT decode(key), decode(value) FROM "
            f"parquet_kv_metadata('{tmp_path}/parquet/simulated-fix.parquet')"
        ).fetchall()
    assert ("basis", "simulated") in notes


def test_measured_numbers_say_so(tmp_path: Path) -> None:
    record(tmp_path / "a.session", "measured")
    with SessionReader(tmp_path / "a.session") as session:
        export_csv(session, tmp_path / "out")
    text = (tmp_path / "out" / "READ-ME.txt").read_text(encoding="utf-8")
    assert text.startswith("MEASURED: ")
    assert "imulated" not in text
    assert (tmp_path / "out" / "measured-fix.csv").exists()


def test_csv_keeps_every_digit(session: SessionReader, tmp_path: Path) -> None:
    with session:
        export_csv(session, tmp_path)
    with (tmp_path / "simulated-dot.csv").open(encoding="utf-8", newline="") as file:
        first = next(csv.DictReader(file))
    assert float(first["x_px"]) == 1 / 3
    assert first["flux_dn_px"] == ""


def test_an_export_that_cannot_be_written(session: SessionReader, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with session:
        for export in (export_csv, export_parquet):
            with pytest.raises(RushlightError, match="cannot be written"):
                export(session, tmp_path / "file" / "out")


def test_a_folder_whose_name_holds_a_quotation_mark(session: SessionReader, tmp_path: Path) -> None:
    with session:
        paths = export_parquet(session, tmp_path / "the grower's")
    assert all(path.exists() for path in paths)


def test_parquet_needs_no_other_library(session: SessionReader, tmp_path: Path) -> None:
    session.close()
    script = (
        "import sys\n"
        "from pathlib import Path\n"
        "from rushlight.keep.export import export_parquet\n"
        "from rushlight.keep.session import SessionReader\n"
        "assert 'duckdb' not in sys.modules\n"
        "sys.modules['pyarrow'] = sys.modules['pandas'] = None\n"
        "with SessionReader(Path(sys.argv[1])) as session:\n"
        "    export_parquet(session, Path(sys.argv[2]))\n"
    )
    subprocess.run(
        [sys.executable, "-c", script, str(tmp_path / "a.session"), str(tmp_path / "out")],
        check=True,
    )
    assert len(list((tmp_path / "out").iterdir())) == len(TABLES) + 1
