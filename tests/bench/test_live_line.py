"""The desk's line to the live process: it outlives either of them."""

import asyncio
import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest
from websockets.sync.client import connect

from rushlight.bench.desk.live_link import LiveLink
from rushlight.bench.live.control import Place, read_place, start_live, write_place
from rushlight.errors import RushlightError
from rushlight.keep.session import SessionReader

SCENARIO = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"
EASY = {"compression": None, "max_size": None, "max_queue": None, "ping_interval": None}
WAIT_S = 90.0

DESK = """
import asyncio, sys
from pathlib import Path
from rushlight.bench.desk.live_link import LiveLink

async def main():
    link = LiveLink(Path(sys.argv[1]))
    await link.open()
    await link.start("run", "wall", "rehearsal:7", "kept.session")
    while link.state.get("stage") != "running" or not link.state.get("frames"):
        await link.news()
    print("running", flush=True)
    await asyncio.Event().wait()

asyncio.run(main())
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "wall").mkdir()
    rig = (SCENARIO / "rig.toml").read_text()
    rig = rig.replace('outputs = ["session", "pointer"]', 'outputs = ["session"]')
    # Few frames a second, so that a busy machine keeps up.
    rig = rig.replace('frame_rate = "100 Hz"', 'frame_rate = "30 Hz"')
    (tmp_path / "wall" / "rig.toml").write_text(rig)
    yield tmp_path
    if (place := read_place(tmp_path)) is not None:
        os.kill(place.pid, signal.SIGTERM)
        with contextlib.suppress(ChildProcessError):
            os.waitpid(place.pid, 0)


def ended(pid):
    """Whether a process has ended, though nobody may have asked for its end yet."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except OSError:
        return True


def working(place):
    """Numbers of the processes of the act."""
    children = Path(f"/proc/{place.pid}/task/{place.pid}/children").read_text().split()
    return [
        int(pid) for pid in children if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()
    ]


def heard(ws, true):
    until = time.monotonic() + WAIT_S
    while True:
        message = json.loads(ws.recv(max(0.01, until - time.monotonic())))
        if true(message):
            return message


def test_if_the_desk_is_killed_the_run_goes_on_and_its_session_is_whole(folder):
    place = start_live(folder, "127.0.0.1:0")
    desk = subprocess.Popen(
        [sys.executable, "-c", DESK, str(folder)],
        stdout=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    assert desk.stdout.readline() == "running\n"
    os.killpg(desk.pid, signal.SIGKILL)
    desk.wait()
    desk.stdout.close()
    with connect(place.control_url, **EASY) as again:
        frames = heard(again, lambda message: message.get("frames"))["frames"]
        heard(again, lambda message: message.get("frames", 0) > frames + 40)
        again.send(json.dumps({"do": "stop"}))
        result = heard(again, lambda message: message["is"] == "done")["result"]
    with SessionReader(folder / "wall" / "kept.session") as session:
        assert session.closed
        indices = session.frame_table()["frame"]
    # Every frame that was followed is kept, and there is no gap at the desk's end.
    assert len(indices) == result["frames"] > frames + 40
    assert len(indices) + result["dropped"] >= indices[-1] - indices[0] + 1


def test_a_killed_live_process_is_started_anew_and_found_by_the_same_line(folder):
    async def stands(link, true):
        async with asyncio.timeout(WAIT_S):
            while not true(link.state):
                await link.news()

    async def told():
        first = await asyncio.to_thread(start_live, folder, "127.0.0.1:0")
        link = LiveLink(folder)
        await link.open()
        assert link.url == first.url
        await link.start("run", "wall", "rehearsal:7", "first.session")
        await stands(link, lambda state: state.get("frames"))
        workers = working(first)
        os.kill(first.pid, signal.SIGKILL)
        await stands(link, lambda state: not state)
        async with asyncio.timeout(WAIT_S):  # its sockets close a moment before it is gone
            while read_place(folder) is not None:
                await asyncio.sleep(0.01)
        second = await asyncio.to_thread(start_live, folder)
        assert second.pid != first.pid and second.token != first.token
        await stands(link, lambda state: state.get("stage") == "idle")
        assert link.url == second.url == first.url
        await link.start("run", "wall", "camera:nowhere")
        async with asyncio.timeout(WAIT_S):
            while not link.findings:
                await link.news()
        await link.close()
        return workers

    workers = asyncio.run(told())
    # The act of the killed process ended in order: nobody holds the camera any more.
    assert workers
    until = time.monotonic() + WAIT_S
    while not all(map(ended, workers)):
        assert time.monotonic() < until
        time.sleep(0.05)
    with SessionReader(folder / "wall" / "first.session") as session:
        assert session.closed


def test_a_number_that_another_program_has_now_is_no_live_process(tmp_path):
    """After a power cut the place is still told, and its process's number may be another's."""
    with socket.socket() as nobody:
        nobody.bind(("127.0.0.1", 0))  # and does not listen
        (tmp_path / ".bench").mkdir()
        write_place(tmp_path, Place(f"127.0.0.1:{nobody.getsockname()[1]}", "token", os.getpid()))
        assert read_place(tmp_path) is None


def test_a_folder_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / ".bench").write_text("in the way")
    with pytest.raises(RushlightError, match=r"\.bench cannot be written: .*make the folder"):
        start_live(tmp_path)
