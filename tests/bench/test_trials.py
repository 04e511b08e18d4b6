"""Trials from the page, kept and assessed; the constructed sequence is ours, hands are made up."""

import copy
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from tests.planned_wall import write_plan
from typer.testing import CliRunner

from rushlight.assess.pictures import pictures_of
from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.assess import assess
from rushlight.jobs.load import load_rig
from rushlight.jobs.results import results
from rushlight.jobs.trials import keep_run
from rushlight.jobs.trials_plan import try_plan
from rushlight.records.document import read_document
from rushlight.records.figure import find_figure
from rushlight.records.trials import Sitting

SCENARIOS = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios"
NEAR, FAR = (0.5, 0.5), (0.8, 0.5)
DX_MM = [(306, 4), (-3, -6), (291, 2), (9, 5), (300, -8), (-12, 1)]
MT_MS = [640, 700, 610, 580, 660, 710]


@pytest.fixture(scope="module")
def wall(tmp_path_factory):
    folder = tmp_path_factory.mktemp("rigs") / "barn-wall"
    return Path(shutil.copytree(SCENARIOS / "barn-wall", folder))


@pytest.fixture(scope="module")
def theatre(tmp_path_factory):
    folder = tmp_path_factory.mktemp("rigs") / "paper-theatre"
    return Path(shutil.copytree(SCENARIOS / "paper-theatre", folder))


def ring(number=0, stretch=1.0):
    """The constructed sequence of six taps after the one that starts it."""
    moments = np.concatenate([[500], 500 + np.cumsum(MT_MS) * stretch]) * 1e6
    places = [NEAR, *[(NEAR[0] + x * 1e-3, NEAR[1] + y * 1e-3) for x, y in DX_MM]]
    goals, presses, shown = [], [], 0
    for trial, (moment, place) in enumerate(zip(moments.astype(int).tolist(), places, strict=True)):
        goals.append(
            {"carried": "x", "block": "ring", "trial": trial, "width_m": 0.02,
             "place_m": (NEAR, FAR)[trial % 2], "from_ns": shown, "until_ns": moment + 80_000_000}
        )  # fmt: skip
        presses.append({"down_ns": moment, "up_ns": moment + 80_000_000, "place_m": place})
        shown = moment + 80_000_001
    return {"kind": "tap", "block": "ring", "number": number, "pointer_types": ["pen"],
            "goals": goals, "presses": presses}  # fmt: skip


def sitting(
    rig, role="rig", device="stylus-wren", number="0123456789ab", who="a1b2c3d4e5f6", runs=()
):
    return {
        "schema": "rushlight/sitting", "version": 1,
        "id": number, "device": device, "device_name": device, "role": role, "rig_name": rig,
        "participant": {"id": who, "consent": {"taking_part": True, "publish_trials": False,
                                               "publish_video": False}},
        "display_px": (1280, 800), "display_m": (2.4, 1.5), "runs": list(runs),
    }  # fmt: skip


def test_a_ring_from_the_page_has_the_throughput_of_the_same_ring_in_a_session(wall):
    kept = keep_run(wall, sitting("barn-wall", runs=[ring()]), simulated=False)
    found = assess([kept.path], rig=wall)
    (block,) = found.taps
    # The numbers of the same sequence in tests/assess/test_tapping.py.
    assert (block.n, block.left_out, block.participant) == (6, 0, "a1b2c3d4e5f6")
    assert block.throughput_bit_s == pytest.approx(5.042234, abs=2e-6)
    assert block.effective_width_m * 1e3 == pytest.approx(34.554451, abs=2e-6)
    assert block.error_rate == pytest.approx(2 / 6)
    assert find_figure(found.figures, "throughput").basis == "measured" == found.basis


def test_a_mouse_is_measured_also_while_invented_hands_hold_the_rig(wall):
    """In a rehearsal the rig's lights are an invented hand's; a mouse beside them is real."""
    for number, role, basis in (("7", "rig", "simulated"), ("8", "reference", "measured")):
        one = sitting("barn-wall", role=role, number=12 * number, runs=[ring()])
        assert keep_run(wall, one, simulated=True).basis == basis


