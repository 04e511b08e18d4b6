"""Shadow for any camera of a room, told from a lattice of places tabulated once.

The scenes of `rushlight.plan.shadow` do not depend on the cameras. Which share of them hides a
light changes smoothly enough with the camera's place that straight lines between the nodes of a
lattice serve; `ShadowLattice.doubt` measures how well, against the scenes themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.shadow import hidden_by
from rushlight.plan.shadow import Scenes

Array = NDArray[Any]

SPACING_M = 0.25
"""Wanted distance of nodes (chosen by trial: the doubt is then near that of 200 scenes)."""
MOST_NODES = 12
"""Nodes along a side at most."""


@dataclass(frozen=True, eq=False)
class ShadowLattice:
    """Shares of scenes in which lights are hidden from cameras at the nodes of a lattice.

    Attributes
    ----------
    low_m, step_m
        (3,) first node, and the distance from node to node along each axis [m], above 0.
    hidden
        (X, Y, Z, E, G) with everyone at work.
    """

    low_m: Array
    step_m: Array
    hidden: Array

    def at(self, cameras_m: ArrayLike) -> Array:
        """Probability (R, E, G) that each light is hidden from cameras at (R, 3) [m].

        Straight lines between nodes; beyond the lattice as at its face.
        """
        x, y, z = self._within(cameras_m)
        found = np.zeros((len(x[0]), *self.hidden.shape[3:]))
        for i in (0, 1):
            for j in (0, 1):
                for k in (0, 1):
                    weight = x[1 + i] * y[1 + j] * z[1 + k]
                    node = self.hidden[x[0] + i, y[0] + j, z[0] + k]
                    found += weight[:, None, None] * node
        return found

    def _within(self, cameras_m: ArrayLike) -> list[tuple[Array, Array, Array]]:
        """For each axis the lower node (R,) and the weights (R,) of it and of the next."""
        place = (np.asarray(cameras_m, float).reshape(-1, 3) - self.low_m) / self.step_m
        found = []
        for axis in range(3):
            last = self.hidden.shape[axis] - 1
            along = np.clip(place[:, axis], 0.0, float(last))
            low = np.minimum(along.astype(np.intp), last - 1)
            share = along - low
            found.append((low, 1.0 - share, share))
        return found

    def doubt(self, scenes: Scenes, cameras_m: ArrayLike) -> Array:
        """How far (R, E, G) the lattice lies from the scenes themselves at cameras (R, 3) [m]."""
        return self.at(cameras_m) - hidden_share(scenes, cameras_m)


def hidden_share(scenes: Scenes, cameras_m: ArrayLike) -> Array:
    """Share (R, E, G) of the scenes in which each light is hidden from cameras at (R, 3) [m]."""
    cameras = np.asarray(cameras_m, float).reshape(-1, 3)
    found = np.empty((len(cameras), *scenes.light_m.shape[:1], scenes.light_m.shape[2]))
    for emitter, light in enumerate(scenes.light_m):
        people = np.concatenate([scenes.own_m[emitter], scenes.others_m[emitter]], axis=-2)
        for index, camera in enumerate(cameras):
            found[index, emitter] = hidden_by(light, camera, people).mean(axis=0)
    return found


def shadow_lattice(
    scenes: Scenes, low_m: ArrayLike, high_m: ArrayLike, spacing_m: float = SPACING_M
) -> ShadowLattice:
    """Tabulate a room's shadow over the box in which cameras may stand.

    Parameters
    ----------
    scenes
        Of the room, at the places of the grid that is judged.
    low_m, high_m
        (3,) opposite corners of the box [m].
    spacing_m
        Wanted distance of nodes; a side has 2 nodes at least and `MOST_NODES` at most.

    Raises
    ------
    ValueError
        When the box is turned inside out, or the spacing is not above 0.
    """
    low, high = np.asarray(low_m, float), np.asarray(high_m, float)
    if not (low.shape == high.shape == (3,)) or np.any(high < low) or not spacing_m > 0.0:
        raise ValueError("expected a box from low_m to high_m, (3,) each, and a spacing above 0")
    counts = np.ceil((high - low) / spacing_m - 1e-9).astype(int) + 1
    counts = np.clip(counts, 2, MOST_NODES)
    # A side of no length still has two nodes, a hair apart.
    step = np.maximum((high - low) / (counts - 1), 1e-6)
    axes = [low[i] + step[i] * np.arange(counts[i]) for i in range(3)]
    nodes = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    hidden = hidden_share(scenes, nodes.reshape(-1, 3))
    return ShadowLattice(low, step, hidden.reshape(*nodes.shape[:3], *hidden.shape[1:]))
