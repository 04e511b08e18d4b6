"""The error budget: which cause displaces a touch by how much, at every place.

The registration that is predicted is the one that is later computed: the same design, prior and
supposed touch noise. All is first order about the rig as planned.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.geometry import linear_registration
from rushlight.physics.geometry.registration import LinearRegistration
from rushlight.physics.stylus import mean_direction, turned_onto
from rushlight.physics.surface_model import FLATNESS, LENS, PRIOR_PRECISION, map_design
from rushlight.physics.touch import over_ways, touch_scatter_m
from rushlight.plan.light import DotField
from rushlight.records.figure import ERROR_CAUSES
from rushlight.records.resolved import ResolvedRig

Array = NDArray[Any]

DWELL_S = 0.6
"""How long a beacon is held during registration (our own choice)."""
LEAST_BEACONS = 6
"""Fewer cannot tell a bad touch from a good one; see the registration's own verdict."""
UNSEEN_VARIANCE_M2 = 1.0  # an unseen touch tells nothing next to millimetres


@dataclass(frozen=True)
class ErrorField:
    """How far touches are displaced; axes R rigs, E emitters, G places, T touches.

    Attributes
    ----------
    variance_m2
        Cause to (R, E, G): expected square of the displacement by that cause alone.
    cov_m2
        Cause to (R, E, G, 2, 2), for the causes that differ from fix to fix: centre, tip, pixel.
    bias_m
        (R, E, G, 2) mean displacement by the tip's offset that the registration leaves over.
    design_at, design_touches
        (R, G, 2, 20) and (R, T, 2, 20).
    solved
        The estimator.
    touch_cov_m2
        (R, T, 2, 2) true covariance of each touch.
    seen_touches
        (R, T) which touches the camera sees, and gets any light from.
    """

    variance_m2: dict[str, Array]
    cov_m2: dict[str, Array]
    bias_m: Array
    design_at: Array
    design_touches: Array
    solved: LinearRegistration
    touch_cov_m2: Array
    seen_touches: Array

    def rms_m(self, cause: str) -> Array:
        """Root-mean-square displacement (R, E, G) [m] by a cause, or by "all"."""
        if cause == "all":
            return np.sqrt(sum(self.variance_m2[one] for one in ERROR_CAUSES))
        return np.sqrt(self.variance_m2[cause])


def mean_height(resolved: ResolvedRig, registering: tuple[int, ...]) -> Array:
    """Height (R,) [m] above the wall at which the registering emitters stand on average."""
    e = resolved.emitters
    arm = turned_onto(mean_direction(e.tilt_rad, e.lean_rad, e.lean_std_rad), e.position_m)
    return np.asarray(arm[:, list(registering), 2].mean(axis=1))


def design_of(resolved: ResolvedRig, camera: int, places_m: Array, height_m: Array) -> Array:
    """The design (R, G, 2, 20) of places (R, G, 2) seen by a camera."""
    c, s = resolved.cameras, resolved.surface
    return map_design(
        places_m,
        s.size_m,
        c.K[:, camera],
        c.distortion[:, camera],
        c.distortion_std[:, camera],
        c.rig_from_camera[:, camera],
        s.flatness_m,
        height_m,
        c.distortion_corr[:, camera],
    )


