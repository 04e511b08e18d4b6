"""The light budget: electrons, width and strength of every dot, and the exposure that suits all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.centre import centre_cov_fisher
from rushlight.physics.filter_band import share_at
from rushlight.physics.geometry import invert_transform, transform_points
from rushlight.physics.light import ambient_electrons
from rushlight.physics.mixture import GREATEST_MISFIT, mixture_peak_share
from rushlight.physics.retro import wall_irradiance
from rushlight.physics.sensing import noise_floor_variance
from rushlight.physics.stream import stream_shift_px
from rushlight.physics.stylus import ways_of_holding
from rushlight.physics.touch import (
    SeenLights,
    StylusLight,
    View,
    fit_of_lights,
    lights_of_ways,
)
from rushlight.records.resolved import ResolvedRig

Array = NDArray[Any]

FULLEST_PEAK = 0.8
"""Share of full scale that the brightest expected pixel may take (common practice, no source)."""
FAINTEST_PEAK = 10.0
"""Peak over noise that the weakest expected dot must have (common practice, no source)."""
GREATEST_STREAM_PX = 0.25
"""Shift by compression beyond which dots begin to be lost (computed here,
benchmarks/compression.py: the lines with dots missed)."""
EDGE_SIGMAS = 3.0
"""Widths of the dot that must lie between its centre and the picture's edge to count as seen."""
HALF_WINDOW_PX = 9


@dataclass(frozen=True)
class LightField:
    """What one camera sees of every emitter at every place, whatever the exposure.

    Axes: R rigs, E emitters, G places, N ways of holding.

    Attributes
    ----------
    seen, weights
        The three lights of each touch, and the weights (N,) of the ways.
    rate_e_s, peak_rate_e_s
        (R, E, G, N) of the whole dot, and of its brightest pixel.
    background_rate_e_s
        (R, E, G) of the room's light in each pixel.
    in_view
        (R, E, G) whether the dot lies wholly in the picture.
    """

    seen: SeenLights
    weights: Array
    rate_e_s: Array
    peak_rate_e_s: Array
    background_rate_e_s: Array
    in_view: Array


@dataclass(frozen=True)
class DotField:
    """The dots at one exposure; axes as in `LightField`.

    Attributes
    ----------
    sigma_px, electrons, electrons_least, electrons_most
        (R, E, G) fitted width; electrons in the dot: mean, least, most over the ways.
    grey_peak
        (R, E, G) brightest expected pixel as a share of full scale.
    background_e
        (R, E, G) of the room's light.
    peak_over_noise
        (R, E, G) of the weakest way, over the noise of a pixel beside the dot.
    parted
        (R, E, G) share of the ways of holding in which the tip and its glow on the wall are too
        far apart to pass for one spot, so that a detector doubts the dot.
    centre_cov_px2
        (R, E, G, 2, 2) of one frame, mean over the ways; the stream's share is in it.
    stream_px
        (R, E, G) how far the stream's compression shifts the centre along one axis,
        root-mean-square over the ways.
    apparent_m
        (R, E, G, N, 2) where the touch seems to be made, from the tip.
    """

    sigma_px: Array
    electrons: Array
    electrons_least: Array
    electrons_most: Array
    grey_peak: Array
    background_e: Array
    peak_over_noise: Array
    parted: Array
    centre_cov_px2: Array
    stream_px: Array
    apparent_m: Array


