"""Dots of several cameras come together at one moment, whatever their clocks and shutters."""

import dataclasses

import numpy as np
import pytest

from rushlight.records.dots import Dots
from rushlight.track.space_cameras import SpaceCameras
from rushlight.track.space_codes import TrailCodes
from rushlight.track.space_moments import Moments

PERIOD_NS = 20_000_000
HIGH = (200.0, 90.0)
SPEED_PX_S = np.array([120.0, -80.0])


def cameras(offset_ns=0, row_time_s=0.0, count=2):
    return SpaceCameras(
        ids=tuple(f"camera-{i}" for i in range(count)),
        K=np.tile(np.eye(3), (count, 1, 1)),
        k=np.zeros((count, 5)),
        rig_from_camera=np.tile(np.eye(4), (count, 1, 1)),
        cov=np.zeros((15 * count, 15 * count)),
        size_px=np.tile([640.0, 480.0], (count, 1)),
        row_time_s=np.full(count, row_time_s),
        clock_offset_ns=np.array([0, offset_ns, 0][:count]),
    )


def dots(*places):
    count = len(places)
    return dataclasses.replace(
        Dots.none(),
        xy=np.array(places, float).reshape(-1, 2),
        cov=np.tile(0.01 * np.eye(2), (count, 1, 1)),
        flux=np.full(count, 100.0),
        width=np.ones((count, 3)),
        peak=np.full(count, 50.0),
        saturated=np.zeros(count, int),
        quality=np.ones(count),
        reason=np.zeros(count, int),
    )


def place(true_ns, start=(200.0, 300.0)):
    """Where a light is at a true moment."""
    return np.array(start) + SPEED_PX_S * true_ns * 1e-9


def moments_of(told, offset_ns, frames=12):
    """Moments of two cameras whose second clock runs ahead by so much."""
    gathered = Moments(told, [TrailCodes(()) for _ in told.ids])
    found = []
    for index in range(frames):
        stamp = (index + 1) * PERIOD_NS
        found += gathered.put(0, index, stamp, dots(place(stamp)))
        found += gathered.put(1, index, stamp, dots(place(stamp - offset_ns)))
    return [*found, *gathered.rest()]


@pytest.mark.parametrize("offset_ms", [-33.0, -7.0, 0.0, 5.0, 41.0])
def test_dots_are_brought_to_the_first_cameras_moments(offset_ms):
    offset_ns = round(offset_ms * 1e6)
    found = moments_of(cameras(offset_ns), offset_ns)
    assert [moment.frame for moment in found] == list(range(12))
    both = [moment for moment in found if moment.seen[1] is not None and len(moment.seen[1].xy)]
    assert len(both) >= 9
    for moment in both:
        assert moment.seen[1].xy[0] == pytest.approx(place(moment.time_ns), abs=1e-6)
        assert moment.seen[1].xy[0] == pytest.approx(moment.seen[0].xy[0], abs=1e-6)
        # Two frames' noise averaged is never more than one frame's.
        assert 0.005 - 1e-9 <= moment.seen[1].cov[0, 0, 0] <= 0.01 + 1e-9


def test_an_offset_left_out_shows_as_a_shift():
    found = moments_of(cameras(0), 8_000_000)
    gap = found[6].seen[1].xy[0] - found[6].seen[0].xy[0]
    assert gap == pytest.approx(-SPEED_PX_S * 8e-3, abs=1e-6)


def test_a_rolling_shutters_dots_are_moved_to_the_middle_rows_moment():
    row_time_s = 30e-6
    told = cameras(row_time_s=row_time_s, count=1)
    gathered = Moments(told, [TrailCodes(())])
    found = []
    for index in range(30):
        stamp = (index + 1) * PERIOD_NS
        here = place(stamp, HIGH)
        for _ in range(3):  # the light is where it is when its row is exposed
            here = place(stamp + row_time_s * (here[1] - 239.5) * 1e9, HIGH)
        found += gathered.put(0, index, stamp, dots(here))
    last = found[-1]
    assert last.seen[0].xy[0] == pytest.approx(place(last.time_ns, HIGH), abs=0.02)
    assert np.linalg.norm(here - place(last.time_ns, HIGH)) > 0.5


