"""Delays by stage: what was put into a session's times comes out again."""

import numpy as np
import pytest
from typer.testing import CliRunner

from rushlight.assess.stages import (
    BLOCKS,
    block_interval,
    has_sent,
    stage_delays,
    stage_figures,
)
from rushlight.assess.stages_picture import draw_stages
from rushlight.cli import app
from rushlight.jobs.assess import assess
from rushlight.keep.session import SessionReader
from rushlight.records.figure import Figure, Scope

MS = 1_000_000
FRAMES = 400


def stage_times(rng):
    """Detection takes 2 ms, mapping 1 to 3 ms, sending 0.5 ms, and every tenth frame 8 ms."""
    sending = np.where(np.arange(FRAMES) % 10 == 0, 8.0, 0.5)
    return np.full(FRAMES, 2.0), rng.uniform(1.0, 3.0, FRAMES), sending


def write(build, path, sent=True, live=True, backward=0, two=False, **changes):
    detect, mapping, sending = stage_times(np.random.default_rng(3))
    frame_ns = 1_000 * MS + np.arange(FRAMES) * build.period_ns
    fixes = []
    for frame, at in enumerate(frame_ns.tolist()):
        detect_ns = at + round(detect[frame] * MS) * (-1 if frame < backward else 1)
        map_ns = detect_ns + round(mapping[frame] * MS)
        sent_ns = map_ns + round(sending[frame] * MS) if sent else -1
        times = {"detect_ns": detect_ns, "map_ns": map_ns, "sent_ns": sent_ns}
        if frame == 40:
            # Traced back to a picture before; it waited for this one.
            fixes.append(build.fix(at - build.period_ns, 39, "stylus-wren", (1, 1), **times))
        fixes.append(build.fix(at, frame, "stylus-wren", (1, 1), **times))
        if two:
            fixes.append(build.fix(at, frame, "stylus-ash", (2, 1), trail=1, **times))
    head = build.header(script="strokes", **({"footage": None} if live else {}), **changes)
    return build.write(path, head, frame_ns, fixes)


def by_stage(figures, statistic):
    return {each.scope.condition: each for each in figures if each.statistic == statistic}


def test_medians_and_tails_come_out(build, tmp_path):
    with SessionReader(write(build, tmp_path / "s.sqlite")) as reader:
        assert has_sent(reader)
        figures = stage_delays(reader, scope=Scope(rig="barn-wall"))
    assert len(figures) == 8
    medians, tails = by_stage(figures, "median"), by_stage(figures, "p95")
    detect, mapping, sending = stage_times(np.random.default_rng(3))
    for condition, values in (
        ("from capture to dots", detect),
        ("from dots to fix", mapping),
        ("from fix to sending", sending),
        ("from capture to sending", detect + mapping + sending),
    ):
        # Times are whole nanoseconds.
        assert medians[condition].value == pytest.approx(np.median(values), abs=1e-5)
        assert tails[condition].value == pytest.approx(np.quantile(values, 0.95), abs=1e-5)
        assert medians[condition].low <= medians[condition].value <= medians[condition].high
        assert (medians[condition].unit, medians[condition].n) == ("ms", FRAMES)
    assert tails["from fix to sending"].value == pytest.approx(8.0, abs=1e-5)
    assert all(each.basis == "measured" and each.scope.rig == "barn-wall" for each in figures)
    assert "readout and transfer are in it" in medians["from capture to dots"].method
    assert "display above all, is not in it" in medians["from capture to sending"].method


def test_pictures_from_a_file_say_so(build, tmp_path):
    with SessionReader(write(build, tmp_path / "s.sqlite", live=False)) as reader:
        figures = stage_delays(reader)
    assert "pictures came from a file" in figures[0].method


def test_two_things_in_a_picture_count_once(build, tmp_path):
    with SessionReader(write(build, tmp_path / "s.sqlite", two=True)) as reader:
        assert {figure.n for figure in stage_delays(reader)} == {FRAMES}


def test_what_was_not_sent_has_no_such_stage(build, tmp_path):
    with SessionReader(write(build, tmp_path / "s.sqlite", sent=False)) as reader:
        assert not has_sent(reader)
        figures = stage_delays(reader)
    assert set(by_stage(figures, "median")) == {"from capture to dots", "from dots to fix"}
    assert stage_delays() == []


def test_clocks_that_run_backward_are_told(build, tmp_path):
    with SessionReader(write(build, tmp_path / "s.sqlite", backward=7)) as reader:
        first = stage_delays(reader)[0]
    assert first.n == FRAMES - 7
    assert "7 more ran backward in time and are left out" in first.method


def test_sessions_are_taken_together(build, tmp_path):
    paths = [write(build, tmp_path / f"{name}.sqlite") for name in "ab"]
    with SessionReader(paths[0]) as one, SessionReader(paths[1]) as other:
        assert stage_delays(one, other)[0].n == 2 * FRAMES


def test_no_interval_from_few_and_a_wide_one_from_uneven_loads():
    assert block_interval(np.ones(BLOCKS * 10 - 1), 0.5) is None
    rng = np.random.default_rng(0)
    even = rng.normal(5.0, 1.0, 2000)
    # The same values, with the slow ones together: blocks know that, single values would not.
    uneven = np.sort(even)
    narrow, wide = (np.ptp(block_interval(values, 0.5)) for values in (even, uneven))
    assert wide > 4.0 * narrow


def test_the_interval_covers_as_it_says():
    """Of 120 recordings the true median lies within 95 %, less what blocks of few lose."""
    rng = np.random.default_rng(1)
    hits = 0
    for _ in range(120):
        low, high = block_interval(rng.exponential(1.0, 400), 0.5)
        hits += low <= np.log(2.0) <= high
    # A percentile bootstrap of twenty blocks covers about 93 %; three binomial deviations down.
    assert hits >= 120 * 0.93 - 3 * np.sqrt(120 * 0.93 * 0.07)


def test_the_picture_shows_every_stage(build, tmp_path):
    with SessionReader(write(build, tmp_path / "s.sqlite")) as reader:
        figures = stage_delays(reader)
    text = draw_stages(figures, "simulated")
    for word in ("from capture to dots", "from fix to sending", "simulated pictures", "#B34A12",
                 "95th percentile", "2.00 · 2.00 ms"):  # fmt: skip
        assert word.lower() in text.lower()
    assert text == draw_stages(figures, "simulated")
    assert "filmed pictures" in draw_stages(figures, "measured")
    with pytest.raises(ValueError, match="figures of stages"):
        draw_stages([], "measured")


def test_other_figures_are_passed_over():
    other = Figure(name="delay", cause="computing", statistic="mean", value=1.0, unit="ms",
                   basis="measured")  # fmt: skip
    assert stage_figures([other]) == []


@pytest.mark.parametrize("sent", [True, False])
def test_assess_tells_stages_only_of_what_was_sent(build, tmp_path, sent):
    session = write(build, tmp_path / "s.sqlite", sent=sent, live=False)
    found = assess([session], out=tmp_path / "out")
    assert bool(stage_figures(found.figures)) == sent
    assert (tmp_path / "out" / "stages.svg").exists() == sent
    shown = CliRunner(env={"COLUMNS": "220"}).invoke(app, ["assess", str(session)])
    assert shown.exit_code == 0
    assert ("delay, computing, p95 (from fix to sending)" in shown.output) == sent
    # A plan's or a reference's delay is not joined with a stage.
    assert not any(row.scope.condition for row in found.compared)