def test_a_measured_reference_beside_a_rehearsed_rig_is_told_as_measured(wall):
    paths = []
    for number, role, device, who in (
        ("0f", "rig", "stylus-wren", "a1"),
        ("1f", "reference", "a-mouse", "b2"),  # another person: none tried both
    ):
        one = sitting("barn-wall", role, device, 6 * number, 6 * who, [ring()])
        paths.append(keep_run(wall, one, simulated=True).path)
    found = assess(paths, rig=wall)
    assert found.basis == "simulated"  # as a whole: nothing invented may pass as measured
    bases = {block.carried: found.basis_in(block.session) for block in found.taps}
    assert bases == {"a-mouse": "measured", "stylus-wren": "simulated"}
    drawn = pictures_of(found)["throughput.svg"]
    for words in (
        "Pointing (measured and simulated hands)",
        "a-mouse (measured)",
        "stylus-wren (simulated)",
    ):
        assert words in drawn


def test_what_does_not_move_at_all_has_no_jitter_and_no_ratio(wall):
    """A mouse comes to whole pixels: let go of, it stays on one."""
    paths = []
    for number, role, device, stray_m in (
        ("2e", "rig", "stylus-wren", 0.001),
        ("3e", "reference", "a-mouse", 0.0),
    ):
        run = still(np.random.default_rng(3), stray_m)
        one = sitting("barn-wall", role, device, 6 * number, runs=[run])
        paths.append(keep_run(wall, one, simulated=False).path)
    found = assess(paths, rig=wall)
    jitter = {figure.scope.carried: figure.value for figure in found.figures}
    assert jitter["a-mouse"] == 0.0 and jitter[None] > 1.0
    assert found.reference == "a-mouse" and found.relative == []


def codes(found):
    return {each.code for each in found.findings}


def still(rng, stray_m):
    """Six marks held a little beside, at places that no binary fraction is."""
    goals, presses, moments, places = [], [], [], []
    for trial in range(6):
        place, start = np.array([0.3 + 0.31 * trial, 0.7]), trial * 4_000_000_000
        until = start + 3_500_000_000
        goals.append({"carried": "x", "block": "still", "trial": trial,
                      "place_m": place.tolist(), "from_ns": start, "until_ns": until})  # fmt: skip
        presses.append({"down_ns": start + 500_000_000, "up_ns": until,
                        "place_m": place.tolist()})  # fmt: skip
        for step in range(400):
            moments.append(start + 500_000_000 + step * 7_000_000)
            places.append(place + 0.0037 + rng.normal(0.0, 1.0, 2) * stray_m)
    x, y = np.array(places).T
    return {"kind": "still", "block": "still", "number": 0, "goals": goals, "presses": presses,
            "time_ns": moments, "x_m": x.tolist(), "y_m": y.tolist()}  # fmt: skip


def test_runs_are_added_and_a_run_sent_twice_stands_once(wall):
    one = sitting("barn-wall", number="aaaaaaaaaaaa", runs=[ring(0)])
    keep_run(wall, one, simulated=False)
    keep_run(wall, one, simulated=False)
    kept = keep_run(wall, {**one, "runs": [ring(1, 1.1)]}, simulated=False)
    assert (kept.runs, kept.basis) == (2, "measured")
    kept = keep_run(wall, {**one, "runs": [ring(2)]}, simulated=True)
    assert (kept.runs, kept.basis) == (3, "simulated")
    # What is once mixed with invented hands never counts as measured again.
    assert keep_run(wall, one, simulated=False).basis == "simulated"
    found = assess([kept.path])
    assert found.basis == "simulated"
    assert any(finding.code == "hands-invented" for finding in found.findings)


@pytest.mark.parametrize(
    "change, code",
    [
        ({"rig_name": "ferry-model"}, "rigs-differ"),
        ({"runs": []}, "sitting-empty"),
        ({"participant": {"id": "a1b2c3d4", "consent": dict.fromkeys(
            ("taking_part", "publish_trials", "publish_video"), False)}}, "trials-consent"),
        ({"id": "../../etc/passwd"}, None),
        ({"display_m": (0.0, 1.0)}, None),
    ],
)  # fmt: skip
def test_what_may_not_be_kept_is_refused_in_a_sentence(wall, change, code):
    with pytest.raises(RushlightError) as refused:
        keep_run(wall, {**sitting("barn-wall", runs=[ring()]), **change}, simulated=False)
    assert code is None or refused.value.findings[0].code == code
    assert refused.value.findings[0].where.startswith("trials")


