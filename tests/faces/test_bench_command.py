"""The verb `bench --json`: what the start page and the lookout tell, and nothing is served."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

import rushlight
from rushlight.cli import app
from rushlight.jobs.new import new

SCENARIOS = Path(rushlight.__file__).parent / "jobs" / "scenarios"


def told(*arguments: str) -> dict:
    done = CliRunner().invoke(app, ["bench", *arguments, "--json"], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def test_each_rig_of_the_folder_is_told_with_its_stage_and_next_step(tmp_path: Path) -> None:
    assert told(str(tmp_path)) == {"rigs": []}
    new(tmp_path / "wall")
    new(tmp_path / "window", "viewpoint")
    (tmp_path / "window" / "rig.toml").write_text("spoilt", encoding="utf-8")
    (tmp_path / "wall" / "registration.json").touch()
    wall, window = told(str(tmp_path))["rigs"]
    assert (wall["name"], wall["stage"], wall["next"]) == ("wall", "registered", "watch")
    assert (window["name"], window["next"]) == ("window", "plan") and "TOML" in window["fault"]
    assert told(str(tmp_path / "wall"))["rigs"][0]["name"] == "wall"
    assert not (tmp_path / ".bench").exists()


def test_the_scene_of_a_lookout_is_told() -> None:
    scene = told(str(SCENARIOS), "--lookout", "paper-theatre")
    assert scene["basis"] == "invented" and scene["pieces"] and scene["screens"]
    low, high = (scene["eye"][key] for key in ("low_m", "high_m"))
    assert all(one <= other for one, other in zip(low, high, strict=True))


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--lookout", "paper-theatre"), "--lookout = paper-theatre does nothing without --json"),
        (("--json", "--lookout", "barn-wall"), "draws no picture that follows an eye"),
        (("--json", "--lookout", "nope"), "use barn-wall, choir-baton, ferry-model"),
        (("--json", "--no-browser"), "--no-browser does nothing with --json"),
        (
            ("--json", "--address", "127.0.0.1:9"),
            "--address = 127.0.0.1:9 does nothing with --json",
        ),
    ],
)
def test_what_cannot_be_told_is_refused_in_a_sentence(options: tuple[str, ...], said: str) -> None:
    done = CliRunner().invoke(app, ["bench", str(SCENARIOS), *options])
    assert done.exit_code != 0 and said in str(done.exception)
    assert not done.stdout


def test_a_folder_that_is_not_there_ends_with_2() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "rushlight", "bench", "/nowhere", "--json"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2 and "/nowhere is no folder" in done.stderr and not done.stdout
