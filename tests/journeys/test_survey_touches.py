"""A picture surveyed by touches: its corners in the registration's metres, and a run that heeds
them."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from tests.nudged_picture import CORNERS_M, nudged
from typer.testing import CliRunner

from rushlight.capture.open import open_footage
from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.following import prepare
from rushlight.jobs.live_outputs import display_of
from rushlight.jobs.load import load_rig
from rushlight.jobs.run import run
from rushlight.jobs.survey_touches import survey_touches
from rushlight.jobs.surveyed import (
    survey_of_registration,
    unheeded,
    without_survey_doubt,
)
from rushlight.records.document import read_document
from rushlight.records.registration import DisplaySurvey, Registration

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"


@pytest.fixture(scope="module")
def room(tmp_path_factory):
    """A registered barn wall, and footage of a light at the nudged picture's corners."""
    home = tmp_path_factory.mktemp("nudged")
    text = (BARN_WALL / "rig.toml").read_text()
    (home / "rig.toml").write_text(text.replace('frame_rate = "100 Hz"', 'frame_rate = "30 Hz"'))
    nudged(home)
    return home


@pytest.fixture
def copied(room, tmp_path):
    """A folder of its own; the footage is only read."""
    for name in ("rig.toml", "registration.json"):
        (tmp_path / name).write_text((room / name).read_text())
    return tmp_path


def called(*arguments):
    return CliRunner(env={"COLUMNS": "160"}).invoke(app, [str(each) for each in arguments])


def test_corners_are_found_within_their_doubt_and_marked_simulated(room, copied):
    shown = called("survey", copied, "--touches", room / "touches", "--json")
    assert shown.exit_code == 0, shown.output
    told = json.loads(shown.stdout)
    assert (told["basis"], told["vouched"], told["freedom"]) == ("simulated", True, 2)
    found = np.array([[each["x_mm"], each["y_mm"]] for each in told["corners"]]) * 1e-3
    std = np.array([[each["x_std_mm"], each["y_std_mm"]] for each in told["corners"]]) * 1e-3
    assert np.abs(found - CORNERS_M).max() < 0.02
    # Eight misses, each in units of its doubt: beyond 26 once in 1000 (chi-square).
    assert np.sum(((found - CORNERS_M) / std) ** 2) < 26.1
    # That the registration knew only the rig's rectangle is said.
    assert "touched-rectangle" in {each["code"] for each in told["findings"]}
    text = (copied / "touches.toml").read_text()
    assert "by_registration" in text and "simulated = true" in text
    # The file is a readings file as any other.
    again = called("survey", copied, "--readings", copied / "touches.toml", "--json")
    assert json.loads(again.stdout)["corners"] == told["corners"]


def test_a_run_with_that_registration_heeds_the_touched_picture(room, copied):
    survey_touches(copied, room / "touches")
    registration = read_document(Registration, copied / "registration.json")
    surface = load_rig(copied)[0].surfaces[0]
    survey = survey_of_registration(registration, copied, surface)
    assert survey is not None and not unheeded(registration, copied)
    # Its doubt is not one that the registration has too.
    assert without_survey_doubt(registration, survey) is registration
    source = open_footage(room / "touches")
    display = display_of(prepare(source, None, copied, copied / "registration.json"))
    assert display is not None
    assert display.surface_from_display is not None
    told = read_document(DisplaySurvey, copied / "survey.json")
    assert np.allclose(display.surface_from_display, told.surface_from_display)
    # Another registration was not the one by which places were told.
    other = registration.model_copy(update={"touch_std_m": registration.touch_std_m + 1e-6})
    assert survey_of_registration(other, copied, surface) is None
    assert [each.code for each in unheeded(other, copied)] == ["survey-unused"]


def test_finer_pixels_take_the_touched_picture_over(room, copied):
    survey_touches(copied, room / "touches")
    registration = read_document(Registration, copied / "registration.json")
    surface = load_rig(copied)[0].surfaces[0]
    told = survey_of_registration(registration, copied, surface)
    finer = surface.model_copy(update={"pixels": (2560, 1600)})
    twice = survey_of_registration(registration, copied, finer)
    assert np.array(twice.surface_from_display)[:, :2] * 2 == pytest.approx(
        np.array(told.surface_from_display)[:, :2]
    )


def test_a_session_of_a_run_serves_as_well(room, copied):
    run(room / "touches", copied / "touched.sqlite", copied, None)
    by_session = survey_touches(copied, copied / "touched.sqlite")
    assert by_session.survey.header.basis == "simulated"
    assert np.abs(by_session.corners_m - CORNERS_M).max() < 0.02


def test_touches_that_disagree_are_not_vouched_for(room, copied):
    # The last touch was at another corner than the one named.
    marks = ("lower-left", "lower-right", "upper-right", "upper-left", "lower-right")
    found = survey_touches(copied, room / "touches", marks=marks)
    assert not found.survey.verdict.vouched
    assert "contradict one another" in found.survey.verdict.reasons[0]


@pytest.mark.parametrize(
    ("options", "why"),
    [
        (["--marks", "lower-left"], "5 held lights.*does not match the 1 marks lower-left"),
        (["--marks", "door"], 'marks = "?door"? is no mark of the picture|"door" is no mark'),
        (["--stylus", "wand"], '"wand" is no stylus of the rig'),
    ],
)
def test_what_cannot_be_used_is_refused(room, copied, options, why):
    with pytest.raises(RushlightError, match=why):
        CliRunner().invoke(
            app, ["survey", str(copied), "--touches", str(room / "touches"), *options],
            catch_exceptions=False, standalone_mode=False,
        )  # fmt: skip
    assert not (copied / "survey.json").exists()


def test_options_of_touches_are_refused_without_them(copied):
    shown = called("survey", copied, "--marks", "centre")
    assert "is about --touches" in str(shown.exception)
