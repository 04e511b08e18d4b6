"""The command `rushlight plan --tolerance`: what it prints, writes and refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.plan import tolerance as rooms
from rushlight.records.document import read_document
from rushlight.records.tolerance import Tolerance

BARN_WALL = Path(__file__).resolve().parents[2] / "src/rushlight/jobs/scenarios/barn-wall"


def command(*arguments: str) -> Result:
    runner = CliRunner(env={"COLUMNS": "200"})
    return runner.invoke(app, ["plan", str(BARN_WALL), "--tolerance", *arguments])


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    folder = tmp_path_factory.mktemp("tolerance")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rooms, "COARSE", {"columns": 2, "rows": 2, "tilts": 2, "leans": 3})
        result = command("--out", str(folder), "--draws", "20")
    assert result.exit_code == 0, result.output
    return result.output, folder


def test_it_tells_the_probability_and_what_to_measure(shown: tuple[str, Path]) -> None:
    text, _ = shown
    for words in (
        "predicted, nothing measured",
        "All targets are met in",
        "exact binomial interval",
        "What was doubted",
        "the project's own choice",
    ):
        assert words in text
    assert "safe" not in text.lower()


def test_it_writes_what_it_shows(shown: tuple[str, Path]) -> None:
    text, folder = shown
    document = read_document(Tolerance, folder / "tolerance.json")
    assert document.header is not None
    assert document.header.basis == "predicted" and document.header.seed == 1
    assert document.header.content_hash == document.content_hash()
    assert document.sentences[0] in text.replace("\n", " ")
    assert {path.name for path in folder.iterdir()} == {"tolerance.json", "tolerance.svg"}
    assert "predicted" in (folder / "tolerance.svg").read_text()
    json.loads((folder / "tolerance.json").read_text())


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--draws", "0"), "draws = 0 is outside 20 to 100000; give 400, or more"),
        (("--draws", "-5"), "draws = -5 is outside 20 to 100000"),
        (("--doubt", "luck=1 cm"), 'doubt = "luck=1 cm" names no cause that can be doubted'),
        (("--doubt", "people=3 %", "--doubt", "people=0"), 'doubt = "people=0" is said twice'),
        (("--doubt", "camera-place=3"), 'give "camera-place=1 cm" or so'),
        (("--doubt", "camera-aim=-1°"), "is no standard deviation that can be meant"),
        (("--doubt", "cell=10 %"), "cannot be told for a cell"),
        (("--doubt", "cell=3"), 'give "cell=0".'),
        (("--doubt", "sun=3 m"), 'give "sun=0".'),
        (("--doubt", "sun=900 %"), 'give "sun=0".'),
        (("--seed", "-1"), "seed = -1 is below 0; give a whole number from 0 on."),
    ],
)
def test_wrong_numbers_are_refused_in_plain_words(
    arguments: tuple[str, ...], sentence: str, tmp_path: Path
) -> None:
    result = command("--out", str(tmp_path), *arguments)
    assert isinstance(result.exception, RushlightError)
    assert sentence in str(result.exception)


def test_a_doubt_without_tolerance_is_refused(tmp_path: Path) -> None:
    runner = CliRunner(env={"COLUMNS": "200"})
    told = ["--out", str(tmp_path / "plan"), "--doubt", "ambient=0"]
    result = runner.invoke(app, ["plan", str(BARN_WALL), *told])
    assert isinstance(result.exception, RushlightError)
    assert str(result.exception) == (
        '--doubt = "ambient=0" says how well a cause is known, which the plan itself does not '
        "ask; add --tolerance, or leave it out."
    )
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("option", ["--draws", "--seed"])
def test_text_in_place_of_a_number_is_refused(option: str, tmp_path: Path) -> None:
    result = command("--out", str(tmp_path), option, "many")
    assert result.exit_code == 2
    assert f"Invalid value for '{option}'" in result.output
