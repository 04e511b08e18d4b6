"""Pictures of a chessboard through a known lens, computed: simulated, no photographs."""

from __future__ import annotations

import functools

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.spatial.transform import Rotation

from rushlight.physics.geometry import camera_matrix, undistort_px

SIZE = (480, 360)
TRUE = np.array([450.0, 452.0, 243.0, 176.0, -0.22, 0.06, 6e-4, -5e-4, 0.0])
COLUMNS, ROWS, SQUARE_M = 9, 6, 0.022
DARK, LIGHT = 35.0, 210.0
_FINE = 3


@functools.cache
def _rays():
    """(3 H, 3 W, 2) undistorted rays, nine a pixel, between those of the pixels' corners."""
    columns, rows = SIZE
    x, y = np.meshgrid(np.arange(columns + 1) - 0.5, np.arange(rows + 1) - 0.5)
    matrix = camera_matrix(TRUE[0], TRUE[2:4], TRUE[1] / TRUE[0])
    at = undistort_px(np.stack([x, y], axis=-1), matrix, TRUE[4:])
    share = (np.arange(_FINE) + 0.5) / _FINE
    down = at[:-1, None] * (1 - share[:, None, None]) + at[1:, None] * share[:, None, None]
    down = down.reshape(-1, columns + 1, 2)
    across = down[:, :-1, None] * (1 - share[:, None]) + down[:, 1:, None] * share[:, None]
    return across.reshape(len(down), -1, 2)


def pose(place_m, turn_rad=(0.0, 0.0, 0.0)):
    """``camera_from_board`` of a board whose middle stands at a place [m], turned [rad].

    It is rolled a little besides: edges along the pixels' rows would all fall between the same
    samples.
    """
    stand = np.eye(4)
    roll = Rotation.from_rotvec([0.0, 0.0, 0.13])
    stand[:3, :3] = (Rotation.from_rotvec(turn_rad) * roll).as_matrix()
    middle = np.array([(COLUMNS - 1) / 2, (ROWS - 1) / 2, 0.0]) * SQUARE_M
    stand[:3, 3] = np.asarray(place_m) - stand[:3, :3] @ middle
    return stand


def board_picture(camera_from_board, blur_px=0.6, noise_dn=1.5, seed=0):
    """The picture (H, W) of uint8 of a printed board on white paper before a grey room.

    Parameters
    ----------
    camera_from_board
        (4, 4), or None for an empty room.
    blur_px, noise_dn
        Blur and noise, standard deviations [px], [grey levels].
    seed
        Of the noise.
    """
    rays, light = _rays(), 90.0
    grey = np.full(rays.shape[:2], light)
    if camera_from_board is not None:
        # A point (a, b, 1) of the board's plane is seen along H (a, b, 1).
        H = camera_from_board[:3, [0, 1, 3]]
        back = np.concatenate([rays, np.ones((*rays.shape[:2], 1))], axis=-1) @ np.linalg.inv(H).T
        a, b = (back[..., i] / back[..., 2] / SQUARE_M for i in (0, 1))
        paper = (a > -2) & (a < COLUMNS + 1) & (b > -1.7) & (b < ROWS + 0.7) & (back[..., 2] > 0)
        printed = (a > -1) & (a < COLUMNS) & (b > -1) & (b < ROWS)
        dark = printed & ((np.floor(a) + np.floor(b)) % 2 == 0)
        grey = np.where(dark, DARK, np.where(paper, LIGHT, light))
    whole = grey.reshape(SIZE[1], _FINE, SIZE[0], _FINE).mean(axis=(1, 3))
    noisy = gaussian_filter(whole, blur_px) + noise_dn * np.random.default_rng(
        seed
    ).standard_normal(whole.shape)
    return np.clip(np.round(noisy), 0, 255).astype(np.uint8)


TILT = 0.55
NINE = (
    pose([0.0, 0.0, 0.25], (0, -TILT, 0)),
    pose([0.0, 0.0, 0.25], (0, TILT, 0)),
    pose([0.0, 0.0, 0.25], (TILT, 0, 0)),
    pose([0.0, 0.0, 0.25], (-TILT, 0, 0)),
    pose([-0.055, -0.035, 0.34], (0.35, -0.35, 0.05)),
    pose([0.055, -0.035, 0.34], (0.35, 0.35, 0.05)),
    pose([-0.055, 0.035, 0.34], (-0.35, -0.35, 0.05)),
    pose([0.055, 0.035, 0.34], (-0.35, 0.35, 0.05)),
    pose([0.0, 0.0, 0.4], (0.4, 0.4, 0.3)),
)
"""Nine good views: near and tilted to each side, in each corner, and farther off."""
FLAT = tuple(pose([x, y, 0.3]) for x in (-0.05, 0.0, 0.05) for y in (-0.03, 0.0, 0.03))
"""Nine views that all face the camera."""