def test_numbers_that_cannot_be_are_refused(wall):
    for spoil in (
        lambda run: run["presses"][0].update(up_ns=-1),
        lambda run: run["presses"][0].update(place_m=[float("nan"), 0.0]),
        lambda run: run.update(time_ns=[1, 0], x_m=[0.0, 0.0], y_m=[0.0, 0.0]),
        lambda run: run.update(time_ns=[1]),
        lambda run: run.update(goals=[]),
    ):
        run = copy.deepcopy(ring())
        spoil(run)
        with pytest.raises(RushlightError):
            keep_run(wall, sitting("barn-wall", number="b" * 12, runs=[run]), simulated=False)


def test_a_hold_tells_how_still_it_was_held(wall):
    rng = np.random.default_rng(3)
    goals, presses, moments, places = [], [], [], []
    for trial in range(6):
        place, start = np.array([0.3 + 0.3 * trial, 0.7]), trial * 4_000_000_000
        goals.append({"carried": "x", "block": "still", "trial": trial,
                      "place_m": place.tolist(), "from_ns": start,
                      "until_ns": start + 3_500_000_000})  # fmt: skip
        presses.append({"down_ns": start + 500_000_000, "up_ns": start + 3_600_000_000,
                        "place_m": place.tolist()})  # fmt: skip
        for step in range(500):
            moments.append(start + 500_000_000 + step * 6_000_000)
            # Half a second of settling that must not count, then 2 mm and 1 mm along the axes.
            wild = 0.05 if step < 80 else 0.0
            places.append(place + wild + rng.normal(0.0, [0.002, 0.001]))
    x, y = np.array(places).T
    run = {"kind": "still", "block": "still", "number": 0, "goals": goals, "presses": presses,
           "time_ns": moments, "x_m": x.tolist(), "y_m": y.tolist()}  # fmt: skip
    kept = keep_run(wall, sitting("barn-wall", number="c" * 12, runs=[run]), simulated=False)
    figure = find_figure(assess([kept.path]).figures, "jitter")
    # 6 holds of 400 samples: a standard deviation good to about 1.5 %.
    assert figure.value == pytest.approx(1e3 * np.hypot(0.002, 0.001), rel=0.05)
    assert (figure.n, figure.unit) == (6, "mm")
    grid = copy.deepcopy(run) | {"kind": "grid"}
    grid["x_m"] = (x + 0.004).tolist()
    kept = keep_run(wall, sitting("barn-wall", number="d" * 12, runs=[grid]), simulated=False)
    found = assess([kept.path])
    assert find_figure(found.figures, "trueness").value == pytest.approx(4.0, rel=0.05)
    assert len(found.places) == 6


