"""Taps through a session come out as the formulas say; the constructed sequence is ours."""

import numpy as np
import pytest

from rushlight.assess.assessing import assess_recordings
from rushlight.assess.recording import read_recordings
from rushlight.records.figure import find_figure
from rushlight.records.session import Event

NEAR, FAR = (0.5, 0.5), (0.8, 0.5)
DX_MM = [(306, 4), (-3, -6), (291, 2), (9, 5), (300, -8), (-12, 1)]
MT_MS = [640, 700, 610, 580, 660, 710]
PRESS_NS = 100_000_000


def tapping(build, path, sequences, head=None, basis="measured"):
    """A session of taps: carried thing, block and width to targets, selections and moments."""
    goals, fixes, events, trail = [], [], [], 0
    for (carried, block, width), taps in sequences.items():
        shown_ns = 0
        for trial, (target, selected, down_ns, named) in enumerate(taps):
            end_ns = down_ns + PRESS_NS
            goals.append(build.goal(target, shown_ns, end_ns, trial, carried, block, width))
            shown_ns = end_ns
            if selected is None:
                continue
            trail += 1
            events.append(Event(down_ns, "switch-down", named, trail))
            for step in range(10):
                at = down_ns + step * build.period_ns
                place = np.array(selected) + np.array(
                    [0.0, 0.05 * step]
                )  # only the first fix selects
                fixes.append(build.fix(at, at // build.period_ns, named, place, trail=trail))
    last = max(each.until_ns for each in goals)
    fixes.sort(key=lambda each: each.capture_ns)
    carried = sorted({each.carried for each in goals})
    head = build.header(script="tapping", carried=carried, goals=goals, **(head or {}))
    frames = np.arange(0, last, build.period_ns)
    return build.write(path, head, frames, fixes, events, basis)


def vector(named="stylus-wren", start_ns=500_000_000):
    """The constructed sequence of six taps after the one that starts it."""
    moments = start_ns + np.concatenate([[0], np.cumsum(MT_MS)]) * 1_000_000
    taps = [(NEAR, NEAR, int(moments[0]), named)]
    for k, (x, y) in enumerate(DX_MM):
        selected = (NEAR[0] + x * 1e-3, NEAR[1] + y * 1e-3)
        taps.append(((FAR, NEAR)[k % 2], selected, int(moments[k + 1]), named))
    return taps


def assessed(paths):
    return assess_recordings(read_recordings(paths, []))


def test_the_constructed_sequence(build, tmp_path):
    path = tapping(build, tmp_path / "t.sqlite", {("stylus-wren", "a", 0.02): vector()})
    found = assessed([path])
    (block,) = found.taps
    assert (block.n, block.left_out, block.ae_form, block.ddof) == (6, 0, "nominal", 1)
    assert block.throughput_bit_s == pytest.approx(5.042234, abs=2e-6)
    assert block.effective_width_m * 1e3 == pytest.approx(34.554451, abs=2e-6)
    assert block.effective_distance_m * 1e3 == pytest.approx(300.5, abs=1e-6)
    assert block.movement_time_s == pytest.approx(0.65)
    # Distances from the centres: 7.2, 6.7, 9.2, 10.3, 8 and 12 mm; 10 mm is the radius.
    assert block.error_rate == pytest.approx(2 / 6)
    figure = find_figure(found.figures, "throughput", statistic="mean")
    assert figure.value == pytest.approx(block.throughput_bit_s) and figure.low is None
    assert "Ae = mean(a + dx) (nominal)" in figure.method and figure.basis == "measured"
    assert any(finding.code == "one-person" for finding in found.findings)
    assert any("claims no conformity" in str(finding) for finding in found.findings)


def test_a_missed_tap_leaves_out_the_moves_from_and_to_it(build, tmp_path):
    taps = vector()
    taps[3] = (taps[3][0], None, taps[3][2], taps[3][3])
    found = assessed([tapping(build, tmp_path / "t.sqlite", {("stylus-wren", "a", 0.02): taps})])
    assert (found.taps[0].n, found.taps[0].left_out) == (4, 2)


def test_too_few_taps_have_no_throughput(build, tmp_path):
    sequences = {("stylus-wren", "a", 0.02): vector(), ("stylus-ash", "b", 0.02): vector()[:3]}
    ash = [(t, s, at + 1, "stylus-ash") for t, s, at, _ in sequences["stylus-ash", "b", 0.02]]
    moved = [((x + 1, y), (p + 1, q), at, who) for (x, y), (p, q), at, who in ash]
    sequences["stylus-ash", "b", 0.02] = moved
    found = assessed([tapping(build, tmp_path / "t.sqlite", sequences)])
    by_block = {block.block: block for block in found.taps}
    assert np.isnan(by_block["b"].throughput_bit_s)
    assert by_block["a"].throughput_bit_s == pytest.approx(5.042234, abs=2e-6)
    assert any(finding.code == "sequence-short" for finding in found.findings)


def test_taps_at_one_place_have_no_width(build, tmp_path):
    taps = [(target, target, at, who) for target, _, at, who in vector()]
    found = assessed([tapping(build, tmp_path / "t.sqlite", {("stylus-wren", "a", 0.02): taps})])
    assert np.isnan(found.taps[0].throughput_bit_s)
    assert found.taps[0].error_rate == 0.0
    assert any(finding.code == "throughput-unknown" for finding in found.findings)


def test_two_people_and_swapped_names(build, tmp_path):
    def shifted(named, seed):
        rng = np.random.default_rng(seed)
        return [
            ((x + 1.0, y), (p + 1.0 + rng.normal(0, 0.002), q), at, named)
            for (x, y), (p, q), at, _ in vector()
        ]

    sequences = {
        ("stylus-wren", "a", 0.02): vector("stylus-ash"),
        ("stylus-ash", "b", 0.02): shifted("stylus-wren", 1),
    }
    found = assessed([tapping(build, tmp_path / "t.sqlite", sequences)])
    by_block = {block.block: block for block in found.taps}
    assert by_block["a"].misnamed == by_block["b"].misnamed == 7
    assert by_block["a"].throughput_bit_s == pytest.approx(5.042234, abs=2e-6)
    figure = find_figure(found.figures, "throughput", statistic="mean")
    mean = np.mean([block.throughput_bit_s for block in found.taps])
    assert figure.value == pytest.approx(mean) and figure.n == 2
    assert (
        figure.low < figure.value < figure.high and "mean of means over 2 people" in figure.method
    )
    assert any(finding.code == "tap-misnamed" for finding in found.findings)


def test_invented_hands_are_said_to_be(build, tmp_path):
    path = tmp_path / "t.sqlite"
    found = assessed(
        [tapping(build, path, {("stylus-wren", "a", 0.02): vector()}, basis="simulated")]
    )
    assert find_figure(found.figures, "throughput").basis == "simulated"
    assert any(finding.code == "hands-invented" for finding in found.findings)
