"""The likeliest lens for the corners seen of a flat board, and its covariance.

Unknown are the nine of the lens and, for every view, the six of the board's pose. Corners are
taken to be off by one and the same normal error, so that the likeliest lens is that of least
squares (Gauss–Newton with Levenberg's damping); the poses are eliminated view by view, so that
many views cost little (Schur complement). Method: Zhang, "A flexible new technique for camera
calibration", IEEE Trans. PAMI 22(11), 2000 (from memory); Triggs et al., "Bundle adjustment — a
modern synthesis", 2000 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple, TypeVar

import numpy as np
from scipy.spatial.transform import Rotation

from rushlight.physics.geometry import (
    camera_matrix,
    distort,
    distortion_jacobian,
    distortion_jacobian_wrt_k,
    transform_points,
)
from rushlight.records.arrays import Array

PARAMETERS = ("fx", "fy", "cx", "cy", "k1", "k2", "p1", "p2", "k3")
ALL_FREE = np.eye(9)
SQUARE_PIXELS = np.concatenate([[[1.0], [1.0]] + [[0.0]] * 7, np.eye(9)[:, 2:]], axis=1)
"""Directions in which the lens may change when fx and fy are held equal."""

_STEPS, _AT_REST = 60, 1e-10
_DAMPING_START, _DAMPING_MOST = 1e-6, 1e8


class Corners(NamedTuple):
    """Corners of one board in many views.

    Fields
    ------
    points_m : (N, 3) on the board, z = 0 [m]
    px : (V, N, 2) in the pictures [px]
    size_px : columns and rows of the pictures
    """

    points_m: Array
    px: Array
    size_px: tuple[int, int]

    def take(self, views: Array) -> Corners:
        """Some of the views, by index or by a mask."""
        return self._replace(px=self.px[views])


@dataclass(frozen=True, eq=False)
class LensFit:
    """The likeliest lens.

    Attributes
    ----------
    params
        (9,) fx fy cx cy [px] and k1 k2 p1 p2 k3 [1].
    cov
        (9, 9) their covariance, by the size of the residuals; zero along what was held.
    camera_from_board
        (V, 4, 4) poses of the board.
    residual_px
        (V, N, 2) corner as fitted minus corner as seen [px].
    noise_px
        Standard deviation of a corner along each axis, by the residuals and the number of
        unknowns [px]; NaN where nothing is left over to tell.
    """

    params: Array
    cov: Array
    camera_from_board: Array
    residual_px: Array
    noise_px: float

    @property
    def K(self) -> Array:
        """(3, 3) camera matrix [px]."""
        return matrix_of(self.params)

    @property
    def k(self) -> Array:
        """(5,) k1 k2 p1 p2 k3 [1]."""
        return self.params[4:]

    @property
    def view_rms_px(self) -> Array:
        """(V,) root-mean-square distance of a view's corners from where the fit has them [px]."""
        return np.sqrt(np.mean(np.sum(self.residual_px**2, axis=-1), axis=-1))

    @property
    def rms_px(self) -> float:
        """The same over all views [px]."""
        return float(np.sqrt(np.mean(np.sum(self.residual_px**2, axis=-1))))


def matrix_of(params: Array) -> Array:
    """The camera matrix (3, 3) [px] of lens parameters (9,)."""
    fx, fy, cx, cy = params[:4]
    return camera_matrix(fx, [cx, cy], fy / fx)


def see_board(points_m: Array, params: Array, camera_from_board: Array) -> Array:
    """Where do the corners of a board appear?

    Parameters
    ----------
    points_m
        (N, 3) [m].
    params
        (9,) lens.
    camera_from_board
        (..., 4, 4).

    Returns
    -------
    (..., N, 2)
        [px]; NaN behind the camera.
    """
    seen = transform_points(camera_from_board[..., None, :, :], points_m)
    ahead = np.where(seen[..., 2:] > 0.0, seen[..., 2:], np.nan)
    return distort(seen[..., :2] / ahead, params[4:]) * params[:2] + params[2:4]


