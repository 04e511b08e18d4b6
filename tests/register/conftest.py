"""An invented room for the tests: a wall, a camera, and touches with known truth."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

import numpy as np
import pytest

from rushlight.physics.geometry import (
    camera_matrix,
    flatness_modes,
    project,
    rig_from_camera_looking_at,
)
from rushlight.physics.surface_model import bend_amplitudes, edge_to_edge
from rushlight.register.solve import Lens, Touches, Wall

SIZE_PX = (640, 480)
WALL = Wall(size_m=np.array([2.4, 1.5]), flatness_rms_m=0.004)
LENS = Lens(
    K=camera_matrix(560.0, [319.5, 239.5]),
    k=np.array([-0.20, 0.03, 0.0, 0.0, 0.0]),
    k_std=np.array([0.02, 0.01, 0.001, 0.001, 0.0]),
)
POSE = rig_from_camera_looking_at([0.9, 2.0, 2.7], [1.2, 0.75, 0.0])
PX_STD = 0.05


class Truth(NamedTuple):
    """What a registration does not know: lens (5,), bends (7,) [m]."""

    k: np.ndarray
    flatness_m: np.ndarray

    def px(self, tip_m: np.ndarray) -> np.ndarray:
        """Pixels (N, 2) of tips (N, 2) [m] that rest on the bent wall."""
        height = flatness_modes(edge_to_edge(tip_m, WALL.size_m)) @ self.flatness_m
        place = np.concatenate([tip_m, height[:, None]], axis=1)
        return project(place, LENS.K, self.k, POSE)[0]


def drawn_truth(rng: np.random.Generator, lens: Lens = LENS, wall: Wall = WALL) -> Truth:
    """A true lens and wall, drawn as the registration supposes them."""
    return Truth(
        lens.k + lens.k_std * rng.standard_normal(5),
        bend_amplitudes(wall.flatness_rms_m) * rng.standard_normal(7),
    )


FLAT = Truth(LENS.k, np.zeros(7))


def grid(columns: int = 3, rows: int = 3, inset: float = 0.1) -> np.ndarray:
    """Places (columns × rows, 2) over the surface [m]."""
    x, y = np.meshgrid(np.linspace(inset, 1 - inset, columns), np.linspace(inset, 1 - inset, rows))
    return np.stack([x.ravel(), y.ravel()], axis=1) * WALL.size_m


SIX = np.array([[0.1, 0.1], [0.9, 0.1], [0.9, 0.9], [0.1, 0.9], [0.5, 0.15], [0.45, 0.85]]) * (
    WALL.size_m
)


def touched(
    truth: Truth, goal_m: np.ndarray, rng: np.random.Generator, scatter_m: float = 0.002
) -> Touches:
    """Touches of the beacons, with the hand's scatter and the dots' noise."""
    tip = goal_m + scatter_m * rng.standard_normal(goal_m.shape)
    px = truth.px(tip) + PX_STD * rng.standard_normal(goal_m.shape)
    count = len(goal_m)
    return Touches(
        goal_m, px, np.tile(PX_STD**2 * np.eye(2), (count, 1, 1)), np.full(count, scatter_m)
    )


@pytest.fixture(scope="session")
def scene() -> ModuleType:
    """This room."""
    return sys.modules[__name__]


@pytest.fixture(scope="session")
def truth() -> ModuleType:
    """The made-up worlds of space."""
    spec = importlib.util.spec_from_file_location(
        "space_truth", Path(__file__).parent / "space_truth.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["space_truth"] = module
    spec.loader.exec_module(module)
    return module
