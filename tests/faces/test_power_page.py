"""The page on power: its examples are what the program prints, its picture is what it draws."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.jobs.new import new
from rushlight.records.plan import Plan

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs/how-to-power.md").read_text("utf-8")
PICTURE = ROOT / "docs/images/my-wall-wiring.svg"
LONE, SEVERAL, _ = re.split(r"^## (?:Several diodes|What is refused)", PAGE, flags=re.MULTILINE)


def words_of(drawing: Path) -> list[str]:
    """Every word that a drawing shows, and its description."""
    return [
        text.strip() for text in ElementTree.parse(drawing).getroot().itertext() if text.strip()
    ]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("power")


def test_one_light_is_planned_and_drawn_as_the_page_says(folder, prints_what_it_says):
    prints_what_it_says(LONE, folder, 2)
    drawn = folder / "my-wall/plan/wiring-1.svg"
    assert words_of(drawn) == words_of(PICTURE)
    # The picture's numbers are those of the plan, in the picture's own words and in the page's.
    plan = Plan.model_validate_json((folder / "my-wall/plan/plan.json").read_text("utf-8"))
    branch = plan.circuits[0].branches[0]
    shown = " ".join(" ".join(words_of(PICTURE)).split())
    told = re.search(r"!\[(.*?)\]", PAGE)[1]
    for number in (f"{branch.resistor_ohm:g} Ω", f"{1e3 * branch.nominal_a:.3g} mA"):
        assert number in shown and number in told


def test_several_diodes_are_planned_as_the_page_says(tmp_path, prints_what_it_says):
    new(tmp_path / "my-wall")
    rig = tmp_path / "my-wall/rig.toml"
    line = re.findall(r"```toml\n(.*?)```", SEVERAL, re.DOTALL)[0]
    before = rig.read_text("utf-8")
    assert before.count('drive = "switched"\n') == 1
    rig.write_text(before.replace('drive = "switched"\n', f'drive = "switched"\n{line}'), "utf-8")
    prints_what_it_says(SEVERAL, tmp_path, 1)


def test_a_coin_cell_is_refused_in_the_page_s_words(tmp_path, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    new(tmp_path / "my-wall")
    rig = tmp_path / "my-wall/rig.toml"
    before = rig.read_text("utf-8")
    after = before.replace('cell = "aa-alkaline"\ncells = 2', 'cell = "cr2032"\ncells = 1')
    assert after != before
    rig.write_text(after, "utf-8")
    done = CliRunner().invoke(app, ["check", str(tmp_path / "my-wall")])
    assert done.exit_code == 2
    said = re.findall(r"```text\n(.*?)```", PAGE, re.DOTALL)[0]
    assert " ".join(said.split()) in " ".join(done.output.split())


def test_the_page_keeps_its_cautions():
    for word in ("mains kills", "qualified", "local codes", "nothing was tried"):
        assert word in " ".join(PAGE.split())
