"""What the swift evaluation needs of each row of parts, worked out once and laid out in arrays.

All that does not depend on where the camera stands is found here with the same functions as the
full evaluation uses: how the stylus may be held, the glows it leaves on the wall, the noise.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.geometry.lens import distortion_limit
from rushlight.physics.geometry.plane import flatness_modes
from rushlight.physics.geometry.view import airy_diameter
from rushlight.physics.light import beam_flux, electrons, pupil_area
from rushlight.physics.reflection import patch_of_lobe, patch_of_side_light
from rushlight.physics.sensing import noise_floor_variance
from rushlight.physics.stylus import mean_direction, turned_onto, ways_of_holding
from rushlight.physics.surface_model import bend_amplitudes, centred, edge_to_edge, lens_spread
from rushlight.physics.touch_lights import AIRY_SIGMA_SHARE
from rushlight.plan.error import DWELL_S, mean_height
from rushlight.plan.grid import Standing, bodies, places_of_grid, within_reach
from rushlight.plan.light import ambient_rate, full_scale_e
from rushlight.plan.swift_fit import LANES
from rushlight.records.resolved import ResolvedRig

Array = NDArray[Any]


class Rows(NamedTuple):
    """Rows of parts as the kernels read them; axes M rows, E emitters, L lanes, P places.

    The places are those of the grid, then the beacons, then the middle of the surface.

    Fields
    ------
    focal_px : (M, 4) fx, skew, fy and 0 [px]; middle_px : (M, 2); k : (M, 5); limit : (M,)
    size_px : (M, 2)
    lens_m : (M, 2) focal length [m], and focal² / (f-number · pixel) [m px]
    still_px2 : (M, E) blur and diffraction [px²]; image_px_m : (M, E) the part's size times
        focal length over pixel [px m]
    rate : (M, E) electrons a second for one W/m² at the lens
    ambient : (M, 2) electrons a second and pixel, and their gradient
    floor_e2, full_e, step_e, goal_m, height_m, frames : (M,)
    exposure_s : (M, 2) shortest, and the frame's period
    stream : (M, 6) shift times peak at five widths [DN px], and the share that stays
    beam : (M, E, 4) lobe [W/sr], exponent, even part [W/sr], variance of touching [m²]
    ways : (M, E, 12, L) emitter from tip [m], axis, middle of the glow from the foot [m], the
        glow's intensity straight on [W/sr] and radius [m], the same of the side light's
    weights : (L,) 0 for the lanes that repeat the last way
    places_m : (M, P, 2); sides_m : (M, 2, P) the same across and up, each side by itself
    plane : (M, 8, 2, P) the plane's columns of the design; bends : (M, 7, P) the wall's [m]
    pitch_m2 : (M,) variance of rounding to display pixels, both axes
    spread : (M, 5, 5) lens coefficients from independent draws
    arm_m : (M, E, 3) mean place of the emitter from the tip
    body : (M, E, P, 4) the holder's column, radius 0 for nobody
    reached : (M, E, P)
    floor_m : (M,) where the floor lies in the surface frame
    registering : (E,)
    """

    focal_px: Array
    middle_px: Array
    k: Array
    limit: Array
    size_px: Array
    lens_m: Array
    still_px2: Array
    image_px_m: Array
    rate: Array
    ambient: Array
    floor_e2: Array
    full_e: Array
    step_e: Array
    goal_m: Array
    height_m: Array
    frames: Array
    exposure_s: Array
    stream: Array
    beam: Array
    ways: Array
    weights: Array
    places_m: Array
    sides_m: Array
    plane: Array
    bends: Array
    pitch_m2: Array
    spread: Array
    arm_m: Array
    body: Array
    reached: Array
    floor_m: Array
    registering: Array


class Spare(NamedTuple):
    """Places to which a beacon is moved where no light shows it; M rows, S places, B beacons.

    Fields
    ------
    places_m : (M, S, 2); plane : (M, 8, 2, S), bends : (M, 7, S), body : (M, E, S, 4) as in `Rows`
    brought : (M, E, B + S) whether each light is brought to the beacons and to the spare places, by
        people who walk along the surface
    """

    places_m: Array
    plane: Array
    bends: Array
    body: Array
    brought: Array


class Limits(NamedTuple):
    """The full evaluation's own limits, handed to the kernel.

    Fields
    ------
    fullest, faintest, stream_px, edge_sigmas, least_beacons, unseen_m2, misfit, parted
    """

    fullest: float
    faintest: float
    stream_px: float
    edge_sigmas: float
    least_beacons: int
    unseen_m2: float
    misfit: float
    parted: float


class Found(NamedTuple):
    """What the kernel fills in, a row a candidate.

    Fields
    ------
    lost : (R, E, G) of uint8, bits of `rushlight.plan.swift.LOSSES`
    error_m : (R, E, G) root-mean-square, all causes
    cause_m : (R, 6) root-mean-square over lights and places in view
    exposure_s : (R,)
    state : (R,) of uint8, 0 where all went well, 1 where a node is out of sight or a fit ended in
        no number, so that nothing is known, 2 where too few beacons are seen, 3 where the closed
        forms err: spots part at some place in view or are wide for the fit's window, or light
        changes too fast over the surface for the nodes
    """

    lost: Array
    error_m: Array
    cause_m: Array
    exposure_s: Array
    state: Array


def rows_of(
    rigs: ResolvedRig,
    columns: int,
    rows: int,
    beacons_m: Array,
    standing: Standing,
    registering: tuple[int, ...],
) -> Rows:
    """Rows of parts with one camera each, for a grid, beacons (M, B, 2) [m] and habits.

    Parameters
    ----------
    rigs
        The rows (M); their cameras' poses are not looked at.
    columns, rows, beacons_m, standing, registering
        As in `rushlight.plan.evaluate.evaluate`.
    """
    s = rigs.surface
    grid = places_of_grid(s.size_m, columns, rows)
    places = np.concatenate([grid, beacons_m, s.size_m[:, None] / 2.0], axis=1)
    ways, weights = _ways(rigs)
    e = rigs.emitters
    touched = np.zeros(e.duty.shape[1])
    touched[list(registering)] = 1.0
    fields = {
        **_camera_fields(rigs),
        "goal_m": rigs.targets.worst_error_m,
        "height_m": mean_height(rigs, registering),
        "beam": _beam(rigs),
        "ways": ways,
        "weights": weights,
        "places_m": places,
        "sides_m": np.swapaxes(places, 1, 2),
        "plane": _plane(centred(places, s.size_m[:, None])),
        "bends": _bends(rigs, places),
        "pitch_m2": np.sum((s.size_m / s.display_px) ** 2, axis=-1) / 12.0,
        "arm_m": turned_onto(mean_direction(e.tilt_rad, e.lean_rad, e.lean_std_rad), e.position_m),
        "body": _bodies(rigs, standing, places),
        "reached": within_reach(rigs, standing, places),
        "floor_m": -s.floor_m,
        "registering": touched,
    }
    return Rows(**{name: np.ascontiguousarray(fields[name], float) for name in Rows._fields})


def spare_of(rigs: ResolvedRig, beacons_m: Array, spare_m: Array, standing: Standing) -> Spare:
    """Spare places (M, S, 2) [m] for beacons (M, B, 2) [m]; S may be 0."""
    walking = standing.walking(float(rigs.surface.size_m[:, 0].max()))
    fields = (
        spare_m,
        _plane(centred(spare_m, rigs.surface.size_m[:, None])),
        _bends(rigs, spare_m),
        _bodies(rigs, standing, spare_m),
        within_reach(rigs, walking, np.concatenate([beacons_m, spare_m], axis=1)),
    )
    return Spare(*(np.ascontiguousarray(each, float) for each in fields))


def _plane(places: Array) -> Array:
    """The eight columns (M, 8, 2, P) that a plane's map adds to the design, as in `map_design`."""
    u, v = places[..., 0], places[..., 1]
    one, none = np.ones_like(u), np.zeros_like(u)
    across = [u, v, one, none, none, none, -u * u, -u * v]
    up = [none, none, none, u, v, one, -u * v, -v * v]
    return np.stack([np.stack(pair, axis=1) for pair in zip(across, up, strict=True)], axis=1)


