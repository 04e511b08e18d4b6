"""Fixes of several cameras joined as they come: as recorded ones are, but without waiting."""

import numpy as np
import pytest
from tests.track.test_fuse_fixes import line, way

from rushlight.records.session import Event
from rushlight.track.fuse_live import ACCELERATION_M_S2, LiveFusing


def joined(ways, events=()):
    """All that is told of fixes (and events) of several cameras, taken in the order of time."""
    names = [next(fix.cameras[0] for fix in fixes if fix.cameras) for fixes in ways]
    fusing, told, switched = LiveFusing(names), [], []
    frames = [(fix.valid_ns, camera, [fix], []) for camera, own in enumerate(ways) for fix in own]
    frames += [(event.time_ns, camera, [], [event]) for camera, event in events]
    for time_ns, camera, fixes, happened in sorted(frames, key=lambda each: each[:2]):
        more, events = fusing.step(camera, time_ns, fixes, happened)
        told += more
        switched += events
    return told, switched


def test_between_its_frames_a_camera_is_foretold_along_its_line():
    times = np.arange(20) / 30.0
    one = way("one", times, line, off_m=(0.001, 0.0))
    other = way("other", times + 0.01, line, off_m=(-0.001, 0.0))
    told, _ = joined([one, other])
    assert [fix.valid_ns for fix in told] == [fix.valid_ns for fix in one]
    for fix in told[2:]:
        assert fix.cameras == ("one", "other")
        # Foretold over two thirds of a period: ½ a t (t + step) more doubt, so less weight.
        more = 0.5 * ACCELERATION_M_S2 * (1 / 30 - 0.01) * (2 / 30 - 0.01)
        weight = 1e-6 / (2e-6 + more**2)
        expected = line(fix.valid_ns * 1e-9) + np.array([0.001 * (1.0 - 2.0 * weight), 0.0])
        np.testing.assert_allclose(fix.position_m[:2], expected, atol=1e-9)
    assert told[0].cameras == ("one",)


def test_a_hand_that_speeds_up_is_foretold_within_the_doubt():
    def parabola(t):
        return np.array([0.5 + 0.5 * ACCELERATION_M_S2 * t**2, 0.2])

    times = np.arange(12) / 30.0
    sure, vague = 1e-6, 1.0  # all weight on the one that is foretold
    one = way("one", times, parabola, std_m=vague)
    other = way("other", times - 0.012, parabola, std_m=sure)
    for fix in joined([one, other])[0][2:]:
        off_m = fix.position_m[0] - parabola(fix.valid_ns * 1e-9)[0]
        said_m = 0.5 * ACCELERATION_M_S2 * 0.012 * (0.012 + 1 / 30)
        assert off_m == pytest.approx(-said_m, rel=1e-3)
        assert np.sqrt(fix.cov[0, 0]) == pytest.approx(said_m, rel=1e-3)


def test_where_the_first_is_in_shadow_the_other_leads_at_once_and_the_trail_is_one():
    times = np.arange(30) / 30.0
    dark = range(10, 18)  # the first camera coasts there
    one = way("one", times, line, predicted=dark)
    other = way("other", times + 0.01, line)
    told, _ = joined([one, other])
    assert len({fix.trail for fix in told}) == 1
    steps = np.diff([fix.valid_ns for fix in told])
    assert (steps > 0).all() and steps.max() < 1.8e9 / 30.0
    assert not any(fix.predicted for fix in told)
    led = [fix for fix in told if fix.cameras == ("other",)]
    assert len(led) == len(dark)


def test_a_lone_camera_coasts_as_it_would_alone():
    times = np.arange(10) / 30.0
    one = way("one", times + 1.0, line, predicted=(4, 5))
    other = way("other", [0.0], line)
    told, _ = joined([one, other])
    assert [fix.predicted for fix in told][1:] == [i in (4, 5) for i in range(10)]


def test_a_glint_is_voted_out():
    times = np.arange(10) / 30.0
    ways = [way(name, times, line, off_m=off) for name, off in
            (("one", (0.0, 0.0)), ("two", (0.0, 1e-4)), ("three", (0.3, 0.0)))]  # fmt: skip
    # All three have told a moment once the next begins: the straight line is then exact.
    told, _ = joined(ways)
    assert {fix.cameras for fix in told[2:]} == {("one", "two")}


def test_a_light_is_lit_while_any_camera_sees_it():
    times = np.arange(2) / 30.0
    ways = [way("one", times, line), way("other", times, line)]
    events = [
        (camera, Event(round(t * 1e9), kind, "stylus", 5 + camera))
        for camera, t, kind in (
            (0, 1.0, "switch-down"), (1, 1.1, "switch-down"), (0, 1.5, "switch-up"),
            (0, 1.7, "switch-down"), (1, 1.8, "switch-up"), (0, 1.9, "switch-up"),
            (1, 3.0, "switch-down"),
        )
    ]  # fmt: skip
    _, switched = joined(ways, events)
    told = [(round(each.time_ns * 1e-9, 6), each.kind) for each in switched]
    assert told == [(1.0, "switch-down"), (1.9, "switch-up"), (3.0, "switch-down")]
    assert switched[0].trail == switched[1].trail != switched[2].trail
