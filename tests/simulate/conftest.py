"""A surface rig as numbers, and worlds drawn from it; all values invented."""

from __future__ import annotations

import dataclasses

import pytest

from rushlight.physics.geometry import camera_matrix, rig_from_camera_looking_at
from rushlight.records.resolved import (
    ResolvedCameras,
    ResolvedEmitters,
    ResolvedPeople,
    ResolvedRig,
    ResolvedSurface,
    ResolvedTargets,
)
from rushlight.simulate.cast import Cast, Standing
from rushlight.simulate.world import ALL_CAUSES, draw_world

SURFACE = {
    "size_m": [[2.0, 1.2]],
    "display_px": [[1280, 768]],
    "refresh_hz": [60.0],
    "delay_s": [0.03],
    "flatness_m": [0.004],
    "reflectance": [0.7],
    "floor_m": [0.8],
    "ambient_w_m2": [0.05],
    "ambient_gradient": [0.4],
}
CAMERAS = {
    "K": camera_matrix(480.0, [319.5, 239.5])[None, None],
    "distortion": [[[-0.08, 0.02, 0.001, -0.002, 0.003]]],
    "distortion_std": [[[0.02, 0.01, 0.001, 0.001, 0.0]]],
    "rig_from_camera": rig_from_camera_looking_at([1.1, 1.5, 2.4], [1.0, 0.6, 0.0])[None, None],
    "size_px": [[[640, 480]]],
    "focal_m": [[2.88e-3]],
    "f_number": [[2.4]],
    "pixel_m": [[6e-6]],
    "blur_px": [[0.6]],
    "transmission": [[[0.7, 0.7]]],
    "quantum_efficiency": [[[0.25, 0.25]]],
    "read_noise_e": [[6.0]],
    "full_well_e": [[9800.0]],
    "gain_e_per_dn": [[40.0]],
    "black_dn": [[6.0]],
    "levels": [[256]],
    "exposure_s": [[4e-4]],
    "shortest_exposure_s": [[2e-5]],
    "frame_rate_hz": [[60.0]],
    "row_time_s": [[0.0]],
    "delay_s": [[0.006]],
}
EMITTERS = {
    "position_m": [[[0.0, 0.0, 0.012]] * 2],
    "axis": [[[0.0, 0.0, -1.0]] * 2],
    "intensity_w_sr": [[0.004, 0.004]],
    "exponent": [[6.0, 6.0]],
    "side_share": [[0.5, 0.5]],
    "transmission": [[0.8, 0.8]],
    "wavelength_m": [[850e-9, 850e-9]],
    "size_m": [[3e-3, 3e-3]],
    "current_a": [[0.02, 0.02]],
    "duty": [[0.3, 0.3]],
    "forward_v": [[1.4, 1.4]],
    "supply_v": [[3.0, 3.0]],
    "greatest_a": [[0.1, 0.1]],
    "tilt_rad": [[[0.2, 0.7]] * 2],
    "lean_rad": [[-0.8, -2.3]],
    "lean_std_rad": [[0.5, 0.5]],
    "touch_std_m": [[0.002, 0.002]],
}
PEOPLE = {
    "standing_m": [[[0.6, 0.5], [1.5, 0.5]]],
    "shoulder_m": [[1.4, 1.4]],
    "reach_m": [[0.8, 0.8]],
    "breadth_m": [[0.46, 0.46]],
    "stature_m": [[1.7, 1.7]],
}
TARGETS = {
    "worst_error_m": [0.01],
    "delay_s": [0.1],
    "coverage": [0.9],
    "speed_m_s": [0.5],
}


def build_rig(*, surface=None, cameras=None, emitters=None) -> ResolvedRig:
    """The rig, some fields replaced."""
    return ResolvedRig(
        ResolvedSurface(**(SURFACE | (surface or {}))),
        ResolvedCameras(**(CAMERAS | (cameras or {}))),
        ResolvedEmitters(**(EMITTERS | (emitters or {}))),
        ResolvedPeople(**PEOPLE),
        ResolvedTargets(**TARGETS),
    )


@pytest.fixture
def rig():
    """Build a rig with some fields replaced."""
    return build_rig


@pytest.fixture
def make_world():
    """Draw a world: seed, causes, and fields to replace."""

    def make(seed=3, causes=ALL_CAUSES, cast=None, registering=(0,), **parts):
        return draw_world(build_rig(**parts), seed, causes, cast=cast, registering=registering)

    return make


@pytest.fixture
def people():
    """A cast whose two people stand before the wall, right- and left-handed."""
    stands = (
        Standing(0.2, 1.2, 0.5, 1, 0.23, 1.7),
        Standing(0.9, 1.9, 0.5, -1, 0.23, 1.7),
    )
    return dataclasses.replace(Cast.unnamed(2), standing=stands)
