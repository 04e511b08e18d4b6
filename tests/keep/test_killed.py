"""A process killed while recording leaves a session that opens, whole but for the last moment."""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from rushlight.keep.session import SessionReader
from rushlight.keep.writer import fold_session

RECORD = """
import sys, time
from pathlib import Path
import numpy as np
from rushlight.keep.session import SessionWriter
from rushlight.records.dots import Dots, Frame
from rushlight.records.session import SessionHeader

dots = Dots(xy=np.ones((2, 2)), cov=np.ones((2, 2, 2)), flux=np.ones(2), width=np.ones((2, 3)),
            peak=np.ones(2), saturated=np.zeros(2), quality=np.ones(2), reason=np.zeros(2))
header = SessionHeader(cameras=["beam"], carried=["stylus"], clocks=[])
with SessionWriter(Path(sys.argv[1]), header, "measured") as session:
    print("open", flush=True)
    for index in range(10_000_000):
        session.put_frame(Frame("beam", index, time.monotonic_ns(), 0.0, None))
        session.put_dots("beam", index, dots)
        time.sleep(0.0005)
"""
GREATEST_LOSS_NS = 1_000_000_000


def record_and_kill(path: Path, after_s: float) -> int:
    """Record in a process of its own, kill it, and return the moment [ns]."""
    with subprocess.Popen(
        [sys.executable, "-c", RECORD, str(path)], stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "open\n"
        time.sleep(after_s)
        killed_ns = time.monotonic_ns()
        process.send_signal(signal.SIGKILL)
    assert process.returncode == -signal.SIGKILL
    return killed_ns


@pytest.fixture(scope="module")
def killed() -> Iterator[list[tuple[Path, int]]]:
    """Six sessions, each with the moment at which its process was killed."""
    rng = np.random.default_rng()
    with tempfile.TemporaryDirectory() as folder:
        # Some die within the first commit, some after several.
        moments = [0.0, *rng.uniform(0.02, 0.3, 2), *rng.uniform(0.5, 1.2, 3)]
        paths = [Path(folder) / f"{k}" / "touches.session" for k in range(len(moments))]
        yield [
            (path, record_and_kill(path, moment))
            for path, moment in zip(paths, moments, strict=True)
        ]


def assert_holds_all_but_the_last_moment(path: Path, killed_ns: int) -> int:
    with SessionReader(path) as session:
        assert not session.closed
        assert session.header.cameras == ["beam"]
        frames = session.frame_table()
        dots = session.dot_table()
    count = len(frames["frame"])
    assert frames["frame"].tolist() == list(range(count))
    # Each commit is whole, but it may fall between a frame and its dots.
    assert len(dots["dot"]) in (2 * count, 2 * count - 2)
    if count:
        assert killed_ns - frames["capture_ns"][-1] < GREATEST_LOSS_NS
    return count


def test_killed_sessions_hold_all_but_the_last_moment(killed: list[tuple[Path, int]]) -> None:
    counts = [assert_holds_all_but_the_last_moment(path, when) for path, when in killed]
    assert all(count > 20 for count in counts[3:])


def test_a_killed_session_reads_the_same_from_a_folder_that_cannot_be_written(
    killed: list[tuple[Path, int]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    path, _ = killed[-1]
    with SessionReader(path) as session:
        expected = len(session.frame_table()["frame"])
    with tempfile.TemporaryDirectory() as folder:
        for suffix in ("", "-wal"):
            shutil.copyfile(f"{path}{suffix}", Path(folder) / f"copy.session{suffix}")
            (Path(folder) / f"copy.session{suffix}").chmod(0o444)
        Path(folder).chmod(0o555)
        count = count_as_nobody(Path(folder) / "copy.session")
        Path(folder).chmod(0o755)
        assert sorted(each.name for each in Path(folder).iterdir()) == [
            "copy.session",
            "copy.session-wal",
        ]
    assert count == expected


def count_as_nobody(path: Path) -> int:
    """Frames of a session as counted by a process that may not write its folder."""
    script = (
        "import os, sys\n"
        "from pathlib import Path\n"
        "import rushlight.keep.session as keep\n"
        "from rushlight.records import session\n"
        "if os.geteuid() == 0: os.setuid(65534)\n"
        "assert not os.access(Path(sys.argv[1]).parent, os.W_OK)\n"
        "with keep.SessionReader(Path(sys.argv[1])) as read:\n"
        "    print(len(read.frame_table()['frame']))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(path)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "TMPDIR": "/tmp"},
    )
    assert done.returncode == 0, done.stderr
    return int(done.stdout)


def test_a_killed_session_is_folded_into_one_file(
    killed: list[tuple[Path, int]], tmp_path: Path
) -> None:
    path, _ = killed[-2]
    with SessionReader(path) as session:
        expected = session.frame_table()["capture_ns"]
    fold_session(path)
    alone = tmp_path / "alone.session"
    shutil.copyfile(path, alone)
    with SessionReader(alone) as session:
        assert not session.closed
        assert np.array_equal(session.frame_table()["capture_ns"], expected)
