"""A whole run whose stream is cut and restored midway: no light stays down, and it goes on.

Cameras and sensor are played on loopback and on a pseudo-terminal, with simulated pictures; no
hardware took part. What hears the run are a reader of JSON lines, a library for Open Sound Control
that did not write it (oscpy), and a bare client of the pointer socket.
"""

from __future__ import annotations

import contextlib
import itertools
import json
import os
import re
import threading
import tty
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from rushlight.capture.open import open_footage
from rushlight.cli import app
from rushlight.jobs.run import run
from rushlight.keep.session import SessionReader
from rushlight.records.document import read_document
from rushlight.records.dot_noise import DotNoise

STYLI = {"stylus-wren", "stylus-ash"}
RATE_HZ = 50.0
STARTING_S = 300.0
LINES = '\n[cameras.lines]\nfields = ["x", "y"]\nsize_px = [640, 480]\ndots = 4\n'


class SensorOnTerminal:
    """A sensor that sends lines, on a pseudo-terminal behind a name that comes and goes."""

    def __init__(self, show, link):
        self.cut = threading.Event()
        self.far, self.near = os.openpty()
        tty.setraw(self.near)
        self.link, self.show = Path(link), show
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(self.near))
        self.address = f"serial:{self.link}"
        self.thread = threading.Thread(target=self.send, daemon=True)
        self.thread.start()

    def send(self):
        for _, line in self.show.ticks(self.cut):
            with contextlib.suppress(OSError):
                os.write(self.far, line)

    def close(self):
        """Unplug it."""
        self.link.unlink()
        self.cut.set()
        os.set_blocking(self.far, False)
        self.thread.join(5.0)
        os.close(self.far)
        os.close(self.near)


@pytest.fixture(scope="module")
def pictures(wall):
    """The grid's pictures as they were simulated."""
    return [frame.image for frame in open_footage(wall.home / "grid")]


@pytest.fixture(scope="module")
def dots(wall, tmp_path_factory):
    """Places of the dots in every picture of the grid, as the detector finds them: [(N, 2)]."""
    session = tmp_path_factory.mktemp("dots") / "grid.sqlite"
    run(wall.home / "grid", session, wall.home, wall.home / "registration.json")
    with SessionReader(session) as reader:
        return [found.xy for _, found in reader.sightings()]


def told(line, kind):
    return {event["carried"] for event in line["events"] if event["kind"] == kind}


def switched(lines, kind):
    """Whose lights went on or off in these lines."""
    return set().union(*(told(line, kind) for line in lines))


def lit(line):
    return {fix["carried"] for fix in line["fixes"]}


class Ears:
    """Hears the run by OSC, through another library, and by the pointer socket."""

    def __init__(self, wall):
        server = pytest.importorskip("oscpy.server")
        self.osc, self.steps = [], []
        self.receiver = server.OSCThreadServer(default_handler=self.hear)
        self.receiver.listen(address="127.0.0.1", port=wall.osc, default=True)
        self.address = f"ws://127.0.0.1:{wall.pointer}/pointer"
        self.socket = None
        self.thread = threading.Thread(target=self.listen, daemon=True)
        self.thread.start()

    def stepped(self, kind, since=0):
        """Whose pointers did this, from so many steps on."""
        return {step[1] for step in self.steps[since:] if step[2] == kind}

    def hear(self, address, *values):
        self.osc.append((address.decode(), values))

    def listen(self):
        with (
            contextlib.suppress(ConnectionClosed),
            connect(self.address, compression=None) as self.socket,
        ):
            for message in self.socket:
                self.steps += json.loads(message).get("steps", [])

    def close(self):
        self.receiver.terminate_server()
        self.receiver.join_server(5.0)
        self.receiver.stop_all()
        if self.socket is not None:
            self.socket.close()
        self.thread.join(5.0)


