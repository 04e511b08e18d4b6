"""Known errors of a grid come out as trueness, precision, dropouts and coverage."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rushlight.assess.assessing import assess_recordings
from rushlight.assess.holds import drawn, holds_of
from rushlight.assess.recording import read_recordings
from rushlight.jobs.load import load_rig
from rushlight.records.figure import find_figure

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"
MM = st.floats(-20.0, 20.0)


@pytest.fixture(scope="module")
def rig():
    return load_rig(BARN_WALL)[0]


def assessed(paths, rig=None):
    session, truth = paths
    return assess_recordings(read_recordings([session], [truth] if truth else []), rig=rig)


def value(assessment, name, statistic="rms", condition=None, carried=None):
    for figure in assessment.figures:
        scope = figure.scope
        if (figure.name, figure.statistic) == (name, statistic) and (
            scope.condition == condition and scope.carried == carried
        ):
            return figure.value
    return None


@settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(right=MM, up=MM)
def test_a_shift_is_trueness_and_nothing_else(make_grid, right, up):
    found = assessed(make_grid(shift_m=np.array([right, up]) * 1e-3))
    shift = float(np.hypot(right, up))
    assert value(found, "trueness") == pytest.approx(shift, abs=1e-9)
    assert value(found, "error") == pytest.approx(shift, abs=1e-9)
    assert value(found, "error", "max") == pytest.approx(shift, abs=1e-9)
    assert value(found, "precision") == pytest.approx(0.0, abs=1e-9)
    assert value(found, "jitter") == pytest.approx(0.0, abs=1e-9)
    assert np.allclose([place.deviation_m for place in found.places], [right * 1e-3, up * 1e-3])


def test_noise_is_precision_and_hardly_trueness(make_grid):
    found = assessed(make_grid(noise_m=0.001))
    holds, frames = len(found.places), found.places[0].n
    # Each figure within four standard errors of what normal errors of 1 mm an axis give.
    width = np.sqrt(2.0) * 4.0 / np.sqrt(4.0 * holds * (frames - 1))
    assert value(found, "precision") == pytest.approx(np.sqrt(2.0), abs=width)
    assert value(found, "jitter") == pytest.approx(np.sqrt(2.0), abs=width)
    assert value(found, "trueness") == pytest.approx(np.sqrt(2.0 / frames), rel=0.6)
    total = value(found, "trueness") ** 2 + value(found, "precision") ** 2 * (frames - 1) / frames
    assert value(found, "error") ** 2 == pytest.approx(total, rel=1e-9)


def test_median_and_quantile_of_single_fixes(make_grid):
    found = assessed(make_grid(noise_m=0.002, seed=3))
    # Distances of two normal errors follow the Rayleigh law.
    assert value(found, "error", "median") == pytest.approx(2.0 * np.sqrt(2 * np.log(2)), rel=0.15)
    assert value(found, "error", "p95") == pytest.approx(2.0 * np.sqrt(2 * np.log(20)), rel=0.15)


def test_spread_between_holds_needs_repeats(make_grid):
    once = assessed(make_grid(hold_noise_m=0.003))
    assert value(once, "precision", condition="between holds") is None
    assert any(finding.code == "held-once" for finding in once.findings)
    again = assessed(make_grid(hold_noise_m=0.003, repeats=6))
    freedom = 2 * len(again.places) * 5 / 6
    found = value(again, "precision", condition="between holds")
    expected = 3.0 * np.sqrt(2.0)
    assert found == pytest.approx(expected, abs=4.0 * expected / np.sqrt(2.0 * freedom))
    assert value(again, "precision") == pytest.approx(0.0, abs=1e-9)
    assert not any(finding.code == "held-once" for finding in again.findings)


def test_missing_frames_are_dropouts_and_cost_coverage(make_grid, rig):
    whole = assessed(make_grid(), rig)
    assert value(whole, "dropouts", "share") == 0.0
    assert value(whole, "coverage", "share") == 100.0
    part = assessed(make_grid(missing=0.2), rig)
    # The last fifth of a hold of which the first fifth does not count: a quarter of the rest.
    assert value(part, "dropouts", "share") == pytest.approx(25.0, abs=1.0)
    assert value(part, "coverage", "share") == 0.0
    assert value(part, "error") is not None


def test_holds_that_are_hardly_seen_tell_of_no_error(make_grid, rig):
    found = assessed(make_grid(missing=0.7), rig)
    assert value(found, "error") is None
    assert value(found, "coverage", "share") == 0.0
    assert any(finding.code == "place-unseen" for finding in found.findings)
    assert not any(place.seen for place in found.places)


def test_coverage_counts_places_within_the_target(make_grid, rig):
    target = rig.targets.worst_error.value
    assert value(assessed(make_grid(shift_m=(0.8 * target, 0.0)), rig), "coverage", "share") == 100
    assert value(assessed(make_grid(shift_m=(1.3 * target, 0.0)), rig), "coverage", "share") == 0


def test_the_pointer_is_drawn_on_the_nearest_pixel(rig):
    surface = rig.surfaces[0]
    pitch = np.array([surface.width.value, surface.height.value]) / surface.pixels
    xy = np.random.default_rng(1).uniform(0, 1.4, (500, 2))
    away = drawn(xy, rig) - xy
    assert np.abs(away).max() <= pitch.max() / 2 + 1e-12
    rms = np.sqrt(np.mean(np.sum(away**2, axis=1)))
    assert rms == pytest.approx(np.sqrt(np.sum(pitch**2) / 12), rel=0.05)
    assert np.array_equal(drawn(xy, None), xy)
    middle = (np.array([3, 7]) + 0.5) * pitch
    assert np.allclose(drawn(middle, rig), middle)


def test_pixels_act_unless_they_were_switched_off(make_grid, rig):
    for causes, acts in ((None, True), (["pixel"], True), (["centre"], False)):
        session, truth = make_grid(head={"causes": causes})
        (recording,) = read_recordings([session], [truth])
        moved = [np.abs(hold.pointer_m).max() for hold in holds_of(recording, rig)]
        assert (max(moved) > 1e-6) == acts


@pytest.mark.parametrize("swapped", [False, True])
def test_a_wrong_name_is_told_and_does_not_count_as_error(make_grid, swapped):
    found = assessed(
        make_grid(names=("stylus-wren", "stylus-ash"), swapped=swapped, shift_m=(0.002, 0.0))
    )
    assert value(found, "error") == pytest.approx(2.0, abs=1e-9)
    assert value(found, "error", carried="stylus-ash") == pytest.approx(2.0, abs=1e-9)
    assert value(found, "dropouts", "share") == 0.0
    assert any(finding.code == "misnamed" for finding in found.findings) == swapped


def test_single_causes_are_told_apart(make_grid):
    paths = [
        make_grid(head={"causes": [cause]}, shift_m=(shift, 0.0), truth_footage="f0" * 32)
        for cause, shift in (("lens", 0.003), ("flatness", 0.001))
    ]
    recordings = [read_recordings([session], [truth])[0] for session, truth in paths]
    found = assess_recordings(recordings)
    assert find_figure(found.figures, "error", "lens", "rms").value == pytest.approx(3.0)
    assert find_figure(found.figures, "error", "flatness", "rms").value == pytest.approx(1.0)
    assert find_figure(found.figures, "coverage") is None
    assert all(figure.basis == "simulated" for figure in found.figures if figure.name == "error")


def test_without_truth_the_hand_is_said_to_be_mixed_in(make_grid):
    session, _ = make_grid("measured", shift_m=(0.004, 0.0))
    found = assessed((session, None))
    assert value(found, "error") == pytest.approx(4.0)
    figure = find_figure(found.figures, "error", "all", "rms")
    assert figure.basis == "measured" and "hand is mixed in" in figure.method
    assert any(finding.code == "hand-mixed-in" for finding in found.findings)


def test_an_interval_over_places_holds_what_they_show(make_grid):
    found = assessed(make_grid(hold_noise_m=0.003, seed=2))
    figure = find_figure(found.figures, "error", "all", "rms")
    assert figure.low < figure.value < figure.high
    assert figure.level == 0.95 and "bootstrap" in figure.method
    assert "shared draw" in figure.method


def test_conditions_are_named(make_grid):
    found = assessed(make_grid())
    assert "12 holds in 1 session under 1 registration" in found.conditions[0]
    assert any("repeatability" in each and "ISO 5725-1" in each for each in found.conditions)
