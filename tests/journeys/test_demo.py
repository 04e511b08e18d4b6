"""The whole job: the demo through every stage, and the same stages verb by verb on files."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tests.once import once
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.jobs.demo import COLUMNS, FRAMES_A_PLACE, MARK, ROWS, SEED


def _demo(folder: Path) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "rushlight", "demo", "--out", "out"],
        capture_output=True,
        text=True,
        cwd=folder,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> tuple[Path, str]:
    folder, shown = once(tmp_path_factory, "demo", _demo)
    return folder / "out" / "barn-wall", shown


def test_it_ends_with_five_lines_and_the_kit(made):
    folder, shown = made
    for line in (
        "predicted error",
        "measured error",
        "relative performance",
        "relative cost",
        "cautions",
    ):
        assert line in shown
    assert "simulated" in shown
    # A long path may be folded by the terminal's width.
    assert str(folder / "kit") in shown.replace("\n", "")


def test_it_ends_with_how_to_open_it_on_the_bench(made):
    """The command is found as it stands there, in a shell that knows this program or does not."""
    folder, shown = made
    # Without spaces, for the terminal's width may fold the line anywhere.
    told = "".join(shown.partition("look at all of it in the browser:")[2].split())
    assert told.endswith("benchout/barn-wall")
    program = told.removesuffix("benchout/barn-wall")
    assert shutil.which(program, path=os.environ["PATH"]) or (folder.parents[1] / program).exists()


def test_it_tells_which_place_a_search_takes_and_what_the_rig_s_own_is_worth(made):
    folder, shown = made
    found = json.loads((folder / "search" / "search.json").read_text())
    chosen = found["closely"]
    own = found["own"]
    assert [place["id"] for place in found["places"]] == ["beam", "tripod", "shelf"]
    # Where the rig has its camera already; found elsewhere on it, cheaper, and no worse covered.
    assert chosen["place"] == own["place"] == "beam"
    assert chosen["missed"] == []
    assert chosen["cost"] < own["cost"]
    assert chosen["coverage"] >= own["coverage"]
    told = " ".join(shown.split())
    assert "Where a search would put the camera (predicted" in told
    # All but the rule of choosing is said: the place, each other place, the rig as it stands, and
    # how probable it is that all targets are met.
    assert len(found["why"]) == 6
    for line in found["why"][1:]:
        assert " ".join(line.split()) in told


def test_the_kit_is_whole(made):
    folder, _ = made
    checked = subprocess.run(
        ["sha256sum", "--check", "--quiet", "manifest-sha256.txt"],
        cwd=folder / "kit",
        capture_output=True,
        text=True,
    )
    assert checked.returncode == 0, checked.stdout
    page = (folder / "kit" / "index.html").read_text()
    assert "simulated" in page
    assert "invented" in page


def test_prediction_and_simulation_agree_within_what_one_registration_can_show(made):
    folder, _ = made
    assessed = json.loads((folder / "assessment" / "assessment.json").read_text())
    row = next(
        row
        for row in assessed["compared"]
        if (row["name"], row["cause"], row["statistic"]) == ("error", "all", "rms")
        and row["scope"]["carried"] is None
    )
    # One registration of some seed: its own error alone scatters by a third.
    assert 0.5 < row["ratio"] < 2.0
    assert row["basis"] == "simulated"


def test_verb_by_verb_gives_the_same(made, tmp_path, monkeypatch):
    """The demo ran in a process of its own; these verbs share one, which is no matter to files."""
    folder, _ = made
    monkeypatch.chdir(tmp_path)

    def typed(*words: str) -> None:
        done = CliRunner().invoke(app, words, catch_exceptions=False)
        assert done.exit_code == 0, done.output

    (tmp_path / "rig.toml").write_bytes((folder / "rig.toml").read_bytes())
    seed = str(SEED)
    typed("plan", "rig.toml", "--out", "plan")
    typed("search", "rig.toml", "--out", "search")
    for script, more in (
        ("registration", ()),
        (
            "grid",
            (
                *("--columns", str(COLUMNS), "--rows", str(ROWS)),
                *("--frames-per-place", str(FRAMES_A_PLACE)),
            ),
        ),
    ):
        typed(
            *("simulate", "rig.toml", "--script", script, "--out", script),
            *("--seed", seed, "--plan", "plan/plan.json", *more),
        )
    typed(
        *("register", "--footage", "registration", "--rig", "rig.toml"),
        *("--plan", "plan/plan.json", "--out", "registration.json"),
    )
    typed(
        *("run", "--footage", "grid", "--rig", "rig.toml"),
        *("--registration", "registration.json", "--out", "grid.sqlite"),
    )

    def content(path: Path) -> dict:
        document = json.loads(path.read_text())
        document.pop("header")
        return document

    assert content(tmp_path / "plan/plan.json") == content(folder / "plan/plan.json")
    assert content(tmp_path / "search/search.json") == content(folder / "search/search.json")
    assert content(tmp_path / "registration.json") == content(folder / "registration.json")
    ours = folder / "footage" / "grid" / "footage.avi"
    assert (tmp_path / "grid" / "footage.avi").read_bytes() == ours.read_bytes()


def test_a_demo_replaces_a_demo_and_nothing_else(made, tmp_path):
    folder, _ = made
    assert (folder / MARK).exists()
    taken = tmp_path / "out" / "barn-wall"
    taken.mkdir(parents=True)
    (taken / "thesis.txt").write_text("mine")
    refused = subprocess.run(
        [sys.executable, "-m", "rushlight", "demo", "--out", "out"],
        capture_output=True,
        text=True,
        cwd=tmp_path,
    )
    assert refused.returncode == 2
    assert "something else than a demo" in refused.stderr
    assert (taken / "thesis.txt").read_text() == "mine"
