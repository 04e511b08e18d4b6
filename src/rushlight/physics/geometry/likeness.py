"""Which constellations of lights look alike, and how one must stand to be taken for another."""

from __future__ import annotations

import itertools
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from rushlight.physics.geometry.constellation import constellation_shape, turned_together
from rushlight.physics.geometry.rotation import matrix_from_rotation_vector
from rushlight.physics.geometry.shapes import FloatArray, trailing

ALIKE_SHARE = 0.15
"""Below this misfit, as a share of their size, constellations are taken for alike: so much is
allowed between two lights when a thing is sought (our choice, no source)."""


class Match(NamedTuple):
    """One way in which a constellation looks like another.

    Fields
    ------
    order : tuple of int
        The other's light ``order[i]`` stands where light ``i`` stands.
    misfit_m : float
        What remains between the two, root-mean-square [m].
    rotation, step_m : (3, 3), (3,)
        Take the other's lights, in its own frame, onto the lights in theirs.
    """

    order: tuple[int, ...]
    misfit_m: float
    rotation: FloatArray
    step_m: FloatArray


def matches(lights_m: ArrayLike, other_m: ArrayLike) -> list[Match]:
    """In which ways may another constellation be taken for this one?

    Parameters
    ----------
    lights_m, other_m : array_like, shapes (L, 3) [m]
        Each in its own frame.

    Returns
    -------
    list of Match
        Those that miss by less than `ALIKE_SHARE` of the lights' size, the best first; none where
        the numbers of lights differ, or all of several stand in one place. Single lights always
        look alike.

    Raises
    ------
    ValueError
        If a last axis is not 3 long.

    Notes
    -----
    Of two lights the turn about their line stays open; the smallest is given. Of more, every
    ordered triple of the other's lights is laid on the three that lie farthest apart.

    Examples
    --------
    >>> [each.order for each in matches([[0.0, 0, 0], [0.1, 0, 0]], [[0.0, 1, 0], [0.0, 1.1, 0]])]
    [(0, 1), (1, 0)]
    >>> matches([[0.0, 0, 0], [0.1, 0, 0]], [[0.0, 1, 0], [0.0, 1.2, 0]])
    []
    """
    lights, other = trailing(lights_m, (None, 3), "lights_m"), trailing(other_m, (None, 3), "other")
    if not len(lights) or len(lights) != len(other):
        return []
    if len(lights) > 1 and not min(np.ptp(lights, axis=0).max(), np.ptp(other, axis=0).max()) > 0.0:
        return []
    most_m = ALIKE_SHARE * float(constellation_shape(lights).size_m)
    found = []
    for order in _orders(lights, other):
        moved = other[list(order)]
        rotation = _shortest(moved, lights) if len(lights) == 2 else _turn(moved, lights)
        step = lights.mean(axis=0) - rotation @ moved.mean(axis=0)
        apart = moved @ rotation.T + step - lights
        misfit = float(np.sqrt(np.mean(np.sum(apart**2, axis=-1))))
        if len(lights) == 1 or misfit < most_m:
            found.append(Match(order, misfit, rotation, step))
    return sorted(found, key=lambda each: (round(each.misfit_m, 9), each.order))


def _orders(lights: FloatArray, other: FloatArray) -> list[tuple[int, ...]]:
    count = len(lights)
    if count < 3:
        return list(itertools.permutations(range(count)))
    triples = np.array(list(itertools.permutations(range(count), 3)))
    sides = lights[triples]
    areas = np.linalg.norm(np.cross(sides[:, 1] - sides[:, 0], sides[:, 2] - sides[:, 0]), axis=-1)
    base = triples[np.argmax(areas)]
    rotation, _ = turned_together(other[triples], lights[base])
    moved = np.einsum(
        "tij,tlj->tli", rotation, other[None] - other[triples].mean(axis=1)[:, None]
    ) + lights[base].mean(axis=0)
    gaps = np.linalg.norm(moved[:, :, None] - lights[None, None], axis=-1)
    nearest = gaps.argmin(axis=1)  # (T, L): which light comes to stand on each place
    return sorted({tuple(int(i) for i in row) for row in nearest if len(set(row)) == count})


def _turn(from_m: FloatArray, to_m: FloatArray) -> FloatArray:
    return np.eye(3) if len(from_m) == 1 else turned_together(from_m, to_m)[0]


def _shortest(from_m: FloatArray, to_m: FloatArray) -> FloatArray:
    """The least rotation that takes the direction of one pair to that of another."""
    a, b = from_m[1] - from_m[0], to_m[1] - to_m[0]
    a, b = a / np.linalg.norm(a), b / np.linalg.norm(b)
    axis = np.cross(a, b)
    sine = float(np.linalg.norm(axis))
    if sine < 1e-9:
        if a @ b > 0.0:
            return np.eye(3)
        axis = np.cross(a, np.eye(3)[int(np.argmin(np.abs(a)))])
    angle = float(np.arctan2(sine, a @ b))
    return np.asarray(matrix_from_rotation_vector(angle * axis / np.linalg.norm(axis)))
