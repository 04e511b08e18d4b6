"""The barn wall registered, and runs of it, for the journeys of live work."""

import contextlib
import importlib.util
import json
import queue
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from tests.exact_registration import registration_of as exact_registration
from tests.planned_wall import write_plan

from rushlight.jobs.register import register
from rushlight.jobs.simulate import simulate

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"

STARTING_S = 300.0
"""The first run compiles the kernels, on a machine that may be at work."""


def free_port(kind=socket.SOCK_STREAM):
    with socket.socket(socket.AF_INET, kind) as asked:
        asked.bind(("127.0.0.1", 0))
        return asked.getsockname()[1]


@pytest.fixture(scope="session")
def streams():
    """The cameras that tests play."""
    spec = importlib.util.spec_from_file_location(
        "streams", Path(__file__).parents[1] / "streams.py"
    )
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def registration_of():
    """Makes the exact registration of a simulated world and its rig."""
    return exact_registration


@pytest.fixture(scope="session")
def wall(tmp_path_factory):
    """The barn wall, registered, with simulated touches of a grid by both growers."""
    home = tmp_path_factory.mktemp("wall")
    pointer, osc = free_port(), free_port(socket.SOCK_DGRAM)
    text = (BARN_WALL / "rig.toml").read_text()
    assert 'outputs = ["session", "pointer"]' in text
    drive = f'[drive]\npointer = "127.0.0.1:{pointer}"\nosc = "127.0.0.1:{osc}"\n'
    (home / "rig.toml").write_text(f"{text}\n{drive}")
    write_plan(home, home / "plan", (6, 4))
    plan_file = home / "plan" / "plan.json"
    _, touches = simulate(home, "registration", home / "touches", 3, plan=plan_file)
    register(touches, home, home / "registration.json")
    simulate(home, "grid", home / "grid", 3, plan=plan_file, columns=3, rows=3, frames_per_place=30)
    return SimpleNamespace(home=home, pointer=pointer, osc=osc)


class Run:
    """`rushlight run --camera` as a process of its own, whose JSON lines are read as they come.

    Attributes
    ----------
    lines
        Objects heard so far.
    """

    def __init__(self, home, source, *options):
        command = [
            sys.executable, "-X", "faulthandler", "-m", "rushlight", "run",
            "--camera", source, "--rig", home,
            "--registration", home / "registration.json", *options,
        ]  # fmt: skip
        self.process = subprocess.Popen(
            [str(word) for word in command],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=home,
        )  # fmt: skip
        self.lines = []
        self._heard = queue.SimpleQueue()
        self._errors = []
        self._threads = [
            threading.Thread(target=self._hear, daemon=True),
            threading.Thread(target=self._collect, daemon=True),
        ]

    def follow(self):
        """Begin to read what it prints; without this, `communicate` is left to the test."""
        for thread in self._threads:
            thread.start()
        return self

    def until(self, true, seconds, what):
        """Read on until something is so of the lines heard; the number of lines by then."""
        ends_s = time.monotonic() + seconds
        while not true(self.lines):
            with contextlib.suppress(queue.Empty):
                self.lines.append(self._heard.get(timeout=0.1))
            if self.process.poll() is not None or time.monotonic() > ends_s:
                self.process.kill()
                raise AssertionError(f"{what}: it did not come to be\n{''.join(self._errors)}")
        return len(self.lines)

    def end(self):
        """End it politely, and read what it still prints; all that it said on standard error."""
        self.process.terminate()
        try:
            code = self.process.wait(60)
        except subprocess.TimeoutExpired:
            self.process.send_signal(signal.SIGABRT)  # so that it tells where it stands
            code = self.process.wait(60)
        for thread in self._threads:
            thread.join(5.0)
        while not self._heard.empty():
            self.lines.append(self._heard.get())
        told = "".join(self._errors)
        assert code == 0, told
        return told

    def close(self):
        """Let go of its pipes once it has ended."""
        self.process.wait(10)
        for thread in self._threads:
            if thread.is_alive():
                thread.join(5.0)
        self.process.stdout.close()
        self.process.stderr.close()

    def _hear(self):
        for line in self.process.stdout:
            self._heard.put(json.loads(line))

    def _collect(self):
        for line in self.process.stderr:
            self._errors.append(line)


@pytest.fixture
def started():
    """Starts runs that are killed after the test if they are still there."""
    running = []

    def start(home, source, *options):
        running.append(Run(home, source, *options))
        return running[-1]

    yield start
    for run in running:
        if run.process.poll() is None:
            run.process.kill()
        run.close()