def _bends(rigs: ResolvedRig, places_m: Array) -> Array:
    """The wall's bends (M, 7, P) [m]."""
    s = rigs.surface
    bends = flatness_modes(edge_to_edge(places_m, s.size_m[:, None]))
    return np.swapaxes(bends * bend_amplitudes(s.flatness_m)[:, None], 1, 2)


def _camera_fields(rigs: ResolvedRig) -> dict[str, Array]:
    """What is told of the first camera."""
    c, e = rigs.cameras, rigs.emitters
    K, pixel, focal, f_number = c.K[:, 0], c.pixel_m[:, 0], c.focal_m[:, 0], c.f_number[:, 0]
    airy = airy_diameter(e.wavelength_m, f_number[:, None]) * AIRY_SIGMA_SHARE / pixel[:, None]
    period = 1.0 / c.frame_rate_hz[:, 0]
    return {
        "focal_px": np.stack([K[:, 0, 0], K[:, 0, 1], K[:, 1, 1], K[:, 1, 0]], axis=-1),
        "middle_px": K[:, :2, 2],
        "k": c.distortion[:, 0],
        "limit": distortion_limit(c.distortion[:, 0]),
        "size_px": c.size_px[:, 0],
        "lens_m": np.stack([focal, focal**2 / (f_number * pixel)], axis=-1),
        "still_px2": c.blur_px[:, :1] ** 2 + airy**2,
        "image_px_m": e.size_m * (focal / pixel)[:, None],
        "rate": electrons(
            1.0,
            pupil_area(focal, f_number)[:, None],
            c.transmission[:, 0],
            1.0,
            e.wavelength_m,
            c.quantum_efficiency[:, 0],
        ),
        "ambient": np.stack([ambient_rate(rigs, 0), rigs.surface.ambient_gradient], axis=-1),
        "floor_e2": noise_floor_variance(c.read_noise_e[:, 0], c.gain_e_per_dn[:, 0]),
        "full_e": full_scale_e(rigs, 0),
        "step_e": c.gain_e_per_dn[:, 0],
        "frames": np.maximum(np.floor(DWELL_S * c.frame_rate_hz[:, 0]), 1.0),
        "exposure_s": np.stack([c.shortest_exposure_s[:, 0], period], axis=-1),
        "stream": np.concatenate([c.stream_shift_dn_px[:, 0], c.stream_stays[:, :1]], axis=-1),
        "spread": lens_spread(c.distortion_std[:, 0], c.distortion_corr[:, 0]),
    }


