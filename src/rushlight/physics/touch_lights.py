"""The lights of a stylus on a wall as a camera sees them: the emitter and its two glows.

A stylus shows a camera three lights at once: the emitter itself, the glow that its beam leaves
on the wall, and the glow of its even side light below it.

Every field of `StylusLight` and `View` broadcasts against the places touched: to look at G
places with E styli of R rigs, give tips (G, 2) and fields of shape (R, E, 1, ...).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.filter_band import share_at
from rushlight.physics.geometry.pinhole import project
from rushlight.physics.geometry.plane import apparent_shift
from rushlight.physics.geometry.view import airy_diameter, defocus_circle, surface_from_px_jacobian
from rushlight.physics.light import electrons, emitter_intensity, irradiance_at_lens, pupil_area
from rushlight.physics.reflection import patch_of_lobe, patch_of_side_light
from rushlight.physics.retro import ball_coefficient, coefficient_at, returned_intensity
from rushlight.physics.stylus import turned_onto

Array = NDArray[Any]

AIRY_SIGMA_SHARE = 0.42 / 2.44
"""Radius of the Gaussian nearest to a diffraction disc, as a share of the disc's diameter
2.44 λN (0.42 λN; from memory)."""


class StylusLight(NamedTuple):
    """The emitter of a stylus.

    Fields
    ------
    position_m, axis : (..., 3) [m] and unit vector, in the stylus's frame: from the tip, z
        along its body
    intensity_w_sr, exponent, side_share, transmission : (...), as in `emitter_intensity`
    wavelength_m, size_m : (...) [m], wavelength and apparent diameter
    retro_cd_lx_m2, retro_area_m2, retro_ball : (..., 2, 2), (...) [m²], (...) graded values, area
        and shape (1 for a ball, 0 for a disc) of a reflective marker; area 0 for none
    """

    position_m: Array
    axis: Array
    intensity_w_sr: Array
    exponent: Array
    side_share: Array
    transmission: Array
    wavelength_m: Array
    size_m: Array
    retro_cd_lx_m2: Array = np.zeros((2, 2))
    retro_area_m2: Array = np.zeros(())
    retro_ball: Array = np.zeros(())


class View(NamedTuple):
    """The camera that looks at the surface.

    Fields
    ------
    K, k, surface_from_camera : (..., 3, 3) [px], (..., 5), (..., 4, 4)
    focus_m : (...) [m], distance along the optical axis that is in focus
    focal_m, f_number, pixel_m, blur_px : (...) focal length [m], f-number, pixel pitch [m],
        the lens's own spot radius [px]
    transmission, quantum_efficiency : (...) of lens and filter straight on, and of the sensor,
        for the emitter's light
    angle_share : (..., K) of what the filter passes straight on, what it passes at each of
        `filter_band.ANGLES_RAD`
    lamp_w_sr, lamp_exponent, lamp_radius_m : (...) of the ring of lights round the lens: their
        intensity together on the axis [W/sr], exponent of their beams, radius [m]
    """

    K: Array
    k: Array
    surface_from_camera: Array
    focus_m: Array
    focal_m: Array
    f_number: Array
    pixel_m: Array
    blur_px: Array
    transmission: Array
    quantum_efficiency: Array
    angle_share: Array = np.ones(1)
    lamp_w_sr: Array = np.zeros(())
    lamp_exponent: Array = np.ones(())
    lamp_radius_m: Array = np.zeros(())


class SeenLights(NamedTuple):
    """The three lights of a touch in the picture: emitter, glow of its beam, glow of side light.

    Fields
    ------
    px : (..., 3, 2) [px]
    cov_px2 : (..., 3, 2, 2) [px²], without the pixel's own width
    rate_e_s : (..., 3) [e⁻/s]
    apparent_m : (..., 2) [m], where the emitter alone seems to stand on the surface, from the tip
    surface_from_px : (..., 2, 2) [m/px], at the tip
    """

    px: Array
    cov_px2: Array
    rate_e_s: Array
    apparent_m: Array
    surface_from_px: Array


def spot_sigma_px(
    view: View, wavelength_m: ArrayLike, depth_m: ArrayLike, size_m: ArrayLike = 0.0
) -> Array:
    """How wide the image of one small light is.

    Parameters
    ----------
    view : View
    wavelength_m : (...) [m]
    depth_m : (...) [m], distance of the light along the optical axis, > 0
    size_m : (...) [m], diameter of the light, taken as an evenly bright disc

    Returns
    -------
    (...) [px], Gaussian radius of equal variance, without the pixel's own width

    Notes
    -----
    Source: variances added; a disc of diameter D has variance D²/16 along each axis (computed
    here); diffraction as `AIRY_SIGMA_SHARE`, from memory.

    Examples
    --------
    >>> view = View(*[np.asarray(0.0)] * 3, focus_m=2.0, focal_m=3.6e-3, f_number=2.0,
    ...             pixel_m=6e-6, blur_px=0.6, transmission=0.8, quantum_efficiency=0.2)
    >>> print(round(float(spot_sigma_px(view, 850e-9, 2.0, 5e-3)), 3))
    0.717
    """
    depth = np.asarray(depth_m, float)
    pixel = np.asarray(view.pixel_m, float)
    image = np.asarray(size_m, float) * np.asarray(view.focal_m, float) / (depth * pixel)
    circle = defocus_circle(view.focal_m, view.f_number, view.focus_m, depth) / pixel
    airy = airy_diameter(wavelength_m, view.f_number) * AIRY_SIGMA_SHARE / pixel
    square = np.asarray(view.blur_px, float) ** 2 + (image**2 + circle**2) / 16.0 + airy**2
    return np.asarray(np.sqrt(square))


def lights_seen(
    tip_xy_m: ArrayLike,
    direction: ArrayLike,
    light: StylusLight,
    view: View,
    reflectance: ArrayLike,
) -> SeenLights:
    """Where in the picture, how wide and how strong are the lights of one touch?

    Parameters
    ----------
    tip_xy_m : (..., 2) [m], place touched, on the plane of the surface
    direction : (..., 3), of the stylus's body, from its tip backward; see `held_direction`
    light : StylusLight
    view : View
    reflectance : (...) [1], of the wall, matt, 0 to 1

    Returns
    -------
    SeenLights
        NaN where the camera cannot see the place. A beam that does not meet the wall (axis at
        right angles to its normal or beyond) leaves no glow.

    Notes
    -----
    Source: as the functions used; the glows are round Gaussians on the wall, taken into the
    picture by the local map at the tip (first order).

    Examples
    --------
    >>> from rushlight.physics.geometry import camera_matrix, rig_from_camera_turned
    >>> view = View(camera_matrix(600.0, [319.5, 239.5]), np.zeros(5),
    ...             rig_from_camera_turned([1.0, 0.5, 2.0], 0.0, 0.0), *map(np.asarray, (
    ...             2.0, 3.6e-3, 2.0, 6e-6, 0.6, 0.8, 0.2)))
    >>> light = StylusLight(np.array([0, 0, 0.01]), np.array([0, 0, -1.0]), *map(np.asarray, (
    ...             0.02, 7.0, 0.5, 0.9, 850e-9, 5e-3)))
    >>> seen = lights_seen([1.0, 0.5], [0.0, 0.0, 1.0], light, view, 0.8)
    >>> seen.px[0].round(6).tolist(), (seen.rate_e_s / seen.rate_e_s[0]).round(2).tolist()
    ([319.5, 239.5], [1.0, 3.17, 1.58])
    """
    tip = np.asarray(tip_xy_m, float)
    body = np.asarray(direction, float)
    arm = turned_onto(body, light.position_m)
    axis = turned_onto(body, light.axis)
    axis = axis / np.linalg.norm(axis, axis=-1, keepdims=True)
    foot = tip + arm[..., :2]
    height = arm[..., 2]
    pose = np.asarray(view.surface_from_camera, float)
    camera = pose[..., :3, 3]

    emitter = np.concatenate([foot, np.broadcast_to(height[..., None], (*foot.shape[:-1], 1))], -1)
    to_camera = camera - emitter
    cosine = np.sum(axis * to_camera, -1) / np.linalg.norm(to_camera, axis=-1)
    off_beam = np.arccos(np.clip(cosine, -1.0, 1.0))
    source = (light.intensity_w_sr, light.exponent, light.side_share, light.transmission)
    direct = emitter_intensity(*source, off_beam)
    if np.any(np.asarray(light.retro_area_m2) > 0.0):
        direct = direct + returned_toward(
            light, view, pose, to_camera, np.arccos(np.clip(cosine, -1, 1))
        )

    tilt = np.arccos(np.clip(-axis[..., 2], -1.0, 1.0))
    slant = np.hypot(axis[..., 0], axis[..., 1])
    aside = axis[..., :2] / np.where(slant > 0.0, slant, 1.0)[..., None]
    view_angle = np.arctan2(
        np.hypot(camera[..., 0] - tip[..., 0], camera[..., 1] - tip[..., 1]), camera[..., 2]
    )
    beam = patch_of_lobe(*source, height, tilt, reflectance, view_angle)
    meets = np.isfinite(beam.offset_m)
    glow = np.where(meets, beam.intensity_w_sr, 0.0)
    beam_xy = foot + aside * np.where(meets, beam.offset_m, 0.0)[..., None]
    side = patch_of_side_light(*source, height, reflectance, view_angle)

    shape = np.broadcast_shapes(foot.shape[:-1], direct.shape, glow.shape, view_angle.shape)
    flat = np.zeros((*shape, 1))
    wall = [np.concatenate([np.broadcast_to(xy, (*shape, 2)), flat], -1) for xy in (beam_xy, foot)]
    places = np.stack([np.broadcast_to(emitter, (*shape, 3)), *wall], axis=-2)
    px, depth = project(
        places,
        np.asarray(view.K, float)[..., None, :, :],
        np.asarray(view.k, float)[..., None, :],
        pose[..., None, :, :],
    )
    intensity = np.stack(
        [np.broadcast_to(one, shape) for one in (direct, glow, side.intensity_w_sr)], axis=-1
    )
    rate = _rate_e_s(intensity, places, depth, camera, light, view)

    local = surface_from_px_jacobian(tip, view.K, view.k, pose)
    sigma_m = [np.zeros(shape), np.where(meets, beam.sigma_m, 0.0), side.sigma_m]
    size: list[ArrayLike] = [light.size_m, 0.0, 0.0]
    sigma_px = [
        spot_sigma_px(view, light.wavelength_m, np.where(depth > 0, depth, np.nan)[..., i], size[i])
        for i in range(3)
    ]
    covs = [_spread_px2(local, sigma_m[i], sigma_px[i], shape) for i in range(3)]
    apparent = arm[..., :2] + apparent_shift(foot, height, camera)
    return SeenLights(px, np.stack(covs, axis=-3), rate, apparent, local)


def returned_toward(
    light: StylusLight, view: View, pose: Array, to_camera: Array, entrance: Array
) -> Array:
    """Intensity [W/sr] toward the lens of a marker that the ring round the lens lights.

    The ring is taken as standing at the lens, but for the angle at which it is observed.
    """
    range_m = np.linalg.norm(to_camera, axis=-1)
    forward = np.sum(-to_camera * pose[..., :3, 2], axis=-1) / range_m
    # Seen aslant the ring is an ellipse: its root-mean-square radius counts.
    radius = np.asarray(view.lamp_radius_m) * np.sqrt((1.0 + forward**2) / 2.0)
    observation = np.arctan2(radius, range_m)
    flat = coefficient_at(light.retro_cd_lx_m2, observation, entrance)
    round_ = ball_coefficient(light.retro_cd_lx_m2, observation)
    return returned_intensity(
        view.lamp_w_sr,
        view.lamp_exponent,
        np.arccos(np.clip(forward, -1.0, 1.0)),
        range_m,
        np.where(np.asarray(light.retro_ball) > 0.0, round_, flat),
        light.retro_area_m2,
    )


def _rate_e_s(
    intensity: Array, places: Array, depth: Array, camera: Array, light: StylusLight, view: View
) -> Array:
    """Electrons a second (..., 3) of the three lights."""
    range_m = np.linalg.norm(camera[..., None, :] - places, axis=-1)
    off_axis = np.arccos(np.clip(depth / range_m, -1.0, 1.0))
    at_lens = irradiance_at_lens(intensity, range_m, off_axis)
    at_lens = at_lens * share_at(np.asarray(view.angle_share, float)[..., None, :], off_axis)
    return electrons(
        at_lens,
        np.asarray(pupil_area(view.focal_m, view.f_number))[..., None],
        np.asarray(view.transmission, float)[..., None],
        1.0,
        np.asarray(light.wavelength_m, float)[..., None],
        np.asarray(view.quantum_efficiency, float)[..., None],
    )


def _spread_px2(
    surface_from_px: Array, sigma_m: Array, sigma_px: Array, shape: tuple[int, ...]
) -> Array:
    """Covariance (..., 2, 2) in the picture of a round Gaussian on the wall, blurred."""
    a, b = surface_from_px[..., 0, 0], surface_from_px[..., 0, 1]
    c, d = surface_from_px[..., 1, 0], surface_from_px[..., 1, 1]
    det = a * d - b * c
    # (J Jᵀ)⁻¹ in closed form: J⁻¹ J⁻ᵀ.
    xx, yy, xy = b**2 + d**2, a**2 + c**2, -(a * b + c * d)
    wall = (np.asarray(sigma_m, float) / det) ** 2
    lens = np.asarray(sigma_px, float) ** 2
    spread = np.empty((*shape, 2, 2))
    spread[..., 0, 0] = wall * xx + lens
    spread[..., 1, 1] = wall * yy + lens
    spread[..., 0, 1] = spread[..., 1, 0] = wall * xy
    return spread
