"""Two cameras of a volume rig as photographs of one board told them: alone, or before a swing."""

from __future__ import annotations

import numpy as np

from rushlight.errors import RushlightError
from rushlight.records.arrays import Array
from rushlight.records.pair_calibration import PairCalibration
from rushlight.records.registration import Verdict
from rushlight.records.space import ResolvedSpace
from rushlight.records.space_registration import CAMERA_NUMBERS
from rushlight.register.lens_fit import crossing
from rushlight.register.space_fit import Found, registration_of
from rushlight.register.space_solve import Cameras


def register_pair(space: ResolvedSpace, rig: str, pair: PairCalibration, name: str) -> Found:
    """The cameras by the pair alone, with its whole covariance.

    Parameters
    ----------
    space, rig
        A volume rig of two cameras, and its content hash.
    pair, name
        The pair, and the name of its file for messages.

    Raises
    ------
    RushlightError
        When the pair is of other cameras, or the rig is no such rig.
    """
    _check(space, pair, name)
    poses, lenses, spread = _cameras(space, pair)
    cov = spread @ np.array(pair.cov, float) @ spread.T
    made = registration_of(space, rig, "pair", Cameras(poses, lenses), cov)
    distance, std = pair.distance_m
    reasons = [
        *pair.verdict.reasons,
        f"the cameras stand {1e3 * distance:.1f} ± {1e3 * std:.1f} mm apart by the board's "
        "squares; their clocks were not compared, and are taken for one",
    ]
    verdict = Verdict(vouched=pair.verdict.vouched, reasons=reasons)
    return Found(made.model_copy(update={"verdict": verdict}), [])


def space_by_pair(space: ResolvedSpace, pair: PairCalibration, name: str) -> ResolvedSpace:
    """The rig with lenses and places of the cameras as the pair has them, for a swing to better.

    Each camera's doubt is kept; that the doubts of both hang together is left out.

    Raises
    ------
    RushlightError
        As `register_pair`.
    """
    _check(space, pair, name)
    poses, lenses, spread = _cameras(space, pair)
    cov = spread @ np.array(pair.cov, float) @ spread.T
    K = np.array(space.cameras.K)
    K[0, :, [0, 1], [0, 1]] = lenses[:, :2].T
    K[0, :, :2, 2] = lenses[:, 2:4]
    own = [
        cov[at : at + CAMERA_NUMBERS, at : at + CAMERA_NUMBERS]
        for at in range(0, len(cov), CAMERA_NUMBERS)
    ]
    std = np.sqrt(np.array([np.diag(each)[:6] for each in own]))
    return space.replace(
        cameras=space.cameras.replace(
            K=K, distortion=lenses[None, :, 4:], rig_from_camera=poses[None]
        ),
        lens_cov=np.array([each[6:, 6:] for each in own]),
        placed_std_m=std[:, :3].max(axis=1),
        turned_std_rad=std[:, 3:].max(axis=1),
    )


def _check(space: ResolvedSpace, pair: PairCalibration, name: str) -> None:
    if space.fixed_camera is None or len(space.camera_ids) != 2:
        raise RushlightError.of(
            f"{name}: cameras",
            ", ".join(pair.cameras),
            "tells how two cameras stand to one another, and the rig's own places are not theirs "
            f"alone: it is of kind {', '.join(space.kinds)} with {len(space.camera_ids)} cameras",
            "use it for a volume rig of two cameras, or register by what is seen",
            "pair-of-no-use",
        )
    if set(pair.cameras) != set(space.camera_ids):
        raise RushlightError.of(
            f"{name}: cameras",
            ", ".join(pair.cameras),
            f"are not the rig's, {', '.join(space.camera_ids)}",
            "give --camera and --other-camera to calibrate, or the pair of this rig",
            "pair-of-others",
        )
    for camera, size in zip(pair.cameras, pair.size_px, strict=True):
        wide, high = (int(v) for v in space.cameras.size_px[0, space.camera_ids.index(camera)])
        if tuple(size) != (wide, high):
            raise RushlightError.of(
                f"{name}: size_px",
                f"{size[0]}×{size[1]} px",
                f'is not the {wide}×{high} px of the rig\'s camera "{camera}"',
                "take the photographs at the size at which the rig films",
                "size-differs",
            )


def _cameras(space: ResolvedSpace, pair: PairCalibration) -> tuple[Array, Array, Array]:
    """In the rig's order: poses (2, 4, 4), lenses (2, 9), and (30, 24) how a registration's
    numbers change with the pair's."""
    first, second = (pair.cameras.index(camera) for camera in space.camera_ids)
    here = np.array(space.cameras.rig_from_camera[0, 0], float)
    between = pair.other_from_one
    turn, shift = between[:3, :3], between[:3, 3]
    spread = np.zeros((2 * CAMERA_NUMBERS, 24))
    for number, own in enumerate((first, second)):
        at = number * CAMERA_NUMBERS + 6
        spread[at : at + 9, 9 * own : 9 * own + 9] = np.eye(9)
    place = slice(CAMERA_NUMBERS, CAMERA_NUMBERS + 3)
    angle = slice(CAMERA_NUMBERS + 3, CAMERA_NUMBERS + 6)
    if first == 0:
        # The rig's second camera is the pair's other: its pose is the inverse of what is told.
        there = here @ np.linalg.inv(between)
        axes = here[:3, :3] @ turn.T
        spread[place, 18:21] = -axes @ crossing(shift)
        spread[place, 21:] = -axes
        spread[angle, 18:21] = -axes
    else:
        there = here @ between
        spread[place, 21:] = here[:3, :3]
        spread[angle, 18:21] = here[:3, :3]
    lenses = np.array([pair.params[first], pair.params[second]], float)
    return np.stack([here, there]), lenses, spread