def _beam(rigs: ResolvedRig) -> Array:
    e = rigs.emitters
    even = e.side_share * beam_flux(e.intensity_w_sr, e.exponent) / (4.0 * np.pi)
    lobe = (1.0 - e.side_share) * e.intensity_w_sr
    return np.stack(
        [e.transmission * lobe, e.exponent, e.transmission * even, e.touch_std_m**2], axis=-1
    )


def _ways(rigs: ResolvedRig) -> tuple[Array, Array]:
    """Emitter and glows (M, E, 12, L) of each way of holding, and the weights (L,)."""
    e = rigs.emitters
    directions, weights = ways_of_holding(e.tilt_rad, e.lean_rad, e.lean_std_rad)
    arm = turned_onto(directions, e.position_m[:, :, None])
    axis = turned_onto(directions, e.axis[:, :, None])
    axis = axis / np.linalg.norm(axis, axis=-1, keepdims=True)
    source = [
        getattr(e, name)[..., None]
        for name in ("intensity_w_sr", "exponent", "side_share", "transmission")
    ]
    reflectance = rigs.surface.reflectance[:, None, None]
    tilt = np.arccos(np.clip(-axis[..., 2], -1.0, 1.0))
    beam = patch_of_lobe(*source, arm[..., 2], tilt, reflectance, 0.0)
    side = patch_of_side_light(*source, arm[..., 2], reflectance, 0.0)
    meets = np.isfinite(beam.offset_m)
    slant = np.hypot(axis[..., 0], axis[..., 1])
    aside = axis[..., :2] / np.where(slant > 0.0, slant, 1.0)[..., None]
    of_beam = [np.where(meets, one, 0.0) for one in (beam.intensity_w_sr, beam.sigma_m)]
    glow = [*of_beam, side.intensity_w_sr, side.sigma_m]
    ways = [arm, axis, aside * np.where(meets, beam.offset_m, 0.0)[..., None]]
    told = np.concatenate([*ways, np.stack(np.broadcast_arrays(*glow), axis=-1)], axis=-1)
    spare = LANES - len(weights)
    told = np.concatenate([told, np.repeat(told[..., -1:, :], spare, axis=-2)], axis=-2)
    return np.swapaxes(told, -1, -2), np.concatenate([weights, np.zeros(spare)])


def _bodies(rigs: ResolvedRig, standing: Standing, places_m: Array) -> Array:
    """The holders' columns (M, E, P, 4), of radius 0 where nobody holds."""
    if not len(standing.side):
        return np.zeros((*rigs.emitters.duty.shape, places_m.shape[1], 4))
    column = bodies(rigs, standing, places_m)
    column[..., 2] *= (standing.holder >= 0)[None, :, None]
    return column
