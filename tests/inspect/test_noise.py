"""Photon transfer on sensors of known truth."""

import cv2
import numpy as np
import pytest
from scipy.stats import binom

from rushlight.errors import RushlightError
from rushlight.inspect.noise import noise

RUNS = 80
LEVELS_E = {"1 ms": 600.0, "2 ms": 1200.0, "3 ms": 1800.0, "5 ms": 3000.0}


def takes_of(sensor, take, seed, change=lambda picture: picture, levels=LEVELS_E):
    rng = np.random.default_rng(seed)
    lit = [
        take(name, [change(each) for each in sensor.flat(rng, mean)])
        for name, mean in levels.items()
    ]
    return [take("dark", [change(each) for each in sensor.flat(rng, 0.0)]), *lit]


def measured(result):
    return {each.field or each.name: each for each in result.measures}


def test_intervals_hold_the_truth_as_often_as_they_say(sensor, take):
    truth = {
        "gain [DN/e⁻]": sensor.gain_dn_per_e,
        "read_noise": sensor.read_e,
        "full_well": (255 - sensor.black_dn) / sensor.gain_dn_per_e,
        "black_level": sensor.black_dn,
    }
    held = dict.fromkeys(truth, 0)
    found = {name: [] for name in truth}
    for seed in range(RUNS):
        values = measured(noise(takes_of(sensor, take, seed)))
        for name, value in truth.items():
            interval = values[name].interval
            held[name] += interval.low <= value <= interval.high
            found[name].append((interval.value, interval.std))
    # One run in a thousand would fall below this by chance were the intervals exact.
    least = binom.ppf(0.001, RUNS, 0.95)
    for name, value in truth.items():
        estimates = np.array(found[name])
        assert held[name] >= least, name
        # The mean error stays within four of its own standard errors: no bias to speak of.
        standard_error = estimates[:, 0].std(ddof=1) / np.sqrt(RUNS)
        assert abs(estimates[:, 0].mean() - value) < 4 * standard_error, name
        # The uncertainties stated are of the size of the scatter found.
        assert 0.7 < estimates[:, 1].mean() / estimates[:, 0].std(ddof=1) < 1.6, name


def test_full_well_counts_for_a_gain_of_one(sensor, take):
    result = noise(takes_of(sensor, take, 1), camera_gain=4.0)
    assert measured(result)["full_well"].interval.value == pytest.approx(4 * 4980, rel=0.03)


def test_one_unevenly_lit_sheet_is_enough(sensor, take):
    rng = np.random.default_rng(5)
    takes = [
        take("dark", sensor.flat(rng, 0.0, shape=(240, 80))),
        take("sheet", sensor.flat(rng, 1700.0, shape=(240, 80), slope=0.9)),
    ]
    gain = measured(noise(takes))["gain [DN/e⁻]"].interval
    assert gain.low <= sensor.gain_dn_per_e <= gain.high


def test_read_noise_that_rounding_hides_is_bounded_and_not_written(sensor, take):
    sensor.gain_dn_per_e, sensor.read_e, sensor.black_dn = 1 / 48, 5.0, 4.0
    levels = {"1 ms": 1500.0, "2 ms": 3500.0, "3 ms": 6000.0, "4 ms": 8000.0}
    result = noise(takes_of(sensor, take, 2, levels=levels))
    values = measured(result)
    assert "read_noise" not in values
    assert any("lost in the rounding" in reason for reason in result.reasons)
    gain = values["gain [DN/e⁻]"].interval
    assert gain.value == pytest.approx(1 / 48, rel=4 * gain.std / gain.value)


def test_darkness_cut_off_at_nought_leaves_black_level_and_read_noise_unknown(sensor, take):
    sensor.black_dn = 0.0
    result = noise(takes_of(sensor, take, 3))
    values = measured(result)
    assert "black_level" not in values and "read_noise" not in values
    assert values["gain [DN/e⁻]"].interval.value == pytest.approx(1 / 20, rel=0.03)
    assert any("cut off at 0" in reason for reason in result.reasons)


