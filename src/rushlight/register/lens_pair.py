"""Two cameras that see one board: both lenses and how they stand to one another, at once."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.transform import Rotation

from rushlight.physics.geometry import invert_transform, transform_points
from rushlight.records.arrays import Array
from rushlight.register.lens_fit import (
    ALL_FREE,
    Corners,
    LensFit,
    Linear,
    board_jacobians,
    crossing,
    inverse_of,
    moved,
    point_jacobians,
    see_board,
    settle,
)


@dataclass(frozen=True, eq=False)
class PairFit:
    """Two cameras as the boards tell them.

    Attributes
    ----------
    one, other
        (9,) lens parameters of each, in the order of `lens_fit.PARAMETERS`.
    other_from_one
        (4, 4) from the first camera's frame to the second's [m].
    cov
        (24, 24) covariance: lens of the one (9), of the other (9), turn (3) [rad] about the other
        camera's axes after `other_from_one`, shift (3) [m].
    camera_from_board
        (V, 4, 4) poses of the boards before the first camera.
    residual_px
        (2, V, N, 2) corners as fitted minus as seen [px].
    noise_px
        Standard deviation of a corner along each axis [px].
    """

    one: Array
    other: Array
    other_from_one: Array
    cov: Array
    camera_from_board: Array
    residual_px: Array
    noise_px: float

    @property
    def shift_m(self) -> Array:
        """(3,) the first camera's place in the second's frame [m]."""
        return self.other_from_one[:3, 3]

    @property
    def turn_rad(self) -> Array:
        """(3,) rotation vector from the first camera's frame to the second's [rad]."""
        return Rotation.from_matrix(self.other_from_one[:3, :3]).as_rotvec()

    @property
    def shift_std_m(self) -> Array:
        """(3,) standard deviations of the shift [m]."""
        return np.sqrt(np.diag(self.cov)[21:])

    @property
    def turn_std_rad(self) -> Array:
        """(3,) standard deviations of the turn about the other camera's axes [rad]."""
        return np.sqrt(np.diag(self.cov)[18:21])

    @property
    def rms_px(self) -> float:
        """Root-mean-square distance of the corners from where the fit has them [px]."""
        return float(np.sqrt(np.mean(np.sum(self.residual_px**2, axis=-1))))


def fit_pair(
    one: Corners,
    other: Corners,
    start_one: LensFit,
    start_other: LensFit,
    free: Array = ALL_FREE,
) -> PairFit:
    """Which two lenses, standing how, are likeliest?

    Parameters
    ----------
    one, other
        Corners of the same boards, view by view, as each camera saw them at one moment.
    start_one, start_other
        Each camera's own fit of these views.
    free
        (9, Q) directions in which each lens may change from its start.

    Returns
    -------
    PairFit
        Distances are as true as the board's squares.

    Raises
    ------
    ValueError
        When the views do not pair, or leave something undetermined.

    Notes
    -----
    Least squares over both lenses (Gauss–Newton), as `fit_lens`; the corners of both cameras are
    taken to be equally uncertain.
    """
    if one.px.shape != other.px.shape:
        raise ValueError(
            f"expected paired views of one shape, got {one.px.shape}, {other.px.shape}"
        )
    many = free.shape[1]
    points = one.points_m

    def linearise(state: PairFit) -> Linear:
        by_one, by_board = board_jacobians(points, state.one, state.camera_from_board)
        seen = transform_points(state.camera_from_board[:, None], points)
        beyond = transform_points(state.other_from_one, seen)
        by_other, by_point = point_jacobians(beyond, state.other)
        by_place = np.concatenate([-by_point @ crossing(beyond - state.shift_m), by_point], axis=-1)
        arm = seen - state.camera_from_board[:, None, :3, 3]
        by_seen = by_point @ state.other_from_one[:3, :3]
        by_own = np.concatenate([-by_seen @ crossing(arm), by_seen], axis=-1)
        none = np.zeros((*by_one.shape[:-1], many))
        shared_one = np.concatenate([by_one @ free, none, np.zeros_like(by_place)], axis=-1)
        shared_other = np.concatenate([none, by_other @ free, by_place], axis=-1)
        views = len(by_one)
        joined = [
            np.stack(pair, axis=1).reshape(views, -1, width)
            for pair, width in (
                ((shared_one, shared_other), 2 * many + 6),
                ((by_board, by_own), 6),
            )
        ]
        return Linear(np.stack(_misses(state, one, other), axis=1).reshape(views, -1), *joined)

    def step(state: PairFit, shared: Array, own: Array) -> PairFit:
        return replace(
            state,
            one=state.one + free @ shared[:many],
            other=state.other + free @ shared[many : 2 * many],
            other_from_one=moved(state.other_from_one, shared[2 * many :]),
            camera_from_board=moved(state.camera_from_board, own),
        )

    best, at = settle(_start(start_one, start_other), linearise, step)
    spare = at.residual.size - 2 * many - 6 - 6 * len(one.px)
    noise = float(np.sqrt(np.sum(at.residual**2) / spare)) if spare > 0 else np.nan
    spread = np.zeros((24, 2 * many + 6))
    spread[:9, :many], spread[9:18, many : 2 * many] = free, free
    spread[18:, 2 * many :] = np.eye(6)
    cov = spread @ inverse_of(at.information()) @ spread.T * noise**2
    return replace(best, cov=cov, noise_px=noise, residual_px=np.stack(_misses(best, one, other)))


def _misses(state: PairFit, one: Corners, other: Corners) -> tuple[Array, Array]:
    return (
        see_board(one.points_m, state.one, state.camera_from_board) - one.px,
        see_board(one.points_m, state.other, state.other_from_one @ state.camera_from_board)
        - other.px,
    )


def _start(one: LensFit, other: LensFit) -> PairFit:
    """The middle of what the views tell one by one."""
    each = other.camera_from_board @ invert_transform(one.camera_from_board)
    between = np.eye(4)
    between[:3, :3] = Rotation.from_matrix(each[:, :3, :3]).mean().as_matrix()
    between[:3, 3] = np.median(each[:, :3, 3], axis=0)
    return PairFit(
        one.params, other.params, between, np.zeros((24, 24)), one.camera_from_board,
        np.zeros((2, *one.residual_px.shape)), np.nan,
    )  # fmt: skip
