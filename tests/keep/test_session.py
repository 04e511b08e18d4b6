"""What is put into a session comes out of it, and nothing else is taken for a session."""

import sqlite3
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rushlight.errors import RushlightError
from rushlight.keep.rows import dot_rows, dots_from
from rushlight.keep.schema import DOT, SCHEMA_VERSION, TABLES
from rushlight.keep.session import SessionReader, SessionWriter
from rushlight.keep.writer import fold_session
from rushlight.records.dots import Dots, Frame
from rushlight.records.session import Clock, Departure, Event, Fix, SessionHeader, TrailLink

HEADER = SessionHeader(
    rig="ab" * 32,
    rig_name="barn-wall",
    cameras=["left", "right"],
    carried=["stylus"],
    clocks=[Clock(id="host", kind="host-monotonic")],
)
LATE_NS = 1_700_000_000_000_000_001


def some_dots(n: int, seed: int = 0) -> Dots:
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(n, 2, 2))
    return Dots(
        xy=rng.uniform(0, 640, (n, 2)),
        cov=root @ np.swapaxes(root, 1, 2),
        flux=rng.uniform(10, 1000, n),
        width=rng.uniform(0.5, 2, (n, 3)),
        peak=rng.uniform(10, 250, n),
        saturated=rng.integers(0, 5, n),
        quality=rng.uniform(0, 1, n),
        reason=rng.integers(0, 3, n),
    )


def some_fix(**changes: Any) -> Fix:
    values: dict[str, Any] = {
        "capture_ns": LATE_NS,
        "valid_ns": LATE_NS + 5,
        "detect_ns": LATE_NS + 7,
        "map_ns": -1,
        "sent_ns": -1,
        "frame": 3,
        "carried": "stylus",
        "point": "tip",
        "trail": 4,
        "dimensions": 2,
        "surface": "wall",
        "switch": True,
        "cameras": ("left", "right"),
        "predicted": False,
        "hypotheses": (0.9, 0.1),
        "position_m": (0.1, 0.2, np.nan),
    }
    return Fix(**(values | changes))


def some_pose() -> Fix:
    root = np.random.default_rng(5).normal(size=(6, 6))
    return some_fix(
        trail=-1,
        dimensions=6,
        surface=None,
        switch=False,
        cameras=(),
        predicted=True,
        hypotheses=(),
        position_m=(1.0, 2.0, 3.0),
        quaternion=(0.5, 0.5, 0.5, 0.5),
        cov=root @ root.T,
    )


LINKS = [
    TrailLink("left", 0, 1, 4, "stylus", "light", 0.75, "held"),
    TrailLink("left", 1, -1, 4, None, None, float("nan"), "coasting"),
]
EVENTS = [
    Event(LATE_NS, "switch-down", "stylus", 4, 3, "pressed").known(LATE_NS + 40, 2e-9, 3e-9),
    Event(LATE_NS + 1, "fault"),
]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "touches.session"


def frame(camera: str, index: int, capture_ns: int, std_ns: float = 2000.0) -> Frame:
    return Frame(camera, index, capture_ns, std_ns, None)


def record(path: Path) -> None:
    with SessionWriter(path, HEADER, "simulated", seed=7) as session:
        session.put_frame(frame("left", 0, LATE_NS))
        session.put_dots("left", 0, some_dots(3, 1))
        session.put_frame(frame("right", 0, LATE_NS - 1, float("nan")))
        session.put_dots("right", 0, Dots.none())
        session.put_frame(frame("left", 1, LATE_NS + 9))
        session.put_dots("left", 1, some_dots(1, 2))
        session.put_links(LINKS)
        session.put_fix(some_fix())
        session.put_fix(some_pose())
        for event in EVENTS:
            session.put_event(event)


def refusal(path: Path) -> str:
    with pytest.raises(RushlightError) as caught:
        SessionReader(path)
    return str(caught.value).replace(str(path), path.name)


