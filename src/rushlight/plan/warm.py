"""Compile the kernels of the swift evaluation ahead of their first use."""

from __future__ import annotations

import numpy as np

from rushlight.physics.geometry import camera_matrix, rig_from_camera_looking_at
from rushlight.plan.candidates import Candidates
from rushlight.plan.swift import swift_evaluate
from rushlight.records.resolved import (
    ResolvedCameras,
    ResolvedEmitters,
    ResolvedPeople,
    ResolvedRig,
    ResolvedSurface,
    ResolvedTargets,
)


def warm() -> None:
    """Judge one small made-up rig."""
    ones, each = np.ones(1), np.ones((1, 1))
    surface = ResolvedSurface(
        np.array([[2.0, 1.0]]), np.array([[800, 400]]), *([ones] * 3), ones * 0.5, *([ones] * 3)
    )
    cameras = ResolvedCameras(
        camera_matrix(500.0, [319.5, 239.5])[None, None],
        np.zeros((1, 1, 5)),
        np.zeros((1, 1, 5)),
        rig_from_camera_looking_at([1.0, 0.5, 2.0], [1.0, 0.5, 0.0])[None, None],
        np.array([[[640, 480]]]),
        each * 3e-3,
        each * 2.0,
        each * 6e-6,
        each,
        np.ones((1, 1, 1)),
        np.ones((1, 1, 1)),
        each,
        each * 1e4,
        each * 40.0,
        each,
        each * 256,
        each * np.nan,
        each * 1e-5,
        each * 30.0,
        each,
        each,
    )
    place, down = np.array([[[0.0, 0.0, 0.01]]]), np.array([[[0.0, 0.0, -1.0]]])
    emitters = ResolvedEmitters(
        place,
        down,
        each * 0.01,
        each * 5.0,
        each * 0.5,
        each,
        each * 850e-9,
        each * 5e-3,
        *([each] * 5),
        np.array([[[0.2, 0.6]]]),
        each,
        each * 0.5,
        each * 1e-3,
    )
    nobody = np.empty((1, 0))
    people = ResolvedPeople(np.empty((1, 0, 2)), *([nobody] * 4))
    targets = ResolvedTargets(*([ones] * 4))
    rig = ResolvedRig(surface, cameras, emitters, people, targets)
    swift_evaluate(Candidates.of(rig))
