"""Where a light in space appears in a camera's picture, how wide, and with how many electrons.

Only the lights themselves are drawn: what they light up in the room is left out. The projection
is the simulator's own, so that a registration is never judged by its own formulas.
"""

from __future__ import annotations

from typing import Any

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
from rushlight.records.arrays import Array
from rushlight.simulate.optics import DIFFRACTION_RADII, Lights, View, project
from rushlight.simulate.retro import marker_intensity
from rushlight.simulate.space_world import SpaceWorld


def space_view(world: SpaceWorld, camera: int) -> View:
    """One camera of a world as it is, ready to project."""
    pose = world.rig_from_camera[camera]
    return View(
        K=world.K[camera],
        lens=world.k[camera],
        camera_from_rig=invert_transform(pose),
        position_m=pose[:3, 3],
        forward=pose[:3, 2],
        limit=float(distortion_limit(world.k[camera])),
    )


def lights_in_space(
    world: SpaceWorld, view: View, camera: int, light: int, place_m: Array, axis: Array
) -> Lights:
    """One light as a camera sees it at N moments.

    Parameters
    ----------
    world, view
        The rig, and `space_view` of the camera.
    camera, light : int
    place_m : (N, 3) [m]
        In the rig.
    axis : (N, 3)
        Which way it shines, unit vectors.

    Returns
    -------
    Lights
        NaN places where the camera cannot see it.
    """
    cameras, emitters = world.space.cameras, world.space.emitters
    px, depth_m = project(view, place_m)
    toward = view.position_m - place_m
    range_m = np.linalg.norm(toward, axis=-1)
    cosine = np.sum(axis * toward, axis=-1) / range_m
    intensity = emitter_intensity(
        emitters.intensity_w_sr[0, light],
        emitters.exponent[0, light],
        emitters.side_share[0, light],
        emitters.transmission[0, light],
        np.arccos(np.clip(cosine, -1.0, 1.0)),
    )
    if emitters.retro_area_m2[0, light] > 0.0:
        intensity = intensity + marker_intensity(world.space, camera, light, place_m, axis)
    off_axis = np.arccos(np.clip(-toward @ view.forward / range_m, -1.0, 1.0))
    passed = np.interp(off_axis, ANGLES_RAD, cameras.angle_share[0, camera, light])
    left = electrons(
        irradiance_at_lens(intensity, range_m, off_axis) * passed,
        pupil_area(cameras.focal_m[0, camera], cameras.f_number[0, camera]),
        cameras.transmission[0, camera, light],
        cameras.exposure_s[0, camera],
        emitters.wavelength_m[0, light],
        cameras.quantum_efficiency[0, camera, light],
    )
    f_number, pixel_m = cameras.f_number[0, camera], cameras.pixel_m[0, camera]
    depth = np.where(depth_m > 0.0, depth_m, np.nan)
    circle_px = (
        defocus_circle(cameras.focal_m[0, camera], f_number, world.space.focus_m[camera], depth)
        / pixel_m
    )
    # A uniform disc of diameter d has variance d²/16 along each axis (computed here).
    disc_px = emitters.size_m[0, light] * view.K[0, 0] / depth
    diffraction_px = DIFFRACTION_RADII * emitters.wavelength_m[0, light] * f_number / pixel_m
    variance = (
        cameras.blur_px[0, camera] ** 2
        + (circle_px**2 + disc_px**2) / 16.0
        + float(diffraction_px) ** 2
    )
    return Lights(px=px, cov=variance[..., None, None] * np.eye(2), electrons=np.asarray(left))


def space_background(world: SpaceWorld, camera: int) -> Array:
    """Electrons that the room leaves in each pixel of a camera's picture: (H, W) [e⁻]."""
    space, cameras = world.space, world.space.cameras
    columns, rows = world.size_px(camera)
    level: Any = ambient_electrons(
        space.ambient_w_m2,
        space.reflectance,
        cameras.f_number[0, camera],
        cameras.pixel_m[0, camera],
        cameras.transmission[0, camera, 0],
        cameras.exposure_s[0, camera],
        space.emitters.wavelength_m[0, 0],
        cameras.quantum_efficiency[0, camera, 0],
    )
    return np.full((rows, columns), float(level))
