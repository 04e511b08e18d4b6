"""Stamps of another clock on the host's: computed clocks with known offset, drift and delays."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rushlight.capture.clock import SourceClock, Stamper, _edge_at_mean

LEAST_NS = 8_000_000


def run(clock, seconds, rate_hz=50.0, drift=0.0, offset_ns=10**15, seed=0, jitter_ms=5.0):
    """True moments, mapped moments and their deviations, with exponential delays above 8 ms."""
    random = np.random.default_rng(seed)
    true_ns = (np.arange(int(seconds * rate_hz)) * 1e9 / rate_hz).astype(np.int64) + 10**12
    stamps_ns = ((true_ns - 10**12) * (1.0 + drift)).astype(np.int64) + offset_ns
    delays_ns = LEAST_NS + (random.exponential(jitter_ms * 1e6, len(true_ns))).astype(np.int64)
    # A stream arrives in order: what waits holds back what follows.
    arrived_ns = np.maximum.accumulate(true_ns + delays_ns)
    mapped = [clock.host_ns(int(s), int(a)) for s, a in zip(stamps_ns, arrived_ns, strict=True)]
    return true_ns, np.array([ns for ns, _ in mapped]), np.array([std for _, std in mapped])


@pytest.mark.parametrize("drift", [0.0, 60e-6, -60e-6])
def test_offset_and_drift_are_found_under_jitter(drift):
    clock = SourceClock()
    true_ns, mapped_ns, std_ns = run(clock, 120.0, drift=drift)
    late_ns = mapped_ns - true_ns - LEAST_NS
    settled = slice(50 * 40, None)
    # Of delays that scatter by 5 ms, the least of 60 s are within 0.5 ms of the least there is.
    assert np.abs(late_ns[settled]).max() < 1_000_000
    assert clock.drift == pytest.approx(-drift, abs=2e-5)
    assert np.isnan(std_ns[0])
    # The stated deviation covers the error, and is far below that of an arrival.
    assert (std_ns[settled] < 2_000_000).all()
    assert math.sqrt(np.mean(late_ns[settled] ** 2)) < np.mean(std_ns[settled]) * 1.5


def test_times_rise_strictly_and_never_run_more_than_a_fifth_fast_or_slow():
    true_ns, mapped_ns, _ = run(SourceClock(), 30.0, jitter_ms=40.0, seed=4)
    steps = np.diff(mapped_ns) / np.diff(true_ns)
    assert (steps > 0.79).all()
    assert (steps < 1.21).all()


def test_a_clock_that_is_set_is_followed_at_once():
    clock = SourceClock()
    run(clock, 5.0, offset_ns=0)
    for offset_ns in (3 * 10**9, -(10**12)):  # set forward, then back
        last_ns = clock._last_host_ns
        arrived_ns = last_ns + 30_000_000
        host_ns, std_ns = clock.host_ns(5_000_000_000 + offset_ns, arrived_ns)
        assert host_ns == arrived_ns
        assert math.isnan(std_ns)


def test_a_stall_of_the_network_does_not_shift_the_clock():
    clock = SourceClock()
    before_ns = [clock.host_ns(20_000_000 * k, 20_000_000 * k + LEAST_NS)[0] for k in range(300)]
    # For two seconds nothing comes, then all of it at once.
    stall_ns = 20_000_000 * 400
    during = [clock.host_ns(20_000_000 * k, stall_ns)[0] for k in range(300, 400)]
    steps_ns = np.diff(before_ns + during)
    assert (steps_ns == 20_000_000).all()


def test_stamps_that_are_no_clock_are_given_up():
    stamper = Stamper(exposure_s=0.004, delay_s=0.0)
    for k in range(700):  # stamped as if at 25 Hz while it comes at 50 Hz
        arrived_ns = 20_000_000 * k + 10**12
        capture_ns, std_ns = stamper(arrived_ns, 40_000_000 * k)
    assert stamper.unfit
    assert (capture_ns, math.isnan(std_ns)) == (arrived_ns - 2_000_000, True)


def test_without_stamps_half_the_exposure_and_the_delay_are_taken_off():
    assert Stamper(0.010, 0.020)(10**9)[0] == 10**9 - 25_000_000
    assert Stamper(math.nan, 0.020)(10**9)[0] == 10**9 - 20_000_000
    assert math.isnan(Stamper(0.010, 0.020)(10**9)[1])


points = st.lists(
    st.tuples(st.integers(0, 1000), st.integers(-1000, 1000)), min_size=2, unique_by=lambda p: p[0]
)


@settings(max_examples=300, deadline=None)
@given(points)
def test_no_point_lies_below_the_edge_and_no_line_below_all_is_nearer(drawn):
    ordered = sorted((float(x), float(y)) for x, y in drawn)
    (left, low), (right, high) = _edge_at_mean(ordered)
    slope = (high - low) / (right - left)
    heights = [y - (low + slope * (x - left)) for x, y in ordered]
    assert min(heights) >= -1e-6
    # Any line through two points that lies below all is no nearer on the whole.
    for i, (x1, y1) in enumerate(ordered):
        for x2, y2 in ordered[i + 1 :]:
            other = [y - (y1 + (y2 - y1) / (x2 - x1) * (x - x1)) for x, y in ordered]
            if min(other) >= -1e-9:
                assert sum(heights) <= sum(other) + 1e-6