def board_jacobians(
    points_m: Array, params: Array, camera_from_board: Array
) -> tuple[Array, Array]:
    """How do the corners move with the lens, and with the board's pose?

    Parameters
    ----------
    points_m
        (N, 3) [m].
    params
        (9,) lens.
    camera_from_board
        (..., 4, 4).

    Returns
    -------
    by_lens : (..., N, 2, 9)
        In the order of `PARAMETERS`.
    by_pose : (..., N, 2, 6)
        By a small turn about the camera's axes [px/rad], after the pose, and a shift [px/m].
    """
    seen = transform_points(camera_from_board[..., None, :, :], points_m)
    by_lens, by_point = point_jacobians(seen, params)
    arm = seen - camera_from_board[..., None, :3, 3]
    return by_lens, np.concatenate([-by_point @ crossing(arm), by_point], axis=-1)


def point_jacobians(seen_m: Array, params: Array) -> tuple[Array, Array]:
    """How does a point's pixel move with the lens (..., 2, 9), and with the point (..., 2, 3)?

    Parameters
    ----------
    seen_m
        (..., 3) in the camera frame [m], z > 0.
    params
        (9,) lens.
    """
    x, y = np.moveaxis(seen_m[..., :2] / seen_m[..., 2:], -1, 0)
    deep = 1.0 / seen_m[..., 2]
    ray = np.stack([x, y], axis=-1)
    bent = distort(ray, params[4:])
    focal = params[:2, None]
    one, none = np.ones_like(x), np.zeros_like(x)
    pinhole = np.stack(
        [
            np.stack([bent[..., 0], none, one, none], axis=-1),
            np.stack([none, bent[..., 1], none, one], axis=-1),
        ],
        axis=-2,
    )
    by_lens = np.concatenate([pinhole, focal * distortion_jacobian_wrt_k(ray)], axis=-1)
    by_point = np.stack(
        [
            np.stack([deep, none, -x * deep], axis=-1),
            np.stack([none, deep, -y * deep], axis=-1),
        ],
        axis=-2,
    )
    return by_lens, focal * (distortion_jacobian(ray, params[4:]) @ by_point)


def moved(camera_from_board: Array, step: Array) -> Array:
    """Poses (..., 4, 4) after a small turn and shift (..., 6), as `board_jacobians` counts them."""
    pose = np.array(camera_from_board)
    turn = Rotation.from_rotvec(step[..., :3].reshape(-1, 3)).as_matrix()
    pose[..., :3, :3] = turn.reshape(*step.shape[:-1], 3, 3) @ pose[..., :3, :3]
    pose[..., :3, 3] += step[..., 3:]
    return pose


def fit_lens(
    corners: Corners, start: LensFit, free: Array = ALL_FREE, own_only: bool = False
) -> LensFit:
    """Which lens and poses are likeliest?

    Parameters
    ----------
    corners
        Of V views.
    start
        Parameters and poses to begin with; the rest is not looked at.
    free
        (9, Q) directions in which the lens may change from the start.
    own_only
        Whether the lens is held altogether and the poses alone are fitted.

    Raises
    ------
    ValueError
        When the views leave the lens undetermined, or the iteration does not settle.
    """
    directions = free[:, :0] if own_only else free

    def linearise(state: LensFit) -> Linear:
        by_lens, by_pose = board_jacobians(corners.points_m, state.params, state.camera_from_board)
        residual = see_board(corners.points_m, state.params, state.camera_from_board) - corners.px
        views = len(residual)
        return Linear(
            residual.reshape(views, -1),
            by_lens.reshape(views, -1, 9) @ directions,
            by_pose.reshape(views, -1, 6),
        )

    def step(state: LensFit, shared: Array, own: Array) -> LensFit:
        return replace(
            state,
            params=state.params + directions @ shared,
            camera_from_board=moved(state.camera_from_board, own),
        )

    best, at = settle(start, linearise, step)
    left, unknown = at.residual.size, directions.shape[1] + 6 * len(corners.px)
    noise = np.sqrt(np.sum(at.residual**2) / (left - unknown)) if left > unknown else np.nan
    cov = directions @ inverse_of(at.information()) @ directions.T * noise**2
    return replace(
        best, cov=cov, residual_px=at.residual.reshape(corners.px.shape), noise_px=float(noise)
    )


