"""Windows and lamps: limits, sides, and sums that must agree."""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.physics.daylight import (
    EDGES_M,
    bins_within,
    in_band,
    round_the_room,
    sun_directions,
    sunlit,
    window_irradiance,
)
from rushlight.physics.lamps import KINDS, lamp_irradiance, lamp_spectrum, lamp_watts

MIDDLE = [1.2, 0.75]


def test_sky_is_above_and_ground_below_the_place() -> None:
    high = ([0.0, 1.0, 3.0], [2.0, 2.0, 3.0])
    low = ([0.0, -0.7, 3.0], [2.0, 0.5, 3.0])
    assert window_irradiance(MIDDLE, *high, 0.0, 1.0) == 0.0
    assert window_irradiance(MIDDLE, *high, 1.0, 0.0) > 0.0
    assert window_irradiance(MIDDLE, *low, 1.0, 0.0) == 0.0


def test_a_window_in_the_wall_itself_does_not_light_it_but_one_beside_does() -> None:
    in_wall = ([3.0, 0.0, 0.0], [4.0, 1.0, 0.0])
    assert window_irradiance(MIDDLE, *in_wall, 1.0, 1.0) == 0.0
    aside = [window_irradiance(MIDDLE, [-1.0, 0, 1], [-1.0, 1, far], 1, 1) for far in (2.0, 4.0)]
    assert 0.0 < aside[0] < aside[1]


def test_windows_side_by_side_add_up_to_the_whole() -> None:
    whole = window_irradiance(MIDDLE, [-2.0, 0, 1], [-2.0, 2, 3], 1.0, 2.0, 40)
    parts = window_irradiance(
        MIDDLE, [[-2.0, 0, 1], [-2.0, 0, 2]], [[-2.0, 2, 2], [-2.0, 2, 3]], 1.0, 2.0, 40
    )
    assert parts.sum() == pytest.approx(whole, rel=1e-3)


def test_order_of_corners_does_not_matter() -> None:
    a, b = [0.0, 3.0, 1.0], [2.0, 3.0, 2.0]
    assert window_irradiance(MIDDLE, a, b, 1, 1) == pytest.approx(
        float(window_irradiance(MIDDLE, b, a, 1, 1))
    )


def test_sun_shines_where_its_ray_passes_the_opening() -> None:
    rng = np.random.default_rng(3)
    place = rng.uniform([0, 0], [2.4, 1.5], (200, 2))
    way = rng.normal(size=(200, 3))
    way /= np.linalg.norm(way, axis=-1, keepdims=True)
    lit = sunlit(place, [-1.0, 0.0, 0.5], [-1.0, 2.0, 3.0], way)
    share = (-1.0 - place[:, 0]) / way[:, 0]
    y, z = place[:, 1] + share * way[:, 1], share * way[:, 2]
    np.testing.assert_array_equal(
        lit, (share > 0) & (y >= 0) & (y <= 2) & (z >= 0.5) & (z <= 3.0) & (way[:, 2] > 0)
    )
    assert lit.any()
    assert not lit.all()


def test_no_sun_from_below_or_behind_the_display() -> None:
    to_sun = sun_directions()
    np.testing.assert_allclose(np.linalg.norm(to_sun, axis=-1), 1.0)
    assert np.all(to_sun[:, 1] > 0.0)
    behind = sunlit(MIDDLE, [-9, -9, -1], [9, 9, -1], to_sun)
    assert not behind.any()


@pytest.mark.parametrize("kind", KINDS)
def test_lamps_send_out_less_than_they_take_and_in_proportion(kind) -> None:
    one, two = lamp_spectrum(kind, 20.0), lamp_spectrum(kind, 40.0)
    np.testing.assert_allclose(two, 2.0 * one)
    assert 0.0 < one.sum() < 20.0
    assert len(one) == len(EDGES_M) - 1


def test_filaments_send_out_most_infrared() -> None:
    near = bins_within(800e-9, 1000e-9)
    light = {
        kind: float(in_band(lamp_spectrum(kind, lamp_watts(kind, 800.0)), near)) for kind in KINDS
    }
    assert light["incandescent"] > light["halogen"] > light["fluorescent"] > light["led"]


@pytest.mark.parametrize("call", [lamp_watts, lamp_spectrum])
def test_unknown_lamps_are_refused(call) -> None:
    with pytest.raises(ValueError, match="candle"):
        call("candle", 1.0)


def test_a_wall_takes_of_a_lamp_what_its_solid_angle_holds() -> None:
    """A square of half side a, one off: 4 asin(a²/(1 + a²)) of 4π (textbook)."""
    x, y = np.meshgrid(np.linspace(-40, 40, 801), np.linspace(-40, 40, 801))
    light = lamp_irradiance(np.stack([x, y], -1), [0.0, 0.0, 1.0], 2.0)
    share = np.arcsin(1600.0 / 1601.0) / np.pi
    assert light.sum() * 0.1**2 == pytest.approx(2.0 * share, rel=0.001)
    assert lamp_irradiance([0, 0], [0, 0, -1.0], 2.0) == 0.0


def test_a_black_room_throws_nothing_back() -> None:
    assert round_the_room(10.0, 0.0, 50.0) == 0.0
    with pytest.raises(ValueError, match="reflectance"):
        round_the_room(10.0, 1.0, 50.0)
