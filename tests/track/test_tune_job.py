"""Tuning on sessions as a run writes them: files, sentences, units."""

import itertools
import json

import numpy as np
import pytest
from PIL import Image

from rushlight.cli.tune import show
from rushlight.errors import RushlightError
from rushlight.jobs.tune import tune
from rushlight.keep.session import SessionReader, SessionWriter
from rushlight.records.document import read_document
from rushlight.records.dots import Dots, Frame
from rushlight.records.rig import Smoothing
from rushlight.records.session import Clock, Fix, SessionHeader, TrailLink
from rushlight.records.tuning import Tuning
from rushlight.track.recorded import raw_trails
from rushlight.track.switch import RELEASE_S

PERIOD_S = 1 / 60
STD_PX = 0.1
PLACES = np.array([(100, 100), (500, 120), (480, 380), (120, 400), (300, 240), (90, 90)], float)
HOLD_S, REACH_S = 1.2, 0.6


def hand(holds=True, moves=True):
    """Places of a hand [px], frame by frame: from mark to mark, resting at each."""
    rows = []
    for start, end in itertools.pairwise(PLACES):
        if holds:
            rows += [start] * round(HOLD_S / PERIOD_S)
        if moves:
            share = np.arange(0.0, 1.0, PERIOD_S / REACH_S)[:, None]
            rows += list(start + (0.5 - 0.5 * np.cos(np.pi * share)) * (end - start))
    return np.array(rows)


def write(path, xy, mapped=True, basis="measured", role="session", dark=(), **changes):
    rng = np.random.default_rng(5)
    head = SessionHeader(
        role=role, cameras=["beam"], carried=["stylus-wren"], filter_name="one-euro",
        clocks=[Clock(id="file", kind="file")], **{"rig_name": "barn-wall", **changes},
    )  # fmt: skip
    with SessionWriter(path, head, basis) as session:
        for frame, true in enumerate(xy):
            at_ns = round(frame * PERIOD_S * 1e9)
            seen = true + rng.normal(0.0, STD_PX, 2)
            session.put_frame(Frame("beam", frame, at_ns, 0.0, None))
            if frame in dark:
                continue
            dots = Dots(
                xy=seen[None], cov=np.full((1, 2, 2), np.nan), flux=[9.0], width=[[1.0, 0.0, 1.0]],
                peak=[90.0], saturated=[0], quality=[1.0], reason=[0],
            )  # fmt: skip
            session.put_dots("beam", frame, dots)
            link = TrailLink("beam", frame, 0, 1, "stylus-wren", None, 1.0, "held")
            session.put_links([link])
            if mapped:
                place = np.array([0.004 * seen[0], 2.0 - 0.004 * seen[1], np.nan])
                session.put_fix(
                    Fix(capture_ns=at_ns, valid_ns=at_ns, detect_ns=-1, map_ns=-1, sent_ns=-1,
                        frame=frame, carried="stylus-wren", point="tip", trail=1, dimensions=2,
                        surface="wall", switch=True, cameras=("beam",), predicted=False,
                        hypotheses=(1.0,), position_m=place)
                )  # fmt: skip
    return path


@pytest.fixture(scope="module")
def tuned(tmp_path_factory):
    folder = tmp_path_factory.mktemp("tune")
    session = write(folder / "kitchen.sqlite", hand())
    return folder, tune(session, folder / "out", "15 ms")


def test_two_presses_of_one_trail_are_smoothed_apart(tmp_path):
    away = range(30, 30 + round(1.5 * RELEASE_S / PERIOD_S) + 1)
    missed = range(80, 80 + round(0.5 * RELEASE_S / PERIOD_S))
    session = write(tmp_path / "two.sqlite", np.ones((120, 2)), dark={*away, *missed})
    with SessionReader(session) as reader:
        lengths = [len(trail.time_s) for trail in raw_trails(reader)]
    assert lengths == [30, 120 - away.stop - len(missed)]


def test_the_curve_is_measured_in_mm(tuned):
    _, summary = tuned
    tuning = summary.tuning
    assert (tuning.unit, tuning.basis, tuning.rest_stretches) == ("mm", "measured", 5)
    assert tuning.map_misfit_mm == pytest.approx(0.0, abs=1e-6)
    assert tuning.noise_px == pytest.approx(STD_PX, rel=0.15)
    plain = next(point for point in tuning.points if point.filter == "none")
    # 4 mm a pixel; some 200 places at rest along two axes: 3.5 % is one deviation.
    assert plain.jitter == pytest.approx(4.0 * np.sqrt(2.0) * STD_PX, rel=0.12)


def test_the_choice_is_the_steadiest_within_the_limit(tuned):
    _, summary = tuned
    tuning = summary.tuning
    chosen = tuning.points[tuning.chosen]
    within = [point for point in tuning.points if point.late_ms <= 15.0]
    assert chosen.late_ms <= 15.0
    assert chosen.jitter == min(point.jitter for point in within)
    assert chosen.jitter < 0.7 * tuning.points[0].jitter
    assert tuning.points[tuning.now].filter == "one-euro"
    assert any("15 ms late" in rule for rule in tuning.rules)


