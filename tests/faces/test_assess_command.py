"""The verb assess, as a user types it."""

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.keep.session import SessionWriter
from rushlight.records.assessment import Assessment
from rushlight.records.document import read_document
from rushlight.records.dots import Frame
from rushlight.records.session import Clock, Event, Fix, SessionHeader, ShownGoal

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"
PERIOD_NS = 10_000_000
PLACES = [(0.3, 0.3), (1.1, 0.4), (2.0, 0.3), (0.4, 1.2), (1.2, 1.1), (2.1, 1.2)]


def run(*arguments):
    return CliRunner(env={"COLUMNS": "220"}).invoke(app, ["assess", *map(str, arguments)])


def write(path, role, away_m, width_m=None):
    """Six places of a grid, or six taps, by one stylus."""
    spans = [(turn * 600_000_000, turn * 600_000_000 + 400_000_000) for turn in range(6)]
    goals = [
        ShownGoal(carried="stylus-wren", block="a", trial=trial, place_m=place, width_m=width_m,
                  from_ns=start, until_ns=end)
        for trial, (place, (start, end)) in enumerate(zip(PLACES, spans, strict=True))
    ]  # fmt: skip
    head = SessionHeader(
        role=role, rig_name="barn-wall", footage=("7a" if width_m else "6b") * 32, cameras=["beam"],
        carried=["stylus-wren"], clocks=[Clock(id="file", kind="file")], goals=goals,
    )  # fmt: skip
    rng = np.random.default_rng(1)
    with SessionWriter(path, head, "simulated") as session:
        for frame in range(360):
            session.put_frame(Frame("beam", frame, frame * PERIOD_NS, 0.0, None))
        for trail, (place, (start, end)) in enumerate(zip(PLACES, spans, strict=True)):
            session.put_event(Event(start, "switch-down", "stylus-wren", trail))
            for at in range(start, end, PERIOD_NS):
                xy = np.array(place) + away_m * rng.normal(1.0, 0.1, 2)
                session.put_fix(
                    Fix(capture_ns=at, valid_ns=at, detect_ns=at + 1, map_ns=at + 2_000_000,
                        sent_ns=-1, frame=at // PERIOD_NS, carried="stylus-wren", point="tip",
                        trail=trail, dimensions=2, surface="wall", switch=True, cameras=("beam",),
                        predicted=False, hypotheses=(1.0,), position_m=np.array([*xy, np.nan]))
                )  # fmt: skip
    return path


@pytest.fixture
def files(tmp_path):
    session = write(tmp_path / "grid.sqlite", "session", 0.003)
    truth = write(tmp_path / "truth.sqlite", "truth", 0.0)
    taps = write(tmp_path / "taps.sqlite", "session", 0.003, width_m=0.05)
    return session, truth, taps


def test_tables_and_files(files, tmp_path):
    session, truth, taps = files
    out = tmp_path / "out"
    result = run(session, taps, "--rig", BARN_WALL, "--truth", truth, "--out", out)
    assert result.exit_code == 0, result.output
    assert "barn-wall (simulated)" in result.output
    for word in ("trueness", "precision", "coverage", "Tapping", "Relative cost", "no conformity"):
        assert word in result.output
    assessment = read_document(Assessment, out / "assessment.json")
    assert assessment.basis == assessment.header.basis == "simulated"
    assert set(assessment.header.inputs) == {"session grid.sqlite", "session taps.sqlite", "rig"}
    pictures = {path.name: path.read_text() for path in out.glob("*.svg")}
    assert set(pictures) == {"error-map.svg", "throughput.svg"}
    assert all("simulated" in text and "<dc:date>" not in text for text in pictures.values())


def test_the_same_input_gives_the_same_files(files, tmp_path):
    session, truth, taps = files
    texts = []
    for folder in (tmp_path / "one", tmp_path / "two"):
        run(session, taps, "--rig", BARN_WALL, "--truth", truth, "--out", folder)
        texts.append([path.read_text() for path in sorted(folder.glob("*.svg"))])
        texts[-1].append(read_document(Assessment, folder / "assessment.json").content_hash())
    assert texts[0] == texts[1]


def test_json_is_the_document(files, tmp_path):
    session, truth, _ = files
    result = run(session, "--truth", truth, "--json")
    content = json.loads(result.stdout)
    assert content["schema"] == "rushlight/assessment"
    assert {figure["basis"] for figure in content["figures"]} <= {"simulated", "measured"}
    assert any(finding["code"] == "no-rig" for finding in content["findings"])


def test_what_is_wrong_is_one_sentence(tmp_path):
    result = run(tmp_path / "none.sqlite")
    assert isinstance(result.exception, RushlightError)
    assert str(result.exception) == (
        f"{tmp_path / 'none.sqlite'} does not exist; give a session file."
    )
