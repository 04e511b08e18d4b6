"""A surface rig as numbers, built by hand so that these tests rest on no shelf; invented."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from rushlight.physics.geometry import camera_matrix, rig_from_camera_looking_at
from rushlight.physics.light import beam_exponent
from rushlight.records.resolved import (
    ResolvedCameras,
    ResolvedEmitters,
    ResolvedPeople,
    ResolvedRig,
    ResolvedSurface,
    ResolvedTargets,
)


def build_wall(**changes: object) -> ResolvedRig:
    """A lime-washed wall, one camera, two diffused styli, two people; all values invented."""
    surface = {
        "size_m": [[2.4, 1.5]],
        "display_px": [[1280, 800]],
        "refresh_hz": [60.0],
        "delay_s": [0.030],
        "flatness_m": [0.003],
        "reflectance": [0.8],
        "floor_m": [0.75],
        "ambient_w_m2": [0.02],
        "ambient_gradient": [0.3],
    }
    cameras = {
        "K": camera_matrix(2.8e-3 / 5.6e-6, [319.5, 239.5])[None, None],
        "distortion": [[[-0.05, 0.01, 0.0, 0.0, 0.0]]],
        "distortion_std": [[[0.02, 0.02, 0.0, 0.0, 0.0]]],
        "rig_from_camera": rig_from_camera_looking_at([1.2, 1.55, 2.7], [1.2, 0.75, 0.0])[
            None, None
        ],
        "size_px": [[[640, 480]]],
        "focal_m": [[2.8e-3]],
        "f_number": [[2.4]],
        "pixel_m": [[5.6e-6]],
        "blur_px": [[0.6]],
        "transmission": [[[0.72, 0.72]]],
        "angle_share": np.ones((1, 1, 2, 36)),
        "quantum_efficiency": [[[0.25, 0.25]]],
        "read_noise_e": [[6.0]],
        "full_well_e": [[10_000.0]],
        "gain_e_per_dn": [[40.0]],
        "black_dn": [[5.0]],
        "levels": [[256]],
        "exposure_s": [[np.nan]],
        "shortest_exposure_s": [[20e-6]],
        "frame_rate_hz": [[60.0]],
        "row_time_s": [[0.0]],
        "delay_s": [[0.008]],
    }
    emitters = {
        "position_m": [[[0.0, 0.0, 0.012]] * 2],
        "axis": [[[0.0, 0.0, -1.0]] * 2],
        "intensity_w_sr": [[0.030] * 2],
        "exponent": [[float(beam_exponent(np.radians(20.0)))] * 2],
        "side_share": [[0.6] * 2],
        "transmission": [[0.8] * 2],
        "wavelength_m": [[850e-9] * 2],
        "size_m": [[5e-3] * 2],
        "current_a": [[0.020] * 2],
        "duty": [[0.3] * 2],
        "forward_v": [[1.4] * 2],
        "supply_v": [[3.0] * 2],
        "greatest_a": [[0.1] * 2],
        "tilt_rad": [[np.radians([10.0, 40.0])] * 2],
        "lean_rad": [np.radians([-45.0, -135.0])],
        "lean_std_rad": [np.radians([35.0, 35.0])],
        "touch_std_m": [[0.0015] * 2],
    }
    people = {
        "standing_m": [[[0.9, 0.45], [1.5, 0.45]]],
        "shoulder_m": [[1.40, 1.35]],
        "reach_m": [[0.75, 0.72]],
        "breadth_m": [[0.45, 0.45]],
        "stature_m": [[1.70, 1.64]],
    }
    targets = {
        "worst_error_m": [0.008],
        "delay_s": [0.090],
        "coverage": [0.90],
        "speed_m_s": [0.5],
    }
    for part in (surface, cameras, emitters, people, targets):
        for name in list(changes):
            if name in part:
                part[name] = changes.pop(name)
    if changes:
        raise KeyError(f"no such field: {sorted(changes)}")
    return ResolvedRig(
        ResolvedSurface(**surface),
        ResolvedCameras(**cameras),
        ResolvedEmitters(**emitters),
        ResolvedPeople(**people),
        ResolvedTargets(**targets),
    )


@pytest.fixture
def wall() -> ResolvedRig:
    """One rig, exposure left to the plan."""
    return build_wall()


@pytest.fixture(scope="session")
def make_wall():
    """The builder itself, for rigs with changes."""
    return build_wall


@pytest.fixture(scope="session")
def examples() -> Path:
    """The folder of the demo rigs."""
    return Path(__file__).resolve().parents[2] / "src/rushlight/jobs/scenarios"
