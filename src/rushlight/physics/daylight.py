"""Daylight that comes in by windows: how much of it falls on a wall, within a camera's band.

A window is a flat rectangle with sides along the axes. Upward through it one sees an even sky,
downward sunlit ground; what comes in lights the wall straight and by way of the whole room.

When not to use it: for houses and trees that stand before the window, for curtains that scatter,
for mirrors, and for light levels on any one day. It errs on the bright side: the ground outside
is in full sun whenever there is daylight at all.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.geometry.shapes import floats, trailing

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Axes = NDArray[np.int64]

EDGES_M = 1e-9 * np.concatenate([np.arange(400, 700, 20), np.arange(700, 1101, 10)])
"""Edges (56,) of the bins of wavelength [m] in which light is counted."""

GLOBAL_W_M2 = np.fromstring(
    """23.56 23.88 29.78 31.38 30.98 30.33 30.79 30.54 29.91 29.44 29.30 28.52 27.80 28.12 25.50
    12.97 11.96 10.87 11.87 12.37 11.79 7.19 11.74 11.49 10.93 10.75 9.26 9.11 9.66 9.96
    9.56 9.58 9.50 9.25 7.90 7.07 6.61 6.88 2.73 3.35 3.58 5.24 6.26 7.14 7.45
    7.23 7.11 6.94 6.80 6.63 6.44 6.20 6.08 5.81 5.35""",
    sep=" ",
)
"""Sun and sky on a plane tilted 37° to the sun's side, in each bin (55,) [W/m²].

Source: ASTM G173-03, hemispherical spectrum, integrated here over each bin by trapezoids.
"""

DIRECT_W_M2 = np.fromstring(
    """18.18 19.14 24.60 26.53 26.67 26.44 27.10 27.08 26.72 26.44 26.40 25.76 25.15 25.46 23.14
    11.77 10.87 9.92 10.83 11.29 10.78 6.62 10.77 10.56 10.07 9.92 8.57 8.44 8.95 9.23
    8.88 8.90 8.83 8.62 7.38 6.62 6.20 6.44 2.57 3.16 3.38 4.94 5.89 6.71 7.00
    6.80 6.70 6.54 6.41 6.26 6.09 5.86 5.75 5.50 5.07""",
    sep=" ",
)
"""The sun and the sky close round it on a plane that faces it, in each bin (55,) [W/m²].

