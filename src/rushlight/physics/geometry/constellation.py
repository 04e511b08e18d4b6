"""How well the lights of a rigid thing tell its pose: how flat they lie, and what looks alike."""

from __future__ import annotations

import itertools
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from rushlight.physics.geometry.shapes import FloatArray, trailing


class Shape(NamedTuple):
    """How far lights spread about their middle [m], root-mean-square.

    Fields
    ------
    size_m : (...) in all directions together
    width_m : (...) from the straight line that fits them best; 0 when they lie on one
    depth_m : (...) from the plane that fits them best; 0 when they lie in one
    """

    size_m: FloatArray
    width_m: FloatArray
    depth_m: FloatArray


class Twin(NamedTuple):
    """The exchange of names by which a constellation looks most like itself after a turn.

    Fields
    ------
    order : tuple of int
        Light ``order[i]`` then stands where light ``i`` stood.
    misfit_m : float
        What remains between the two, root-mean-square [m]; 0 for a symmetric constellation.
    angle_rad : float
        Of the turn [rad], 0 to π.
    """

    order: tuple[int, ...]
    misfit_m: float
    angle_rad: float


def constellation_shape(lights_m: ArrayLike) -> Shape:
    """How large, wide and deep is a constellation?

    Parameters
    ----------
    lights_m : array_like, shape (..., L, 3) [m]

    Returns
    -------
    Shape

    Raises
    ------
    ValueError
        If the last axis is not 3 long.

    Notes
    -----
    Source: principal components of the places (singular values).

    Examples
    --------
    >>> square = [[1.0, 0, 0], [0, 1.0, 0], [-1.0, 0, 0], [0, -1.0, 0]]
    >>> [round(float(v), 6) for v in constellation_shape(square)]
    [1.0, 0.707107, 0.0]
    """
    lights = trailing(lights_m, (None, 3), "lights_m")
    apart = lights - lights.mean(axis=-2, keepdims=True)
    variances = np.linalg.eigvalsh(np.swapaxes(apart, -1, -2) @ apart) / lights.shape[-2]
    kept = np.maximum(variances, 0.0)
    return Shape(
        np.sqrt(kept.sum(axis=-1)), np.sqrt(kept[..., :2].sum(axis=-1)), np.sqrt(kept[..., 0])
    )


def turned_together(from_m: ArrayLike, to_m: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Which turn about their middles takes one set of points best onto another?

    Parameters
    ----------
    from_m, to_m : array_like, shape (..., L, 3)

    Returns
    -------
    rotation : ndarray, shape (..., 3, 3)
    misfit_m : ndarray, shape (...)
        Root-mean-square distance that remains.

    Raises
    ------
    ValueError
        If the last axis is not 3 long.

    Notes
    -----
    Source: Arun, Huang & Blostein 1987 with Umeyama's sign (1991); from memory.

    Examples
    --------
    >>> rotation, misfit = turned_together(np.eye(3), np.eye(3)[[1, 2, 0]])
    >>> round(float(misfit), 12), (rotation.round(12) + 0.0).tolist()[0]
    (0.0, [0.0, 0.0, 1.0])
    """
    start, end = trailing(from_m, (None, 3), "from_m"), trailing(to_m, (None, 3), "to_m")
    start = start - start.mean(axis=-2, keepdims=True)
    end = end - end.mean(axis=-2, keepdims=True)
    left, _, right = np.linalg.svd(np.swapaxes(end, -1, -2) @ start)
    sign = np.ones((*left.shape[:-2], 3))
    sign[..., 2] = np.sign(np.linalg.det(left @ right))
    rotation = (left * sign[..., None, :]) @ right
    apart = end - start @ np.swapaxes(rotation, -1, -2)
    return np.asarray(rotation), np.sqrt(np.mean(np.sum(apart**2, axis=-1), axis=-1))


def nearest_twin(lights_m: ArrayLike, greatest_angle_rad: float = np.pi) -> Twin | None:
    """After which exchange of names and turn does a constellation look most like itself?

    Parameters
    ----------
    lights_m : array_like, shape (L, 3) [m]
        Three lights at least.
    greatest_angle_rad : float
        Turns beyond it are left out, since facing tells them apart [rad].

    Returns
    -------
    Twin or None
        None when every exchange needs a larger turn.

    Raises
    ------
    ValueError
        If the shape is not (L, 3) with L ≥ 3.

    Notes
    -----
    Every ordered triple of lights is laid on the three that lie farthest apart, the others are
    named by the nearest place, and the whole is turned onto itself anew.

    Examples
    --------
    >>> square = [[1.0, 0, 0], [0, 1.0, 0], [-1.0, 0, 0], [0, -1.0, 0]]
    >>> twin = nearest_twin(square)
    >>> round(twin.misfit_m, 9), round(twin.angle_rad, 3)
    (0.0, 1.571)
    """
    lights = trailing(lights_m, (None, 3), "lights_m")
    if lights.ndim != 2 or len(lights) < 3:
        raise ValueError(f"expected lights_m of shape (L, 3) with L >= 3, got {lights.shape}")
    count = len(lights)
    triples = np.array(list(itertools.permutations(range(count), 3)))
    sides = lights[triples]
    areas = np.linalg.norm(np.cross(sides[:, 1] - sides[:, 0], sides[:, 2] - sides[:, 0]), axis=-1)
    base = triples[np.argmax(areas)]
    rotation, _ = turned_together(lights[triples], lights[base])
    moved = np.einsum(
        "tij,tlj->tli", rotation, lights[None] - lights[triples].mean(axis=1)[:, None]
    ) + lights[base].mean(axis=0)
    gaps = np.linalg.norm(moved[:, :, None] - lights[None, None], axis=-1)
    nearest = gaps.argmin(axis=1)  # (T, L): which light comes to stand on each place
    orders = {tuple(int(i) for i in row) for row in nearest if len(set(row)) == count}
    found = []
    for order in sorted(orders - {tuple(range(count))}):
        turn, misfit = turned_together(lights[list(order)], lights)
        angle = float(np.arccos(np.clip((np.trace(turn) - 1.0) / 2.0, -1.0, 1.0)))
        if angle <= greatest_angle_rad + 1e-9:
            found.append(Twin(order, float(misfit), angle))
    # Of equally good ones the smallest turn: facing excludes it last.
    return min(found, key=lambda twin: (round(twin.misfit_m, 9), twin.angle_rad), default=None)