def test_a_gamma_curve_is_found_out(sensor, take):
    def gamma(picture):
        return np.rint(255 * (picture / 255) ** 0.6).astype(np.uint8)

    result = noise(takes_of(sensor, take, 4, gamma))
    assert not result.told
    assert "full_well" not in measured(result) and "read_noise" not in measured(result)


def test_smoothed_and_compressed_pictures_are_found_out(sensor, take):
    def smooth(picture):
        return cv2.GaussianBlur(picture, (3, 3), 0.6)

    def compress(picture):
        return cv2.imdecode(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 80])[1], 0)

    for change in (smooth, compress):
        result = noise(takes_of(sensor, take, 5, change))
        assert not result.told
        assert "neighbours-alike" in {finding.code for finding in result.findings}


def test_a_lamp_that_flickers_as_a_whole_does_no_harm(sensor, take):
    rng = np.random.default_rng(6)
    takes = [take("dark", sensor.flat(rng, 0.0))]
    for name, mean in (("a", 800.0), ("b", 1800.0), ("c", 2800.0)):
        pictures = [
            sensor.flat(rng, mean * rng.uniform(0.9, 1.1), count=1, slope=0.0)[0] for _ in range(16)
        ]
        takes.append(take(name, pictures))
    gain = measured(noise(takes))["gain [DN/e⁻]"].interval
    assert gain.value == pytest.approx(1 / 20, rel=0.05)


def test_a_lamp_that_flickers_while_rows_are_read_is_told(sensor, take):
    rng = np.random.default_rng(7)
    bands = 1 + 0.2 * np.sin(np.arange(64)[:, None] / 5 + np.array([0.0, 2.0])[:, None, None])
    takes = [
        take("dark", sensor.flat(rng, 0.0)),
        take("sheet", [sensor.picture(rng, 2000 * bands[i % 2] * np.ones((64, 80)))
                       for i in range(8)]),
    ]  # fmt: skip
    assert "light-flickers" in {finding.code for finding in noise(takes).findings}


def test_hot_and_dead_pixels_are_listed(sensor, take):
    def hurt(picture):
        picture = picture.copy()
        picture[10, 12], picture[33, 20] = 90, 6
        return picture

    result = noise(takes_of(sensor, take, 8, hurt))
    assert set(result.pixels) == {(12, 10, "hot"), (20, 33, "dead")}
    assert measured(result)["black_level"].interval.value == pytest.approx(6.0, abs=0.02)


def test_no_pixel_of_a_sound_sensor_is_called_hot_or_dead(sensor, take):
    assert noise(takes_of(sensor, take, 9)).pixels == ()


def test_a_full_scale_below_255_is_told(sensor, take):
    def clip(picture):
        return np.minimum(picture, 235)

    levels = {**LEVELS_E, "9 ms": 5400.0}
    result = noise(takes_of(sensor, take, 10, clip, levels))
    assert "clips-early" in {finding.code for finding in result.findings}


def test_takes_without_light_are_refused(sensor, take):
    rng = np.random.default_rng(0)
    with pytest.raises(RushlightError, match="holds no lit take"):
        noise([take("dark", sensor.flat(rng, 0.0))])


def test_a_single_level_cannot_tell(sensor, take):
    rng = np.random.default_rng(0)
    result = noise([take("sheet", sensor.flat(rng, 1000.0, slope=0.0))])
    assert not result.told and "dark-missing" in {finding.code for finding in result.findings}


def test_takes_of_different_sizes_are_refused(sensor, take):
    rng = np.random.default_rng(0)
    takes = [
        take("dark", sensor.flat(rng, 0.0)),
        take("sheet", sensor.flat(rng, 900.0, shape=(32, 40))),
    ]
    with pytest.raises(RushlightError, match="different sizes"):
        noise(takes)
