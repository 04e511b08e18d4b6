"""What is ticked off while a rig is built: kept beside it, and true of the rig as it stands."""

import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

import rushlight
from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.building import BUILDING_FILE, building, tick
from rushlight.jobs.kit import kit
from rushlight.jobs.plan import planned_rig
from rushlight.jobs.plan_space import planned_space

SCENARIOS = Path(rushlight.__file__).parent / "jobs" / "scenarios"


def kept(folder, scenario, planned):
    """A rig with its plan beside it."""
    shutil.copytree(SCENARIOS / scenario, folder / scenario)
    plan = planned.plan.stamped("predicted", inputs={"rig": planned.plan.rig})
    plan.write(folder / scenario / "plan" / "plan.json")
    return folder / scenario


@pytest.fixture(scope="module")
def barn_plan():
    return planned_rig(SCENARIOS / "barn-wall", (3, 2))


@pytest.fixture
def barn(tmp_path, barn_plan):
    return kept(tmp_path, "barn-wall", barn_plan)


@pytest.fixture(scope="module")
def baton(tmp_path_factory):
    planned = planned_space(SCENARIOS / "choir-baton", cells=(2, 2, 1))
    return kept(tmp_path_factory.mktemp("baton"), "choir-baton", planned)


def state_of(sheet, key):
    return sheet.line(key).state


def test_a_tick_is_kept_and_taken_back(barn):
    sheet = building(barn)
    line = sheet.steps[0]
    assert {each.state for each in sheet.lines} == {"open"}
    tick(barn, line.key, line.digest, True)
    again = building(barn)
    assert state_of(again, line.key) == "done"
    assert again.as_dict()["done"] == 1
    tick(barn, line.key, line.digest, False)
    assert state_of(building(barn), line.key) == "open"


def test_a_line_that_says_something_else_since_is_to_be_looked_at_again(barn):
    line = building(barn).buy[0]
    tick(barn, line.key, "0" * 64, True)
    sheet = building(barn)
    assert state_of(sheet, line.key) == "changed"
    assert sheet.as_dict()["done"] == 0


def test_an_unknown_key_ticks_nothing(barn):
    known = building(barn).buy[0].key
    with pytest.raises(RushlightError, match="no line of this rig"):
        building(barn, done=[known, "buy-none-such"])
    assert not (barn / BUILDING_FILE).exists()


def test_the_sum_is_that_of_the_lines(barn, baton):
    for rig in (barn, baton):
        told = building(rig).as_dict()
        prices = [(line["count"], line["price"]["amount"]) for line in told["buy"] if line["price"]]
        assert prices
        assert told["cost"]["value"] == pytest.approx(sum(n * each for n, each in prices))
        assert told["cost"]["basis"] == "invented"


def test_drawings_and_steps_are_the_kit_s_own(barn, baton, tmp_path):
    for rig in (barn, baton):
        sheet = building(rig, out=tmp_path / rig.name)
        made = kit(rig, plan=rig / "plan" / "plan.json", out=tmp_path / f"kit-{rig.name}")
        for drawn in [*sheet.as_dict()["wiring"], *sheet.as_dict()["mounting"]]:
            own = (tmp_path / rig.name / drawn["file"]).read_bytes()
            assert own == (made.folder / "pictures" / drawn["file"]).read_bytes()
        assert [each.what for each in sheet.steps] == [
            step for step in made.kit.steps if step.part in ("wire", "mount")
        ]
        assert sheet.build.cautions == made.kit.cautions


def test_what_is_alike_stands_in_one_line(baton):
    names = [line.what.name for line in building(baton).buy]
    assert len(names) == len(set(names))
    resistors = [line.what for line in building(baton).buy if "Resistor" in line.what.name]
    assert sum(each.count for each in resistors) == 3


def test_the_command_ticks_and_tells(barn):
    def run(*arguments):
        return CliRunner(env={"COLUMNS": "200"}).invoke(app, ["parts", *map(str, arguments)])

    done = run(barn, "--done", "mount-hang-camera-beam", "--json")
    told = json.loads(done.stdout)
    assert told["done"] == 1
    shown = run(barn)
    assert "1 of 16 ticked off" in shown.stdout
    assert shown.stdout.index("Mains voltage kills") < shown.stdout.index("What to buy")
    for wrong in ([barn, "--kind", "camera"], ["--done", "buy-x"]):
        assert isinstance(run(*wrong).exception, RushlightError)
