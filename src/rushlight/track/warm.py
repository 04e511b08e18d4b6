"""Compile the kernels of tracking ahead of their first use."""

from __future__ import annotations

import numpy as np

from rushlight.physics.geometry.pose_fit import belief_of_facing
from rushlight.see.detect import detect
from rushlight.see.link import Linker
from rushlight.track.glance import each_has_one, foretold_windows
from rushlight.track.map_frame import map_dots
from rushlight.track.space_kernel import fit_one


def warm() -> None:
    """Map one dot, foretell one, and find one pose."""
    picture = np.full((32, 32), 5, np.uint8)
    picture[15:18, 15:18] = 60
    dots, linker = detect(picture), Linker(confirm_frames=1)
    places, reach = foretold_windows(linker.step(1, dots), 2)
    each_has_one(dots.xy, dots.reason, places, reach)
    map_dots(
        np.zeros((1, 2)),
        np.zeros((1, 2, 2)),
        np.eye(3),
        np.zeros(5),
        1.0,
        np.eye(3),
        np.zeros(7),
        np.ones(2),
        np.ones(3),
        np.zeros((1, 2)),
        np.zeros((1, 2, 2)),
    )
    one = np.eye(4)[None]
    own = np.eye(3)[None], np.zeros((1, 5)), np.array([np.inf]), one
    light, dot, cov = np.array([[0.0, 0.0, 1.0]]), np.zeros((1, 2)), np.eye(2)[None]
    fit_one(light, dot, cov, own, one[0], belief_of_facing(np.ones(3)))