class Linear(NamedTuple):
    """A problem about its present state: V groups of M residuals.

    Fields
    ------
    residual : (V, M)
    by_shared : (V, M, S), by the unknowns that all groups share
    by_own : (V, M, O), by those of the group alone
    """

    residual: Array
    by_shared: Array
    by_own: Array

    def blocks(self) -> tuple[Array, Array, Array]:
        """Information (S, S) shared, (V, S, O) between, (V, O, O) own."""
        across = np.swapaxes(self.by_shared, -1, -2)
        return (
            (across @ self.by_shared).sum(axis=0),
            across @ self.by_own,
            np.swapaxes(self.by_own, -1, -2) @ self.by_own,
        )

    def information(self) -> Array:
        """Information (S, S) about what is shared, the groups' own unknowns being unknown."""
        shared, between, own = self.blocks()
        return shared - np.sum(between @ np.linalg.solve(own, np.swapaxes(between, -1, -2)), axis=0)


State = TypeVar("State")


def settle(
    start: State,
    linearise: Callable[[State], Linear],
    step: Callable[[State, Array, Array], State],
) -> tuple[State, Linear]:
    """The state of least squares, and the problem about it.

    Raises
    ------
    ValueError
        When it is undetermined or does not come to rest.
    """
    state, at = start, linearise(start)
    square, damping = np.sum(at.residual**2), _DAMPING_START
    if not np.isfinite(square):
        raise ValueError("the start of the fit lies where the model does not reach")
    for _ in range(_STEPS):
        trial = step(state, *_solve(at, damping))
        there = linearise(trial)
        less = np.sum(there.residual**2)
        if np.isfinite(less) and less <= square:
            fall, state, at, square = square - less, trial, there, less
            damping = max(damping / 10.0, 1e-12)
            if fall <= _AT_REST * square + 1e-24:
                return state, at
        else:
            damping *= 10.0
            if damping > _DAMPING_MOST:
                # Rounding alone forbids a further fall.
                return state, at
    raise ValueError("the views do not settle on a lens")


def _solve(at: Linear, damping: float) -> tuple[Array, Array]:
    """The damped step: (S,) shared and (V, O) own."""
    shared, between, own = at.blocks()
    pull = np.einsum("vms,vm->s", at.by_shared, at.residual)
    own_pull = np.einsum("vmo,vm->vo", at.by_own, at.residual)
    own = own + damping * own * np.eye(own.shape[-1])
    shared = shared + damping * shared * np.eye(shared.shape[-1])
    gain = np.linalg.solve(own, np.swapaxes(between, -1, -2))
    reduced = shared - np.sum(between @ gain, axis=0)
    told = pull - np.einsum("vos,vo->s", gain, own_pull)
    try:
        step = -_solve_scaled(reduced, told)
        rest = -np.linalg.solve(own, (own_pull + np.einsum("vso,s->vo", between, step))[..., None])
    except np.linalg.LinAlgError as error:
        raise ValueError("the views leave the lens undetermined") from error
    return step, rest[..., 0]


def _solve_scaled(matrix: Array, right: Array) -> Array:
    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix), np.finfo(float).tiny))
    return scale * np.linalg.solve(matrix * np.outer(scale, scale), right * scale)


def inverse_of(information: Array) -> Array:
    """The inverse of an information matrix whose unknowns differ much in size.

    Raises
    ------
    ValueError
        When some combination of the unknowns is not determined.
    """
    if information.shape[-1] == 0:
        return information
    size = np.diag(information)
    if not np.all(size > 0.0):
        raise ValueError("the views leave the lens undetermined")
    scale = 1.0 / np.sqrt(size)
    scaled = information * np.outer(scale, scale)
    # Beyond this condition, double precision has lost the weakest combination.
    if np.linalg.cond(scaled) > 1e13:
        raise ValueError("the views leave the lens undetermined")
    return np.linalg.inv(scaled) * np.outer(scale, scale)


def crossing(vectors: Array) -> Array:
    """Matrices (..., 3, 3) that turn w into v × w."""
    x, y, z = np.moveaxis(vectors, -1, 0)
    none = np.zeros_like(x)
    return np.stack(
        [
            np.stack([none, -z, y], axis=-1),
            np.stack([z, none, -x], axis=-1),
            np.stack([-y, x, none], axis=-1),
        ],
        axis=-2,
    )
