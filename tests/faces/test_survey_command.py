"""The verb `survey`: its file, its answers, and its errors."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.new import new
from rushlight.jobs.survey import survey, template
from rushlight.records.document import read_document
from rushlight.records.registration import DisplaySurvey

# A picture that is 12 mm wider at the top: sides, then diagonals [mm].
LENGTHS = ("1600", "1612", "1000", "1000", "1893", "1893")


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    new(tmp_path / "wall")
    return tmp_path / "wall"


def filled(rig: Path, lengths: tuple[str, ...] = LENGTHS) -> Path:
    """The template with lengths in it."""
    path = template(rig)
    values = iter(lengths)
    path.write_text(
        re.sub('length = ""', lambda _: f'length = "{next(values)} mm"', path.read_text())
    )
    return path


def test_an_unfilled_template_is_refused_by_field(rig: Path) -> None:
    template(rig)
    with pytest.raises(RushlightError, match=r"readings.toml: lengths\[0\].length.* is empty"):
        survey(rig)
    with pytest.raises(RushlightError, match="not overwritten"):
        template(rig)


def test_a_keystoned_picture_is_told_and_kept(rig: Path) -> None:
    filled(rig)
    result = CliRunner().invoke(app, ["survey", str(rig), "--json"])
    assert result.exit_code == 0, result.output
    told = json.loads(result.stdout)
    assert told == survey(rig).as_dict()
    corners = {each["corner"]: each for each in told["corners"]}
    top = corners["upper-right"]["x_mm"] - corners["upper-left"]["x_mm"]
    assert top == pytest.approx(1612, abs=2)
    assert told["freedom"] == 1 and told["vouched"]
    kept = read_document(DisplaySurvey, rig / "survey.json")
    assert kept.header is not None and kept.header.content_hash == kept.content_hash()
    assert b"<svg" in (rig / "survey.svg").read_bytes()
    shown = CliRunner().invoke(app, ["survey", str(rig)])
    assert "most told by one more reading" in shown.stdout


def test_readings_that_contradict_are_not_vouched_for(rig: Path) -> None:
    filled(rig, ("1600", "1612", "1000", "1000", "1893", "1940"))
    result = CliRunner().invoke(app, ["survey", str(rig)])
    assert result.exit_code == 1
    assert "NOT vouched for" in result.stdout and "contradict one another" in result.stdout


@pytest.mark.parametrize(
    ("old", "new_text", "why"),
    [
        ('["upper-left", "upper-right"]', '["upper-left", "door"]', "is no mark of the picture"),
        ('["upper-left", "upper-right"]', '["door-a", "door-a"]', "is no mark"),
        ('["upper-left", "upper-right"]', '["upper-left", "upper-left"]', "names one mark twice"),
        ('"1612 mm"', '"1612"', r"lengths\[1\].length.*bare number"),
        ('surface = "wall"', 'surface = "door"', "is not in the rig"),
    ],
)
def test_errors_name_file_field_and_remedy(rig: Path, old: str, new_text: str, why: str) -> None:
    path = filled(rig)
    path.write_text(path.read_text().replace(old, new_text))
    with pytest.raises(RushlightError, match=why):
        survey(rig)


def test_too_few_readings_say_what_to_measure(rig: Path) -> None:
    path = filled(rig)
    text = path.read_text()
    first = text.index("[[lengths]]")
    path.write_text(text[:first] + "".join(re.findall(r"\[\[lengths\]\]\n.*\n.*\n", text)[:4]))
    with pytest.raises(RushlightError, match=r"4 readings cannot .*; measure from") as told:
        survey(rig)
    assert told.value.findings[0].code == "survey-open"
