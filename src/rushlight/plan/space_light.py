"""The light budget in space: how wide and strong each light's dot is, and which exposure suits.

Axes: C cameras, N poses of a thing, L lights of the thing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from rushlight.physics.centre import LEAST_APART_PX, centre_cov_fisher
from rushlight.physics.filter_band import share_at
from rushlight.physics.geometry import invert_transform, transform_points
from rushlight.physics.geometry.sight import Sight, sight_of
from rushlight.physics.light import (
    ambient_electrons,
    electrons,
    emitter_intensity,
    irradiance_at_lens,
    pupil_area,
)
from rushlight.physics.sensing import noise_floor_variance
from rushlight.physics.stream import stream_shift_px
from rushlight.physics.touch_lights import StylusLight, View, returned_toward, spot_sigma_px
from rushlight.plan.light import EDGE_SIGMAS, FAINTEST_PEAK, FULLEST_PEAK, HALF_WINDOW_PX
from rushlight.records.arrays import Array
from rushlight.records.space import ResolvedSpace, Thing

APART_SIGMAS = 3.0
"""Two dots count as one when they are nearer than so many of their widths added (our choice), and
always when nearer than `rushlight.physics.centre.LEAST_APART_PX`."""
WIDEST_SIGMA_PX = HALF_WINDOW_PX / 3.0
"""Wider dots reach beyond the window in which their centre is found [px]."""


@dataclass(frozen=True)
class SpaceLight:
    """What the cameras see of a thing's lights, whatever the exposure.

    Attributes
    ----------
    sight
        Pixels and their derivatives, axes (C, N, L, ...).
    rate_e_s, peak_share, sigma_px
        (C, N, L) electrons a second in the whole dot; share of them in its brightest pixel;
        width without the pixel's own [px].
    background_e_s
        (C,) electrons a second and pixel of the room's light.
    in_view
        (C, N, L) whether the dot lies wholly in the picture.
    """

    sight: Sight
    rate_e_s: Array
    peak_share: Array
    sigma_px: Array
    background_e_s: Array
    in_view: Array


@dataclass(frozen=True)
class SpaceDots:
    """The dots at one exposure of each camera, axes (C, N, L).

    Attributes
    ----------
    light
        As it was before the exposure.
    electrons, grey_peak, peak_over_noise
        In the dot; its brightest pixel as a share of full scale; and over the noise beside it.
    cov_px2
        (C, N, L, 2, 2) of the centre in one frame [px²].
    in_view, bright, sharp, apart
        Whether each is wholly in the picture, bright enough to count, narrow enough to be
        measured, and far enough from the thing's other dots.
    """

    light: SpaceLight
    electrons: Array
    grey_peak: Array
    peak_over_noise: Array
    cov_px2: Array
    in_view: Array
    bright: Array
    sharp: Array
    apart: Array

    @property
    def seen(self) -> Array:
        """(C, N, L) whether the dot can be found and measured."""
        return np.asarray(self.in_view & self.bright & self.sharp & self.apart)


def places_of_lights(thing: Thing, poses: Array) -> Array:
    """(N, L, 3) where a thing's lights are at poses (N, 4, 4) [m]."""
    return np.asarray(
        np.einsum("nij,lj->nli", poses[:, :3, :3], thing.lights_m) + poses[:, None, :3, 3]
    )


def space_light(space: ResolvedSpace, thing: Thing, poses: Array) -> SpaceLight:
    """What the cameras see of a thing at poses (N, 4, 4), ``rig_from_thing``."""
    c, e = space.cameras, space.emitters
    own = list(thing.lights)
    places = places_of_lights(thing, poses)[None]
    pose = c.rig_from_camera[0][:, None, None]
    sight = sight_of(places, c.K[0][:, None, None], c.distortion[0][:, None, None], pose)
    depth = transform_points(invert_transform(pose), places)[..., 2]
    depth = np.where(depth > 0.0, depth, np.nan)
    to_camera = pose[..., :3, 3] - places
    range_m = np.linalg.norm(to_camera, axis=-1)
    axes = np.einsum("nij,lj->nli", poses[:, :3, :3], e.axis[0, own])[None]
    cosine = np.sum(axes * to_camera, axis=-1) / range_m / np.linalg.norm(axes, axis=-1)
    off_beam = np.arccos(np.clip(cosine, -1.0, 1.0))
    view, light = _view(space, own), _light(space, own)
    intensity = emitter_intensity(
        light.intensity_w_sr, light.exponent, light.side_share, light.transmission, off_beam
    )
    if np.any(light.retro_area_m2 > 0.0):
        intensity = intensity + returned_toward(light, view, pose, to_camera, off_beam)
    off_axis = np.arccos(np.clip(depth / range_m, -1.0, 1.0))
    at_lens = irradiance_at_lens(intensity, range_m, off_axis) * share_at(
        view.angle_share, off_axis
    )
    rate = electrons(
        at_lens,
        pupil_area(view.focal_m, view.f_number),
        view.transmission,
        1.0,
        light.wavelength_m,
        view.quantum_efficiency,
    )
    sigma = spot_sigma_px(view, light.wavelength_m, depth, light.size_m)
    share = special.erf(0.5 / (np.sqrt(2.0) * sigma)) ** 2
    margin = EDGE_SIGMAS * np.hypot(sigma, np.sqrt(1.0 / 12.0))[..., None]
    size = c.size_px[0][:, None, None]
    with np.errstate(invalid="ignore"):
        inside = np.all((sight.px >= margin) & (sight.px <= size - 1.0 - margin), axis=-1)
    return SpaceLight(sight, rate, share, sigma, _background(space), inside)


