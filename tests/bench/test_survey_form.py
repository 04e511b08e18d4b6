"""The readings' form: what is filled in is what the file says, and the command finds the same."""

import pickle
from dataclasses import replace

import pytest

from rushlight.errors import RushlightError
from rushlight.jobs.new import new
from rushlight.jobs.survey import survey, template
from rushlight.jobs.survey_form import (
    Form,
    Line,
    blank,
    form_of,
    keep,
    kept_text,
    surveyed,
    text_of,
)
from rushlight.jobs.survey_sketch import as_the_rig_says, form_sketch, marks_of, surface_of

# Sides, then diagonals, of a picture that is 12 mm wider at the top [mm].
LENGTHS = ("1600", "1612", "1000", "1000", "1893", "1893")


@pytest.fixture
def rig(tmp_path):
    new(tmp_path / "wall")
    return tmp_path / "wall"


def filled(form: Form) -> Form:
    lines = [
        replace(line, read=f"{length} mm") for line, length in zip(form.lines, LENGTHS, strict=True)
    ]
    return replace(form, lines=tuple(lines))


def test_what_is_kept_is_read_again_and_surveyed_alike_by_the_command(rig):
    form = replace(
        filled(blank(rig)),
        ruler_doubt="1 mm",
        first_px=("1920", "0"),
        size_px=("1280", "800"),
        marks=(("cross", "100", "80.5"),),
    )
    more = (
        Line("places", "lower-left", read="12 mm", up="8 mm", doubt="3 mm"),
        Line("gaps", "left-middle", "right-middle", "centre", "4 mm"),
    )
    form = replace(form, lines=(*form.lines, *more))
    before = surveyed(rig, form).as_dict()
    assert not (rig / "survey.json").exists() and not (rig / "readings.toml").exists()
    assert keep(rig, form).as_dict() == before == survey(rig, write=False).as_dict()
    assert form_of(rig) == form
    assert [each["kind"] for each in before["readings"]].count("gap") == 1


def test_comments_of_a_file_stay_and_lines_not_filled_in_go(rig):
    path = template(rig)
    form = filled(form_of(rig))
    assert [line.read for line in form_of(rig).lines] == [""] * 6
    keep(rig, replace(form, lines=(*form.lines, Line("lengths", "upper-left", "centre"))))
    words = path.read_text("utf-8")
    assert words.startswith("# A survey of the displayed picture") and "# the rig says" in words
    assert words.count("[[lengths]]") == 6
    assert form_of(rig) == form
    again = text_of(form, words)
    assert again == words


def test_what_cannot_be_used_is_told_in_the_records_sentence_and_nothing_is_written(rig):
    form = filled(blank(rig))
    wrong = replace(form, lines=(replace(form.lines[0], read="1600"), *form.lines[1:]))
    with pytest.raises(RushlightError, match=r"lengths\[0\].length.*bare number"):
        keep(rig, wrong)
    with pytest.raises(RushlightError, match="4 readings cannot"):
        keep(rig, replace(form, lines=form.lines[:4]))
    with pytest.raises(RushlightError, match=r"readings.toml: first_px"):
        keep(rig, replace(form, first_px=("left", "0")))
    assert not (rig / "readings.toml").exists()


def test_readings_that_another_kept_meanwhile_are_not_written_over(rig):
    mine = filled(blank(rig))
    others = replace(mine, ruler_doubt="2 mm")
    read_as = kept_text(rig)
    assert read_as == ""
    keep(rig, others, read_as)
    theirs = kept_text(rig)
    with pytest.raises(RushlightError, match="changed elsewhere") as refused:
        keep(rig, mine, read_as)
    assert [each.code for each in refused.value.findings] == ["changed-elsewhere"]
    assert kept_text(rig) == theirs and form_of(rig) == others
    keep(rig, mine, theirs)
    assert form_of(rig) == mine


def test_the_drawing_tells_the_rectangle_s_miss_and_the_wall(rig):
    form = filled(blank(rig))
    surface = surface_of(rig, form.surface)
    marks = marks_of(replace(form, marks=(("cross", "64", "40"), ("bad", "x", "1"))), surface)
    assert as_the_rig_says(form.lines[0], marks) == pytest.approx(1600.0)
    assert marks["cross"] == pytest.approx((0.08, 0.95)) and "bad" not in marks
    found, sketch = form_sketch(rig, form)
    # Half of 12 mm on either side of the upper edge, from the survey's own corners.
    off = [
        abs(got - plain)
        for corner, flat in zip(sketch.corners_m, ((0, 0), (1.6, 0), (1.6, 1), (0, 1)), strict=True)
        for got, plain in zip(corner, flat, strict=True)
    ]
    assert sketch.moved_worst_mm == pytest.approx(1e3 * max(off), rel=0.05)
    assert 0.0 < sketch.moved_rms_mm < sketch.moved_worst_mm
    grown = sketch.times * max(off)
    assert 0.0 < grown <= 0.1 * 1.6 + 1e-9 and sketch.wall_mm is None
    gap = Line("gaps", "left-middle", "right-middle", "centre", "4 mm")
    _, bent = form_sketch(rig, replace(form, lines=(*form.lines, gap)))
    rows = bent.wall_mm
    middle, sides = rows[len(rows) // 2], rows[len(rows) // 2]
    # A gap of 4 mm in the middle: it lies behind the line between the sides, away from the user.
    assert middle[len(middle) // 2] < (sides[0] + sides[-1]) / 2 - 1.0
    assert found.as_dict()["flatness_mm"] is None


def test_what_is_left_open_is_told_across_processes(rig):
    form = filled(blank(rig))
    with pytest.raises(RushlightError) as told:
        surveyed(rig, replace(form, lines=form.lines[:4]))
    again = pickle.loads(pickle.dumps(told.value))
    assert again.findings == told.value.findings
