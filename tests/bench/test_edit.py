"""A rig's text changed value by value: nothing else in it moves."""

import difflib
import importlib.resources

import pytest

from rushlight.errors import RushlightError
from rushlight.jobs.edit import edited, fields_of, save

SCENARIOS = ("barn-wall", "paper-theatre", "ferry-model", "choir-baton")


def text_of(scenario):
    folder = importlib.resources.files("rushlight.jobs") / "scenarios" / scenario
    return (folder / "rig.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("scenario", SCENARIOS)
def test_a_change_of_any_field_touches_its_own_line_alone(scenario):
    text = text_of(scenario)
    for field in fields_of(text):
        changed = edited(text, field.path, field.text + "9")
        lines = [line for line in difflib.ndiff(text.splitlines(), changed.splitlines())
                 if line[0] in "+-"]  # fmt: skip
        assert len(lines) == 2, field.path
        assert field.text + "9" in lines[1]


@pytest.mark.parametrize("scenario", SCENARIOS)
def test_writing_what_stands_there_changes_nothing(scenario):
    text = text_of(scenario)
    for field in fields_of(text):
        assert edited(text, field.path, field.text) == text


def test_a_comment_on_the_same_line_stays():
    text = '[targets]  # mine\nworst_error = "8 mm"  # as the class needs it\n'
    assert edited(text, "targets.worst_error", "6 mm") == text.replace("8 mm", "6 mm")


def test_a_slider_writes_in_the_unit_as_typed():
    text = 'cameras = [{ id = "a", position = ["47 in", "160 cm", "2.85 m"] }]\n'
    units = [field.unit for field in fields_of(text)]
    assert units == ["in", "cm", "m"]
    inches = fields_of(text)[0]
    assert inches.written(inches.value) == "47 in"
    assert inches.low < 47 < inches.high


def test_a_path_that_is_not_there_is_told():
    with pytest.raises(RushlightError, match=r"cameras\[7\].position\[0\] is not there"):
        edited(text_of("barn-wall"), "cameras[7].position[0]", "1 m")


def test_a_file_changed_elsewhere_is_not_overwritten(tmp_path):
    file = tmp_path / "rig.toml"
    file.write_text("name = 'theirs'", encoding="utf-8")
    with pytest.raises(RushlightError, match="was changed elsewhere"):
        save(file, "name = 'mine'", "as it was")
    assert file.read_text(encoding="utf-8") == "name = 'theirs'"
    save(file, "name = 'mine'", "name = 'theirs'")
    assert file.read_text(encoding="utf-8") == "name = 'mine'"


def test_what_no_program_can_read_does_not_replace_a_rig(tmp_path):
    file = tmp_path / "rig.toml"
    file.write_text(text_of("barn-wall"), encoding="utf-8")
    with pytest.raises(RushlightError, match="is not valid TOML"):
        save(file, "this is = = not toml", text_of("barn-wall"))
    assert file.read_text(encoding="utf-8") == text_of("barn-wall")
