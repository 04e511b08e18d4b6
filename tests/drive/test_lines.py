"""JSON lines, to a stream and through real pipes."""

import io
import json
import subprocess
import sys
import threading
import time

import numpy as np
import pytest

from rushlight.drive.departures import Departures
from rushlight.drive.lines import MOST_FRAMES, LinesOutput


def test_one_object_a_frame(display, make):
    cov = np.full((6, 6), np.nan)
    cov[:2, :2] = np.diag([9e-6, 16e-6])
    stream = io.StringIO()
    departures, began_ns = Departures(), time.monotonic_ns()
    output = LinesOutput(display, stream, departures)
    fixes = [make.fix("stylus-wren", 7, 0.6, 1.0, 5, 3, cov=cov)]
    output.put(
        make.results(
            3, 5, fixes, [make.switched("switch-down", "stylus-wren", 7, 5, 3).known(9, 2e-9, 4e-9)]
        ),
        [],
    )
    output.put(make.results(4, 13), [])
    output.put(make.results(5, 21, [], [make.switched("drop", None, -1, 21, -1)]), [])
    output.close()
    first, second = map(json.loads, stream.getvalue().splitlines())
    assert (first["frame"], first["capture_ns"]) == (3, 5)
    [fix] = first["fixes"]
    assert fix["position_m"] == [0.6, 1.0, None]
    assert fix["position_std_m"] == [pytest.approx(0.003), pytest.approx(0.004), None]
    assert fix["display_px"] == pytest.approx([300.0, 250.0])
    assert fix["quaternion"] == [None] * 4
    assert (fix["carried"], fix["trail"], fix["switch"]) == ("stylus-wren", 7, True)
    assert (fix["capture_ns"], fix["detect_ns"], fix["map_ns"]) == (5, 5, 5)
    [pressed] = first["events"]
    assert (pressed["kind"], pressed["time_ns"]) == ("switch-down", 5)
    assert [pressed[f"{stage}_ns"] for stage in ("capture", "detect", "map")] == [9, 11, 13]
    [dropped] = second["events"]
    assert (dropped["kind"], dropped["time_ns"], dropped["detail"]) == ("drop", 21, "")
    unknown = ("carried", "trail", "frame", "capture_ns", "detect_ns", "map_ns")
    assert all(dropped[name] is None for name in unknown)
    assert (output.sent, output.lost) == (2, 0)
    # Written after they were put, and told with the moment after writing.
    assert began_ns <= first["sent_ns"] <= second["sent_ns"]
    left = departures.take()
    assert [(each.output, each.frame) for each in left] == [("lines", 3), ("lines", 5)]
    assert first["sent_ns"] <= left[0].sent_ns <= second["sent_ns"] <= left[1].sent_ns


class Slow(io.StringIO):
    """A reader that takes nothing until it is let."""

    def __init__(self):
        super().__init__()
        self.let = threading.Event()

    def write(self, text):
        self.let.wait(20.0)
        return super().write(text)


def test_a_slow_reader_loses_the_oldest_places_and_no_event(display, make):
    stream = Slow()
    output = LinesOutput(display, stream)
    frames = MOST_FRAMES + 101
    for n in range(frames):
        events = [make.switched("switch-down", "wren", n, n, n)] if n % 10 == 0 else []
        began = time.perf_counter()
        output.put(make.results(n, n, [make.fix("wren", 1, 0.5, 0.5, n)], events), [])
        assert time.perf_counter() - began < 1.0
    stream.let.set()
    output.close()
    told = [json.loads(line) for line in stream.getvalue().splitlines()]
    assert told[-1]["frame"] == frames - 1
    assert output.sent + output.lost == frames
    assert output.lost >= 100
    switched = [event["trail"] for line in told for event in line["events"]]
    assert switched == list(range(0, frames, 10))


PROGRAM = """
import sys, time
sys.path.insert(0, {folder!r})
from conftest import fix, results
from rushlight.drive.output import Display
from rushlight.drive.outputs import open_outputs
with open_outputs(["lines"], Display((2.4, 1.5), (1200, 750), "wall")) as outputs:
    for n in range({frames}):
        outputs.put(results(n, n, [fix("wren", 1, 0.5, 0.5, n)]))
        time.sleep({pause})
for finding in outputs.findings:
    print(finding, file=sys.stderr)
"""


def started(frames, pause, stdout):
    folder = __file__.rpartition("/")[0]
    program = PROGRAM.format(folder=folder, frames=frames, pause=pause)
    return subprocess.Popen(
        [sys.executable, "-W", "error", "-c", program],
        stdout=stdout, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def test_a_reader_gets_whole_lines_as_they_come():
    with started(30, 0.0, subprocess.PIPE) as running:
        told, troubles = running.communicate(timeout=60)
    assert [json.loads(line)["frame"] for line in told.splitlines()] == list(range(30))
    assert (troubles, running.returncode) == ("", 0)


def test_a_reader_that_goes_ends_the_output_with_a_sentence_and_not_the_run():
    with started(200, 0.005, subprocess.PIPE) as running:
        assert json.loads(running.stdout.readline())["frame"] == 0
        running.stdout.close()
        troubles = running.stderr.read()
        assert running.wait(60) == 0
    assert troubles == (
        "output lines is off from here on: its reader has gone; "
        "keep the reading program running as long as the run.\n"
    )


def test_a_reader_that_stands_still_does_not_hold_up_the_end():
    with started(3000, 0.0, subprocess.PIPE) as running:
        assert running.wait(60) == 0  # nothing was read: the pipe is full
        running.stdout.close()
        assert running.stderr.read() == ""