def test_everything_comes_back(path: Path) -> None:
    record(path)
    with SessionReader(path) as session:
        assert [(f.camera, f.index, f.capture_ns) for f in session.frames()] == [
            ("left", 0, LATE_NS),
            ("left", 1, LATE_NS + 9),
            ("right", 0, LATE_NS - 1),
        ]
        assert np.isnan(session.frame_table("right")["capture_std_ns"]).all()
        assert session.dots("left", 0).same_as(some_dots(3, 1))
        assert session.dots("left", 1).same_as(some_dots(1, 2))
        assert session.dots("right", 0).same_as(Dots.none())
        first, second = session.fixes()
        assert first.same_as(some_fix())
        assert second.same_as(some_pose())
        assert list(session.events()) == EVENTS
        held, coasting = session.links()
        assert held == LINKS[0]
        assert (coasting.dot, coasting.carried, coasting.state) == (-1, None, "coasting")
        assert np.isnan(coasting.confidence)


def test_departures_come_back_and_a_live_session_tells_its_own(path: Path) -> None:
    began_ns = time.monotonic_ns()
    with SessionWriter(path, HEADER, "measured", live=True) as session:
        session.put_frame(frame("left", 0, LATE_NS))
        session.put_departures([Departure("lines", 0, LATE_NS + 3)])
        deadline = time.monotonic() + 10
        saved: list[Departure] = []
        while not saved and time.monotonic() < deadline:
            saved = session.saved()
            time.sleep(0.01)
        session.put_frame(frame("left", 1, LATE_NS + 8))  # saved by the closing alone
    assert [(each.output, each.frame) for each in saved] == [("session", 0)]
    with SessionReader(path) as again:
        left = again.departure_table()
    assert left["output"].tolist() == ["lines", "session", "session"]
    assert left["frame"].tolist() == [0, 0, 1]
    assert left["sent_ns"][1] == saved[0].sent_ns
    assert began_ns < left["sent_ns"][1] < left["sent_ns"][2] <= time.monotonic_ns()


def test_a_session_of_the_first_version_is_still_read(path: Path) -> None:
    record(path)
    database = sqlite3.connect(path)
    database.execute("DROP TABLE departure")
    for stage in ("capture", "detect", "map", "sent"):
        database.execute(f"ALTER TABLE event DROP COLUMN {stage}_ns")
    database.execute("PRAGMA user_version = 1")
    database.commit()
    database.close()
    with SessionReader(path) as session:
        first, second = session.events()
        assert (first.kind, first.detail, first.trail) == ("switch-down", "pressed", 4)
        assert (first.capture_ns, first.detect_ns, first.map_ns, first.sent_ns) == (-1,) * 4
        assert second.kind == "fault"
        assert {name: len(column) for name, column in session.departure_table().items()} == {
            "output": 0, "frame": 0, "sent_ns": 0,
        }  # fmt: skip
        assert len(list(session.fixes())) == 2


def test_header_says_what_it_was_made_from(path: Path) -> None:
    record(path)
    with SessionReader(path) as session:
        assert session.closed
        assert session.basis == "simulated"
        assert session.header.role == "session"
        assert session.header.cameras == ["left", "right"]
        assert session.header.header is not None
        assert session.header.header.seed == 7
        assert session.header.header.inputs == {"rig": "ab" * 32}
        assert session.header.header.content_hash == session.header.content_hash()


def test_truth_is_told_from_a_session(path: Path) -> None:
    truth = HEADER.model_copy(update={"role": "truth"})
    with SessionWriter(path, truth, "simulated"):
        pass
    with SessionReader(path) as session:
        assert session.header.role == "truth"


def test_an_empty_session_has_empty_tables(path: Path) -> None:
    with SessionWriter(path, HEADER, "measured"):
        pass
    with SessionReader(path) as session:
        for name, table in TABLES.items():
            columns = session.table(name)
            assert tuple(columns) == table.names
            assert all(len(column) == 0 for column in columns.values())
        assert list(session.sightings()) == []
        assert list(session.fixes()) == []


def test_tables_are_typed_and_read_only(path: Path) -> None:
    record(path)
    with SessionReader(path) as session:
        fixes = session.fix_table()
        assert fixes["capture_ns"].dtype == np.int64
        assert fixes["capture_ns"].tolist() == [LATE_NS, LATE_NS]
        assert fixes["map_ns"].tolist() == [-1, -1]
        assert fixes["switch"].tolist() == [True, False]
        assert fixes["x_m"].tolist() == [0.1, 1.0]
        assert np.isnan(fixes["z_m"][0])
        assert fixes["surface"].tolist() == ["wall", None]
        assert session.trail_table()["dot"].tolist() == [1, -1]
        assert session.event_table()["kind"].tolist() == ["switch-down", "fault"]
        assert session.dot_table("left")["frame"].tolist() == [0, 0, 0, 1]
        with pytest.raises(ValueError, match="read-only"):
            fixes["x_m"][0] = 9.0