def stylus_light(resolved: ResolvedRig) -> StylusLight:
    """The emitters, with an axis for places: fields (R, E, 1, ...)."""
    e = resolved.emitters
    return StylusLight(
        e.position_m[:, :, None, :],
        e.axis[:, :, None, :],
        *(
            getattr(e, name)[:, :, None]
            for name in (
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
        ),
    )


def focus_distance(resolved: ResolvedRig, camera: int) -> Array:
    """Distance (R,) [m] along the optical axis to the middle of the surface, taken as in focus."""
    middle = np.zeros((len(resolved), 3))
    middle[:, :2] = resolved.surface.size_m / 2.0
    pose = resolved.cameras.rig_from_camera[:, camera]
    return np.asarray(transform_points(invert_transform(pose), middle)[..., 2])


def view_of(resolved: ResolvedRig, camera: int) -> View:
    """One camera, with axes for emitters and places: fields (R, 1 or E, 1, ...)."""
    c = resolved.cameras
    spread = (slice(None), camera, None, None)
    return View(
        c.K[spread],
        c.distortion[spread],
        c.rig_from_camera[spread],
        focus_distance(resolved, camera)[:, None, None],
        c.focal_m[spread],
        c.f_number[spread],
        c.pixel_m[spread],
        c.blur_px[spread],
        c.transmission[:, camera, :, None],
        c.quantum_efficiency[:, camera, :, None],
        c.angle_share[:, camera, :, None],
        c.lamp_w_sr[spread],
        c.lamp_exponent[spread],
        c.lamp_radius_m[spread],
    )


def light_field(
    resolved: ResolvedRig, camera: int, places_m: Array, tilts: int = 3, leans: int = 5
) -> LightField:
    """What a camera sees of every emitter at places (R, G, 2) [m]."""
    e = resolved.emitters
    directions, weights = ways_of_holding(
        e.tilt_rad[:, :, None, :],
        e.lean_rad[:, :, None],
        e.lean_std_rad[:, :, None],
        tilts,
        leans,
    )
    return field_of_ways(resolved, camera, places_m, directions, weights)


def field_of_ways(
    resolved: ResolvedRig, camera: int, places_m: Array, directions: Array, weights: Array
) -> LightField:
    """What a camera sees at places (R, G, 2) [m] for directions (R, E, 1, N, 3) of weights (N,)."""
    c, s = resolved.cameras, resolved.surface
    seen = lights_of_ways(
        places_m[:, None],
        directions,
        stylus_light(resolved),
        view_of(resolved, camera),
        s.reflectance[:, None, None],
    )
    total = seen.rate_e_s.sum(axis=-1)
    peak = total * mixture_peak_share(
        seen.px - seen.px[..., :1, :], seen.cov_px2, seen.rate_e_s, HALF_WINDOW_PX
    )
    centre = np.einsum("n,regni->regi", weights, seen.px[..., 0, :])
    widest = np.sqrt(np.max(np.diagonal(seen.cov_px2[..., 0, :, :], 0, -2, -1), axis=(-2, -1)))
    margin = EDGE_SIGMAS * widest[..., None]
    size = c.size_px[:, camera, None, None, :]
    inside = np.all((centre >= margin) & (centre <= size - 1.0 - margin), axis=-1)
    share = centre[..., 0] / (size[..., 0] - 1.0) - 0.5
    gradient = 1.0 + s.ambient_gradient[:, None, None] * share
    return LightField(
        seen,
        weights,
        total,
        peak,
        ambient_rate(resolved, camera)[:, None, None] * gradient
        + lamp_rate(resolved, camera, places_m),
        inside,
    )


def ambient_rate(resolved: ResolvedRig, camera: int) -> Array:
    """Electrons a second and pixel (R,) of the room's light, at the first emitter's wavelength."""
    c, s, e = resolved.cameras, resolved.surface, resolved.emitters
    return np.asarray(
        ambient_electrons(
            s.ambient_w_m2,
            s.reflectance,
            c.f_number[:, camera],
            c.pixel_m[:, camera],
            c.transmission[:, camera, 0],
            1.0,
            e.wavelength_m[:, 0],
            c.quantum_efficiency[:, camera, 0],
        )
    )


def lamp_rate(resolved: ResolvedRig, camera: int, places_m: Array) -> Array:
    """Electrons a second and pixel (R, E, G) of the camera's own lamps by way of the wall."""
    c, s, e = resolved.cameras, resolved.surface, resolved.emitters
    lamp = c.lamp_w_sr[:, camera, None]
    if not np.any(lamp):
        return np.zeros((*e.duty.shape, places_m.shape[1]))
    pose = c.rig_from_camera[:, camera, None]
    way = np.concatenate([places_m, np.zeros((*places_m.shape[:-1], 1))], -1) - pose[..., :3, 3]
    range_m = np.linalg.norm(way, axis=-1)
    angle = np.arccos(np.clip(np.sum(way * pose[..., :3, 2], -1) / range_m, -1.0, 1.0))
    falling = wall_irradiance(
        lamp, c.lamp_exponent[:, camera, None], angle, range_m, np.arccos(-way[..., 2] / range_m)
    )
    passed = share_at(c.angle_share[:, camera, :, None, :], angle[:, None])
    spread = (slice(None), camera, None, None)
    return np.asarray(
        ambient_electrons(
            falling[:, None] * passed,
            s.reflectance[:, None, None],
            c.f_number[spread],
            c.pixel_m[spread],
            c.transmission[:, camera, :, None],
            1.0,
            e.wavelength_m[..., None],
            c.quantum_efficiency[:, camera, :, None],
        )
    )


def full_scale_e(resolved: ResolvedRig, camera: int) -> Array:
    """Electrons (R,) at which a pixel reads its highest level."""
    c = resolved.cameras
    steps = c.levels[:, camera] - 1.0 - c.black_dn[:, camera]
    return np.asarray(np.minimum(c.gain_e_per_dn[:, camera] * steps, c.full_well_e[:, camera]))


def suitable_exposure(resolved: ResolvedRig, camera: int, field: LightField) -> Array:
    """Exposure (R,) [s] at which the brightest expected peak takes `FULLEST_PEAK` of full scale.

    Kept between the camera's shortest exposure and its frame period, and rounded down to two
    digits. A camera that sees nothing is given its frame period.
    """
    c = resolved.cameras
    rate = field.peak_rate_e_s + field.background_rate_e_s[..., None]
    bright = np.where(field.in_view[..., None], rate, 0.0)
    brightest = np.nan_to_num(bright).max(axis=(1, 2, 3))
    period = 1.0 / c.frame_rate_hz[:, camera]
    with np.errstate(divide="ignore"):
        wanted = np.minimum(FULLEST_PEAK * full_scale_e(resolved, camera) / brightest, period)
    digits = 10.0 ** (np.floor(np.log10(wanted)) - 1.0)
    rounded = np.round(np.floor(wanted / digits * (1.0 + 1e-12)) * digits, 9)
    return np.asarray(np.maximum(rounded, c.shortest_exposure_s[:, camera]))


def dots(resolved: ResolvedRig, camera: int, field: LightField, exposure_s: Array) -> DotField:
    """The dots that a camera sees at exposures (R,) [s]."""
    c = resolved.cameras
    exposure = np.asarray(exposure_s, float)[:, None, None]
    read = c.read_noise_e[:, camera, None, None]
    step = c.gain_e_per_dn[:, camera, None, None]
    background = np.maximum(field.background_rate_e_s, 0.0) * exposure
    fit, apparent = fit_of_lights(
        field.seen,
        exposure[..., None],
        background[..., None],
        read[..., None],
        step[..., None],
    )
    noise = np.sqrt(noise_floor_variance(read, step) + background)
    cov = centre_cov_fisher(
        fit.flux_e,
        fit.sigma_px,
        background[..., None],
        read[..., None],
        step[..., None],
        HALF_WINDOW_PX,
    )
    total = field.rate_e_s * exposure[..., None]
    peak = field.peak_rate_e_s * exposure[..., None]
    scale = full_scale_e(resolved, camera)[:, None, None]
    with np.errstate(divide="ignore", invalid="ignore"):  # no light has no centre
        shift = stream_shift_px(
            c.stream_shift_dn_px[:, camera, None, None, None],
            fit.sigma_px,
            peak / step[..., None],
        )
    shift = np.where(np.any(c.stream_shift_dn_px[:, camera], -1)[:, None, None, None], shift, 0.0)
    shift_px2 = shift**2 @ field.weights
    return DotField(
        sigma_px=fit.sigma_px @ field.weights,
        electrons=total @ field.weights,
        electrons_least=total.min(axis=-1),
        electrons_most=total.max(axis=-1),
        grey_peak=(peak.max(axis=-1) + background) / scale,
        background_e=background,
        peak_over_noise=peak.min(axis=-1) / noise,
        parted=(fit.misfit > GREATEST_MISFIT) @ field.weights,
        centre_cov_px2=np.einsum("n,regnij->regij", field.weights, cov)
        + shift_px2[..., None, None] * np.eye(2),
        stream_px=np.sqrt(shift_px2),
        apparent_m=apparent,
    )
