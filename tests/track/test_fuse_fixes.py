"""Fixes of several cameras as one: between frames, in shadow, off by far, and switchings."""

import numpy as np

from rushlight.records.session import Event, Fix
from rushlight.track.fuse_fixes import fuse_fixes, join_switching


def way(camera, times_s, path, std_m=1e-3, off_m=(0.0, 0.0), predicted=()):
    """A camera's fixes of a light that follows a path."""
    cov = np.full((6, 6), np.nan)
    cov[:2, :2] = std_m**2 * np.eye(2)
    return [
        Fix(
            capture_ns=round(t * 1e9), valid_ns=round(t * 1e9), detect_ns=-1, map_ns=-1, sent_ns=-1,
            frame=i, carried="stylus", point="tip", trail=1, dimensions=2, surface="wall",
            switch=True, cameras=() if i in predicted else (camera,), predicted=i in predicted,
            hypotheses=(1.0,), position_m=[*(path(t) + np.array(off_m)), np.nan], cov=cov,
        )
        for i, t in enumerate(times_s)
    ]  # fmt: skip


def line(t):
    return np.array([0.5 + 0.8 * t, 0.2])


def test_between_frames_both_count():
    """The mean of two equally doubtful cameras that err by ± 1 mm is right on the path."""
    times = np.arange(20) / 30.0
    one = way("one", times, line, off_m=(0.001, 0.0))
    other = way("other", times + 0.01, line, off_m=(-0.001, 0.0))
    found = fuse_fixes([one, other])
    assert len(found) == 20
    inner = found[1:]
    for fix in inner:
        np.testing.assert_allclose(fix.position_m[:2], line(fix.valid_ns * 1e-9), atol=1e-9)
        assert fix.cameras == ("one", "other")
        np.testing.assert_allclose(fix.cov[:2, :2], 0.5e-6 * np.eye(2), atol=1e-12)
    # At the first moment the other camera has not seen it yet.
    assert found[0].cameras == ("one",)


def test_one_camera_s_shadow_is_the_other_s_light():
    times = np.arange(30) / 30.0
    shadowed = way("one", [t for t in times if not 0.3 < t < 0.6], line)
    found = fuse_fixes([shadowed, way("other", times + 0.01, line)])
    steps = np.diff([fix.valid_ns for fix in found]) * 1e-9
    assert steps.max() < 1.8 / 30.0
    dark = [fix for fix in found if 0.31 < fix.valid_ns * 1e-9 < 0.59]
    assert len(dark) >= 7
    assert all(fix.cameras == ("other",) for fix in dark)


def test_a_coasting_light_that_another_camera_sees_is_seen():
    times = np.arange(12) / 30.0
    one = way("one", times, line, predicted=(5, 6))
    found = fuse_fixes([one, way("other", times, line)])
    assert [fix.predicted for fix in found] == [False] * 12
    assert found[5].cameras == ("other",)
    alone = fuse_fixes([one, []])
    assert [fix.predicted for fix in alone] == [i in (5, 6) for i in range(12)]


def test_of_three_the_one_that_disagrees_is_left_out():
    times = np.arange(10) / 30.0
    bad = way("one", times, line, off_m=(0.05, 0.0))
    found = fuse_fixes([bad, way("two", times, line), way("three", times, line)])
    assert all(fix.cameras == ("two", "three") for fix in found)
    np.testing.assert_allclose(found[4].position_m[:2], line(4 / 30.0), atol=1e-9)


def test_lit_while_any_camera_sees_it_lit():
    def event(time_s, kind, carried="stylus"):
        return Event(round(time_s * 1e9), kind, carried)

    one = [event(1.0, "switch-down"), event(2.0, "switch-up"), event(2.5, "switch-down"),
           event(4.0, "switch-up"), event(3.0, "fault", None)]  # fmt: skip
    other = [event(1.02, "switch-down"), event(3.99, "switch-up")]
    told = [(e.time_ns * 1e-9, e.kind) for e in join_switching([one, other])]
    assert told == [(1.0, "switch-down"), (3.0, "fault"), (4.0, "switch-up")]


def test_nothing_gives_nothing():
    assert fuse_fixes([[], []]) == []
    assert join_switching([]) == []
