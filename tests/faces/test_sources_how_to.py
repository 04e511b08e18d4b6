"""The page on sources: its sensor is one that check accepts, its cameras in space are a rig's."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.jobs.load import load_rig
from rushlight.jobs.new import new
from rushlight.jobs.space_sources import named_sources
from rushlight.records.space_footage import SPACE_FOOTAGE

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs/how-to-sources.md").read_text("utf-8")
BATON = ROOT / "src/rushlight/jobs/scenarios/choir-baton"


@pytest.fixture
def room(tmp_path):
    """A new rig whose camera is the page's sensor, and the page's part beside it."""
    anchors, lines, part = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)
    home = tmp_path / "my-wall"
    new(home)
    rig = home / "rig.toml"
    before, after = rig.read_text("utf-8").split("# ---- The stylus", 1)
    before = before.replace('part = "vga-global-60"', 'part = "my-dot-sensor"')
    rig.write_text(f"{before}{lines}\n# ---- The stylus{after}\n{anchors}", "utf-8")
    (home / "sensor.shelf.toml").write_text(part, "utf-8")
    return home


def check(home):
    return CliRunner(env={"COLUMNS": "400"}).invoke(app, ["check", str(home)])


def test_the_page_s_sensor_has_no_errors(room):
    result = check(room)
    assert result.exit_code == 0, result.output
    assert "my-wall: no errors" in result.output


def test_a_sensor_of_another_size_than_its_part_is_refused(room):
    rig = room / "rig.toml"
    rig.write_text(rig.read_text("utf-8").replace('"my-dot-sensor"', '"vga-global-60"'), "utf-8")
    result = check(room)
    assert result.exit_code == 2
    assert (
        "rig.toml: cameras[0].lines.size_px = [1024, 768] is not the size of the part "
        "vga-global-60, 640 × 480 px; describe the sensor as a part of its own size"
    ) in result.output


def test_the_page_s_cameras_in_space_are_taken_each_by_its_name():
    rig, _ = load_rig(BATON)
    (options,) = re.findall(r"`(--camera \w+=\S+ --camera \w+=\S+)`", PAGE)
    given = options.split()[1::2]
    assert len(given) == len(rig.cameras)
    told = named_sources(given, rig, "rig.toml")
    assert [f"{name}={source}" for name, source in told.items()] == given


def test_one_folder_of_what_all_filmed_serves_all_as_the_page_says(tmp_path):
    rig, _ = load_rig(BATON)
    assert "`--camera simulated:FOLDER`" in PAGE
    for camera in rig.cameras:
        (tmp_path / camera.id).mkdir()
    (tmp_path / SPACE_FOOTAGE).write_text("{}", "utf-8")
    told = named_sources([f"simulated:{tmp_path}"], rig, "rig.toml")
    assert told == {each.id: f"simulated:{tmp_path / each.id}" for each in rig.cameras}