def test_a_camera_without_frames_is_left_out_and_no_moment_is_lost():
    told = cameras()
    gathered = Moments(told, [TrailCodes(()) for _ in told.ids])
    found = []
    for index in range(5):
        found += gathered.put(0, index, (index + 1) * PERIOD_NS, dots(place(0)))
    assert found == []
    found = list(gathered.rest())
    assert len(found) == 5 and all(moment.seen[1] is None for moment in found)


WAIT_NS = 3 * PERIOD_NS


def waiting_no_longer():
    told = cameras(0)
    return Moments(told, [TrailCodes(()) for _ in told.ids], WAIT_NS)


def put(gathered, camera, index):
    stamp = (index + 1) * PERIOD_NS
    return list(gathered.put(camera, index, stamp, dots(place(stamp))))


def test_a_silent_camera_is_waited_for_once_and_joins_again():
    gathered = waiting_no_longer()
    done = {}
    for index in range(20):
        done[index] = put(gathered, 0, index)
        if not 5 <= index < 12:
            done[index] += put(gathered, 1, index)
    # Moments 5 to 7 wait, until the second camera is more than three periods behind.
    assert [len(done[index]) for index in range(5, 12)] == [0, 0, 0, 4, 1, 1, 1]
    moments = [moment for each in done.values() for moment in each]
    assert [moment.frame for moment in moments] == list(range(20))
    alone = [moment.frame for moment in moments if moment.seen[1] is None]
    assert alone == list(range(5, 13))  # it is heard again only after the first one
    assert gathered.late == [0, 1]  # that one, whose moment was not held up for it


def test_without_a_bound_every_camera_is_waited_for():
    told = cameras(0)
    gathered = Moments(told, [TrailCodes(()) for _ in told.ids])
    put(gathered, 1, 0)
    assert [len(put(gathered, 0, index)) for index in range(10)] == [1] + [0] * 9
    assert len(list(gathered.rest())) == 9


def test_frames_that_come_after_their_moments_are_counted():
    gathered = waiting_no_longer()
    for index in range(10):
        put(gathered, 0, index)
    gone = [moment for index in range(3) for moment in put(gathered, 1, index)]
    assert gathered.late == [0, 3] and gone == []
    assert [moment.frame for index in (9, 10) for moment in put(gathered, 1, index)] == []
    assert [moment.seen[1] is not None for moment in put(gathered, 0, 10)] == [True]


def test_while_the_first_camera_is_silent_moments_are_the_next_ones():
    gathered = waiting_no_longer()
    moments = []
    for index in range(20):
        if not 5 <= index < 12:
            moments += put(gathered, 0, index)
        moments += put(gathered, 1, index)
    times = [moment.time_ns for moment in moments]
    assert times == [(index + 1) * PERIOD_NS for index in range(20)]
    assert [m.frame for m in moments if m.seen[0] is None] == list(range(5, 12))
    assert all(moment.seen[1] is not None for moment in moments)


def test_a_dot_whose_doubt_is_unknown_is_left_out_though_its_trail_goes_on():
    gathered = Moments(cameras(count=1), [TrailCodes(())])
    found = []
    for index in range(6):
        stamp = (index + 1) * PERIOD_NS
        seen = dots(place(stamp), place(stamp, HIGH))
        if index == 4:
            covs = np.array(seen.cov)
            covs[0] = np.nan
            seen = dataclasses.replace(seen, cov=covs, reason=np.array([1, 0]))
        found += gathered.put(0, index, stamp, seen)
    assert [len(moment.seen[0].xy) for moment in found] == [2, 2, 2, 2, 1, 2]
    assert found[4].seen[0].dot.tolist() == [1]
