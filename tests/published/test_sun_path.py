"""Where the sun stands, and how strong it is when low.

SOURCE: Duffie & Beckman, Solar Engineering of Thermal Processes, example 1.6.2 (from memory);
pvlib 0.16.1, its NREL solar position algorithm at longitude 0 and the solar hours given, and its
Kasten-Young 1989 air mass.
"""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.physics.sun_path import air_mass, declination, strength, sun_place, to_sun_of_room


@pytest.mark.parametrize(
    ("day", "hour", "zenith_deg", "from_south_deg"),
    [(44, 9.5, 66.5, -40.0), (182, 18.5, 79.6, 112.0)],
)
def test_worked_example(day, hour, zenith_deg, from_south_deg) -> None:
    """At 43° north, as printed to 0.1°; the book rounds the declination first, so 0.15°."""
    high, bearing = sun_place(np.radians(43.0), day, hour)
    assert 90.0 - np.degrees(high) == pytest.approx(zenith_deg, abs=0.15)
    aside = (np.degrees(bearing) - 180.0 + 180.0) % 360.0 - 180.0
    assert aside == pytest.approx(from_south_deg, abs=0.15)


@pytest.mark.parametrize(
    ("latitude", "day", "hour", "elevation", "azimuth"),
    [
        (54, 80, 15, 24.81, 231.45),
        (54, 172, 18, 18.89, 284.13),
        (40, 355, 10, 20.67, 150.63),
        (-33, 15, 16, 36.03, 266.74),
        (65, 266, 8, 12.04, 117.57),
    ],
)
def test_against_a_precise_algorithm(latitude, day, hour, elevation, azimuth) -> None:
    """The short formula of the declination is good to a degree or so."""
    high, bearing = sun_place(np.radians(latitude), day, hour)
    assert np.degrees(high) == pytest.approx(elevation, abs=1.5)
    assert np.degrees(bearing) % 360.0 == pytest.approx(azimuth, abs=1.5)


@pytest.mark.parametrize(
    ("zenith", "mass"), [(48.19, 1.49798638), (60, 1.99429285), (80, 5.58603588), (87, 15.14773544)]
)
def test_air_mass(zenith, mass) -> None:
    assert air_mass(np.radians(90.0 - zenith)) == pytest.approx(mass, rel=1e-6)


def test_strength_is_one_where_the_reference_spectrum_stands_and_falls_with_the_sun() -> None:
    reference = np.pi / 2.0 - np.arccos(1.0 / 1.5)
    assert strength(reference) == pytest.approx(1.0, abs=1e-3)
    falling = strength(np.radians([60.0, 30.0, 10.0, 2.0]))
    assert np.all(np.diff(falling) < 0.0)
    assert strength(-0.1) == 0.0


def test_limits() -> None:
    assert np.degrees(declination(355)) == pytest.approx(-23.45, abs=0.01)
    high, _ = sun_place(np.radians(50.0), 172, [0.0, 12.0])
    assert high[0] < 0.0 < high[1]
    assert np.degrees(high[1]) == pytest.approx(90.0 - 50.0 + 23.45, abs=0.01)


def test_direction_in_the_room() -> None:
    east = to_sun_of_room(0.0, np.pi / 2, 0.0)
    np.testing.assert_allclose(east, [1.0, 0.0, 0.0], atol=1e-12)
    rng = np.random.default_rng(2)
    way = to_sun_of_room(*rng.uniform(-1.5, 1.5, (3, 50)))
    np.testing.assert_allclose(np.linalg.norm(way, axis=-1), 1.0)
