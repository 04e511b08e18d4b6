"""Names of takes, and pictures in them."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.errors import RushlightError
from rushlight.inspect.takes import Label, Take, images, stack
from rushlight.records.dots import Frame


def test_what_a_name_tells():
    label = Label.of("lamp-2_1.5 m 500 µs −30 deg")
    assert label.word == "lamp-2" and not label.dark
    assert label.distance_m == pytest.approx(1.5)
    assert label.exposure_s == pytest.approx(5e-4)
    assert label.angle_rad == pytest.approx(math.radians(-30))


def test_what_a_name_does_not_tell_is_unknown():
    label = Label.of("Dark 4ms")
    assert label.dark and label.exposure_s == pytest.approx(4e-3)
    assert math.isnan(label.distance_m) and math.isnan(label.angle_rad)
    assert Label.of("20 mA green").words == ("20", "ma", "green")


@pytest.mark.parametrize("name", ["1 ms 2 ms", "0 ms", "-1 m"])
def test_names_that_cannot_be(name):
    with pytest.raises(RushlightError, match="take"):
        Label.of(name)


@given(st.floats(0.01, 900, allow_nan=False), st.sampled_from(["ms", "µs", "s"]))
def test_exposures_come_back(value, unit):
    factor = {"ms": 1e-3, "µs": 1e-6, "s": 1.0}[unit]
    assert Label.of(f"sheet {value:.4f} {unit}").exposure_s == pytest.approx(
        round(value, 4) * factor
    )


def test_deeper_pictures_come_down_to_eight_bits():
    deep = np.array([[0, 512], [1023, 256]], np.uint16)
    take = Take("t", [Frame("c", 0, 0, math.nan, deep)], full_scale_dn=1023)
    ((_, image),) = images(take)
    assert image.dtype == np.uint8 and image.tolist() == [[0, 128], [255, 64]]


def test_pictures_that_change_size_and_takes_too_short_are_refused():
    frames = [Frame("c", i, i, math.nan, np.zeros((8, 8 + i), np.uint8)) for i in range(2)]
    with pytest.raises(RushlightError, match="not the size of its first"):
        list(images(Take("t", frames)))
    with pytest.raises(RushlightError, match="fewer than the 3"):
        stack(Take("t", frames[:1]), 5, 3)
