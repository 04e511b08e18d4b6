"""What a camera's picture takes in: share left over, and how deep it is sharp."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.geometry import depth_of_field, hyperfocal, ray_on_plane, undistort_px
from rushlight.plan.light import focus_distance
from rushlight.records.resolved import ResolvedRig

Array = NDArray[Any]

_SAMPLES = (64, 48)


def surface_of_px(resolved: ResolvedRig, camera: int, px: Array) -> Array:
    """Where on the surface's plane (R, N, 2) [m] pixels (N, 2) or (R, N, 2) look; NaN nowhere."""
    c = resolved.cameras
    spread = (slice(None), camera, None)
    normalised = undistort_px(px, c.K[spread], c.distortion[spread])
    return np.asarray(ray_on_plane(normalised, c.rig_from_camera[spread]))


def outline_on_surface(resolved: ResolvedRig, camera: int, points_a_side: int = 16) -> Array:
    """Edge (R, N, 2) [m] of the picture on the surface's plane, once round from the top left."""
    size = resolved.cameras.size_px[0, camera]
    t = np.arange(points_a_side) / points_a_side
    zero, one = np.zeros_like(t), np.ones_like(t)
    sides = [(t, zero), (one, t), (1.0 - t, one), (zero, 1.0 - t)]
    share = np.concatenate([np.stack(side, axis=-1) for side in sides])
    return surface_of_px(resolved, camera, share * size - 0.5)


def view_left(resolved: ResolvedRig, camera: int) -> Array:
    """Which share (R,) of the picture shows something else than the surface."""
    across, down = (np.arange(count) + 0.5 for count in _SAMPLES)
    share = np.stack(np.meshgrid(across / _SAMPLES[0], down / _SAMPLES[1]), axis=-1).reshape(-1, 2)
    size = resolved.cameras.size_px[:, camera, None, :]
    place = surface_of_px(resolved, camera, share * size - 0.5)
    edge = resolved.surface.size_m[:, None, :]
    with np.errstate(invalid="ignore"):
        on = np.all((place >= 0.0) & (place <= edge), axis=-1)
    return np.asarray(1.0 - on.mean(axis=-1))


def sharp_between(resolved: ResolvedRig, camera: int) -> tuple[Array, Array]:
    """From and to which distance (R,) [m] a point's blur circle stays within one pixel.

    The camera is taken as focused on the middle of the surface.
    """
    c = resolved.cameras
    focal = c.focal_m[:, camera]
    far_focus = hyperfocal(focal, c.f_number[:, camera], c.pixel_m[:, camera])
    return depth_of_field(far_focus, focal, focus_distance(resolved, camera))
