"""Does brightness obey? Cameras that obey, that do not, and that bend."""

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.inspect.exposure import exposure

ASKED_MS = (1.0, 2.0, 4.0, 8.0)


def takes_of(sensor, take, electrons, seed=0, dark=True, change=lambda picture: picture):
    rng = np.random.default_rng(seed)
    takes = [
        take(f"{ms:g} ms", [change(p) for p in sensor.flat(rng, electrons(ms), 6)])
        for ms in ASKED_MS
    ]
    if dark:
        takes.append(take("dark", [change(p) for p in sensor.flat(rng, 0.0, 6)]))
    return takes


def test_a_camera_that_obeys(sensor, take):
    result = exposure(takes_of(sensor, take, lambda ms: 400 * ms))
    assert result.verdict.startswith("obeyed: ")
    assert result.measures[0].interval.low < 1 < result.measures[0].interval.high


def test_automatic_exposure_still_on(sensor, take):
    result = exposure(takes_of(sensor, take, lambda ms: 2000.0 + 20 * ms))
    assert result.verdict.startswith("not obeyed")


def test_a_gamma_curve(sensor, take):
    def gamma(picture):
        return np.rint(255 * (picture / 255) ** 0.6).astype(np.uint8)

    result = exposure(takes_of(sensor, take, lambda ms: 400 * ms, change=gamma))
    assert result.verdict.startswith("not in proportion")


def test_exposures_shorter_than_the_camera_can(sensor, take):
    result = exposure(takes_of(sensor, take, lambda ms: 400 * max(ms, 1.6)))
    assert "longer than asked" in result.verdict
    shortest = next(each for each in result.measures if each.field == "shortest_exposure")
    assert shortest.interval.low <= 1.6 <= shortest.interval.high


def test_without_a_dark_take_the_shelf_black_level_serves(sensor, take):
    result = exposure(takes_of(sensor, take, lambda ms: 400 * ms, dark=False), 6.0)
    assert result.verdict.startswith("obeyed: ")
    assert "dark-missing" in {finding.code for finding in result.findings}


def test_a_flickering_lamp_is_told(sensor, take):
    rng = np.random.default_rng(1)
    takes = takes_of(sensor, take, lambda ms: 400 * ms)
    takes[1] = take("2 ms", [sensor.flat(rng, each, 1)[0] for each in (700, 900, 700, 900)])
    assert "light-flickers" in {finding.code for finding in exposure(takes).findings}


def test_white_takes_cannot_tell(sensor, take):
    result = exposure(takes_of(sensor, take, lambda ms: 20000.0 * ms))
    assert not result.told


def test_too_dark_takes_cannot_tell(sensor, take):
    result = exposure(takes_of(sensor, take, lambda ms: 0.2 if ms < 8 else 400.0))
    assert not result.told


def test_names_without_exposures_are_refused(sensor, take):
    rng = np.random.default_rng(0)
    with pytest.raises(RushlightError, match="fewer than three exposures"):
        exposure([take("bright", sensor.flat(rng, 900.0, 4))])
