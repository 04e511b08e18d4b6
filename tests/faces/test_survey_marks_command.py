"""The verb `survey --list-marks`: the marks that `survey` measures between, before it does."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.jobs.load import load_rig
from rushlight.jobs.new import new
from rushlight.jobs.survey import template
from rushlight.jobs.survey_form import form_of, text_of
from rushlight.jobs.survey_marks import INNER_SHARE, STAIRS, survey_marks, with_inner_marks

PIXELS = (1280, 800)


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    new(tmp_path / "wall")
    return tmp_path / "wall"


def listed(rig: Path, *options: str) -> dict:
    done = CliRunner().invoke(app, ["survey", str(rig), "--list-marks", "--json", *options])
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def at(told: dict) -> dict[str, tuple[float, float]]:
    return {each["mark"]: (each["x_px"], each["y_px"]) for each in told["marks"]}


def test_the_marks_of_every_picture_are_its_edges_and_middles(rig: Path) -> None:
    told = listed(rig)
    assert told["display_px"] == told["size_px"] == [*PIXELS]
    places = at(told)
    assert places["upper-left"] == (0, 0) and places["lower-right"] == PIXELS
    assert places["centre"] == (640, 400) and places["right-middle"] == (1280, 400)
    assert [each["number"] for each in told["readings"]] == [1, 2, 3, 4, 5, 6]
    assert told["readings"][0]["rig_mm"] == 1600 and not told["readings"][0]["read"]
    assert not any(rig.glob("survey*")) and not (rig / "readings.toml").exists()


def test_own_marks_and_lines_stand_as_the_readings_have_them(rig: Path) -> None:
    path = template(rig)
    words = path.read_text().replace('length = ""', 'length = "1.6 m"', 1)
    words = words.replace("# first_px = [1920, 0]\n# size_px = [1280, 800]",
                          "first_px = [1920, 0]\nsize_px = [640, 400]")  # fmt: skip
    words = words.replace("# [marks]\n# cross", "[marks]\ncross")
    path.write_text(
        words + '[[gaps]]\nbetween = ["cross", "lower-right"]\nat = "centre"\ngap = ""\n'
    )
    told = listed(rig)
    assert told["first_px"] == [1920, 0] and told["size_px"] == [640, 400]
    assert told["display_px"] == [*PIXELS]
    places = at(told)
    assert places["cross"] == (100, 100) and places["lower-right"] == (640, 400)
    assert [each["mark"] for each in told["marks"] if each["own"]] == ["cross"]
    assert [each["read"] for each in told["readings"]] == [True, *[False] * 6]
    gap = told["readings"][-1]
    assert (gap["kind"], gap["from"], gap["at"], gap["rig_mm"]) == (
        "gap", "cross", "centre", None,
    )  # fmt: skip
    other = rig / "other.toml"
    path.rename(other)
    assert "cross" not in at(listed(rig))
    assert at(listed(rig, "--readings", str(other))) == places


def test_bars_reach_in_by_their_per_cent_from_every_edge(rig: Path) -> None:
    bars = {(each["side"], each["percent"]): each["box_px"] for each in listed(rig)["edges"]}
    assert set(bars) == {(s, p) for s in ("upper", "lower", "left", "right") for p in STAIRS}
    for (side, percent), (x, y, wide, high) in bars.items():
        deep = {"upper": y + high, "lower": 800 - y, "left": x + wide, "right": 1280 - x}[side]
        whole = 800 if side in ("upper", "lower") else 1280
        assert deep == pytest.approx(whole * percent / 100)
        edge = {"upper": y, "lower": y + high - 800, "left": x, "right": x + wide - 1280}[side]
        assert edge == pytest.approx(0, abs=0.011)


def test_marks_inside_the_picture_take_the_place_of_what_is_not_read_yet(rig: Path) -> None:
    path = template(rig)
    path.write_text(path.read_text().replace('length = ""', 'length = "1.6 m"', 1))
    (surface,) = load_rig(rig)[0].surfaces
    form = with_inner_marks(form_of(rig), surface)
    assert form == with_inner_marks(form, surface)
    path.write_text(text_of(form, blank_lines=True))
    told = survey_marks(rig)
    assert told.marks_px["inner-lower-right"] == (
        1280 * (1 - INNER_SHARE), 800 * (1 - INNER_SHARE),
    )  # fmt: skip
    assert [line.one.startswith("inner-") for line in told.lines] == [False, *[True] * 6]
    assert told.rig_mm[1] == pytest.approx(1600 * (1 - 2 * INNER_SHARE))


@pytest.mark.parametrize("options", [("--template",), ("--touches", "x"), ("--out", "y.json")])
def test_what_does_not_go_together_is_refused(rig: Path, options: tuple[str, ...]) -> None:
    done = CliRunner().invoke(app, ["survey", str(rig), "--list-marks", *options])
    said = f"{' = '.join(options)}.* does nothing with --list-marks; leave one of them out"
    assert done.exit_code != 0 and re.match(said.replace(".*", ""), str(done.exception))


def test_a_line_that_names_no_mark_is_refused_by_its_field(rig: Path) -> None:
    path = template(rig)
    path.write_text(path.read_text().replace('"upper-right"', '"uper-right"', 1))
    done = CliRunner().invoke(app, ["survey", str(rig), "--list-marks"])
    assert "readings.toml: lengths[1].between" in str(done.exception)
    assert "is no mark of the picture" in str(done.exception)