def test_files_and_lines(tuned):
    folder, summary = tuned
    document = read_document(Tuning, folder / "out" / "tune.json")
    assert document == summary.tuning
    assert document.header.basis == "measured"
    assert set(document.header.inputs) == {"session kitchen.sqlite"}
    with Image.open(folder / "out" / "tune.png") as picture:
        assert picture.size[0] > 800
        assert picture.convert("RGB").getpixel((2, 2)) == (0xFB, 0xF7, 0xEF)
    lines = summary.smoothing_lines.splitlines()
    assert lines[0] == "[smoothing]"
    given = dict(line.split(" = ") for line in lines[1:])
    smoothing = Smoothing(**{name: json.loads(value) for name, value in given.items()})
    chosen = summary.tuning.points[summary.tuning.chosen]
    assert smoothing.filter == chosen.filter
    assert (smoothing.cutoff.value if smoothing.cutoff else None) == chosen.cutoff_hz
    assert (smoothing.speed_gain, smoothing.agility) == (
        chosen.speed_gain,
        chosen.agility_px2_s3,
    )


def test_what_is_shown(tuned, capsys, monkeypatch):
    _, summary = tuned
    monkeypatch.setenv("COLUMNS", "200")
    show(summary)
    shown = capsys.readouterr().out
    for word in (
        "kitchen.sqlite (measured)",
        "chosen",
        "as run, by default",
        "late [ms]",
        "foretold [mm]",
        "[smoothing]",
        "tune.png",
        "jitter: root-mean-square",
    ):
        assert word in shown
    assert json.dumps(summary.as_dict(), allow_nan=False)


def test_without_fixes_everything_is_in_px(tmp_path):
    session = write(tmp_path / "dots.sqlite", hand(), mapped=False, basis="simulated")
    tuning = tune(session, tmp_path / "out", None).tuning
    assert (tuning.unit, tuning.map_misfit_mm, tuning.ahead) == ("px", None, [])
    assert any("knee" in rule for rule in tuning.rules)
    told = [finding.code for finding in tuning.findings]
    assert "tune-px" in told and "simulated" in told


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ({"holds": False}, "shows no light at rest for 0.75 s, so that no jitter can be measured"),
        ({"moves": False}, "shows no light that moves for 0.2 s"),
    ],
)
def test_one_clear_sentence_where_something_is_missing(tmp_path, kind, said):
    xy = hand(**kind)
    if not kind.get("moves", True):
        xy = np.tile(PLACES[0], (400, 1))
    session = write(tmp_path / "s.sqlite", xy)
    with pytest.raises(RushlightError) as caught:
        tune(session, tmp_path / "out", "15 ms")
    text = str(caught.value)
    assert said in text and "held still for two seconds" in text and "\n" not in text
    assert not (tmp_path / "out").exists()


def test_an_empty_session_gets_the_same_sentence(tmp_path):
    session = write(tmp_path / "s.sqlite", np.zeros((0, 2)))
    with pytest.raises(RushlightError, match="shows no light at rest"):
        tune(session, tmp_path / "out")


def test_rest_and_motion_may_come_from_two_sessions(tmp_path):
    rest = write(tmp_path / "rest.sqlite", np.tile(PLACES[0], (300, 1)), mapped=False)
    moves = write(tmp_path / "moves.sqlite", hand(holds=False), mapped=False)
    tuning = tune([rest, moves], tmp_path / "out", "15 ms").tuning
    assert (tuning.session, tuning.rest_stretches) == ("rest.sqlite, moves.sqlite", 1)
    assert "tune-few" in [finding.code for finding in tuning.findings]


@pytest.mark.parametrize(("other", "unit"), [("a" * 64, "mm"), ("b" * 64, "px")])
def test_rests_that_tell_no_map_take_it_from_a_session_of_the_same_registration(
    tmp_path, other, unit
):
    still = np.tile(PLACES[0], (300, 1))
    rest = write(tmp_path / "rest.sqlite", still, mapped=False, registration="a" * 64)
    moves = write(tmp_path / "moves.sqlite", hand(holds=False), registration=other)
    assert tune([rest, moves], tmp_path / "out", "15 ms").tuning.unit == unit


@pytest.mark.parametrize(
    ("typed", "said"),
    [("15", "bare number"), ("0 s", "is not above 0"), ("2 mm", "is a length")],
)
def test_the_limit_is_a_time(tmp_path, typed, said):
    with pytest.raises(RushlightError, match=said) as caught:
        tune(tmp_path / "none.sqlite", tmp_path, typed)
    assert str(caught.value).startswith("--most-lag")


def test_truth_and_other_rigs_are_refused(tmp_path):
    one = write(tmp_path / "one.sqlite", hand()[:20])
    other = write(tmp_path / "other.sqlite", hand()[:20], rig_name="hay-loft")
    truth = write(tmp_path / "truth.sqlite", hand()[:20], role="truth", basis="simulated")
    with pytest.raises(RushlightError, match="belong to different rigs"):
        tune([one, other], tmp_path / "out")
    with pytest.raises(RushlightError, match="holds a truth, not a session"):
        tune(truth, tmp_path / "out")
