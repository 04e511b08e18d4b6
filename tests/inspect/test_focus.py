"""Widths of dots, and the way to turn the ring."""

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.inspect.expected import Setup, expected_width_px
from rushlight.inspect.focus import focus
from rushlight.shelf.catalogue import built_in_shelf


@pytest.fixture
def setup():
    shelf = built_in_shelf()
    return Setup(shelf.camera("vga-global-120"), emitter=shelf.emitter("ir850-3mm-20"))


def test_a_sharp_dot_gives_the_blur_of_the_lens(sensor, take, setup):
    rng = np.random.default_rng(0)
    _, least = expected_width_px(setup, 3.0)
    truth = np.hypot(0.55, least)
    result = focus([take("far 3 m", sensor.dots(rng, 500.0, truth, 60))], setup)
    assert result.verdict.startswith("sharp")
    values = {each.field: each.interval for each in result.measures}
    assert values[None].value == pytest.approx(truth, rel=0.02)
    assert values["lens_blur"].low <= 0.55 <= values["lens_blur"].high


@pytest.mark.parametrize(("sigma", "verdict"), [(0.95, "not quite sharp"), (2.2, "out of focus")])
def test_a_dull_dot_writes_no_blur(sensor, take, setup, sigma, verdict):
    rng = np.random.default_rng(1)
    result = focus([take("far", sensor.dots(rng, 600 * sigma**2, sigma, 30))], setup)
    assert result.verdict.startswith(verdict)
    assert all(each.field is None for each in result.measures)


def test_a_ring_turned_through_is_sent_back(sensor, take, setup):
    rng = np.random.default_rng(2)
    sigma = 0.6 + 2.5 * np.abs(np.linspace(-1, 0.8, 90))
    result = focus([take("turn", sensor.dots(rng, 700 * sigma, sigma, 90))], setup)
    assert "past the best" in result.verdict
    assert any("turn the ring back" in reason for reason in result.reasons)
    # Sharpest where the law has its least, 50 frames in, at 30 frames a second.
    told = next(reason for reason in result.reasons if "sharpest after" in reason)
    assert abs(float(told.split("sharpest after ")[1].split(" s")[0]) - 50 / 30) < 0.2


def test_the_sharpest_of_several_positions_is_named(sensor, take, setup):
    rng = np.random.default_rng(3)
    takes = [
        take(name, sensor.dots(rng, 600 * sigma, sigma, 15))
        for name, sigma in (("one", 1.6), ("two", 0.7), ("three", 1.4))
    ]
    assert focus(takes, setup).verdict.startswith("sharpest: two")


def test_an_extreme_position_asks_for_more(sensor, take):
    rng = np.random.default_rng(4)
    takes = [
        take(name, sensor.dots(rng, 600.0, sigma, 15))
        for name, sigma in (("one", 1.6), ("two", 1.2), ("three", 0.8))
    ]
    result = focus(takes)
    assert any("one end" in reason for reason in result.reasons)
    assert "not known" in result.verdict


def test_white_and_absent_dots_cannot_tell(sensor, take):
    rng = np.random.default_rng(5)
    assert "white" in focus([take("far", sensor.dots(rng, 9000.0, 1.0))]).verdict
    assert "no dot" in focus([take("far", sensor.dots(rng, 0.0, 1.0))]).verdict
    with pytest.raises(RushlightError, match="no take"):
        focus([])
