"""Where a camera truly stands, from a light held at named places of the surface.

Before a registration nobody knows what the camera sees. A light held at a corner is known in the
room and seen in the picture; a few of them, with what the plan says of the camera, tell its pose.
The lens is not quite known either, and so its focal length and distortion are found beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from scipy.optimize import least_squares

from rushlight.errors import RushlightError
from rushlight.physics.geometry import (
    flatness_modes,
    ray_on_plane,
    rig_from_camera_looking_at,
    turn_of_camera,
)
from rushlight.physics.geometry.rotation import (
    cross_matrix,
    pose_difference,
    pose_moved,
    rotation_vector_from_matrix,
)
from rushlight.physics.geometry.sight import sight_of
from rushlight.physics.surface_model import bend_amplitudes, edge_to_edge
from rushlight.records.arrays import Array

FEWEST = 3
"""Places that tell a pose, with the plan beside them: six numbers, two a place."""

LEAST_WIDTH = 0.05
"""Places whose spread across their line is less than this share of that along it are on one line
(our own choice)."""

TOO_RARE = 1e-4
"""A misfit that chance makes more rarely than this speaks for a light held elsewhere (our own
choice)."""

_POSE, _FOCAL, _LENS, _BENDS = 6, 1, 5, 7
_COUNT = _POSE + _FOCAL + _LENS + _BENDS
_ROUNDS = 4  # of weighing the places anew where the pose has come to
_SMALL = 1e-6  # of a step by which a slope is told [m, rad]
_UNSEEN_PX = 1e4  # a miss for a place that the pose tried cannot see


@dataclass(frozen=True, eq=False)
class Planned:
    """What is known of a camera before a light is held.

    Attributes
    ----------
    pose
        (4, 4) `rig_from_camera` as planned.
    place_std_m, turn_std_rad
        How far it may stand off that, each axis [m], and be turned, about each axis [rad].
    K, k
        (3, 3) [px] and (5,) of the lens as supposed.
    k_spread
        (5, 5) as `rushlight.physics.surface_model.lens_spread`.
    focal_share
        Standard deviation of the focal length, as a share of it.
    size_m, flatness_rms_m
        (2,) size of the surface, and its root-mean-square departure from a plane [m].
    """

    pose: Array
    place_std_m: float
    turn_std_rad: float
    K: Array
    k: Array
    k_spread: Array
    focal_share: float
    size_m: Array
    flatness_rms_m: float


@dataclass(frozen=True, eq=False)
class Held:
    """A light held still at N places, and where it was seen.

    Attributes
    ----------
    at_m
        (N, 2) where on the surface the lights seem to stand [m].
    at_cov_m2
        (N, 2, 2) how far they may be from there, by hand and by the way of holding [m²].
    px, px_cov
        (N, 2) [px] and (N, 2, 2) [px²] of the dots.
    """

    at_m: Array
    at_cov_m2: Array
    px: Array
    px_cov: Array

    def take(self, which: Array) -> Held:
        """Some of the places."""
        return Held(
            self.at_m[which],
            self.at_cov_m2[which],
            self.px[which],
            self.px_cov[which],
        )


@dataclass(frozen=True, eq=False)
class AimFit:
    """The likeliest pose, and how well it is known.

    Attributes
    ----------
    pose
        (4, 4) `rig_from_camera`.
    cov
        (7, 7) of steps from it as in `pose_moved` [m, rad], and of the focal length as a share.
    K, k
        Of the lens with what was found of it.
    focal_share
        By how much the focal length is greater than supposed, as a share of it.
    missed_px
        (N, 2) dots minus where the fit has them [px], also of places not used.
    used
        (N,) whether the fit rests on a place.
    misfit, freedom
        Sum of squares of dots and plan in their doubts, and its degrees of freedom.
    off_plan
        How far the pose is from the plan in units of the doubt beforehand, root-mean-square [1].
    """

    pose: Array
    cov: Array
    K: Array
    k: Array
    focal_share: float
    missed_px: Array
    used: Array
    misfit: float
    freedom: int
    off_plan: float
    information: Array = field(repr=False)

    @property
    def rare(self) -> bool:
        """Whether chance hardly makes such a misfit."""
        from scipy import stats

        return bool(stats.chi2.sf(self.misfit, self.freedom) < TOO_RARE)


class Step(NamedTuple):
    """A movement of the camera; see `steps_between`.

    Fields
    ------
    kind
        What is moved or turned.
    amount, std
        [m] or [rad].
    """

    kind: str
    amount: float
    std: float


def on_one_line(at_m: Array) -> bool:
    """Whether places (N, 2) [m] lie on one line, or nearly."""
    apart = np.asarray(at_m, float) - np.mean(at_m, axis=0)
    along, across = np.linalg.svd(apart, compute_uv=False)[:2]
    return bool(across <= LEAST_WIDTH * along)


def check_places(names: Sequence[str], at_m: Array) -> None:
    """Refuse places that tell no pose.

    Parameters
    ----------
    names
        (N) of the places.
    at_m
        (N, 2) [m].

    Raises
    ------
    RushlightError
        When they are fewer than three or lie on one line.
    """
    told = ", ".join(names) or "none"
    if len(names) < FEWEST:
        raise RushlightError.of(
            "places held", told, f"are fewer than the {FEWEST} that a pose needs",
            "hold the light at more corners", "aim-few",
        )  # fmt: skip
    if on_one_line(at_m):
        raise RushlightError.of(
            "places held", told, "lie on one line, which leaves a turn of the camera about it open",
            "hold the light at a place aside of that line", "aim-line",
        )  # fmt: skip


def fit_aim(planned: Planned, held: Held) -> AimFit:
    """Which pose of the camera is the likeliest?

    Parameters
    ----------
    planned
        What is known beforehand.
    held
        Three places or more, not on one line; see `check_places`.

    Returns
    -------
    AimFit
        Where one of four places or more cannot belong to the others, without it.

    Notes
    -----
    Source: maximum a posteriori by SciPy's `least_squares` (1.x), its covariance by the inverse
    of the normal matrix; held against OpenCV's `solvePnP` and by Monte Carlo in the tests.
    """
    count = len(held.at_m)
    everything = np.ones(count, bool)
    fit = _fitted(planned, held, everything)
    if count <= FEWEST or not fit.rare:
        return fit
    best = fit
    for index in range(count):
        used = everything.copy()
        used[index] = False
        if on_one_line(held.at_m[used]):
            continue
        without = _fitted(planned, held, used)
        if not without.rare and (best is fit or without.misfit < best.misfit):
            best = without
    return best


def next_place(
    planned: Planned, fit: AimFit | None, held: Held | None, candidates: Held
) -> int | None:
    """At which of some places would a held light tell most of the pose?

    Parameters
    ----------
    planned, fit, held
        What is known until now; `held` without `fit` where it is too little for one.
    candidates
        Of which only places and their doubts count; their `px` are not looked at.

    Returns
    -------
    int or None
        Index of the candidate, by the determinant of the pose's covariance; None where the camera
        would see none.
    """
    pose = planned.pose if fit is None else fit.pose
    information = np.eye(_COUNT) if fit is None else fit.information
    if fit is None and held is not None:
        rows, weight = _rows(planned, planned.pose, np.zeros(_COUNT), held)
        information = information + np.einsum("nia,nij,njb->ab", rows, weight, rows)
    rows, weight = _rows(planned, pose, np.zeros(_COUNT), candidates)
    score = np.full(len(candidates.at_m), np.inf)
    for index, (row, own) in enumerate(zip(rows, weight, strict=True)):
        if np.isfinite(row).all() and np.isfinite(own).all():
            cov = np.linalg.inv(information + row.T @ own @ row)[:_POSE, :_POSE]
            score[index] = np.linalg.slogdet(cov)[1]
    return int(np.argmin(score)) if np.isfinite(score).any() else None


KINDS = ("move-x", "move-y", "move-z", "tilt", "turn", "roll")
"""Movements along the surface's x, y, z, and about the camera's own x, y, z: up, to its right,
and clockwise as seen from behind."""


def looking_at_aim(pose: Array, planned: Array) -> Array:
    """How a camera must be turned where it stands to look at what it should look at.

    Parameters
    ----------
    pose
        (4, 4) of the camera as it stands.
    planned
        (4, 4) as it should stand; whose horizon it then keeps, too.

    Returns
    -------
    (4, 4)
        With the planned turn where the planned camera does not look at the surface.
    """
    aim_m = np.append(ray_on_plane(np.zeros(2), planned), 0.0)
    turned = np.array(pose, float)
    if np.isfinite(aim_m).all():
        roll = turn_of_camera(planned)[2]
        return np.asarray(rig_from_camera_looking_at(pose[:3, 3], aim_m, roll))
    turned[:3, :3] = planned[:3, :3]
    return turned


def steps_between(pose: Array, cov: Array, planned: Array, stay: bool) -> list[Step]:
    """Which movements bring a camera from where it stands to where it should?

    Parameters
    ----------
    pose, cov
        (4, 4) as found, and (6, 6) covariance of steps from it.
    planned
        (4, 4) as it should stand.
    stay
        Whether it only turns where it stands, to look at what it should look at.

    Returns
    -------
    list of Step
        In the order of `KINDS`; their doubts follow from that of the pose to first order.
    """

    def six(here: Array) -> Array:
        there = looking_at_aim(here, planned) if stay else planned
        own = rotation_vector_from_matrix(here[:3, :3].T @ there[:3, :3])
        return np.concatenate([there[:3, 3] - here[:3, 3], own])

    amount = six(pose)
    slope = np.stack(
        [(six(pose_moved(pose, _SMALL * unit)) - amount) / _SMALL for unit in np.eye(_POSE)], axis=1
    )
    std = np.sqrt(np.diag(slope @ cov @ slope.T))
    return [Step(*one) for one in zip(KINDS, amount.tolist(), std.tolist(), strict=True)]


def _lens(planned: Planned, unit: Array) -> tuple[Array, Array]:
    """K and k at a vector of all unknowns, in units of their doubts."""
    K = np.array(planned.K, float)
    K[[0, 1], [0, 1]] *= np.exp(planned.focal_share * unit[_POSE])
    return K, planned.k + planned.k_spread @ unit[_POSE + _FOCAL :][:_LENS]


def _scale(planned: Planned) -> Array:
    return np.repeat([planned.place_std_m, planned.turn_std_rad], 3)


def _bends(planned: Planned, at_m: Array) -> Array:
    """How high the wall stands at places, for each of its bends by its expected amount (N, 7)."""
    modes = flatness_modes(edge_to_edge(at_m, planned.size_m))
    return np.asarray(modes * bend_amplitudes(planned.flatness_rms_m))


def _points(planned: Planned, at_m: Array, unit: Array) -> Array:
    height_m = _bends(planned, at_m) @ unit[-_BENDS:]
    return np.concatenate([at_m, height_m[:, None]], axis=-1)


def _rows(planned: Planned, base: Array, unit: Array, held: Held) -> tuple[Array, Array]:
    """How the dots move with the unknowns (N, 2, 19), and their weight (N, 2, 2) there."""
    scale = _scale(planned)
    K, k = _lens(planned, unit)
    pose = pose_moved(base, scale * unit[:_POSE])
    sight = sight_of(_points(planned, held.at_m, unit), K, k, pose)
    focal = sight.by_lens[..., :2] @ K[[0, 1], [0, 1]] * planned.focal_share
    bends = sight.by_point[..., 2:] @ _bends(planned, held.at_m)[:, None, :]
    lens = sight.by_lens[..., 4:] @ planned.k_spread
    rows = np.concatenate([sight.by_camera * scale, focal[..., None], lens, bends], axis=-1)
    along = sight.by_point[..., :2]
    cov = held.px_cov + along @ held.at_cov_m2 @ np.swapaxes(along, -1, -2)
    weight = np.full(cov.shape, np.nan)
    seen = np.isfinite(cov).all(axis=(-2, -1))
    weight[seen] = np.linalg.inv(cov[seen])
    return rows, weight


def _fitted(planned: Planned, held: Held, used: Array) -> AimFit:
    """The fit to some of the places."""
    some, scale = held.take(used), _scale(planned)
    base, unit = planned.pose, np.zeros(_COUNT)
    for _ in range(_ROUNDS):
        _, weight = _rows(planned, base, unit, some)
        root = np.swapaxes(np.linalg.cholesky(_known(weight)), -1, -2)
        unit = least_squares(
            _misses, unit, _slopes, args=(planned, base, some, root), method="lm"
        ).x
        # The next round counts its steps from here, so that the covariance is about this pose.
        base = pose_moved(base, scale * unit[:_POSE])
        unit = np.concatenate([np.zeros(_POSE), unit[_POSE:]])
    rows, weight = _rows(planned, base, unit, some)
    rows, weight = np.nan_to_num(rows), _known(weight)
    information = np.eye(_COUNT) + np.einsum("nia,nij,njb->ab", rows, weight, rows)
    cov = np.linalg.inv(information)[: _POSE + _FOCAL, : _POSE + _FOCAL]
    doubt = np.append(scale, planned.focal_share)
    K, k = _lens(planned, unit)
    off = pose_difference(base, planned.pose) / scale
    misses = some.px - sight_of(_points(planned, some.at_m, unit), K, k, base).px
    misfit = np.einsum("ni,nij,nj->", misses, weight, misses) + off @ off + unit @ unit
    return AimFit(
        pose=base,
        cov=cov * np.outer(doubt, doubt),
        K=K,
        k=k,
        focal_share=float(np.expm1(planned.focal_share * unit[_POSE])),
        missed_px=held.px - sight_of(_points(planned, held.at_m, unit), K, k, base).px,
        used=used,
        misfit=float(misfit) if np.isfinite(misfit) else float(_UNSEEN_PX),
        freedom=2 * int(used.sum()),
        off_plan=float(np.sqrt(np.mean(off**2))),
        information=information,
    )


def _known(weight: Array) -> Array:
    """Weights, 1 px where the pose tried does not see a place."""
    return np.where(np.isfinite(weight), weight, np.eye(2))


def _misses(unit: Array, planned: Planned, base: Array, held: Held, root: Array) -> Array:
    """Residuals of dots and of all unknowns in units of their doubts."""
    scale = _scale(planned)
    K, k = _lens(planned, unit)
    pose = pose_moved(base, scale * unit[:_POSE])
    px = sight_of(_points(planned, held.at_m, unit), K, k, pose).px
    misses = np.where(np.isfinite(px), held.px - px, _UNSEEN_PX)
    away = pose_difference(pose, planned.pose) / scale
    return np.concatenate([np.einsum("nij,nj->ni", root, misses).ravel(), away, unit[_POSE:]])


def _slopes(unit: Array, planned: Planned, base: Array, held: Held, root: Array) -> Array:
    """Derivatives of `_misses`."""
    scale = _scale(planned)
    rows, _ = _rows(planned, base, unit, held)
    dots = -np.einsum("nij,nja->nia", root, np.nan_to_num(rows)).reshape(-1, _COUNT)
    rest = np.eye(_COUNT)
    off = pose_difference(pose_moved(base, scale * unit[:_POSE]), planned.pose)[3:]
    # Of the logarithm of two rotations after one another (left Jacobian's inverse, to 2nd order).
    across = cross_matrix(off)
    rest[3:_POSE, 3:_POSE] += -0.5 * across + across @ across / 12.0
    return np.concatenate([dots, rest])