@pytest.mark.parametrize("kind", ["http", "rtsp", "serial"])
def test_a_stream_cut_midway_lifts_what_is_down_and_goes_on(
    kind, wall, started, streams, request, tmp_path
):
    home, plug = wall.home, tmp_path / "sensor"
    if kind == "serial":
        places = request.getfixturevalue("dots")
        show = streams.Show([sensor_line(xy) for xy in places], RATE_HZ)
        held = int(np.argmax([len(xy) for xy in places]))
        home = sensor_home(wall.home, tmp_path)
        learn_at_rest(streams, places[held], home, plug)
    else:
        frames = request.getfixturevalue("pictures")
        show = streams.Show([streams.jpeg_of(frame) for frame in frames], RATE_HZ)
        held = int(np.argmax([np.count_nonzero(frame > 80) for frame in frames]))

    def opened(port=0):
        if kind == "serial":
            return SensorOnTerminal(show, plug)
        return {"http": streams.HttpCamera, "rtsp": streams.RtspJpegCamera}[kind](show, port)

    camera = opened()
    outputs = [word for name in ("lines", "osc", "pointer") for word in ("--output", name)]
    running = started(home, camera.address, *outputs, "--out", tmp_path / "cut.sqlite").follow()
    with contextlib.ExitStack() as ending:
        ending.callback(lambda: camera.close())
        running.until(lambda lines: switched(lines, "switch-down") >= STYLI, STARTING_S, "presses")
        ears = ending.enter_context(contextlib.closing(Ears(wall)))
        # While they go on and off: one that is down before the ears open comes down for them again.
        running.until(lambda _: ears.osc and ears.stepped("down") >= STYLI, 60, "pointers down")
        show.hold(held)  # both stay lit
        running.until(lambda lines: lit(lines[-1]) >= STYLI, 30, "both lit")
        lifted_at_the_cut(running, ears, camera)
        show.hold(None)
        camera = opened(getattr(camera, "port", 0))
        goes_on(running, ears)
        errors = running.end()
    assert re.search(r"reconnects +[1-9]", errors), errors
    with SessionReader(tmp_path / "cut.sqlite") as reader:
        assert reader.closed
        events, found = reader.event_table(), reader.dot_table()
    faults = events["detail"][events["kind"] == "fault"]
    assert any(" broke: " in fault for fault in faults), faults
    assert any(" is back after " in fault for fault in faults), faults
    # A pointer never comes down twice, nor goes up twice, on either way out.
    for stylus in STYLI:
        for ways in (by_lines(running.lines, stylus), by_steps(ears.steps, stylus)):
            assert ways and all(one != other for one, other in itertools.pairwise(ways))
    if kind == "serial":
        noise = read_document(DotNoise, next(home.glob("dot-noise-*.json")))
        assert np.allclose(found["cov_xx_px2"], noise.cov_px2[0][0])
        assert np.allclose(found["cov_yy_px2"], noise.cov_px2[1][1])


def lifted_at_the_cut(running, ears, camera):
    """Cut the stream: every way out tells at once that both lights are off, with no frame."""
    lines_then, steps_then, osc_then = len(running.lines), len(ears.steps), len(ears.osc)
    camera.close()
    running.until(
        lambda lines: switched(lines[lines_then:], "switch-up") >= STYLI, 10, "lifted at the cut"
    )
    last = running.lines[-1]
    assert {event["detail"] for event in last["events"]} == {"no frames came"}
    assert last["frame"] is None and last["fixes"] == []
    running.until(lambda _: ears.stepped("cancel", steps_then) >= STYLI, 10, "called off")
    ups = {f"/rushlight/up/{stylus}" for stylus in STYLI}
    running.until(lambda _: {address for address, _ in ears.osc[osc_then:]} >= ups, 10, "OSC")


def goes_on(running, ears):
    """The stream is back: presses, places and pointers come as before, by themselves."""
    lines_then, steps_then = len(running.lines), len(ears.steps)
    running.until(
        lambda lines: switched(lines[lines_then:], "switch-down") >= STYLI, 60, "presses again"
    )
    running.until(
        lambda lines: sum(len(line["fixes"]) for line in lines[lines_then:]) > 50, 60, "places"
    )
    running.until(lambda _: ears.stepped("down", steps_then) >= STYLI, 30, "pointers down again")


def by_lines(lines, stylus):
    """Whether its light went on or off, in order."""
    return [
        event["kind"]
        for line in lines
        for event in line["events"]
        if event["carried"] == stylus and event["kind"] in ("switch-down", "switch-up")
    ]


def by_steps(steps, stylus):
    """The same by the pointer socket, whose client came later: from the first coming down on."""
    kinds = [step[2] for step in steps if step[1] == stylus and step[2] != "move"]
    kinds = kinds[kinds.index("down") :]
    return ["switch-down" if kind == "down" else "switch-up" for kind in kinds]


def sensor_line(xy):
    """A line of a sensor that sends hundredths of its units."""
    return (",".join(f"{x:.2f},{y:.2f}" for x, y in xy) + "\n").encode()


def sensor_home(home, folder):
    """The wall with a sensor that sends lines in the place of its camera."""
    before, after = (home / "rig.toml").read_text().split("[[carried]]", 1)
    place = folder / "home"
    place.mkdir()
    (place / "rig.toml").write_text(f"{before.rstrip()}\n{LINES}\n[[carried]]{after}")
    (place / "registration.json").write_text((home / "registration.json").read_text())
    return place


def learn_at_rest(streams, places, home, plug):
    """Let the sensor's noise be learnt from lights that lie still and scatter by 0.2 units."""
    rng = np.random.default_rng(5)
    scattered = places + rng.normal(0.0, 0.2, (997, *places.shape))
    sensor = SensorOnTerminal(streams.Show([sensor_line(xy) for xy in scattered], 100.0), plug)
    try:
        words = ["inspect", "at-rest", "--live", sensor.address, "--rig", home, "--for", "4 s"]
        done = CliRunner().invoke(app, [str(word) for word in words])
    finally:
        sensor.close()
    assert done.exit_code == 0, done.output
