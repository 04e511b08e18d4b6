"""The page on sources: the sensor that it describes is one that check and run accept."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.jobs.new import new

PAGE = (Path(__file__).resolve().parents[2] / "docs/how-to-sources.md").read_text("utf-8")


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
