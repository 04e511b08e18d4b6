"""What a small turn and shift of a camera does to the places that it sees on the surface.

Where a camera only turns about its lens, dots go from home by K R K⁻¹ whatever their depth. Shifts
move near things more than far ones: the touched places are taken to lie on the surface.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rushlight.errors import Finding
from rushlight.physics.geometry.lens import distortion_jacobian
from rushlight.physics.geometry.pinhole import px_from_normalised, undistort_px
from rushlight.records.arrays import Array


@dataclass(frozen=True, eq=False)
class View:
    """How the camera saw when it was registered.

    Attributes
    ----------
    K, distortion
        (3, 3) [px] and (5,).
    surface_from_camera
        (4, 4).
    """

    K: Array
    distortion: Array
    surface_from_camera: Array

    def px(self, places_m: Array) -> Array:
        """Pixels (..., 2) of places (..., 3) in the camera's frame [m]."""
        return np.asarray(
            px_from_normalised(places_m[..., :2] / places_m[..., 2:], self.K, self.distortion)
        )

    def on_surface(self, xy_px: Array, turn: Array, shift_m: Array) -> Array:
        """Places (N, 3) on the surface [m], in the frame of the camera at home.

        Parameters
        ----------
        xy_px
            (N, 2) where the camera sees them now [px].
        turn, shift_m
            (3, 3) and (3,) [m] from its frame at home to the one now.
        """
        ray = np.ones((len(xy_px), 3))
        ray[:, :2] = undistort_px(xy_px, self.K, self.distortion)
        ray = ray @ turn
        back_m = shift_m @ turn
        normal = self.surface_from_camera[2, :3]
        depth = (normal @ back_m - self.surface_from_camera[2, 3]) / (ray @ normal)
        return np.asarray(depth[:, None] * ray - back_m)

    def change(self, places_m: Array) -> Array:
        """How pixels (..., 2) of places in the camera's frame change with turn and shift.

        Parameters
        ----------
        places_m
            (..., 3) in the camera's frame [m].

        Returns
        -------
        Array
            (..., 2, 6) [px/rad] and [px/m].
        """
        x, y, z = places_m[..., 0], places_m[..., 1], places_m[..., 2]
        normalised = places_m[..., :2] / places_m[..., 2:]
        flat = np.zeros((*x.shape, 2, 3))
        flat[..., 0, 0] = flat[..., 1, 1] = 1.0 / z
        flat[..., 0, 2], flat[..., 1, 2] = -normalised[..., 0] / z, -normalised[..., 1] / z
        motion = np.zeros((*x.shape, 3, 6))
        # A turn w moves a place p by w × p.
        motion[..., 0, 1], motion[..., 0, 2] = z, -y
        motion[..., 1, 0], motion[..., 1, 2] = -z, x
        motion[..., 2, 0], motion[..., 2, 1] = y, -x
        motion[..., 0, 3] = motion[..., 1, 4] = motion[..., 2, 5] = 1.0
        lens = self.K[:2, :2] @ distortion_jacobian(normalised, self.distortion)
        return np.asarray(lens @ flat @ motion)


def rotation(vector: Array) -> Array:
    """The rotation (3, 3) about a vector (3,) by its length [rad].

    Notes
    -----
    Source: Rodrigues 1840 (from memory).
    """
    x, y, z = vector
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    angle = math.sqrt(x * x + y * y + z * z)
    first = math.sin(angle) / angle if angle > 1e-8 else 1.0
    second = (1.0 - math.cos(angle)) / angle**2 if angle > 1e-4 else 0.5
    return np.asarray(np.eye(3) + first * cross + second * (cross @ cross))


@dataclass(frozen=True, eq=False)
class Shake:
    """How the camera stood in one frame, by its anchors.

    Attributes
    ----------
    view
        How it saw at home.
    pose
        (6,) turn [rad] and shift [m] from its frame at home to the one now.
    cov
        (6, 6).
    dot
        (A,) the dot of each anchor, −1 for one that is not seen.
    others
        (N,) which dots are no anchor's.
    known
        Whether at least one anchor's home is known; before that nothing is taken off.
    findings
        What the user should know, each told once.
    """

    view: View
    pose: Array
    cov: Array
    dot: Array
    others: Array
    known: bool
    findings: tuple[Finding, ...] = ()

    def steady(self, xy_px: Array, cov_px2: Array) -> tuple[Array, Array]:
        """Where the camera at home would have seen what it saw on the surface.

        Parameters
        ----------
        xy_px
            (N, 2) [px].
        cov_px2
            (N, 2, 2) [px²].

        Returns
        -------
        xy_px
            (N, 2); NaN where no such place is before the camera.
        cov_px2
            With the doubt of turn and shift added.
        """
        if not self.known:
            return xy_px, cov_px2
        places_m = self.view.on_surface(xy_px, rotation(self.pose[:3]), self.pose[3:])
        slope = self.view.change(places_m)
        return self.view.px(places_m), cov_px2 + slope @ self.cov @ np.swapaxes(slope, -1, -2)