def test_an_error_by_hand_stands_beside_what_the_plan_expects_of_rig_and_hand(tmp_path):
    wall = Path(shutil.copytree(SCENARIOS / "barn-wall", tmp_path / "barn-wall"))
    run = {**still(np.random.default_rng(3), 0.0), "kind": "grid", "block": "grid"}
    kept = keep_run(wall, sitting("barn-wall", runs=[run]), simulated=False)
    assert assess([kept.path], rig=wall).compared == []  # no plan is beside the rig
    planned = write_plan(wall, wall / "plan")
    (row,) = assess([kept.path], rig=wall).compared
    alone = find_figure(planned.figures, "error", cause="all", statistic="rms").value
    # The barn's growers set a tip 2 mm from a mark along each axis.
    assert [each.touch_scatter.text for each in load_rig(wall)[0].people] == ["2 mm", "2 mm"]
    assert row.predicted == pytest.approx(np.sqrt(alone**2 + 2 * 2.0**2))
    assert row.measured == pytest.approx(3.7 * np.sqrt(2), rel=1e-6)
    assert row.basis == "measured" and "the hand's touch_scatter" in row.reading
    reference = sitting("barn-wall", "reference", "a-mouse", "b" * 12, runs=[run])
    kept = keep_run(wall, reference, simulated=False)
    assert assess([kept.path], rig=wall).compared == []  # the plan is not of a mouse
    ours = wall / "trials/sitting-0123456789ab.json"
    told = codes(results(wall))
    assert not told & {"results-no-error", "results-no-prediction"}
    ours.rename(wall / "kept.json")
    assert "results-no-error" in codes(results(wall))  # a mouse's error is not the rig's
    (wall / "kept.json").rename(ours)
    file = wall / "rig.toml"
    file.write_text(file.read_text().replace('touch_scatter = "2 mm"', 'touch_scatter = "3 mm"'))
    assert assess([ours], rig=wall).compared == []
    assert "results-no-prediction" in codes(results(wall))
    # Going on with it makes it no sitting of the rig as it is now.
    keep_run(wall, sitting("barn-wall", runs=[{**run, "number": 1}]), simulated=False)
    write_plan(wall, wall / "plan")
    assert read_document(Sitting, ours).rig is None
    gone_on = assess([ours], rig=wall)
    assert gone_on.compared == [] and "trials-rig-changed" in codes(gone_on)


def test_what_a_rig_does_not_find_is_not_kept_as_the_rig(wall, theatre):
    by_mouse = {**ring(), "pointer_types": ["mouse"]}
    one = sitting("barn-wall", number="9" * 12, runs=[by_mouse])
    with pytest.raises(RushlightError, match="mouse is no pointer or eye that this rig finds"):
        keep_run(wall, one, simulated=False)
    assert keep_run(wall, {**one, "role": "other"}, simulated=False).runs == 1
    with pytest.raises(RushlightError, match="no pointer or eye that this rig finds"):
        keep_run(theatre, sitting("paper-theatre", runs=[ring()]), simulated=False)


def test_an_invented_hand_is_no_part_of_what_people_reached(tmp_path):
    wall = Path(shutil.copytree(SCENARIOS / "barn-wall", tmp_path / "barn-wall"))
    run = {**still(np.random.default_rng(3), 0.0), "kind": "grid", "block": "grid"}
    far = {**still(np.random.default_rng(4), 5e-3), "kind": "grid", "block": "grid"}
    kept = [
        keep_run(wall, sitting("barn-wall", runs=[run]), simulated=False),
        keep_run(wall, sitting("barn-wall", number="f" * 12, runs=[far]), simulated=True),
        keep_run(wall, sitting("barn-wall", "reference", "a-mouse", "b" * 12, runs=[run]), False),
    ]
    alone = assess([kept[0].path], rig=wall)
    both = assess([each.path for each in kept], rig=wall)
    ours = [each for each in both.figures if each.scope.carried is None]
    assert [each for each in ours if each.basis == "measured"] == alone.figures
    invented = [each for each in ours if each.basis == "simulated"]
    assert {each.name for each in invented} == {each.name for each in alone.figures}
    assert {each.n for each in ours} == {6}
    # Beside the reference stands what people reached.
    assert {(row.rig_basis, row.reference_basis) for row in both.relative} == {
        ("measured", "measured")
    }

    names = [str(each.path) for each in kept]
    told = CliRunner(env={"COLUMNS": "200"}).invoke(app, ["assess", *names]).stdout
    shown = re.findall(r"trueness, rms \(marks touched by hand[^)]*\)( \(\w+\))?", told)
    assert shown.count(" (measured)") == 1  # beside the invented, which the heading names


