"""Places of a zone, and ways in which a thing is turned there: what a plan of space looks at."""

from __future__ import annotations

import numpy as np

from rushlight.physics.geometry.rotation import pose_matrix, rotation_of_facing
from rushlight.records.arrays import Array
from rushlight.records.space import Thing

# The Kronecker sequence of the generalised golden ratios: even in any number of points.
_STEPS = np.array(
    [0.8191725134, 0.6710436067, 0.5497004779, 0.4503020848, 0.3688798057, 0.302180043]
)


def even_points(count: int, axes: int = 3) -> Array:
    """(count, axes) points that fill the unit cube evenly, the same at every call."""
    steps = _STEPS[:axes]
    return np.asarray(np.mod(0.5 + np.arange(1, count + 1)[:, None] * steps, 1.0))


def ways_of_turning(thing: Thing, count: int) -> Array:
    """(count, 3, 3) rotations spread evenly over a thing's ranges; for each way its opposite.

    Parameters
    ----------
    thing
        Whose ranges.
    count
        An even number.
    """
    half = (2.0 * even_points(count // 2) - 1.0) * thing.ranges_rad
    return rotation_of_facing(*np.concatenate([half, -half]).T)


def zone_grid(thing: Thing, cells: tuple[int, int, int]) -> tuple[Array, Array, Array]:
    """Middles of the cells of a thing's zone along x, y and z [m]; a flat zone has one layer."""
    axes = []
    for low, high, count in zip(thing.low_m, thing.high_m, cells, strict=True):
        many = count if high > low else 1
        axes.append(low + (np.arange(many) + 0.5) / many * (high - low))
    return axes[0], axes[1], axes[2]


def grid_places(axes: tuple[Array, Array, Array]) -> Array:
    """(G, 3) places of three axes, x running fastest, then y."""
    z, y, x = np.meshgrid(axes[2], axes[1], axes[0], indexing="ij")
    return np.stack([x.ravel(), y.ravel(), z.ravel()], axis=-1)


def poses_at(thing: Thing, places_m: Array, rotations: Array) -> Array:
    """Poses (..., 4, 4) at which a thing's main point is at places (..., 3) [m]."""
    arm = np.einsum("...ij,j->...i", rotations, thing.point_m())
    return pose_matrix(rotations, places_m - arm)
