"""The page on planning in space: its commands run, and what it prints is what is printed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.jobs.load import load_rig
from rushlight.records.document import read_document
from rushlight.records.figure import CAUSE_WORDS, SPACE_CAUSES
from rushlight.records.space_footage import SPACE_FOOTAGE, SpaceFootage

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs/how-to-plan-in-space.md").read_text("utf-8")


def run(*arguments):
    return CliRunner(env={"COLUMNS": "80"}).invoke(app, [str(each) for each in arguments])


def test_the_theatre_begins_as_the_page_shows(tmp_path):
    rig = ROOT / "src/rushlight/jobs/scenarios/paper-theatre"
    printed = run("plan", rig, "--out", tmp_path).stdout
    (shown,) = re.findall(r"```text\n(.*?)```", PAGE, re.DOTALL)
    assert shown in printed


def test_every_cause_is_explained_in_the_words_that_are_printed():
    for cause in SPACE_CAUSES:
        assert f"| {CAUSE_WORDS[cause]} |" in PAGE


@pytest.mark.parametrize("kind", ["viewpoint", "body", "volume"])
def test_the_page_s_commands_begin_a_rig_of_each_kind(tmp_path, kind):
    assert f"--kind {kind}" in PAGE or f" {kind}" in PAGE.split("```")[1]
    folder = tmp_path / "my-window"
    assert run("new", folder, "--kind", kind).exit_code == 0
    assert run("check", folder).exit_code == 0


def test_the_page_s_footage_is_one_that_register_reads(tmp_path):
    (shown,) = re.findall(r"```json\n(.*?)```", PAGE, re.DOTALL)
    (tmp_path / SPACE_FOOTAGE).write_text(shown, "utf-8")
    told = read_document(SpaceFootage, tmp_path / SPACE_FOOTAGE)
    rig = load_rig(ROOT / "src/rushlight/jobs/scenarios/paper-theatre")[0]
    assert told.marks[0].kind == "look" and not told.simulated
    assert told.marks[0].carried in [each.id for each in rig.carried]
