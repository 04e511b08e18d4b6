"""The verb simulate, as a user types it."""

import json
import shutil
from pathlib import Path

import pytest
from tests.planned_wall import write_plan
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.simulate import simulate as simulate_job
from rushlight.records.document import read_document
from rushlight.records.session import FootageHeader

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"
SHORT = ("--columns", 2, "--rows", 1, "--frames-per-place", 3)


@pytest.fixture
def barn(tmp_path):
    folder = tmp_path / "barn"
    folder.mkdir()
    shutil.copy(BARN_WALL / "rig.toml", folder)
    return folder


def run(*arguments):
    return CliRunner(env={"COLUMNS": "200"}).invoke(app, [str(each) for each in arguments])


def test_footage_is_written_and_called_simulated(barn):
    result = run("simulate", barn, "--script", "grid", *SHORT)
    assert result.exit_code == 0, result.output
    assert "simulated, not filmed" in result.output
    folder = barn / "simulated" / "grid"
    assert {path.name for path in folder.iterdir()} == {
        "footage.avi",
        "footage.json",
        "truth.sqlite",
    }
    header = read_document(FootageHeader, folder / "footage.json")
    assert header.simulated
    assert [goal.carried for goal in header.goals].count("stylus-wren") == 2


def test_summary_as_json_says_what_was_made(barn, tmp_path):
    result = run(
        "simulate", barn, "--script", "grid", *SHORT, "--seed", 5, "--without", "tip", "--json",
        "--out", tmp_path / "made",
    )  # fmt: skip
    told = json.loads(result.stdout)
    assert told["basis"] == "simulated"
    assert told["seed"] == 5
    assert told["causes"] == ["centre", "flatness", "lens", "pixel", "registration"]
    assert told["goals"] == 4
    assert Path(told["folder"]) == tmp_path / "made"


def test_a_plan_gives_beacons_and_exposure(barn, tmp_path):
    planned = write_plan(barn, tmp_path / "plan")
    header, _ = simulate_job(
        barn,
        "registration",
        tmp_path / "made",
        plan=tmp_path / "plan" / "plan.json",
        frames_per_place=3,
    )
    assert [goal.place_m for goal in header.goals] == 2 * planned.beacons
    assert {goal.carried for goal in header.goals} == set(planned.registering)
    (exposure_s,) = planned.exposures_s.values()
    assert header.exposure_ns == round(exposure_s * 1e9)


def test_one_stylus_alone_may_touch_the_beacons(barn, tmp_path):
    header, _ = simulate_job(
        barn, "registration", tmp_path / "made", touched_by=["stylus-ash"], frames_per_place=2
    )
    assert [goal.carried for goal in header.goals] == ["stylus-ash"] * 9


def test_the_plan_of_another_rig_is_refused(barn, tmp_path):
    write_plan(barn, tmp_path / "plan")
    rig = barn / "rig.toml"
    text = rig.read_text("utf-8")
    rig.write_text(text.replace('width = "2.4 m"', 'width = "2.3 m"', 1), "utf-8")
    with pytest.raises(RushlightError, match="is the plan of another rig"):
        simulate_job(
            barn, "grid", tmp_path / "made", plan=tmp_path / "plan" / "plan.json", columns=1
        )


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (
            {"only": ["lens"], "without": ["tip"]},
            "causes = only lens, without tip cannot be chosen both ways; "
            "give --only or --without, not both.",
        ),
        ({"only": ["wind"]}, 'causes = "wind" is no cause of error; use centre, registration, '
         "lens, flatness, tip, pixel."),
        ({"frames_per_place": 0}, "frames per place = 0 is too few; give 1 or more."),
        ({"touched_by": ["broom"]}, 'touched by = "broom" is no stylus of the rig; '
         "use stylus-wren, stylus-ash."),
        ({"camera": "attic"}, 'camera = "attic" is not in the rig; use beam.'),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_one_sentence(barn, tmp_path, arguments, sentence):
    with pytest.raises(RushlightError) as caught:
        simulate_job(barn, "grid", tmp_path / "made", **arguments)
    assert str(caught.value) == sentence
    assert not (tmp_path / "made").exists()


def test_an_unknown_script_is_refused(barn):
    with pytest.raises(RushlightError, match="script = dance is unknown; use registration, grid"):
        simulate_job(barn, "dance")
