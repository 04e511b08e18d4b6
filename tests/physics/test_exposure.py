"""The exposure that serves: against a search by numbers, and in its limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from rushlight.physics.exposure import (
    background_that_closes,
    background_that_hides,
    greatest_exposure,
    least_exposure,
    pulse_gain,
)

RATE = st.floats(1e3, 1e10)
FLOOR = st.floats(1.0, 1e4)
WANTED = st.floats(3.0, 30.0)


@given(RATE, st.floats(0.0, 1e9), FLOOR, WANTED)
def test_least_exposure_is_where_a_search_finds_it(peak, background, floor, wanted):
    def lacking(log_s: float) -> float:
        time = np.exp(log_s)
        return float(np.log(peak * time / np.sqrt(floor + background * time) / wanted))

    found = np.exp(brentq(lacking, np.log(1e-14), np.log(1e7), xtol=1e-12))
    assert least_exposure(peak, background, floor, wanted) == pytest.approx(found, rel=1e-6)


@given(RATE, st.floats(0.0, 1e9), st.floats(1e3, 1e5), st.floats(0.1, 1.0))
def test_greatest_exposure_fills_the_pixel(peak, background, full, share):
    time = greatest_exposure(peak, background, full, share)
    assert (peak + background) * time == pytest.approx(share * full)


@given(RATE, st.floats(1e-6, 1e-1), FLOOR, WANTED)
def test_the_background_that_hides_is_where_the_exposure_is_the_least(peak, time, floor, wanted):
    background = float(background_that_hides(peak, time, floor, wanted))
    if background > 0.0:
        assert least_exposure(peak, background, floor, wanted) == pytest.approx(time, rel=1e-6)
    else:
        assert least_exposure(peak, 0.0, floor, wanted) >= time * (1.0 - 1e-9)


@given(st.floats(0.01, 1.0), RATE, FLOOR, st.floats(1e3, 1e5), WANTED)
def test_the_window_closes_where_it_is_said_to(ratio, strongest, floor, full, wanted):
    weakest = ratio * strongest
    background = float(background_that_closes(weakest, strongest, floor, full, wanted))

    def width(b: float) -> float:
        least = least_exposure(weakest, b, floor, wanted)
        return float(greatest_exposure(strongest, b, full) / least)

    if background == 0.0:
        assert width(0.0) <= 1.0 + 1e-9
        return
    assert width(background) == pytest.approx(1.0, rel=1e-5)
    assert width(background * 0.9) > 1.0 > width(background * 1.1)


def test_a_dot_without_light_is_never_strong_enough():
    assert least_exposure([0.0, 1.0], 0.0, 100.0, 10.0).tolist() == [np.inf, 100.0]
    assert greatest_exposure(0.0, 0.0, 1e4) == np.inf


def test_strobing_ends_with_the_part_or_the_rows():
    gain, duty = pulse_gain(2e-3, 50.0)
    assert (gain, duty) == (pytest.approx(10.0), pytest.approx(0.1))
    assert pulse_gain(2e-3, 50.0, current_a=0.05, greatest_a=0.1)[0] == pytest.approx(2.0)
    # 480 rows at 20 µs take 9.6 ms: a shorter exposure has no moment in which all rows gather.
    assert pulse_gain(5e-3, 30.0, readout_s=9.6e-3)[0] == 0.0
    assert pulse_gain(12e-3, 30.0, readout_s=9.6e-3)[1] == pytest.approx(2.4e-3 * 30.0)
    # Mean current is kept: gain × duty is 1.
    time = np.geomspace(1e-4, 1e-2, 7)
    gain, duty = pulse_gain(time, 60.0)
    np.testing.assert_allclose(gain * duty, 1.0)
