"""The page on aiming: its commands print what it says, and its numbers are the program's."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.jobs.aim_judging import LEAST_MOVE_M, LEAST_TURN_RAD
from rushlight.jobs.aim_live import PLACES
from rushlight.jobs.hanging import HUNG_PLACE_M, HUNG_TURN_RAD
from rushlight.jobs.new import new
from rushlight.plan.light import FAINTEST_PEAK, FULLEST_PEAK

PAGE = (Path(__file__).resolve().parents[2] / "docs/how-to-aim.md").read_text("utf-8")


def test_its_commands_print_what_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    rig = new(tmp_path / "my-wall")
    text = rig.read_text("utf-8")
    slow = re.sub('frame_rate = "[0-9]+ Hz"', 'frame_rate = "15 Hz"', text)
    assert slow != text
    rig.write_text(slow, "utf-8")  # so that a busy computer draws the rehearsal in time
    blocks = re.findall(r"```console\n(.*?)```", PAGE, re.DOTALL)
    assert len(blocks) == 2
    for block in blocks:
        command, *said = block.strip().splitlines()
        done = CliRunner().invoke(app, command.removeprefix("$ rushlight ").split())
        assert done.exit_code in (0, 1), done.output
        assert done.exception is None or isinstance(done.exception, SystemExit)
        printed = done.stderr + done.stdout
        for line in said:
            assert line in printed


def test_its_numbers_are_those_of_the_program() -> None:
    text = " ".join(PAGE.split())
    for said in (
        f"{PLACES} are asked for",
        f"within {100 * HUNG_PLACE_M:.0f} cm along each axis and "
        f"{math.degrees(HUNG_TURN_RAD):.0f}°",
        f"{100 * LEAST_MOVE_M:.0f} cm, {math.degrees(LEAST_TURN_RAD):.1f}°",
        f"More than {100 * FULLEST_PEAK:.0f} %",
        f"than {FAINTEST_PEAK:.0f} times the noise",
    ):
        assert said in text