def test_sightings_follow_the_capture_times_of_all_cameras(path: Path) -> None:
    record(path)
    with SessionReader(path) as session:
        seen = [(f.camera, f.index, len(dots)) for f, dots in session.sightings()]
        assert seen == [("right", 0, 0), ("left", 0, 3), ("left", 1, 1)]
        (only,) = [dots for f, dots in session.sightings("left") if f.index == 1]
        assert only.same_as(some_dots(1, 2))


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 6), st.integers(0, 1000))
def test_dots_as_rows_and_back(n: int, seed: int) -> None:
    dots = some_dots(n, seed)
    rows = dot_rows("left", 5, dots)
    assert [row[:3] for row in rows] == [("left", 5, k) for k in range(n)]
    assert all(type(value) in (str, int, float) for row in rows for value in row)
    columns = {name: np.array([row[k] for row in rows]) for k, name in enumerate(DOT.names)}
    assert dots_from(columns).same_as(dots)


def test_unknown_numbers_are_null_in_the_file(path: Path) -> None:
    with SessionWriter(path, HEADER, "measured") as session:
        dots = some_dots(1)
        session.put_dots("left", 0, dots.replace(flux=[np.nan], cov=np.full((1, 2, 2), np.nan)))
        session.put_fix(some_fix())
    database = sqlite3.connect(path)
    assert database.execute("SELECT flux_dn_px, cov_xx_px2 FROM dot").fetchall() == [(None, None)]
    assert database.execute("SELECT z_m, sent_ns FROM fix").fetchall() == [(None, None)]
    database.close()


def test_numbers_of_numpy_are_stored_as_numbers(path: Path) -> None:
    with SessionWriter(path, HEADER, "measured") as session:
        session.put_frame(Frame("left", np.int64(3), np.int64(LATE_NS), np.float32(4), None))  # type: ignore[arg-type]
        session.put_fix(some_fix(switch=np.bool_(True), frame=np.int32(3), trail=np.int64(2)))
    with SessionReader(path) as session:
        assert session.frame_table()["capture_ns"].tolist() == [LATE_NS]
        assert session.fix_table()["trail"].tolist() == [2]


def test_one_file_is_left(path: Path) -> None:
    record(path)
    assert [each.name for each in path.parent.iterdir()] == [path.name]
    with SessionReader(path) as session:
        session.dot_table()
    assert [each.name for each in path.parent.iterdir()] == [path.name]


def test_an_existing_file_is_never_overwritten(path: Path) -> None:
    path.write_bytes(b"precious")
    with pytest.raises(RushlightError, match="exists already, and a session is never overwritten"):
        SessionWriter(path, HEADER, "measured")
    assert path.read_bytes() == b"precious"


def test_a_leftover_log_is_not_folded_into_a_new_session(path: Path) -> None:
    Path(f"{path}-wal").write_bytes(b"log of another session")
    with pytest.raises(RushlightError, match="move it away with its -wal file"):
        SessionWriter(path, HEADER, "measured")
    assert not path.exists()


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(RushlightError, match=r"cannot be written .*; choose another place"):
        SessionWriter(tmp_path / "file" / "a.session", HEADER, "measured")


def test_the_same_frame_twice_is_told(path: Path) -> None:
    session = SessionWriter(path, HEADER, "measured")
    session.put_frame(frame("left", 0, 1))
    session.put_frame(frame("left", 0, 2))
    with pytest.raises(RushlightError, match="was given the same row twice"):
        session.close()


def test_a_failure_is_told_at_the_next_put(path: Path) -> None:
    session = SessionWriter(path, HEADER, "measured")
    session.put_frame(frame("left", 0, 2**70))
    deadline = time.monotonic() + 10
    with pytest.raises(RushlightError, match="cannot be written"):
        while time.monotonic() < deadline:
            session.put_event(EVENTS[0])
            time.sleep(0.01)
    with pytest.raises(RushlightError, match="cannot be written"):
        session.close()


def test_nothing_is_put_after_the_end(path: Path) -> None:
    session = SessionWriter(path, HEADER, "measured")
    session.close()
    session.close()
    with pytest.raises(ValueError, match="expected an open session"):
        session.put_event(EVENTS[0])