def _view(space: ResolvedSpace, own: list[int]) -> View:
    """The cameras with axes for poses and lights: fields (C, 1, 1 or L, ...)."""
    c = space.cameras
    spread = (0, slice(None), None, None)
    return View(
        c.K[spread],
        c.distortion[spread],
        c.rig_from_camera[spread],
        space.focus_m[:, None, None],
        *(c_field[spread] for c_field in (c.focal_m, c.f_number, c.pixel_m, c.blur_px)),
        c.transmission[0][:, None, own],
        c.quantum_efficiency[0][:, None, own],
        c.angle_share[0][:, None, own],
        *(c_field[spread] for c_field in (c.lamp_w_sr, c.lamp_exponent, c.lamp_radius_m)),
    )


def _light(space: ResolvedSpace, own: list[int]) -> StylusLight:
    """The lights: fields (L, ...)."""
    e = space.emitters
    return StylusLight(
        *(
            getattr(e, name)[0, own]
            for name in (
                "position_m",
                "axis",
                "intensity_w_sr",
                "exponent",
                "side_share",
                "transmission",
                "wavelength_m",
                "size_m",
                "retro_cd_lx_m2",
                "retro_area_m2",
                "retro_ball",
            )
        )
    )


def _background(space: ResolvedSpace) -> Array:
    c, e = space.cameras, space.emitters
    return np.asarray(
        ambient_electrons(
            space.ambient_w_m2,
            space.reflectance,
            c.f_number[0],
            c.pixel_m[0],
            c.transmission[0, :, 0],
            1.0,
            e.wavelength_m[0, 0],
            c.quantum_efficiency[0, :, 0],
        )
    )


def full_scale_e(space: ResolvedSpace) -> Array:
    """Electrons (C,) at which a pixel reads its highest level."""
    c = space.cameras
    steps = c.levels[0] - 1.0 - c.black_dn[0]
    return np.asarray(np.minimum(c.gain_e_per_dn[0] * steps, c.full_well_e[0]))


def suitable_exposures(space: ResolvedSpace, lights: list[SpaceLight]) -> Array:
    """Exposures (C,) [s]: the rig's own, or where the brightest peak takes `FULLEST_PEAK`.

    Parameters
    ----------
    space
        The rig; a camera whose exposure is NaN is given one, between its shortest and its frame
        period, rounded down to two digits.
    lights
        Of everything that moves, over its zone.
    """
    c = space.cameras
    period = 1.0 / c.frame_rate_hz[0]
    brightest = np.zeros(len(period))
    for light in lights:
        peak = light.rate_e_s * light.peak_share + light.background_e_s[:, None, None]
        lit = np.where(light.in_view, np.nan_to_num(peak), 0.0)
        brightest = np.maximum(brightest, lit.reshape(len(period), -1).max(axis=1))
    with np.errstate(divide="ignore"):
        wanted = np.minimum(FULLEST_PEAK * full_scale_e(space) / brightest, period)
    digits = 10.0 ** (np.floor(np.log10(wanted)) - 1.0)
    rounded = np.round(np.floor(wanted / digits * (1.0 + 1e-12)) * digits, 9)
    chosen = np.maximum(rounded, c.shortest_exposure_s[0])
    return np.asarray(np.where(np.isfinite(c.exposure_s[0]), c.exposure_s[0], chosen))


def space_dots(space: ResolvedSpace, light: SpaceLight, exposure_s: Array) -> SpaceDots:
    """The dots that the cameras see at exposures (C,) [s]."""
    c = space.cameras
    exposure = np.asarray(exposure_s, float)[:, None, None]
    read, step = c.read_noise_e[0][:, None, None], c.gain_e_per_dn[0][:, None, None]
    background = light.background_e_s[:, None, None] * exposure
    flux = light.rate_e_s * exposure
    peak = flux * light.peak_share
    noise = np.sqrt(noise_floor_variance(read, step) + background)
    cov = centre_cov_fisher(flux, light.sigma_px, background, read, step, HALF_WINDOW_PX)
    shifts = c.stream_shift_dn_px[0][:, None, None]
    if np.any(shifts):
        with np.errstate(divide="ignore", invalid="ignore"):  # no light has no centre
            shift = stream_shift_px(shifts, light.sigma_px, peak / step)
        raw = ~np.any(shifts, axis=-1)
        cov = cov + np.where(raw, 0.0, shift**2)[..., None, None] * np.eye(2)
    over = peak / noise
    with np.errstate(invalid="ignore"):
        bright = over >= FAINTEST_PEAK
    return SpaceDots(
        light,
        flux,
        (peak + background) / full_scale_e(space)[:, None, None],
        over,
        cov,
        light.in_view,
        np.asarray(bright),
        np.asarray(~(light.sigma_px > WIDEST_SIGMA_PX)),
        _apart(light, np.asarray(bright)),
    )


def _apart(light: SpaceLight, bright: Array) -> Array:
    """Whether each dot stands clear of the other dots of its thing that could hide it."""
    px, sigma = light.sight.px, light.sigma_px
    gap = np.linalg.norm(px[..., :, None, :] - px[..., None, :, :], axis=-1)
    least = np.maximum(APART_SIGMAS * (sigma[..., :, None] + sigma[..., None, :]), LEAST_APART_PX)
    with np.errstate(invalid="ignore"):
        hidden = (gap < least) & bright[..., None, :]
    hidden = hidden & ~np.eye(px.shape[-2], dtype=bool)
    return np.asarray(~hidden.any(axis=-1))
