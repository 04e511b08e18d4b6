"""Row time from a blinking light, on shutters of known truth."""

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.inspect.rows import row_time

ROWS = 240


def blinking(sensor, row_s, light_hz, exposure_s=1e-4, rate_hz=29.7, depth=0.8, count=20, seed=0):
    """Pictures under a square light; a row's brightness is the mean over its exposure."""
    rng = np.random.default_rng(seed)
    scene = np.linspace(0.6, 1.0, ROWS)[:, None] * np.ones(48)
    pictures = []
    for number in range(count):
        begin_s = number / rate_hz + 0.0013 + np.arange(ROWS) * row_s
        phase = (begin_s[:, None] + np.linspace(0, exposure_s, 64)) * light_hz
        share = 1 - depth + depth * (phase % 1 < 0.5).mean(axis=1)
        pictures.append(sensor.picture(rng, 2000 * share[:, None] * scene))
    return pictures


@pytest.mark.parametrize(("row_us", "light_hz"), [(60.0, 120.0), (30.0, 400.0), (15.0, 1000.0)])
def test_a_rolling_shutter_row_time(sensor, take, row_us, light_hz):
    for seed in range(4):
        pictures = blinking(sensor, row_us * 1e-6, light_hz, seed=seed)
        result = row_time([take("sheet", pictures)], light_hz)
        value = result.measures[0]
        assert result.verdict.startswith("rolling shutter") and value.field == "row_time"
        assert value.interval.low <= row_us <= value.interval.high
        assert value.interval.std < 0.01 * row_us


def test_a_global_shutter(sensor, take):
    result = row_time([take("sheet", blinking(sensor, 0.0, 130.0, 1e-3))], 130.0)
    assert result.verdict.startswith("global shutter")
    assert not result.measures and result.extra["readout_below_s"] < 1e-3


def test_bands_that_stand_still_need_a_steady_take(sensor, take):
    bands = take("sheet", blinking(sensor, 60e-6, 120.0, rate_hz=30.0))
    assert not row_time([bands], 120.0).told
    steady = take("steady", blinking(sensor, 60e-6, 120.0, depth=0.0, seed=1))
    value = row_time([bands, steady], 120.0).measures[0].interval
    assert value.value == pytest.approx(60.0, rel=0.01)


def test_steady_light_cannot_tell(sensor, take):
    assert not row_time([take("sheet", blinking(sensor, 30e-6, 100.0, depth=0.0))], 100.0).told


def test_a_light_that_blinks_too_slowly_cannot_tell(sensor, take):
    result = row_time([take("sheet", blinking(sensor, 30e-6, 20.0))], 20.0)
    assert not result.told and "blink faster" in result.reasons[0]


def test_an_exposure_of_a_whole_period_cannot_tell(sensor, take):
    pictures = blinking(sensor, 30e-6, 1000.0, exposure_s=63 / 64 / 1000 * 64 / 63)
    assert not row_time([take("sheet", pictures)], 1000.0).told


def test_a_dark_picture_cannot_tell(sensor, take):
    rng = np.random.default_rng(0)
    sensor.black_dn = 0.0
    assert not row_time([take("sheet", sensor.flat(rng, 0.0, 12))], 100.0).told


def test_the_frequency_is_asked_for(sensor, take):
    with pytest.raises(RushlightError, match="must be given, above 0"):
        row_time([take("sheet", blinking(sensor, 30e-6, 100.0))], float("nan"))