def test_an_error_in_the_recording_still_closes_the_session(path: Path) -> None:
    with pytest.raises(KeyError), SessionWriter(path, HEADER, "measured") as session:
        session.put_event(EVENTS[0])
        raise KeyError("of the caller")
    with SessionReader(path) as again:
        assert list(again.events()) == EVENTS[:1]


def test_records_are_saved_while_the_session_is_open(path: Path) -> None:
    with SessionWriter(path, HEADER, "measured") as session:
        session.put_event(EVENTS[0])
        deadline = time.monotonic() + 5
        found = 0
        while not found and time.monotonic() < deadline:
            with SessionReader(path) as reader:
                assert not reader.closed
                found = len(reader.event_table()["kind"])
            time.sleep(0.02)
        assert found == 1


def test_a_slow_disk_makes_the_putter_wait(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rushlight.keep.writer.GREATEST_BACKLOG", 10)
    with SessionWriter(path, HEADER, "measured") as session:
        greatest = 0
        for index in range(200):
            session.put_frame(frame("left", index, index))
            greatest = max(greatest, session._backlog)
            if index % 50 == 0:
                time.sleep(0.001)
    assert greatest <= 11
    with SessionReader(path) as again:
        assert again.frame_table()["frame"].tolist() == list(range(200))


def test_many_threads_put_at_once(path: Path) -> None:
    with SessionWriter(path, HEADER, "measured") as session:

        def put(camera: str) -> None:
            for index in range(300):
                session.put_frame(frame(camera, index, index))
                session.put_dots(camera, index, some_dots(1))

        threads = [threading.Thread(target=put, args=(camera,)) for camera in HEADER.cameras]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    with SessionReader(path) as again:
        assert len(again.frame_table()["frame"]) == 600
        assert again.dot_table("right")["frame"].tolist() == list(range(300))


def test_what_is_no_session_is_refused(path: Path) -> None:
    assert refusal(path) == "touches.session does not exist; give a session file."
    assert refusal(path.parent).endswith(" is a folder; give a session file.")
    path.write_bytes(b"neither fish nor flesh" * 100)
    assert refusal(path) == "touches.session is not a session; give a file that was recorded."
    path.write_bytes(b"")
    assert refusal(path) == "touches.session is not a session; give a file that was recorded."
    path.unlink()
    database = sqlite3.connect(path)
    database.execute("CREATE TABLE session (header TEXT)")
    database.close()
    assert refusal(path) == "touches.session is not a session; give a file that was recorded."


def test_a_later_version_is_refused(path: Path) -> None:
    record(path)
    database = sqlite3.connect(path)
    database.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    database.close()
    assert refusal(path) == (
        "touches.session has tables of version 3, and this program reads up to 2; "
        "use a later version of Rushlight."
    )


def test_damage_is_told(path: Path) -> None:
    record(path)
    content = bytearray(path.read_bytes())
    content[4096:] = b"\xff" * (len(content) - 4096)
    path.write_bytes(content)
    assert "is damaged and cannot be read" in refusal(path)


def test_a_damaged_header_is_told(path: Path) -> None:
    record(path)
    database = sqlite3.connect(path)
    database.execute("UPDATE session SET header = '{'")
    database.commit()
    assert "is damaged and cannot be read" in refusal(path)
    database.execute("DELETE FROM session")
    database.commit()
    database.close()
    assert "is damaged and cannot be read" in refusal(path)


def test_a_frame_that_is_not_there(path: Path) -> None:
    record(path)
    with (
        SessionReader(path) as session,
        pytest.raises(RushlightError, match='holds no frame 9 of camera "left"'),
    ):
        session.dots("left", 9)


def test_folding_what_does_not_exist(path: Path) -> None:
    with pytest.raises(RushlightError, match="cannot be written"):
        fold_session(path)
    assert not path.exists()


def test_speed_of_recording(path: Path) -> None:
    """20 000 frames of two dots in a second: over a hundred times a fast camera's rate.

    The time is that of the processor, both threads together, which other work does not stretch.
    """
    dots = some_dots(2)
    count = 20_000
    start = time.process_time()
    with SessionWriter(path, HEADER, "measured") as session:
        for index in range(count):
            session.put_frame(frame("left", index, index))
            session.put_dots("left", index, dots)
    rate = count / (time.process_time() - start)
    assert rate > 20_000
    with SessionReader(path) as again:
        assert len(again.dot_table()["dot"]) == 2 * count
