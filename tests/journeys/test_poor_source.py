"""The verb run before sources that give less than the rig counts on; it says so while it runs."""

import os
import threading
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from rushlight.cli import app

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall/rig.toml"
LINES = '\n[cameras.lines]\nfields = ["x", "y"]\nsize_px = [640, 480]\ndots = 2\n'


def run(folder, *words):
    out = folder / "session.sqlite"
    result = CliRunner(env={"COLUMNS": "400"}).invoke(
        app, ["run", *map(str, words), "--output", "none", "--out", str(out)]
    )
    assert result.exit_code == 0, (result.output, result.exception)
    return result


@pytest.fixture
def rig(tmp_path):
    """The barn wall with a sensor that sends lines in the place of its camera."""
    before, after = BARN_WALL.read_text().split("[[carried]]", 1)
    path = tmp_path / "rig.toml"
    path.write_text(f"{before.rstrip()}\n{LINES}\n[[carried]]{after}")
    return path


@pytest.fixture
def terminal():
    """A terminal; call with a line that is to be sent 100 times a second."""
    far, near = os.openpty()
    ended = threading.Event()
    threads = []

    def send(line):
        def work():
            while not ended.wait(0.01):
                os.write(far, line)

        threads.append(threading.Thread(target=work, daemon=True))
        threads[-1].start()
        return os.ttyname(near)

    yield send
    ended.set()
    for thread in threads:
        thread.join(2)
    os.close(far)
    os.close(near)


def test_lines_of_another_format_are_told_while_the_run_goes_on(rig, terminal, tmp_path):
    port = terminal(b"x=5 y=6\n")
    result = run(tmp_path, "--camera", f"serial:{port}", "--rig", rig, "--for", "2 s")
    wrong = f"! warning: serial:{port} = 'x=5 y=6' holds what is no number"
    assert wrong in result.stderr and wrong in result.stdout
    assert "no frames for" in result.stderr
    assert "session from measured frames as they came" in result.stdout
    assert f"serial:{port} gave nothing that could be followed, from beginning" in result.stdout


def test_a_sensor_whose_noise_was_never_learnt_is_named(rig, terminal, tmp_path):
    port = terminal(b"100,200\n")
    result = run(tmp_path, "--camera", f"serial:{port}", "--rig", rig, "--for", "4 s")
    assert "is followed without its noise, which was never learnt" in result.stderr
    assert "gave nothing" not in result.stdout


@pytest.mark.parametrize(("rate", "slow"), [("100 Hz", True), ("30 Hz", False)])
def test_a_camera_slower_than_its_rig_is_told(rate, slow, streams, tmp_path):
    rig = tmp_path / "rig.toml"
    text = BARN_WALL.read_text()
    rig.write_text(text.replace('frame_rate = "100 Hz"', f'frame_rate = "{rate}"'))
    grey = streams.jpeg_of(np.full((480, 640), 6, np.uint8))
    camera = streams.HttpCamera(streams.Show([grey], 30.0))
    try:
        told = run(tmp_path, "--camera", camera.address, "--rig", rig, "--for", "3 s").stdout
    finally:
        camera.close()
    assert ("frames/s are fewer than the 100 Hz that the rig says" in told) is slow
    assert ("fewer than" in told) is slow
