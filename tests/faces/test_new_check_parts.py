"""The verbs new, check and parts, as a user types them."""

import json
import re
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.check import check as check_job
from rushlight.jobs.load import load_rig
from rushlight.jobs.new import new as new_job
from rushlight.jobs.plan_space import planned_space
from rushlight.jobs.search_space import search_in_space
from rushlight.shelf.resolve import resolve

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"


def run(*arguments):
    return CliRunner(env={"COLUMNS": "200"}).invoke(app, [str(each) for each in arguments])


def test_new_writes_a_rig_that_passes_and_can_be_computed(tmp_path):
    folder = tmp_path / "school-hall"
    result = run("new", folder, "--kind", "surface")
    assert result.exit_code == 0
    assert "rushlight check" in result.output
    assert check_job(folder).findings == ()
    rig, shelf = load_rig(folder)
    assert rig.name == "school-hall"
    assert len(resolve(rig, shelf)) == 1


@pytest.mark.parametrize("kind", ["viewpoint", "body", "volume"])
def test_new_rigs_of_space_pass_and_meet_their_own_targets(tmp_path, kind):
    folder = tmp_path / "school-hall"
    assert run("new", folder, "--kind", kind).exit_code == 0
    assert check_job(folder).findings == ()
    assert load_rig(folder)[0].name == "school-hall"
    planned = planned_space(folder, cells=(3, 2, 3)).plan
    assert [each.what for each in planned.targets if each.met is not True] == []
    assert [str(each.finding()) for each in planned.findings] == []


def test_new_takes_a_name_and_falls_back_where_the_folder_has_none(tmp_path):
    assert load_rig(new_job(tmp_path / "A B", name="attic"))[0].name == "attic"
    assert load_rig(new_job(tmp_path / "C D"))[0].name == "my-surface"


@pytest.mark.parametrize(
    ("kind", "name", "sentence"),
    [
        (
            "hologram",
            None,
            '--kind = "hologram" is no kind of rig; use surface, viewpoint, body, volume.',
        ),
        (
            "surface",
            "My Rig",
            '--name = "My Rig" is not an id; use lower-case letters, digits and hyphens.',
        ),
    ],
)
def test_new_refuses_in_one_sentence(tmp_path, kind, name, sentence):
    with pytest.raises(RushlightError) as caught:
        new_job(tmp_path, kind, name)
    assert str(caught.value) == sentence
    assert not (tmp_path / "rig.toml").exists()


def test_new_does_not_overwrite(tmp_path):
    path = new_job(tmp_path)
    path.write_text("mine", "utf-8")
    with pytest.raises(RushlightError) as caught:
        new_job(tmp_path)
    assert str(caught.value) == (
        f"{path} exists already and is not overwritten; choose another folder."
    )
    assert path.read_text("utf-8") == "mine"


def test_check_passes_the_example_by_file_and_by_folder():
    for path in (BARN_WALL, BARN_WALL / "rig.toml"):
        result = run("check", path)
        assert result.exit_code == 0
        assert result.output.startswith("barn-wall: no errors\nInfrared and the eye")
        assert "Estimates, and no approval" in result.output


def changed(tmp_path, old, new_text):
    shutil.copytree(BARN_WALL, tmp_path, dirs_exist_ok=True)
    path = tmp_path / "rig.toml"
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new_text, 1), "utf-8")
    return path


def test_check_ends_with_2_on_an_error_and_says_it(tmp_path):
    path = changed(tmp_path, 'frame_rate = "100 Hz"', 'frame_rate = "200 Hz"')
    result = run("check", path)
    assert result.exit_code == 2
    assert "cameras[0].frame_rate" in result.output
    assert "no errors" not in result.output


def test_check_ends_with_0_on_a_warning_and_prints_it(tmp_path):
    path = changed(tmp_path, 'licence = "CERN-OHL-P-2.0"', 'licence = "mine"')
    result = run("check", path)
    assert result.exit_code == 0
    assert "SPDX" in result.output