Source: ASTM G173-03, direct normal and circumsolar spectrum, integrated here in the same way.
"""

TILT_FROM_SUN_RAD = np.arccos(1.0 / 1.5) - np.radians(37.0)
"""Between the sun and the tilted plane's normal: the sun at air mass 1.5, the plane at 37°
(ASTM G173-03)."""

GROUND_REFLECTANCE = 0.3
"""Of the ground outside, in the near infrared (our own choice: between bare soil and grass)."""
HIGHEST_SUN_RAD = np.radians(62.0)
"""Highest that the sun stands in the worst case (our own choice: midsummer noon at 51° N)."""

STEPS = 12
"""Pieces along each side of a window into which its light is summed."""


def diffuse_w_m2() -> Array:
    """How much of a clear sky's light, without the sun, falls on the tilted plane in each bin.

    Returns
    -------
    ndarray, shape (55,)
        [W/m²]

    Notes
    -----
    Source: ASTM G173-03, the hemispherical less the direct part by the cosine; ground that the
    plane sees is in it.

    Examples
    --------
    >>> print(round(float(in_band(diffuse_w_m2(), bins_within(800e-9, 1000e-9))), 1))
    12.9
    """
    return np.asarray(GLOBAL_W_M2 - DIRECT_W_M2 * np.cos(TILT_FROM_SUN_RAD))


def bins_within(low_m: float, high_m: float) -> Array:
    """Which share of each bin lies between two wavelengths.

    Parameters
    ----------
    low_m, high_m : float
        [m], low ≤ high.

    Returns
    -------
    ndarray, shape (55,)
        0 to 1.

    Raises
    ------
    ValueError
        When low lies beyond high.

    Examples
    --------
    >>> float(bins_within(845e-9, 860e-9).sum().round(6))
    1.5
    """
    if low_m > high_m:
        raise ValueError(f"low_m lies beyond high_m: {low_m:g}, {high_m:g}")
    low, high = EDGES_M[:-1], EDGES_M[1:]
    common = np.minimum(high, high_m) - np.maximum(low, low_m)
    return np.asarray(np.clip(common / (high - low), 0.0, 1.0))


def in_band(spectrum: ArrayLike, response: ArrayLike) -> Array:
    """How much of a light counts for a sensor that responds as given.

    Parameters
    ----------
    spectrum : array_like, shape (..., 55)
        In each bin, in any unit.
    response : array_like, shape (..., 55)
        What a unit of it counts for.

    Returns
    -------
    ndarray, shape (...)
        In the spectrum's unit.

    Raises
    ------
    ValueError
        If a last axis is not 55 long.

    Examples
    --------
    >>> print(round(float(in_band(GLOBAL_W_M2, bins_within(700e-9, 1100e-9))), 1))
    328.6
    """
    count = len(EDGES_M) - 1
    given = trailing(spectrum, (count,), "spectrum")
    return np.asarray(np.sum(given * trailing(response, (count,), "response"), axis=-1))


def window_irradiance(
    place_m: ArrayLike,
    corner_m: ArrayLike,
    opposite_m: ArrayLike,
    sky_w_m2_sr: ArrayLike,
    ground_w_m2_sr: ArrayLike,
    steps: int = STEPS,
) -> Array:
    """How much light falls straight from a window on a wall in the plane z = 0.

    Parameters
    ----------
    place_m : array_like, shape (..., 2)
        Places of the wall, x and y [m]; it faces toward larger z.
    corner_m, opposite_m : array_like, shape (..., 3)
        Opposite corners of the window [m], equal in one coordinate.
    sky_w_m2_sr, ground_w_m2_sr : array_like, shape (...)
        Radiance of what is seen through it above and below the level of the place [W/(m² sr)].
    steps : int
        Pieces along each side, ≥ 1.

    Returns
    -------
    ndarray, shape (...)
        [W/m²]; 0 from a window in the wall itself or behind it.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Notes
    -----
    Source: E = ∫ L cos θ cos θ' dA/r² (textbook; from memory), summed over middles of pieces;
    tested against the closed form of a rectangle parallel to the place.

    Examples
    --------
    >>> print(round(float(window_irradiance([0, 0], [-50, -50, 1], [50, 50, 1], 1.0, 1.0, 400)), 2))
    3.14
    """
    place = trailing(place_m, (2,), "place_m")
    pieces, area, axis = _pieces(corner_m, opposite_m, steps)
    way = pieces - np.concatenate([place, np.zeros((*place.shape[:-1], 1))], -1)[..., None, :]
    range2 = np.sum(way**2, axis=-1)
    flat = np.broadcast_to(axis[..., None, None], (*way.shape[:-1], 1))
    through = np.take_along_axis(np.abs(way), flat, -1)[..., 0]
    facing = np.maximum(way[..., 2], 0.0)
    seen = np.where(
        way[..., 1] > 0.0, floats(sky_w_m2_sr)[..., None], floats(ground_w_m2_sr)[..., None]
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        each = np.where(range2 > 0.0, seen * facing * through / range2**2, 0.0)
    return np.asarray(area * each.sum(axis=-1))


def sunlit(
    place_m: ArrayLike, corner_m: ArrayLike, opposite_m: ArrayLike, to_sun: ArrayLike
) -> Mask:
    """Does the sun shine on a place of the wall z = 0 through a window?

    Parameters
    ----------
    place_m : array_like, shape (..., 2)
    corner_m, opposite_m : array_like, shape (..., 3)
        As in `window_irradiance`.
    to_sun : array_like, shape (..., 3)
        Direction of the sun, of length 1.

    Returns
    -------
    ndarray of bool, shape (...)

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> sunlit([[0, 0], [3, 0]], [-1, -1, 4], [1, 3, 4], [0, 0.6, 0.8]).tolist()
    [True, False]
    """
    place = trailing(place_m, (2,), "place_m")
    start = np.concatenate([place, np.zeros((*place.shape[:-1], 1))], -1)
    low = np.minimum(floats(corner_m), floats(opposite_m))
    high = np.maximum(floats(corner_m), floats(opposite_m))
    sun = trailing(to_sun, (3,), "to_sun")
    start, low, high, sun = np.broadcast_arrays(start, low, high, sun)
    pick = np.argmin(high - low, axis=-1)[..., None]
    away = np.take_along_axis(low - start, pick, -1)
    speed = np.take_along_axis(sun, pick, -1)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = away / speed
        met = start + share * sun
    inside = (met >= low - 1e-9) & (met <= high + 1e-9)
    inside |= np.arange(3) == pick
    return np.asarray(inside.all(-1) & (share[..., 0] > 0.0) & (sun[..., 2] > 0.0))


def sun_directions(
    azimuths: int = 36, elevations: int = 12, highest_rad: float = HIGHEST_SUN_RAD
) -> Array:
    """From where the sun may shine, whatever the compass says of the room.

    Returns
    -------
    ndarray, shape (azimuths × elevations, 3)
        Directions of length 1, y up, from 2.5° above the horizon.

    Examples
    --------
    >>> sun_directions().shape
    (432, 3)
    """
    azimuth = 2.0 * np.pi * np.arange(azimuths) / azimuths
    elevation = np.linspace(np.radians(2.5), highest_rad, elevations)
    a, e = (one.ravel() for one in np.meshgrid(azimuth, elevation))
    return np.stack([np.sin(a) * np.cos(e), np.sin(e), np.cos(a) * np.cos(e)], axis=-1)


def round_the_room(flux_w: ArrayLike, reflectance: ArrayLike, area_m2: ArrayLike) -> Array:
    """How much light that came into a room falls on each wall after it was thrown about.

    Parameters
    ----------
    flux_w : (...) [W], ≥ 0
    reflectance : (...) [1], mean of all walls, floor and ceiling, 0 ≤ share < 1
    area_m2 : (...) [m²], of all of them, > 0

    Returns
    -------
    (...) [W/m²]

    Raises
    ------
    ValueError
        When a reflectance lies outside [0, 1).

    Notes
    -----
    Source: integrating sphere, Φ ρ/(A (1 − ρ)) (textbook; from memory): even, first reflection
    in it, the straight light not.

    Examples
    --------
    >>> print(float(round_the_room(10.0, 0.5, 100.0)))
    0.1
    """
    share = floats(reflectance)
    if np.any(share < 0) or np.any(share >= 1):
        raise ValueError(f"reflectance must lie in [0, 1), got {share}")
    return np.asarray(floats(flux_w) * share / (floats(area_m2) * (1.0 - share)))


def _pieces(corner_m: ArrayLike, opposite_m: ArrayLike, steps: int) -> tuple[Array, Array, Axes]:
    """Middles (..., steps², 3) of a rectangle's pieces, the area of one, and its flat axis."""
    corner, opposite = np.broadcast_arrays(
        trailing(corner_m, (3,), "corner_m"), trailing(opposite_m, (3,), "opposite_m")
    )
    side = opposite - corner
    axis = np.argmin(np.abs(side), axis=-1)
    share = (np.arange(steps) + 0.5) / steps
    u, v = (one.ravel() for one in np.meshgrid(share, share))
    # The two sides that are not flat run with u and v; the flat one has no length.
    first = np.where(axis == 0, 1, 0)
    along = np.where(np.arange(3) == first[..., None], 1.0, 0.0)[..., None, :]
    share3 = along * u[:, None] + (1.0 - along) * v[:, None]
    lengths = np.sort(np.abs(side), axis=-1)
    area = lengths[..., 1] * lengths[..., 2] / steps**2
    return corner[..., None, :] + share3 * side[..., None, :], area, axis
