"""The page on the picture survey: its commands run, and find what it says."""

import re
from pathlib import Path

from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.jobs.surveyed import left_out, unheeded

PAGE = (Path(__file__).resolve().parents[2] / "docs/how-to-survey.md").read_text("utf-8")


def test_its_readings_are_vouched_for_and_widen_the_upper_edge(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    runner = CliRunner()
    commands = re.findall(r"^\$ rushlight (.+)$", PAGE, re.MULTILINE)
    for command in commands[:2]:
        assert runner.invoke(app, command.split()).exit_code == 0
    assert not left_out(tmp_path / "my-wall")
    (listing,) = re.findall(r"^rushlight (survey .*--list-marks)$", PAGE, re.MULTILINE)
    listed = runner.invoke(app, listing.split())
    assert listed.exit_code == 0 and "lower-right to upper-left" in listed.output
    file = tmp_path / "my-wall" / "readings.toml"
    template = file.read_text("utf-8")
    lengths = re.search(r"```toml\n(.*?)```", PAGE, re.DOTALL)[1]
    pairs = re.findall(r"between = (\[.*?\])\n", lengths)
    head, asked = template.split("[[lengths]]", 1)
    assert [f"between = {pair}\n" in asked for pair in pairs] == [True] * 6
    file.write_text(head + lengths, "utf-8")
    shown = runner.invoke(app, commands[2].split(), env={"COLUMNS": "200"})
    assert shown.exit_code == 0, shown.output
    assert "NOT vouched for" not in shown.output and "vouched for:" in shown.output
    # A survey that lies there and was not used is told of.
    (told,) = left_out(tmp_path / "my-wall")
    assert told.code == "survey-unused" and "--survey" in told.remedy


def test_a_registration_without_the_survey_is_told_and_one_with_it_is_not(tmp_path):
    from types import SimpleNamespace

    def made_with(survey):
        return SimpleNamespace(valid_for=SimpleNamespace(survey=survey))

    (tmp_path / "rig.toml").touch()
    assert not unheeded(made_with(None), tmp_path)
    (tmp_path / "survey.json").touch()
    assert [each.code for each in unheeded(made_with(None), tmp_path)] == ["survey-unused"]
    assert not unheeded(made_with("0" * 64), tmp_path)
