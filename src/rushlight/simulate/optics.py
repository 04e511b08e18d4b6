"""Where the lights of a stylus appear in the picture, how wide, and how many electrons they leave.

A stylus pointed at the wall shows as three lights: the emitter itself, the patch that its beam
lights on the wall, and the wider, fainter patch of what leaves it sideways. The projection is
written here anew, so that a registration is never judged by its own formulas.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from rushlight.physics.filter_band import ANGLES_RAD
from rushlight.physics.geometry import defocus_circle, distortion_limit, invert_transform
from rushlight.physics.light import (
    ambient_electrons,
    electrons,
    emitter_intensity,
    irradiance_at_lens,
    pupil_area,
)
from rushlight.physics.reflection import patch_of_lobe, patch_of_side_light
from rushlight.physics.stylus import turned_onto
from rushlight.records.arrays import Array
from rushlight.simulate.retro import lamp_background, marker_intensity
from rushlight.simulate.world import World

DIFFRACTION_RADII = 0.42
"""Gaussian equivalent of the diffraction disc, in units of λ N; from memory."""
_STEP_M = 1e-4  # of the central difference for the local scale of the picture


class View(NamedTuple):
    """The camera of a world, ready to project.

    Fields
    ------
    K : (3, 3) [px]
    lens : (5,) as it is
    camera_from_rig : (4, 4)
    position_m : (3,) of the lens [m]
    forward : (3,) unit vector of the optical axis
    limit : float, normalised radius beyond which the lens model folds back
    """

    K: Array
    lens: Array
    camera_from_rig: Array
    position_m: Array
    forward: Array
    limit: float


class Lights(NamedTuple):
    """Lights as they would fall on an endless sensor; N of them.

    Fields
    ------
    px : (N, 2) [px], NaN where the camera cannot see the place
    cov : (N, 2, 2) [px²], of the spot without the pixel's own width
    electrons : (N,) [e⁻] in one full exposure
    """

    px: Array
    cov: Array
    electrons: Array


def view_of(world: World) -> View:
    """The camera of a world, ready to project."""
    cameras = world.rig.cameras
    pose = np.asarray(cameras.rig_from_camera[0, world.camera])
    return View(
        K=np.asarray(cameras.K[0, world.camera]),
        lens=world.lens,
        camera_from_rig=invert_transform(pose),
        position_m=pose[:3, 3],
        forward=pose[:3, 2],
        limit=float(distortion_limit(world.lens)),
    )


def project(view: View, points_m: Array) -> tuple[Array, Array]:
    """At which pixel, and how far along the optical axis, the camera sees points.

    Parameters
    ----------
    view
        From `view_of`.
    points_m : (..., 3) [m], rig frame

    Returns
    -------
    px : (..., 2) [px]
        NaN behind the camera and where the lens model folds back.
    depth_m : (...) [m]

    Notes
    -----
    Source: the pinhole with Brown–Conrady distortion in the order k1 k2 p1 p2 k3 (Brown 1966,
    Photogrammetric Engineering 32; from memory); held by a test against OpenCV's projectPoints.
    """
    seen = points_m @ view.camera_from_rig[:3, :3].T + view.camera_from_rig[:3, 3]
    depth_m = seen[..., 2]
    u, v = np.moveaxis(seen[..., :2] / np.where(depth_m > 0, depth_m, np.nan)[..., None], -1, 0)
    square = u * u + v * v
    k1, k2, p1, p2, k3 = view.lens
    stretch = 1.0 + square * (k1 + square * (k2 + square * k3))
    bent = np.stack(
        [
            u * stretch + 2.0 * p1 * u * v + p2 * (square + 2.0 * u * u),
            v * stretch + p1 * (square + 2.0 * v * v) + 2.0 * p2 * u * v,
        ],
        axis=-1,
    )
    px = bent @ view.K[:2, :2].T + view.K[:2, 2]
    return np.where((np.sqrt(square) < view.limit)[..., None], px, np.nan), depth_m


def _scale_at(view: View, points_m: Array) -> Array:
    """How the picture of a point moves when it moves along the wall: (..., 2, 2) [px/m]."""
    columns = []
    for step in (np.array([_STEP_M, 0.0, 0.0]), np.array([0.0, _STEP_M, 0.0])):
        ahead, behind = project(view, points_m + step)[0], project(view, points_m - step)[0]
        columns.append((ahead - behind) / (2.0 * _STEP_M))
    return np.stack(columns, axis=-1)


def _received(world: World, view: View, emitter: int, points_m: Array, intensity: Array) -> Array:
    """Electrons that a source of given intensity [W/sr] leaves in one full exposure."""
    cameras, camera = world.rig.cameras, world.camera
    ray = points_m - view.position_m
    range_m = np.linalg.norm(ray, axis=-1)
    off_axis = np.arccos(np.clip(ray @ view.forward / range_m, -1.0, 1.0))
    passed = np.interp(off_axis, ANGLES_RAD, cameras.angle_share[0, camera, emitter])
    return electrons(
        irradiance_at_lens(intensity, range_m, off_axis) * passed,
        pupil_area(cameras.focal_m[0, camera], cameras.f_number[0, camera]),
        cameras.transmission[0, camera, emitter],
        cameras.exposure_s[0, camera],
        world.rig.emitters.wavelength_m[0, emitter],
        cameras.quantum_efficiency[0, camera, emitter],
    )


def emitter_place(
    world: World, emitter: int, tip_m: Array, direction: Array
) -> tuple[Array, Array, Array]:
    """Where an emitter stands and which way it shines while the tip touches the wall.

    Parameters
    ----------
    emitter : int
    tip_m : (N, 2) [m], touched place
    direction : (N, 3), of the body from the tip backward

    Returns
    -------
    place_m : (N, 3) [m]
    axis : (N, 3), unit
    height_m : (N,) [m], of the wall at the tip; its slope is left out
    """
    emitters = world.rig.emitters
    height_m = world.wall_height(tip_m)
    tip = np.concatenate([tip_m, height_m[..., None]], axis=-1)
    axis = turned_onto(direction, emitters.axis[0, emitter])
    axis = axis / np.linalg.norm(axis, axis=-1, keepdims=True)
    return tip + turned_onto(direction, emitters.position_m[0, emitter]), axis, height_m


def _spot_variance(world: World, emitter: int, depth_m: Array, focus_m: float) -> Array:
    """Variance of a point's picture along each axis, the emitter's own size left out [px²]."""
    cameras, camera = world.rig.cameras, world.camera
    f_number, pixel_m = cameras.f_number[0, camera], cameras.pixel_m[0, camera]
    circle_px = defocus_circle(cameras.focal_m[0, camera], f_number, focus_m, depth_m) / pixel_m
    wavelength_m = world.rig.emitters.wavelength_m[0, emitter]
    return np.asarray(
        cameras.blur_px[0, camera] ** 2
        + circle_px**2 / 16.0
        + (DIFFRACTION_RADII * wavelength_m * f_number / pixel_m) ** 2
    )


def focus_distance(world: World, view: View) -> float:
    """How far along its axis the camera is focused: at the middle of the surface [m]."""
    middle = np.append(world.size_m / 2.0, 0.0)
    return float(project(view, middle)[1])


def direct_lights(world: World, view: View, emitter: int, tip_m: Array, direction: Array) -> Lights:
    """The emitter itself, as the camera sees it.

    Parameters
    ----------
    world, view
    emitter : int
    tip_m : (N, 2) [m]
    direction : (N, 3)

    Returns
    -------
    Lights
        One for each of the N moments.

    Notes
    -----
    The emitter is a uniform disc, of variance d²/16 along each axis (computed here).
    """
    emitters = world.rig.emitters
    place_m, axis, _ = emitter_place(world, emitter, tip_m, direction)
    px, depth_m = project(view, place_m)
    toward = view.position_m - place_m
    toward = toward / np.linalg.norm(toward, axis=-1, keepdims=True)
    angle = np.arccos(np.clip(np.sum(axis * toward, axis=-1), -1.0, 1.0))
    intensity = emitter_intensity(
        emitters.intensity_w_sr[0, emitter],
        emitters.exponent[0, emitter],
        emitters.side_share[0, emitter],
        emitters.transmission[0, emitter],
        angle,
    )
    if emitters.retro_area_m2[0, emitter] > 0.0:
        intensity = intensity + marker_intensity(world.rig, world.camera, emitter, place_m, axis)
    disc_px = emitters.size_m[0, emitter] * view.K[0, 0] / depth_m
    variance = _spot_variance(world, emitter, depth_m, focus_distance(world, view))
    return Lights(
        px=px,
        cov=(variance + disc_px**2 / 16.0)[..., None, None] * np.eye(2),
        electrons=_received(world, view, emitter, place_m, intensity),
    )


def wall_patches(
    world: World, view: View, emitter: int, tip_m: Array, direction: Array
) -> tuple[Lights, Lights]:
    """What the beam and the side light of an emitter light up on the wall.

    Parameters
    ----------
    world, view
    emitter : int
    tip_m : (N, 2) [m]
    direction : (N, 3)

    Returns
    -------
    beam, side : Lights
        No electrons where the beam does not meet the wall.
    """
    emitters = world.rig.emitters
    place_m, axis, height_m = emitter_place(world, emitter, tip_m, direction)
    above_m = place_m[..., 2] - height_m
    foot = np.concatenate([place_m[..., :2], height_m[..., None]], axis=-1)
    tilt = np.arccos(np.clip(-axis[..., 2], -1.0, 1.0))
    flat = np.linalg.norm(axis[..., :2], axis=-1, keepdims=True)
    along = axis[..., :2] / np.where(flat > 0, flat, 1.0)
    part = (
        emitters.intensity_w_sr[0, emitter],
        emitters.exponent[0, emitter],
        emitters.side_share[0, emitter],
        emitters.transmission[0, emitter],
    )
    reflectance = world.rig.surface.reflectance[0]
    # The patch's centre must be known before the angle at which the camera sees it.
    offset_m = patch_of_lobe(*part, above_m, tilt, reflectance, 0.0).offset_m
    middle = foot.copy()
    middle[..., :2] += np.nan_to_num(offset_m)[..., None] * along
    beam = patch_of_lobe(*part, above_m, tilt, reflectance, _view_angle(view, middle))
    side = patch_of_side_light(*part, above_m, reflectance, _view_angle(view, foot))
    meets = np.isfinite(beam.sigma_m)
    return (
        _patch_lights(
            world,
            view,
            emitter,
            middle,
            np.where(meets, beam.intensity_w_sr, 0.0),
            np.where(meets, beam.sigma_m, 0.0),
        ),
        _patch_lights(world, view, emitter, foot, side.intensity_w_sr, side.sigma_m),
    )


def _view_angle(view: View, points_m: Array) -> Array:
    """Angle between the wall's normal and the way to the camera [rad]."""
    toward = view.position_m - points_m
    cosine = toward[..., 2] / np.linalg.norm(toward, axis=-1)
    return np.asarray(np.arccos(np.clip(cosine, -1.0, 1.0)))


