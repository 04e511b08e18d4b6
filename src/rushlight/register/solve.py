"""The map that a set of touches tells: likeliest plane, lens and wall, with their covariance.

The estimator is that of `rushlight.physics.surface_model`, by which the plan predicts; here it
is repeated about its own result until it rests, because the true map is not linear.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from rushlight.physics.geometry import (
    fit_homography,
    leave_one_out,
    linear_registration,
    refine_homography,
    undistort_px,
)
from rushlight.physics.surface_map import (
    camera_of_plane_map,
    followed_by,
    map_px,
    surface_from_px,
    surface_px_jacobian,
)
from rushlight.physics.surface_model import (
    FLATNESS,
    LENS,
    PLANE,
    PRIOR_PRECISION,
    bend_amplitudes,
    lens_spread,
    map_design,
)
from rushlight.records.arrays import Array

_STEPS = 25
_AT_REST_M = 1e-7


class Lens(NamedTuple):
    """A camera's lens as it is known before the registration.

    Fields
    ------
    K : (3, 3) [px]
    k, k_std : (5,) [1], coefficients k1 k2 p1 p2 k3 and their standard deviations
    k_corr : (5, 5) [1], correlations of the coefficients off the diagonal, 0 on it
    """

    K: Array
    k: Array
    k_std: Array
    k_corr: Array = np.zeros((5, 5))

    def mirrored(self, columns_px: int) -> Lens:
        """The same lens before a sensor whose picture is turned left to right."""
        K = self.K.copy()
        K[0, :2] = -K[0, :2]
        K[0, 2] = columns_px - 1 - K[0, 2]
        return self._replace(K=K)


class Wall(NamedTuple):
    """The surface as it is known before the registration.

    Fields
    ------
    size_m : (2,) width and height [m]
    flatness_rms_m : root-mean-square departure from a plane [m], > 0 where bends are told
    bends_m, bends_cov_m2 : (7,) amplitudes of the flatness modes as a survey tells them [m], and
        (7, 7) their covariance [m²]; None where nobody surveyed the wall, whose bends are then
        unknown within `bend_amplitudes`
    """

    size_m: Array
    flatness_rms_m: float
    bends_m: Array | None = None
    bends_cov_m2: Array | None = None

    def supposed(self) -> tuple[Array, Array]:
        """The bends before any touch, in units of `bend_amplitudes`.

        Returns
        -------
        mean : (7,)
        spread : (7, 7), with spread spreadᵀ their covariance
        """
        if self.bends_m is None or self.bends_cov_m2 is None:
            return np.zeros(7), np.eye(7)
        amplitudes = bend_amplitudes(self.flatness_rms_m)
        variance, ways = np.linalg.eigh(self.bends_cov_m2)
        spread = ways * np.sqrt(np.maximum(variance, 0.0))
        return self.bends_m / amplitudes, np.asarray(spread / amplitudes[:, None])


@dataclass(frozen=True, eq=False)
class Touches:
    """Beacons and where the camera saw the light held on them.

    Attributes
    ----------
    goal_m
        (T, 2) places of the beacons [m].
    px, px_cov
        (T, 2) [px] and (T, 2, 2) [px²].
    scatter_m
        (T,) how far a touch lies from its beacon, by hand and by the way of holding, one
        standard deviation along each axis [m].
    who
        (T,) number of the stylus that touched, from 0; None where there is one alone.
    """

    goal_m: Array
    px: Array
    px_cov: Array
    scatter_m: Array
    who: Array | None = None

    def __len__(self) -> int:
        return int(self.goal_m.shape[0])

    def take(self, which: Array) -> Touches:
        """Some of them, by index or by a mask."""
        return Touches(
            self.goal_m[which],
            self.px[which],
            self.px_cov[which],
            self.scatter_m[which],
            None if self.who is None else self.who[which],
        )

    def styli(self) -> tuple[Array, int]:
        """(T,) number of the stylus, counted over those that occur; and how many occur."""
        if self.who is None:
            return np.zeros(len(self), int), 1
        names, number = np.unique(self.who, return_inverse=True)
        return number, len(names)


@dataclass(frozen=True, eq=False)
class MapFit:
    """A fitted map.

    Attributes
    ----------
    surface_from_normalised
        (3, 3), from undistorted normalised coordinates to the surface [m].
    k, flatness_m
        (5,) lens coefficients and (7,) amplitudes of the bends, as now estimated [m].
    surface_from_camera
        (4, 4) pose that the map implies, its z told from the plane of the lights.
    estimate, cov
        (20,) and (20, 20) in the units of `physics.surface_model`, whatever a survey told of the
        wall; the plane's eight are 0, because the map already holds them.
    aside_m
        (S, 2) where each stylus's touches lie on average, from the mean of all styli [m].
    residual_m, leave_one_out_m
        (T, 2) where the map puts each touch less its beacon, less `aside_m`; and by a fit
        without it [m].
    residual_cov_m2
        (T, 2, 2) expected covariance of the residuals [m²].
    misfit, freedom
        Least value of the sum of squares in units of its expectation, prior included; its
        degrees of freedom: chi-square if touches, lens and wall are as supposed.
    """

    surface_from_normalised: Array
    k: Array
    flatness_m: Array
    surface_from_camera: Array
    estimate: Array
    cov: Array
    aside_m: Array
    residual_m: Array
    leave_one_out_m: Array
    residual_cov_m2: Array
    misfit: float
    freedom: int

    @property
    def rms_residual_m(self) -> float:
        """Root-mean-square distance of the touches from their beacons [m]."""
        return float(np.sqrt(np.mean(np.sum(self.residual_m**2, axis=-1))))

    @property
    def rms_expected_m(self) -> float:
        """What that distance should be [m]."""
        return float(np.sqrt(np.mean(np.trace(self.residual_cov_m2, axis1=-2, axis2=-1))))

    def map(self, px: Array, lens: Lens, wall: Wall) -> Array:
        """Places (..., 2) [m] of pixels (..., 2) by this map."""
        return surface_from_px(
            px,
            lens.K,
            self.k,
            self.surface_from_normalised,
            self.flatness_m,
            wall.size_m,
            self.surface_from_camera[:3, 3],
        )


def solve_map(touches: Touches, lens: Lens, wall: Wall) -> MapFit:
    """Which map do the touches tell?

    Parameters
    ----------
    touches
        At least four, no three of four on one line.
    lens, wall
        As known beforehand.

    Returns
    -------
    MapFit

    Raises
    ------
    ValueError
        When the touches leave the plane undetermined, or the iteration does not settle.

    Notes
    -----
    Each of several styli is held in its own way, so its light stands its own way aside of the
    tip. The map serves their mean: how far each lies from it is estimated beside the map.

    Where a survey told of the wall, its bends are counted from what it told and in draws of unit
    variance about that, so that they have the prior precision 1 as without it.

    Start: normalised direct linear transform on pixels freed of distortion. Then likeliest
    plane, then Gauss–Newton over plane, lens and bends with their priors. Source: Hartley &
    Zisserman 2004, algorithms 4.2 and 4.3 and appendix 6 (from memory).
    """
    H = _plane(touches, lens, wall)
    spread, bends = lens_spread(lens.k_std, lens.k_corr), bend_amplitudes(wall.flatness_rms_m)
    bends_mean, bends_spread = wall.supposed()
    contrasts = _contrasts(*touches.styli())
    prior = np.concatenate([PRIOR_PRECISION, np.zeros(contrasts.shape[-1])])
    estimate = np.zeros(len(prior))
    before = None
    for _ in range(_STEPS):
        k = lens.k + spread @ estimate[LENS]
        flatness = (bends_mean + bends_spread @ estimate[FLATNESS]) * bends
        pose = camera_of_plane_map(H, wall.size_m)
        place, px_cov_m2 = map_px(
            touches.px, touches.px_cov, lens.K, k, H, flatness, wall.size_m, pose[:3, 3]
        )
        if not np.all(np.isfinite(place)):
            raise ValueError("a touch lies where the lens model does not reach")
        noise = px_cov_m2 + touches.scatter_m[:, None, None] ** 2 * np.eye(2)
        design = map_design(
            place, wall.size_m, lens.K, k, lens.k_std, pose, wall.flatness_rms_m,
            k_corr=lens.k_corr,
        )  # fmt: skip
        design[..., FLATNESS] = design[..., FLATNESS] @ bends_spread
        design = np.concatenate([design, contrasts], axis=-1)
        solved = linear_registration(design, prior, noise)
        apart = place - touches.goal_m
        if before is not None and np.max(np.abs(place - before)) < _AT_REST_M:
            break
        before = place
        # Parameters with a prior are estimated whole, the plane as a change of the map.
        told = apart + design[..., 8:20] @ estimate[8:20]
        found = solved.estimate(told)
        H = followed_by(H, -found[PLANE], wall.size_m)
        estimate = np.concatenate([np.zeros(8), found[8:]])
    else:
        raise ValueError("the registration does not settle: check that the touches are paired")
    aside = estimate[20:].reshape(-1, 2)
    left = apart - contrasts @ estimate[20:]
    # Back to the model's units, in which bends count from a plane.
    units, counted = np.eye(20), estimate[:20].copy()
    units[FLATNESS, FLATNESS] = bends_spread
    counted[FLATNESS] = bends_mean + bends_spread @ estimate[FLATNESS]
    return MapFit(
        surface_from_normalised=H,
        k=k,
        flatness_m=flatness,
        surface_from_camera=pose,
        estimate=counted,
        cov=units @ solved.posterior_cov[:20, :20] @ units.T,
        aside_m=np.concatenate([aside, -aside.sum(axis=0, keepdims=True)]),
        residual_m=left,
        leave_one_out_m=leave_one_out(left, solved.leverage),
        residual_cov_m2=(np.eye(2) - solved.leverage) @ noise,
        misfit=float(
            np.einsum("ti,tij,tj->", left, np.linalg.inv(noise), left)
            + estimate[8:20] @ estimate[8:20]
        ),
        freedom=2 * len(touches) - 8 - contrasts.shape[-1],
    )


def own_misfit(fit: MapFit) -> Array:
    """By how much would the misfit fall if one touch were left out: (T,) chi-square of 2.

    First order; NaN where the fit follows the touch whatever its error.
    """
    spread = fit.residual_cov_m2
    known = np.linalg.det(spread) > 0.0
    inverse = np.linalg.inv(np.where(known[:, None, None], spread, np.eye(2)))
    # The residual's covariance is (1 − h) S, so this is r S⁻¹ (1 − h)⁻¹ r without inverting S.
    fall = np.einsum("ti,tij,tj->t", fit.residual_m, inverse, fit.residual_m)
    return np.where(known, fall, np.nan)


def _contrasts(number: Array, count: int) -> Array:
    """How each touch moves with the styli's ways aside: (T, 2, 2 (S − 1)).

    Two for each stylus but the last, whose way is the opposite of the sum of the others'.
    """
    own = np.eye(count)[:, : count - 1]
    own[-1] = -1.0 if count > 1 else own[-1]
    return np.einsum("ts,ij->tisj", own[number], np.eye(2)).reshape(len(number), 2, -1)


def _plane(touches: Touches, lens: Lens, wall: Wall) -> Array:
    """The likeliest plane map, lens and wall taken as known."""
    normalised = undistort_px(touches.px, lens.K, lens.k)
    H = fit_homography(normalised, touches.goal_m)
    local = surface_px_jacobian(
        touches.px, lens.K, lens.k, H, np.zeros(7), wall.size_m, np.array([0.0, 0.0, 1.0])
    )
    noise = local @ touches.px_cov @ np.swapaxes(local, -1, -2)
    noise = noise + touches.scatter_m[:, None, None] ** 2 * np.eye(2)
    middle, extent = wall.size_m / 2.0, float(wall.size_m.max()) / 2.0
    return refine_homography(normalised, touches.goal_m, noise, middle, extent)[0]