def test_the_view_task_tells_the_angle_left(theatre):
    trials = [
        {"near_m": [0.3, 0.2, 0.06], "far_m": [0.3, 0.2, -0.4], "start_m": [0.2, 0.2, 0.9],
         "end_m": [0.3 + 0.002 * sign, 0.2, 0.96], "shown_ns": 0, "said_ns": 4_000_000_000 + sign}
        for sign in (-1, 1, -1, 1)
    ]  # fmt: skip
    run = {"kind": "align", "block": "align", "number": 0, "pointer_types": ["eye"],
           "align": trials}  # fmt: skip
    body = sitting("paper-theatre", device="cap", number="e" * 12, runs=[run])
    found = assess([keep_run(theatre, body, simulated=False).path])
    figure = find_figure(found.figures, "view-angle", statistic="rms")
    # Seen 0.9 m and 1.36 m away from 2 mm aside: angles subtract.
    left = np.degrees(np.arctan(0.002 / 0.9) - np.arctan(0.002 / 1.36)) * 60
    assert figure.value == pytest.approx(left, rel=1e-9)
    assert find_figure(found.figures, "movement-time").value == pytest.approx(4.0, abs=1e-6)


def test_the_rig_stands_beside_a_reference_that_was_tried(wall):
    paths = []
    for person in range(3):
        for role, device, stretch in (
            ("rig", "stylus-wren", 1.0),
            ("reference", "touch-board", 2.0),
        ):
            body = sitting(
                "barn-wall", role, device, f"{person}{stretch:.0f}" * 6, f"{person}" * 12,
                [ring(0, stretch + 0.05 * person)],
            )  # fmt: skip
            paths.append(keep_run(wall, body, simulated=False).path)
    found = assess(paths, rig=wall)
    (row,) = [
        each for each in found.relative if each.name == "throughput" and "mm" not in each.reading
    ]
    assert found.reference == "touch-board" and row.ratio > 1.0
    # By hand: TP goes as one over the mean time of each person.
    ours, theirs = (np.mean([1 / (s + 0.05 * p) for p in range(3)]) for s in (1.0, 2.0))
    assert row.ratio == pytest.approx(ours / theirs, rel=1e-9)
    assert row.low < row.ratio < row.high


def test_every_task_lies_on_the_display(wall, theatre):
    for rig, tasks in ((wall, ("ring", "still", "grid", "check")), (theatre, ("align", "check"))):
        for task in tasks:
            plan = try_plan(rig, task)
            for step in plan.steps:
                assert sorted(set(step.block.order)) == list(range(len(step.block.goals)))
                for goal in step.block.goals:
                    if goal.shape == "line":
                        continue
                    x, y, radius = goal.parameters_m[0], goal.parameters_m[1], 0.0
                    radius = goal.parameters_m[2] / 2 if goal.shape == "disc" else 0.0
                    assert radius <= x <= plan.surface_m[0] - radius
                    assert radius <= y <= plan.surface_m[1] - radius
    for rig in (wall, theatre):
        check = try_plan(rig, "check")
        assert round(check.about_s / 60) == 10  # as its name says
        assert check.steps[0].rest_s == 0 and min(step.rest_s for step in check.steps[1:]) >= 15
    with pytest.raises(RushlightError, match="follows an eye"):
        try_plan(wall, "align")


def test_the_check_has_every_ring_once_at_each_place_of_a_round(wall):
    rings = [s.block.id.split("-")[1] for s in try_plan(wall, "check").steps if s.kind == "tap"]
    rounds = [rings[i : i + 3] for i in (0, 3, 6)]
    for place in range(3):
        assert {each[place] for each in rounds} == {"wide", "near", "fine"}


def test_the_command_shows_them(wall):
    def told(*words):
        command = [sys.executable, "-m", "rushlight", "assess", *map(str, words)]
        return subprocess.run(command, capture_output=True, text=True, check=True).stdout

    kept = keep_run(wall, sitting("barn-wall", number="f" * 12, runs=[ring()]), simulated=False)
    shown = json.loads(told(kept.path, "--json"))
    assert shown["taps"][0]["throughput_bit_s"] == pytest.approx(5.042234, abs=2e-6)
    other = sitting("barn-wall", "other", "mouse", "f0" * 6, runs=[ring()])
    # Figures of a device that is not the rig stand under its own name, and are shown too.
    assert "throughput, mean, mouse" in told(keep_run(wall, other, simulated=False).path)
    # The file is a sitting as it was kept, whole.
    assert read_document(Sitting, kept.path).runs[0].presses[0].place_m == NEAR
