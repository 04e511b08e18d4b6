"""A desk's workers end with it, whatever they are at; one that is lost is replaced."""

import asyncio
import os
import signal
import subprocess
import sys
import time
from types import SimpleNamespace

import pytest
from tests.served_bench import workers

from rushlight.bench.desk.worker import end_workers, slowly
from rushlight.errors import RushlightError

DESK = """
import asyncio, os, sys, time
from rushlight.bench.desk.worker import end_workers, slowly

async def main():
    print(await slowly(os.getpid), flush=True)
    job = asyncio.create_task(slowly(time.sleep, 600))
    await asyncio.to_thread(sys.stdin.readline)
    end_workers()
    job.cancel()

asyncio.run(main())
"""


def is_there(pid):
    """Whether the process runs; one that ended but was not collected does not."""
    try:
        with open(f"/proc/{pid}/stat") as told:
            return told.read().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.fixture
def desk():
    """A desk whose worker is at a long job."""
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with subprocess.Popen([sys.executable, "-c", DESK], **pipes) as process:
        yield process
        process.kill()


@pytest.mark.skipif(not os.path.isdir("/proc/self"), reason="reads /proc")
@pytest.mark.parametrize("how", ["killed", "ended"])
def test_a_worker_ends_with_its_desk(desk, how):
    worker = int(desk.stdout.readline())
    assert is_there(worker)
    if how == "killed":
        desk.send_signal(signal.SIGKILL)
    else:
        desk.stdin.write("\n")
        desk.stdin.flush()
    desk.wait(30)
    until = time.monotonic() + 30
    while is_there(worker) and time.monotonic() < until:
        time.sleep(0.05)
    assert not is_there(worker)


def test_a_worker_that_is_lost_is_replaced_and_a_job_that_ends_it_is_told():
    async def desk():
        lost = await slowly(os.getpid)
        os.kill(lost, signal.SIGKILL)
        waiting = [slowly(os.getpid) for _ in range(3)]
        found = set(await asyncio.gather(*waiting))
        assert len(found) == 1 and lost not in found
        with pytest.raises(RushlightError, match="lost the process that worked on this, twice"):
            await slowly(os.abort)
        assert await slowly(os.getpid) not in {lost, *found}

    try:
        asyncio.run(desk())
    finally:
        end_workers()


@pytest.mark.skipif(not os.path.isdir("/proc/self"), reason="reads /proc")
def test_a_bench_that_is_asked_to_end_clears_away_what_its_workers_shared(tmp_path):
    command = [sys.executable, "-m", "rushlight", "bench", str(tmp_path), "--no-browser"]
    pipes = {"stderr": subprocess.PIPE, "text": True}
    with subprocess.Popen([*command, "--address", "127.0.0.1:0"], **pipes) as process:
        assert "the bench:" in process.stderr.readline()
        until = time.monotonic() + 60
        while not workers(SimpleNamespace(process=process)) and time.monotonic() < until:
            time.sleep(0.05)
        left = workers(SimpleNamespace(process=process))
        assert left
        process.terminate()
        # To the end of all that writes there: what was left over is told after the desk's end.
        _, said = process.communicate(timeout=30)
    assert (process.returncode, said) == (0, "")
    assert not any(is_there(pid) for pid in left)
