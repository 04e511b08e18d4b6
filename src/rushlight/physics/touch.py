"""Where a touch seems to be made, seen by the lights of the stylus that makes it.

A fit of one spot settles somewhere among the emitter and its glows on the wall, and so a touch
seems to be made beside the tip, by an amount that changes with the way the stylus is held.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.mixture import MixtureFit, centre_of_mixture
from rushlight.physics.stylus import ways_of_holding
from rushlight.physics.touch_lights import SeenLights as SeenLights
from rushlight.physics.touch_lights import StylusLight as StylusLight
from rushlight.physics.touch_lights import View as View
from rushlight.physics.touch_lights import lights_seen

Array = NDArray[Any]


class TouchOffset(NamedTuple):
    """Where a touch seems to be made, counted from the tip, over all ways of holding the stylus.

    Fields
    ------
    mean_m : (..., 2) [m]; a registration absorbs it where it is the same as at its touches
    cov_m2 : (..., 2, 2) [m²]
    """

    mean_m: Array
    cov_m2: Array


def lights_of_all_ways(
    tip_xy_m: ArrayLike,
    tilt_rad: ArrayLike,
    lean_rad: ArrayLike,
    lean_std_rad: ArrayLike,
    light: StylusLight,
    view: View,
    reflectance: ArrayLike,
    tilts: int = 3,
    leans: int = 5,
) -> tuple[SeenLights, Array]:
    """The lights of a touch for each of a few ways of holding that stand for all.

    Parameters
    ----------
    tip_xy_m : (..., 2) [m]
    tilt_rad, lean_rad, lean_std_rad, tilts, leans : as in `ways_of_holding`
    light, view, reflectance : as in `lights_seen`

    Returns
    -------
    seen : SeenLights, with an axis of N = tilts × leans ways after the leading axes
    weights : (N,), adding up to 1

    Examples
    --------
    >>> from rushlight.physics.geometry import camera_matrix, rig_from_camera_turned
    >>> view = View(camera_matrix(600.0, [319.5, 239.5]), np.zeros(5),
    ...             rig_from_camera_turned([1.0, 0.5, 2.0], 0.0, 0.0), *map(np.asarray, (
    ...             2.0, 3.6e-3, 2.0, 6e-6, 0.6, 0.8, 0.2)))
    >>> light = StylusLight(np.array([0, 0, 0.01]), np.array([0, 0, -1.0]), *map(np.asarray, (
    ...             0.02, 7.0, 0.5, 0.9, 850e-9, 5e-3)))
    >>> seen, weights = lights_of_all_ways(np.zeros((4, 2)), [0.2, 0.6], 0.0, 0.4, light, view, 0.8)
    >>> seen.px.shape, weights.shape
    ((4, 15, 3, 2), (15,))
    """
    directions, weights = ways_of_holding(tilt_rad, lean_rad, lean_std_rad, tilts, leans)
    return lights_of_ways(tip_xy_m, directions, light, view, reflectance), weights


def lights_of_ways(
    tip_xy_m: ArrayLike,
    directions: ArrayLike,
    light: StylusLight,
    view: View,
    reflectance: ArrayLike,
) -> SeenLights:
    """The lights of a touch for each of some directions in which the stylus may be held.

    Parameters
    ----------
    tip_xy_m : (..., 2) [m]
    directions : (..., N, 3), as from `held_direction`
    light, view, reflectance : as in `lights_seen`

    Returns
    -------
    SeenLights, with an axis of N directions after the leading axes
    """
    vectors = ("position_m", "axis")
    matrices = ("K", "surface_from_camera", "retro_cd_lx_m2")
    with_way = StylusLight(
        *(
            np.asarray(value)[..., None, :, :]
            if name in matrices
            else np.asarray(value)[..., None, :]
            if name in vectors
            else np.asarray(value)[..., None]
            for name, value in zip(light._fields, light, strict=True)
        )
    )
    view_with_way = View(
        *(
            np.asarray(value)[..., None, :, :]
            if name in matrices
            else np.asarray(value)[..., None, :]
            if name in ("k", "angle_share")
            else np.asarray(value)[..., None]
            for name, value in zip(view._fields, view, strict=True)
        )
    )
    tip = np.asarray(tip_xy_m, float)[..., None, :]
    return lights_seen(
        tip, directions, with_way, view_with_way, np.asarray(reflectance, float)[..., None]
    )


def fit_of_lights(
    seen: SeenLights,
    exposure_s: ArrayLike,
    background_e: ArrayLike,
    read_noise_e: ArrayLike,
    quantisation_e: ArrayLike,
) -> tuple[MixtureFit, Array]:
    """What a fit of one spot makes of the lights, and where it then seems to stand.

    Parameters
    ----------
    seen : SeenLights
    exposure_s : (...) [s]
    background_e : (...) [e⁻/px], in that exposure
    read_noise_e : (...) [e⁻]
    quantisation_e : (...) [e⁻/DN]

    Returns
    -------
    fit : MixtureFit, its centre counted from the emitter's image [px]
    apparent_m : (..., 2) [m], on the surface, from the tip

    Notes
    -----
    Source: `centre_of_mixture`, with the emitter in the middle of a pixel; the step from the
    emitter's image to the fitted centre by the local map (first order).

    Examples
    --------
    >>> from rushlight.physics.geometry import camera_matrix, rig_from_camera_turned
    >>> view = View(camera_matrix(600.0, [319.5, 239.5]), np.zeros(5),
    ...             rig_from_camera_turned([1.0, 0.5, 2.0], 0.0, 0.0), *map(np.asarray, (
    ...             2.0, 3.6e-3, 2.0, 6e-6, 0.6, 0.8, 0.2)))
    >>> light = StylusLight(np.array([0, 0, 0.01]), np.array([0, 0, -1.0]), *map(np.asarray, (
    ...             0.02, 7.0, 0.5, 0.9, 850e-9, 5e-3)))
    >>> seen = lights_seen([1.0, 0.5], [0.6, 0.0, 0.8], light, view, 0.8)
    >>> _, apparent_m = fit_of_lights(seen, 1e-4, 5.0, 5.0, 20.0)
    >>> print((apparent_m * 1e3).round(1), "of", 6.0, "mm")
    [1.8 0. ] of 6.0 mm
    """
    from_emitter = seen.px - seen.px[..., :1, :]
    flux = seen.rate_e_s * np.asarray(exposure_s, float)[..., None]
    fit = centre_of_mixture(
        from_emitter, seen.cov_px2, flux, background_e, read_noise_e, quantisation_e
    )
    step = np.matvec(seen.surface_from_px, fit.centre_px)
    return fit, np.asarray(seen.apparent_m + step)


def over_ways(apparent_m: ArrayLike, weights: ArrayLike) -> TouchOffset:
    """Mean and covariance of an offset over the ways of holding.

    Parameters
    ----------
    apparent_m : (..., N, 2) [m]
    weights : (N,), adding up to 1

    Returns
    -------
    TouchOffset

    Examples
    --------
    >>> offset = over_ways([[0.0, 0.0], [2.0, 0.0]], [0.5, 0.5])
    >>> offset.mean_m.tolist(), offset.cov_m2.tolist()
    ([1.0, 0.0], [[1.0, 0.0], [0.0, 0.0]])
    """
    offset = np.asarray(apparent_m, float)
    share = np.asarray(weights, float)
    mean = np.einsum("n,...ni->...i", share, offset)
    apart = offset - mean[..., None, :]
    return TouchOffset(mean, np.einsum("n,...ni,...nj->...ij", share, apart, apart))


def apparent_light_offset(
    tip_xy_m: ArrayLike,
    tilt_rad: ArrayLike,
    lean_rad: ArrayLike,
    lean_std_rad: ArrayLike,
    light: StylusLight,
    view: View,
    reflectance: ArrayLike,
    exposure_s: ArrayLike,
    background_e: ArrayLike,
    read_noise_e: ArrayLike,
    quantisation_e: ArrayLike,
) -> TouchOffset:
    """By how much does a touch seem to lie beside the tip, and how does that scatter?

    Parameters
    ----------
    tip_xy_m : (..., 2) [m]
    tilt_rad, lean_rad, lean_std_rad : (..., 2), (...), (...) [rad], as in `ways_of_holding`
    light, view, reflectance : as in `lights_seen`
    exposure_s, background_e, read_noise_e, quantisation_e : (...), as in `fit_of_lights`

    Returns
    -------
    TouchOffset
        NaN where the camera cannot see the place.

    Notes
    -----
    Source: quadrature over the ways of holding; computed here.

    Examples
    --------
    >>> from rushlight.physics.geometry import camera_matrix, rig_from_camera_turned
    >>> view = View(camera_matrix(600.0, [319.5, 239.5]), np.zeros(5),
    ...             rig_from_camera_turned([1.0, 0.5, 2.0], 0.0, 0.0), *map(np.asarray, (
    ...             2.0, 3.6e-3, 2.0, 6e-6, 0.6, 0.8, 0.2)))
    >>> light = StylusLight(np.array([0, 0, 0.01]), np.array([0, 0, -1.0]), *map(np.asarray, (
    ...             0.02, 7.0, 0.5, 0.9, 850e-9, 5e-3)))
    >>> touch = apparent_light_offset([1.0, 0.5], [0.2, 0.6], 0.0, 0.0, light, view, 0.8,
    ...                               1e-4, 5.0, 5.0, 20.0)
    >>> print((touch.mean_m * 1e3).round(1), "mm")
    [1.1 0. ] mm
    """
    seen, weights = lights_of_all_ways(
        tip_xy_m, tilt_rad, lean_rad, lean_std_rad, light, view, reflectance
    )
    levels = (exposure_s, background_e, read_noise_e, quantisation_e)
    _, apparent = fit_of_lights(seen, *(np.asarray(level, float)[..., None] for level in levels))
    return over_ways(apparent, weights)


def touch_scatter_m(touch_std_m: ArrayLike, tip_cov_m2: ArrayLike) -> Array:
    """How far a touch lies from its beacon, by hand and by the way the stylus is held.

    Parameters
    ----------
    touch_std_m : (...) [m], of the tip from the mark, each axis
    tip_cov_m2 : (..., 2, 2) [m²], of the apparent offset at the middle of the surface

    Returns
    -------
    (...) [m], one standard deviation along each axis: what a registration supposes of all touches

    Notes
    -----
    Source: variances added, half the trace for both axes alike; computed here.

    Examples
    --------
    >>> float(touch_scatter_m(0.003, [[1.6e-5, 0.0], [0.0, 1.6e-5]]))
    0.005
    """
    cov = np.asarray(tip_cov_m2, float)
    half_trace = (cov[..., 0, 0] + cov[..., 1, 1]) / 2.0
    return np.asarray(np.sqrt(np.asarray(touch_std_m, float) ** 2 + half_trace))
