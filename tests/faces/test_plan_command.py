"""The command `rushlight plan`: what it prints, writes and refuses."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.records.document import read_document
from rushlight.records.plan import Plan

BARN_WALL = Path(__file__).resolve().parents[2] / "src/rushlight/jobs/scenarios/barn-wall"


def command(*arguments: str) -> Result:
    return CliRunner(env={"COLUMNS": "200"}).invoke(app, ["plan", *arguments])


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    folder = tmp_path_factory.mktemp("plan")
    result = command(str(BARN_WALL), "--out", str(folder), "--grid", "4x3")
    assert result.exit_code == 0, result.output
    return result.output, folder


def test_it_tells_every_budget(shown: tuple[str, Path]) -> None:
    text, _ = shown
    for words in (
        "Targets",
        "Error by cause, the dominant first",
        "all causes together",
        "What would help",
        "Light and view",
        "Delay",
        "Power",
        "Infrared and the eye, beside published limits",
        "Never look into an",
        "Cost",
        "Findings",
        "invented",
        "predicted",
    ):
        assert words in text


def test_below_the_targets_stands_how_sure_they_are(shown: tuple[str, Path]) -> None:
    text = shown[0]
    told = "Single values, of the rig just as planned: add --tolerance to be told how likely each"
    assert text.index("expected to be") < text.index(told) < text.index("Error by cause")
    # The demo wants a running time, of which a tolerance tells nothing.
    assert f"{told} is met, but the runtime." in text


def test_what_is_of_a_coarser_grid_says_so(shown: tuple[str, Path]) -> None:
    text = shown[0]
    assert "%, on a coarser grid than the targets below." in text
    told = "are of a coarser grid of places than above, and so differ a little from those."
    assert text.index("What would help") < text.index(told) < text.index("Light and view")


def test_a_plan_in_space_says_that_no_interval_is_known(tmp_path: Path) -> None:
    result = command(str(BARN_WALL.parent / "ferry-model"), "--out", str(tmp_path))
    text = result.output
    told = "Single values; no interval is known of them."
    assert text.index("expected to be") < text.index(told) < text.index("root-mean-square")
    assert "--tolerance" not in text


def test_the_light_of_a_dot_is_told_to_three_digits(shown: tuple[str, Path]) -> None:
    text, folder = shown
    document = read_document(Plan, folder / "plan.json")
    least = next(f for f in document.figures if (f.name, f.statistic) == ("electrons", "min"))
    assert least.value is not None and least.value > 1000.0
    assert f"{float(f'{least.value:.3g}'):.0f} e-" in text
    assert f"{least.value:.0f} e-" not in text


def test_the_worst_delay_is_said_to_be_of_typical_parts(shown: tuple[str, Path]) -> None:
    text, folder = shown
    assert "Delay, with typical parts (worst: at the slowest moment)" in text
    document = read_document(Plan, folder / "plan.json")
    delay = {(f.cause, f.statistic): f.value for f in document.figures if f.name == "delay"}
    # So it is: only what waits for rows and frames is longer at worst.
    longer = {cause for (cause, of), value in delay.items() if value != delay[cause, "mean"]}
    assert longer <= {"readout", "frame-wait", "all"} and "frame-wait" in longer
    assert any("not the slowest parts" in each for each in document.assumptions)


def test_it_never_calls_anything_safe(shown: tuple[str, Path]) -> None:
    assert "safe" not in shown[0].lower()


def test_it_writes_the_plan_and_its_pictures(shown: tuple[str, Path]) -> None:
    _, folder = shown
    document = read_document(Plan, folder / "plan.json")
    assert document.columns == 4
    assert {path.name for path in folder.iterdir()} == {"plan.json", *document.pictures}


def test_the_shown_numbers_are_the_written_ones(shown: tuple[str, Path]) -> None:
    text, folder = shown
    document = read_document(Plan, folder / "plan.json")
    coverage = next(one for one in document.targets if one.what == "coverage")
    assert f"{coverage.predicted:.3g} %" in text


def test_json_twin(tmp_path: Path) -> None:
    result = command(
        str(BARN_WALL), "--json", "--out", str(tmp_path), "--grid", "2x2",
        "--touched-by", "stylus-wren",
    )  # fmt: skip
    assert result.exit_code == 0
    told = json.loads(result.stdout[result.stdout.index("{") :])
    assert told == json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))
    assert told["registering"] == ["stylus-wren"]


def test_the_plan_lies_beside_the_rig_by_default(tmp_path: Path) -> None:
    shutil.copy(BARN_WALL / "rig.toml", tmp_path / "rig.toml")
    result = command(str(tmp_path / "rig.toml"), "--grid", "2x2")
    assert result.exit_code == 0
    assert (tmp_path / "plan" / "plan.json").exists()


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--grid", "nine"), 'grid = "nine" is not columns x rows; write it as "9x6".'),
        (("--grid", "1x6"), "grid = 1x6 has a side outside 2 to 60"),
        (("--touched-by", "broom"), 'touched by = "broom" is no stylus of this rig; use stylus-'),
    ],
)
def test_wrong_options_are_refused_in_plain_words(
    arguments: tuple[str, ...], sentence: str, tmp_path: Path
) -> None:
    result = command(str(BARN_WALL), "--out", str(tmp_path), *arguments)
    assert isinstance(result.exception, RushlightError)
    assert sentence in str(result.exception)


def test_a_missing_rig_is_refused(tmp_path: Path) -> None:
    result = command(str(tmp_path / "none.toml"))
    assert isinstance(result.exception, RushlightError)
    assert "does not exist" in str(result.exception)


def test_a_camera_that_sees_a_strip_alone_is_planned_all_the_same(tmp_path: Path) -> None:
    """All that is seen lies nearly in one line, of which no map comes: said, and no traceback."""
    shutil.copytree(BARN_WALL, tmp_path / "aside")
    rig = tmp_path / "aside" / "rig.toml"
    text = rig.read_text("utf-8")
    turned = 'look_at = ["4 m", "0.72 m", "0 m"]'
    rig.write_text(text.replace('look_at = ["1.2 m", "0.72 m", "0 m"]', turned, 1), "utf-8")
    result = command(str(rig), "--grid", "4x3")
    assert result.exit_code == 0, result.output
    assert "not known, since no place can be pointed at" in result.output