def error_field(
    resolved: ResolvedRig,
    camera: int,
    places_m: Array,
    beacons_m: Array,
    dot: DotField,
    weights: Array,
    surface_from_px: Array,
    seen: Array,
    registering: tuple[int, ...],
) -> ErrorField:
    """The error budget of one camera.

    Parameters
    ----------
    resolved, camera
        The rigs (R) and which of their cameras.
    places_m, beacons_m
        (R, G, 2) and (R, B, 2) [m].
    dot, surface_from_px, seen
        For the places, then the beacons, then the middle of the surface: fields
        (R, E, G + B + 1, ...), the local map (R, E or 1, G + B + 1, 2, 2) [m/px], and whether
        the light is in view and not hidden.
    weights
        (N,) of the ways of holding.
    registering
        Indices of the emitters that touch every beacon once each.
    """
    count, beacons = places_m.shape[1], beacons_m.shape[1]
    offset = over_ways(dot.apparent_m, weights)
    centre = surface_from_px @ dot.centre_cov_px2 @ np.swapaxes(surface_from_px, -1, -2)
    height = mean_height(resolved, registering)
    at = design_of(resolved, camera, places_m, height)
    rows = design_of(resolved, camera, beacons_m, height)

    chosen = list(registering)
    frames = np.maximum(np.floor(DWELL_S * resolved.cameras.frame_rate_hz[:, camera]), 1.0)
    touch_std = resolved.emitters.touch_std_m[:, chosen]
    touched = slice(count, count + beacons)
    # Of a resting dot's error, a part of what compression adds is the same in every frame.
    square = resolved.cameras.stream_stays[:, camera, None, None] * dot.stream_px**2
    stays = square[..., None, None] * (surface_from_px @ np.swapaxes(surface_from_px, -1, -2))
    varies = (centre - stays)[:, chosen, touched] / frames[:, None, None, None, None]
    read_out = varies + stays[:, chosen, touched]
    supposed_m = touch_scatter_m(touch_std, offset.cov_m2[:, chosen, -1])
    eye = np.eye(2)
    supposed = (supposed_m**2)[..., None, None, None] * eye + read_out
    true = (
        (touch_std**2)[..., None, None, None] * eye + offset.cov_m2[:, chosen, touched] + read_out
    )

    touches = len(chosen) * beacons
    supposed, true = _flat(supposed, touches), _flat(true, touches)
    # A light that sends the camera nothing is nowhere: the touch is as good as out of view.
    located = np.isfinite(supposed).all(axis=(-2, -1)) & np.isfinite(true).all(axis=(-2, -1))
    visible = seen[:, chosen, touched].reshape(-1, touches) & located
    design = np.nan_to_num(np.tile(rows, (1, len(chosen), 1, 1)))
    unseen = ~visible[..., None, None]
    supposed = np.where(unseen, UNSEEN_VARIANCE_M2 * eye, supposed)
    true = np.where(unseen, 0.0, true)
    mean = np.where(
        visible[..., None], np.nan_to_num(_flat(offset.mean_m[:, chosen, touched], touches)), 0.0
    )
    solved = linear_registration(design, PRIOR_PRECISION, supposed)

    carried_over = solved.transferred_error(at, mean)
    bias = offset.mean_m[:, :, :count] - carried_over[:, None]
    registerable = (visible.sum(axis=-1) >= LEAST_BEACONS)[:, None, None]
    pitch = resolved.surface.size_m / resolved.surface.display_px
    pixel = np.zeros((*dot.sigma_px[:, :, :count].shape, 2, 2))
    pixel[..., 0, 0] = (pitch[:, 0] ** 2 / 12.0)[:, None, None]
    pixel[..., 1, 1] = (pitch[:, 1] ** 2 / 12.0)[:, None, None]
    cov = {"centre": centre[:, :, :count], "tip": offset.cov_m2[:, :, :count], "pixel": pixel}
    shared = {
        "registration": solved.noise_part(at, true),
        "lens": solved.prior_part(at, LENS),
        "flatness": solved.prior_part(at, FLATNESS),
    }
    variance = {name: _trace(value) for name, value in cov.items()}
    variance["tip"] = variance["tip"] + np.sum(bias**2, axis=-1)
    shape = variance["tip"].shape
    variance |= {name: np.broadcast_to(_trace(v)[:, None], shape) for name, v in shared.items()}
    variance = {name: np.where(registerable, value, np.nan) for name, value in variance.items()}
    return ErrorField(variance, cov, bias, at, design, solved, true, visible)


def _trace(matrix: Array) -> Array:
    return np.asarray(matrix[..., 0, 0] + matrix[..., 1, 1])


def _flat(value: Array, touches: int) -> Array:
    """(R, S, B, ...) as (R, S × B, ...)."""
    return value.reshape(value.shape[0], touches, *value.shape[3:])
