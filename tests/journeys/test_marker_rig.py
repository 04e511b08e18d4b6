"""A rig with reflective markers from check to fixes: planned, rehearsed, registered, followed."""

from __future__ import annotations

import importlib.resources
import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rushlight.cli import app

LAMPS = (
    'illuminator = { part = "ir850-5mm-17", count = 8, current = "20 mA", ring_radius = "14 mm" }\n'
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    text = importlib.resources.files("rushlight.jobs").joinpath("template_surface.toml").read_text()
    for old, new in (
        ('filter = "long-pass-850"\n', 'filter = "long-pass-850"\n' + LAMPS),
        ('part = "ir850-5mm-17"\n# From', 'reflector = "10 mm"\n# From'),
        ('current = "10 mA"\n', ""),
        ('diffuser = { transmission = "60 %", spread = "60 %" }\n', ""),
        ('cell = "aa-alkaline"\ncells = 2\n', ""),
        ("# What feeds the light, and how many in a row.\n", ""),
    ):
        text = text.replace(old, new)
    path = tmp_path_factory.mktemp("marker")
    (path / "rig.toml").write_text(text)
    return path


def done(*words: object) -> str:
    result = CliRunner(env={"COLUMNS": "200"}).invoke(app, [str(word) for word in words])
    assert result.exit_code == 0, f"{words}\n{result.output}\n{result.exception}"
    return result.output


@pytest.fixture(scope="module")
def printed(folder: Path) -> str:
    """What the plan prints; its files lie in the folder."""
    return done("plan", folder, "--out", folder / "plan")


def test_it_is_checked_planned_rehearsed_registered_and_followed(
    folder: Path, printed: str
) -> None:
    assert "no errors" in done("check", folder)
    assert "markers of sheet-type-1" in printed and "mA through each lamp" in printed
    plan = json.loads((folder / "plan/plan.json").read_text())
    window = plan["light"]["windows"][0]
    assert window["standing"] == "within" and window["usable_stops"] > 1.0
    assert window["weakest"]["own_share"] == pytest.approx(1.0)

    document = ("--plan", folder / "plan/plan.json")
    done("simulate", folder, "--script", "registration", *document, "--out", folder / "touches")
    said = done("register", "--footage", folder / "touches", "--rig", folder,
                "--out", folder / "registration.json")  # fmt: skip
    assert "vouched for" in said
    done("simulate", folder, "--script", "grid", *document, "--columns", 4, "--rows", 3,
         "--out", folder / "grid")  # fmt: skip
    done("run", "--footage", folder / "grid", "--rig", folder, "--registration",
         folder / "registration.json", "--out", folder / "grid.sqlite")  # fmt: skip
    done("assess", folder / "grid.sqlite", "--truth", folder / "grid/truth.sqlite", *document,
         "--rig", folder, "--out", folder / "assessment")  # fmt: skip
    assessment = json.loads((folder / "assessment/assessment.json").read_text())
    rms = next(
        each["value"] for each in assessment["figures"]
        if (each["name"], each["statistic"], each["basis"]) == ("error", "rms", "simulated")
        and each["cause"] in (None, "all")
    )  # fmt: skip
    planned = next(
        each["value"] for each in plan["figures"]
        if (each["name"], each["cause"], each["statistic"]) == ("error", "all", "rms")
    )  # fmt: skip
    # One room and one registration are one draw: a factor of two either way is no surprise.
    assert 0.5 < rms / planned < 2.0


@pytest.mark.usefixtures("printed")
def test_its_kit_draws_no_circuit_for_a_marker(folder: Path) -> None:
    done("kit", folder, "--plan", folder / "plan/plan.json", "--out", folder / "kit")
    page = (folder / "kit/index.html").read_text()
    assert "a ball of 10 mm covered with retro-reflective sheet" in page
    assert 'class="drawing circuit"' not in page
