"""Markers and the wall in the light of the lamps beside the lens, lamp by lamp.

Where a plan takes the ring of lamps as one, every lamp here has its own place, its own way to the
marker and its own angles, and a ball is added up facet by facet: so neither checks itself.
"""

from __future__ import annotations

import numpy as np

from rushlight.physics.filter_band import ANGLES_RAD
from rushlight.physics.geometry import undistort_px
from rushlight.physics.light import ambient_electrons
from rushlight.physics.retro import coefficient_at
from rushlight.records.arrays import Array
from rushlight.records.resolved import ResolvedRig
from rushlight.records.space import ResolvedSpace

_FACETS = (24, 24)
_STEP_PX = 16  # of the coarse picture of the wall's lamplight, which is smooth


def lamps_m(rig: ResolvedRig | ResolvedSpace, camera: int) -> Array:
    """Places (L, 3) [m] of the lamps round a lens, in the rig frame."""
    c = rig.cameras
    count = round(float(c.lamp_count[0, camera]))
    turn = 2.0 * np.pi * np.arange(count) / max(count, 1)
    ring = np.stack([np.cos(turn), np.sin(turn), 0.0 * turn], axis=-1)
    pose = np.asarray(c.rig_from_camera[0, camera])
    return np.asarray(pose[:3, 3] + float(c.lamp_radius_m[0, camera]) * ring @ pose[:3, :3].T)


def _lamplight(
    rig: ResolvedRig | ResolvedSpace, camera: int, points_m: Array
) -> tuple[Array, Array]:
    """Irradiance square on (L, N) [W/m²] by each lamp, and unit ways (L, N, 3) to it."""
    c = rig.cameras
    way = lamps_m(rig, camera)[:, None, :] - points_m
    range_m = np.linalg.norm(way, axis=-1)
    toward = way / range_m[..., None]
    cosine = np.maximum(-toward @ np.asarray(c.rig_from_camera[0, camera])[:3, 2], 0.0)
    one = float(c.lamp_w_sr[0, camera]) / max(float(c.lamp_count[0, camera]), 1.0)
    return one * cosine ** float(c.lamp_exponent[0, camera]) / range_m**2, toward


def marker_intensity(
    rig: ResolvedRig | ResolvedSpace, camera: int, emitter: int, place_m: Array, axis: Array
) -> Array:
    """How strong a marker shines back to the lens.

    Parameters
    ----------
    rig
        A batch of one.
    camera, emitter : int
    place_m, axis : (N, 3) [m], of the marker and the way a disc faces

    Returns
    -------
    (N,) [W/sr]
    """
    e = rig.emitters
    falling, toward = _lamplight(rig, camera, place_m)
    lens = np.asarray(rig.cameras.rig_from_camera[0, camera])[:3, 3] - place_m
    lens = lens / np.linalg.norm(lens, axis=-1, keepdims=True)
    # The sine is taken by the cross product: an arc cosine loses digits at a fraction of a degree.
    observation = np.arcsin(np.linalg.norm(np.cross(toward, lens), axis=-1))
    graded, area = e.retro_cd_lx_m2[0, emitter], float(e.retro_area_m2[0, emitter])
    if e.retro_ball[0, emitter]:
        returned = _ball(graded, observation) * area
    else:
        entrance = np.arccos(np.clip(np.sum(toward * axis, axis=-1), -1.0, 1.0))
        returned = coefficient_at(graded, observation, entrance) * area
    return np.asarray(np.sum(falling * returned, axis=0))


def _ball(graded: Array, observation: Array) -> Array:
    """Coefficient (L, N) per area of outline of a ball, added up over rings of equal outline."""
    rings, steps = _FACETS
    cells = rings * steps
    # Rings of equal outline: sin² β is uniform; a facet of outline dA has a surface dA/cos β.
    beta = np.arcsin(np.sqrt((np.arange(cells) + 0.5) / cells))
    total = np.zeros(observation.shape)
    for angle in beta:
        total += coefficient_at(graded, observation, angle) / np.cos(angle) / cells
    return total


def lamp_background(rig: ResolvedRig, camera: int) -> Array:
    """Electrons (H, W) that the lamps' light leaves by way of the matt wall in one exposure.

    The wall is taken to go on beyond the surface.
    """
    c, s = rig.cameras, rig.surface
    columns, rows = (int(side) for side in c.size_px[0, camera])
    if not c.lamp_count[0, camera]:
        return np.zeros((rows, columns))
    x, y = (np.linspace(0.0, side - 1.0, side // _STEP_PX + 2) for side in (columns, rows))
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    ideal = undistort_px(grid, c.K[0, camera], c.distortion[0, camera])
    pose = np.asarray(c.rig_from_camera[0, camera])
    ray = np.concatenate([ideal, np.ones((len(ideal), 1))], axis=-1) @ pose[:3, :3].T
    with np.errstate(divide="ignore", invalid="ignore"):
        along = np.where(ray[:, 2] < 0.0, -pose[2, 3] / ray[:, 2], np.nan)
    wall = pose[:3, 3] + along[:, None] * ray
    falling, toward = _lamplight(rig, camera, wall)
    irradiance = np.nansum(falling * np.maximum(toward[..., 2], 0.0), axis=0)
    off_axis = np.arccos(np.clip(ray @ pose[:3, 2] / np.linalg.norm(ray, axis=-1), -1.0, 1.0))
    passed = np.interp(np.nan_to_num(off_axis), ANGLES_RAD, c.angle_share[0, camera, 0])
    level = ambient_electrons(
        irradiance * passed,
        s.reflectance[0],
        c.f_number[0, camera],
        c.pixel_m[0, camera],
        c.transmission[0, camera, 0],
        c.exposure_s[0, camera],
        rig.emitters.wavelength_m[0, 0],
        c.quantum_efficiency[0, camera, 0],
    ).reshape(len(y), len(x))
    return _spread(level, x, y, columns, rows)


def _spread(level: Array, x: Array, y: Array, columns: int, rows: int) -> Array:
    """A coarse picture (Y, X) on every pixel, by straight lines."""
    across = np.stack([np.interp(np.arange(columns), x, line) for line in level])
    return np.stack([np.interp(np.arange(rows), y, line) for line in across.T], axis=-1)
