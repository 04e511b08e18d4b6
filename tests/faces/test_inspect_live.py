"""The verb inspect before a running camera or sensor, which a replay and a terminal stand for."""

import os
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.records.document import read_document
from rushlight.records.dot_noise import DotNoise

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall/rig.toml"
LINES = '\n[cameras.lines]\nfields = ["x", "y"]\nsize_px = [640, 480]\ndots = 2\n'


def run(*words):
    return CliRunner(env={"COLUMNS": "120"}).invoke(app, [str(word) for word in words])


@pytest.fixture
def rig(tmp_path):
    """The barn wall with a sensor that sends lines in the place of its camera."""
    before, after = BARN_WALL.read_text().split("[[carried]]", 1)
    path = tmp_path / "rig.toml"
    path.write_text(f"{before.rstrip()}\n{LINES}\n[[carried]]{after}")
    return path


@pytest.fixture
def sensor():
    """A terminal on which two lights at rest are told, 100 times a second, by rounded numbers."""
    ours, theirs = os.openpty()
    ended = threading.Event()

    def send():
        rng = np.random.default_rng(7)
        while not ended.is_set():
            x, y = rng.normal([[100.0, 200.0], [400.0, 300.0]], 0.2).T
            line = f"{x[0]:.2f},{y[0]:.2f},{x[1]:.2f},{y[1]:.2f}\n"
            os.write(ours, line.encode())
            time.sleep(0.01)

    thread = threading.Thread(target=send, daemon=True)
    thread.start()
    yield os.ttyname(theirs)
    ended.set()
    thread.join(2)
    os.close(ours)
    os.close(theirs)


def test_a_sensor_of_dots_tells_its_noise_at_rest(rig, sensor):
    result = run(
        "inspect", "at-rest", "--live", f"serial:{sensor}", "--rig", rig, "--for", "2 s"
    )  # fmt: skip
    assert result.exit_code == 0, (result.output, result.exception)
    noise = read_document(DotNoise, rig.parent / "dot-noise-beam.json")
    assert noise.dots == 2 and noise.header.basis == "measured"
    std = np.sqrt([noise.cov_px2[0][0], noise.cov_px2[1][1]])
    # Some 200 frames of two lights: 400 values, so 0.2 px within 4 deviations of 3.5 %.
    assert std == pytest.approx([0.2, 0.2], rel=0.14)
    assert "dot-noise-beam.json; the rig uses it from now on" in result.output.replace("\n", "")


def test_a_step_is_taken_from_frames_as_they_come(tmp_path):
    shown = tmp_path / "shown"
    shown.mkdir()
    rng = np.random.default_rng(3)
    for index in range(40):
        level = 60 + rng.normal(0, 2, (48, 64))
        Image.fromarray(np.uint8(np.clip(level, 0, 255))).save(shown / f"{index:03}.png")
    result = run(
        "inspect", "compression", "--live", f"footage:{shown}", "--for", "1 s", "--out",
        tmp_path / "measured",
    )  # fmt: skip
    assert result.exit_code in (0, 1), (result.output, result.exception)
    assert "compression" in result.output and "filming take" in result.output


def test_a_sensor_has_no_pictures_to_inspect(rig, sensor):
    result = run("inspect", "focus", "--live", f"serial:{sensor}", "--rig", rig, "--for", "1 s")
    assert isinstance(result.exception, RushlightError)
    assert "sends dots and no pictures; learn its noise" in str(result.exception)


def test_a_camera_has_no_dots_to_learn_from(tmp_path):
    shown = tmp_path / "shown"
    shown.mkdir()
    for index in range(5):
        Image.fromarray(np.full((480, 640), 40, np.uint8)).save(shown / f"{index}.png")
    result = run("inspect", "at-rest", "--live", f"footage:{shown}", "--rig", BARN_WALL)
    assert isinstance(result.exception, RushlightError)
    assert "gives pictures, whose dots tell their own noise" in str(result.exception)