def _patch_lights(
    world: World, view: View, emitter: int, points_m: Array, intensity: Array, sigma_m: Array
) -> Lights:
    px, depth_m = project(view, points_m)
    scale = _scale_at(view, points_m)
    variance = _spot_variance(world, emitter, depth_m, focus_distance(world, view))
    spread = (sigma_m**2)[..., None, None] * (scale @ np.swapaxes(scale, -1, -2))
    return Lights(
        px=px,
        cov=spread + variance[..., None, None] * np.eye(2),
        electrons=_received(world, view, emitter, points_m, intensity),
    )


def background(world: World) -> Array:
    """Electrons that the lit wall leaves in each pixel of the picture: (H, W) [e⁻]."""
    surface, cameras, camera = world.rig.surface, world.rig.cameras, world.camera
    columns, rows = world.size_px
    level = ambient_electrons(
        surface.ambient_w_m2[0],
        surface.reflectance[0],
        cameras.f_number[0, camera],
        cameras.pixel_m[0, camera],
        cameras.transmission[0, camera, 0],
        cameras.exposure_s[0, camera],
        world.rig.emitters.wavelength_m[0, 0],
        cameras.quantum_efficiency[0, camera, 0],
    )
    across = np.arange(columns) / (columns - 1) - 0.5
    profile = level * np.maximum(1.0 + surface.ambient_gradient[0] * across, 0.0)
    return np.broadcast_to(profile, (rows, columns)) + lamp_background(world.rig, world.camera)