@pytest.mark.parametrize(
    ("old", "new_text", "sentence"),
    [
        ('frame_rate = "100 Hz"', 'frame_rate = "100 Hz"\nsource = "seriall:/dev/ttyUSB0"',
         "cameras[0].source = seriall:/dev/ttyUSB0 is no source of frames; give one such as"),
        ('frame_rate = "100 Hz"', 'frame_rate = "100 Hz"\nsource = "http:///video"',
         "http:///video is not the address of a camera; give one such as"),
        ('[ambient]', '[drive]\nosc = "9010"\n\n[ambient]',
         'drive.osc = "9010" is not an address of host and port; write "127.0.0.1:9010".'),
        ('[ambient]', '[drive]\npointer = "here"\n\n[ambient]',
         'drive.pointer = "here" is not an address of host and port; write "127.0.0.1:8790".'),
        ('[ambient]', '[drive]\nahead = "2 s"\n\n[ambient]',
         'drive.ahead = "2 s" is outside 0 to 500 ms; no hand can be foretold for longer; give'),
    ],
)  # fmt: skip
def test_check_reads_what_is_said_of_live_runs(tmp_path, old, new_text, sentence):
    result = run("check", changed(tmp_path, old, new_text))
    assert result.exit_code == 2
    assert sentence in result.output.replace("\n", "")


def test_check_as_json_holds_the_same_findings(tmp_path):
    path = changed(tmp_path, 'frame_rate = "100 Hz"', 'frame_rate = "200 Hz"')
    result = run("check", path, "--json")
    assert result.exit_code == 2
    content = json.loads(result.output)
    assert (content["rig"], content["passed"]) == ("barn-wall", False)
    assert [each["code"] for each in content["findings"]] == ["frame-rate-above-part"]


def test_check_tells_of_an_unreadable_rig_the_same_way(tmp_path):
    path = changed(tmp_path, 'width = "2.4 m"', "width = 2.4")
    result = run("check", path, "--json")
    assert result.exit_code == 2
    (finding,) = json.loads(result.output)["findings"]
    assert finding["where"] == "rig.toml: surfaces[0].width"


def test_parts_lists_every_kind_or_one():
    whole = run("parts").output
    assert "vga-global-120" in whole
    assert "cr2032" in whole
    cells = run("parts", "--kind", "cell").output
    assert "vga-global-120" not in cells
    assert "cr2032" in cells


def test_parts_shows_value_doubt_and_source():
    output = run("parts", "--kind", "emitter", "--sources").output
    assert "80 ± 20 mW/sr" in output
    assert "maker's data sheet of a comparable part (not named), seen second-hand" in output


def test_parts_beside_a_rig_show_where_they_come_from(tmp_path):
    (tmp_path / "own.shelf.toml").write_text(
        """
schema = "rushlight/shelf"
version = 1
[[displays]]
id = "old-screen"
name = "Old screen"
technology = "monitor"
size_px = [1024, 768]
refresh = { value = 60.0, unit = "Hz", source = "its label" }
delay = { value = 20.0, std = 10.0, unit = "ms", source = "typical, from memory" }
""",
        "utf-8",
    )
    new_job(tmp_path)
    shown = json.loads(run("parts", "--rig", tmp_path, "--kind", "display", "--json").output)
    (own,) = [part for part in shown["displays"] if part["id"] == "old-screen"]
    assert own["origin"] == "own.shelf.toml"
    assert own["delay"]["std"] == 10.0
    assert list(shown) == ["displays"]


SEARCHING = re.compile(r"# ---- Searching .*?\n\n", re.DOTALL)
HOLDS = re.compile(r"^# (?=\[|[a-z0-9-]+ = )", re.MULTILINE)


@pytest.mark.parametrize("kind", ["viewpoint", "body", "volume"])
def test_a_new_rig_of_space_can_be_searched_when_its_lines_are_let_in(tmp_path, kind):
    folder = tmp_path / "school-hall"
    assert run("new", folder, "--kind", kind).exit_code == 0
    path = folder / "rig.toml"
    text = path.read_text("utf-8")
    [block] = SEARCHING.findall(text)
    path.write_text(text.replace(block, HOLDS.sub("", block)), "utf-8")
    assert check_job(folder).findings == ()
    found = search_in_space(folder, tried=6, seed=1, best=1)
    assert found.chosen.coverage > 0.5 and found.chosen.cost > 0.0
    assert {place for each in found.candidates for place in each.places} != {""}
