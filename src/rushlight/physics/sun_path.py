"""Where the sun stands by day and hour, to the degree or so that planning a room needs.

When not to use it: for shading to the minute, near the poles, or where refraction at the horizon
matters. Hours are solar: at 12 the sun stands highest; a clock may differ by more than an hour.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.geometry.shapes import floats

Array = NDArray[np.float64]

SEASONS = {"March": 80, "June": 172, "September": 266, "December": 355}
"""Day of the year of the equinoxes and solstices (common almanac dates)."""


def declination(day: ArrayLike) -> Array:
    """How far north of the equator the sun stands over a day.

    Parameters
    ----------
    day : array_like, shape (...)
        Of the year, 1 to 366.

    Returns
    -------
    ndarray, shape (...)
        [rad]

    Notes
    -----
    Source: Cooper 1969, Solar Energy 12:333, 23.45° sin(360° (284 + n)/365) (from memory); good
    to about 1°.

    Examples
    --------
    >>> print(round(float(np.degrees(declination(172))), 1))
    23.4
    """
    return np.asarray(np.radians(23.45) * np.sin(2.0 * np.pi * (284.0 + floats(day)) / 365.0))


def sun_place(latitude_rad: ArrayLike, day: ArrayLike, hour: ArrayLike) -> tuple[Array, Array]:
    """How high, and toward which bearing, does the sun stand?

    Parameters
    ----------
    latitude_rad : array_like, shape (...)
        North positive [rad].
    day : array_like, shape (...)
        Of the year.
    hour : array_like, shape (...)
        Solar time, 0 to 24 [h].

    Returns
    -------
    elevation_rad, bearing_rad : ndarray, shape (...)
        Above the horizon, below 0 at night; from north by east, −π to π [rad].

    Notes
    -----
    Source: spherical trigonometry, as in any textbook of solar engineering (Duffie & Beckman,
    Solar Engineering of Thermal Processes, §1.6; from memory).

    Examples
    --------
    >>> high, bearing = sun_place(np.radians(43.0), 44, 9.5)
    >>> print(round(90.0 - float(np.degrees(high)), 1), round(float(np.degrees(bearing)), 1))
    66.5 139.9
    """
    phi, delta = floats(latitude_rad), declination(day)
    turn = np.radians(15.0) * (floats(hour) - 12.0)
    up = np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.cos(turn)
    north = np.cos(phi) * np.sin(delta) - np.sin(phi) * np.cos(delta) * np.cos(turn)
    east = -np.cos(delta) * np.sin(turn)
    return np.arcsin(np.clip(up, -1.0, 1.0)), np.arctan2(east, north)


def air_mass(elevation_rad: ArrayLike) -> Array:
    """Through how much air does sunlight come, beside the sun overhead?

    Parameters
    ----------
    elevation_rad : array_like, shape (...)
        Above the horizon [rad].

    Returns
    -------
    ndarray, shape (...)
        [1]; NaN below the horizon.

    Notes
    -----
    Source: Kasten & Young 1989, Applied Optics 28:4735 (coefficients from memory).

    Examples
    --------
    >>> print(round(float(air_mass(np.radians(30.0))), 3))
    1.994
    """
    high = floats(elevation_rad)
    up = np.where(high >= 0.0, high, np.nan)
    return np.asarray(1.0 / (np.sin(up) + 0.50572 * (np.degrees(up) + 6.07995) ** -1.6364))


def strength(elevation_rad: ArrayLike) -> Array:
    """How strong the direct sun is beside that of the reference spectrum, at air mass 1.5.

    Parameters
    ----------
    elevation_rad : array_like, shape (...)
        Above the horizon [rad].

    Returns
    -------
    ndarray, shape (...)
        [1]; 0 below the horizon.

    Notes
    -----
    Source: 0.7 to the power AM^0.678, Meinel & Meinel 1976, Applied Solar Energy (from memory).
    It holds for all sunlight; the near infrared alone loses less, so this errs low by a little
    when the sun is low.

    Examples
    --------
    >>> print(round(float(strength(np.radians(20.0))), 2))
    0.77
    """
    mass = air_mass(elevation_rad)
    share = 0.7 ** (np.nan_to_num(mass, nan=1e9) ** 0.678 - 1.5**0.678)
    return np.asarray(np.where(np.isfinite(mass), share, 0.0))


def to_sun_of_room(
    elevation_rad: ArrayLike, bearing_rad: ArrayLike, facing_rad: ArrayLike
) -> Array:
    """In which direction of the room does the sun stand?

    Parameters
    ----------
    elevation_rad, bearing_rad : array_like, shape (...)
        As from `sun_place`.
    facing_rad : array_like, shape (...)
        Bearing toward which someone looks who faces the display, from north by east.

    Returns
    -------
    ndarray, shape (..., 3)
        Direction of length 1 in the rig frame: x to the right, y up, z out of the display.

    Examples
    --------
    >>> south = to_sun_of_room(0.0, np.pi, 0.0)
    >>> south.round(6).tolist()
    [0.0, 0.0, 1.0]
    """
    high, aside = floats(elevation_rad), floats(bearing_rad) - floats(facing_rad)
    # Someone who faces the display looks along −z and has x on the right.
    level = np.cos(high)
    return np.stack(
        np.broadcast_arrays(level * np.sin(aside), np.sin(high), -level * np.cos(aside)), axis=-1
    )
