"""Rate, unevenness, lost and repeated frames from times of known truth."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from rushlight.errors import RushlightError
from rushlight.inspect.rate import rate


def pictures(rng, count):
    return [rng.integers(0, 60, (8, 8), np.uint8) for _ in range(count)]


def times_s(rng, count, hz=29.7, jitter_s=1e-3):
    return 3.0 + np.arange(count) / hz + rng.uniform(-1.7, 1.7, count) * jitter_s


def test_the_interval_holds_the_rate_as_often_as_it_says(take):
    held = 0
    for seed in range(120):
        rng = np.random.default_rng(seed)
        result = rate([take("live", pictures(rng, 150), times_s(rng, 150))], 29.7)
        interval = result.measures[0].interval
        held += interval.low <= 29.7 <= interval.high
        assert interval.std < 0.05
    assert held >= binom.ppf(0.001, 120, 0.95)


def test_jitter_is_the_scatter_about_even_times(take):
    rng = np.random.default_rng(1)
    result = rate([take("live", pictures(rng, 400), times_s(rng, 400))], 29.7)
    # A uniform law of half width 1.7 ms has this standard deviation.
    assert result.measures[1].interval.value == pytest.approx(1.7 / np.sqrt(3), rel=0.1)


def test_lost_frames_are_counted_and_do_not_lower_the_rate(take):
    rng = np.random.default_rng(2)
    keep = np.setdiff1d(np.arange(300), [17, 18, 90, 200])
    result = rate([take("live", pictures(rng, 296), times_s(rng, 300)[keep])], 29.7)
    assert result.extra["lost"] == 4
    assert result.measures[0].interval.value == pytest.approx(29.7, abs=0.05)


def test_frames_that_a_live_source_passed_over_are_told(take):
    rng = np.random.default_rng(9)
    whole = take("live", pictures(rng, 60), times_s(rng, 60))
    some = replace(whole, frames=[each for each in whole.frames if each.index not in (20, 21)])
    result = rate([some], 29.7)
    assert result.extra["lost"] == result.extra["passed_over"] == 2


def test_repeated_pictures_halve_the_rate_and_write_it_for_the_shelf(take):
    rng = np.random.default_rng(3)
    twice = [each for each in pictures(rng, 100) for _ in range(2)]
    result = rate([take("live", twice, times_s(rng, 200, hz=60.0))], 60.0)
    value = result.measures[0]
    assert value.interval.value == pytest.approx(30.0, abs=0.3)
    assert value.field == "frame_rate" and "not the 60 Hz asked for" in result.verdict
    assert "frames-repeated" in {finding.code for finding in result.findings}
    assert result.hints[0].startswith('frame_rate = "')


def test_a_rate_that_is_reached_is_not_written(take):
    rng = np.random.default_rng(4)
    result = rate([take("live", pictures(rng, 200), times_s(rng, 200))], 29.7)
    assert result.measures[0].field is None and not result.hints


def test_counted_times_cannot_tell(take):
    rng = np.random.default_rng(5)
    result = rate([take("folder", pictures(rng, 40), times="counted at 30 Hz")])
    assert not result.told and not result.measures


def test_pictures_of_one_level_are_not_called_repeated(take):
    rng = np.random.default_rng(6)
    black = [np.zeros((8, 8), np.uint8)] * 40
    result = rate([take("live", black, times_s(rng, 40))], 29.7)
    assert result.extra["repeated"] == 0


def test_times_that_stand_still_cannot_tell(take):
    rng = np.random.default_rng(7)
    result = rate([take("live", pictures(rng, 30), np.zeros(30))], 29.7)
    assert not result.told


def test_too_few_frames_are_refused(take):
    rng = np.random.default_rng(8)
    with pytest.raises(RushlightError, match="fewer than the 20"):
        rate([take("live", pictures(rng, 5))])
