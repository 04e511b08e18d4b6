"""From two cameras' views of the same boards to both lenses and how the cameras stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rushlight.errors import Finding
from rushlight.physics.geometry import quaternion_from_matrix
from rushlight.records.arrays import Array
from rushlight.records.pair_calibration import PairCalibration, PairView
from rushlight.records.registration import Verdict
from rushlight.register.lens_calibrate import LEAST_TO_FIT, LEAST_TO_VOUCH, LensSolved, solve_lens
from rushlight.register.lens_fit import ALL_FREE, Corners, LensFit, fit_lens
from rushlight.register.lens_judge import GREATEST_RMS_PX, findings_of, judge
from rushlight.register.lens_pair import PairFit, fit_pair
from rushlight.register.lens_views import Board, View

_DISAGREE = 1.5


@dataclass(frozen=True, eq=False)
class PairSolved:
    """Two cameras as the boards tell them.

    Attributes
    ----------
    fit
        Both at once, by the used boards.
    alone
        Each camera by its own views, with what these tell view by view.
    used
        (V,) which of the boards the pair rests on: those that fit both cameras.
    """

    fit: PairFit
    alone: tuple[LensSolved, LensSolved]
    used: Array


def solve_pair(
    views: tuple[Sequence[View], Sequence[View]],
    board: Board,
    sizes_px: tuple[tuple[int, int], tuple[int, int]],
    window_px: int | None = None,
    free: Array = ALL_FREE,
) -> PairSolved:
    """Which two lenses, standing how, do the views tell?

    Parameters
    ----------
    views
        Of the one camera and of the other, board by board, at least three.
    board
        Which they show.
    sizes_px
        Columns and rows of each camera's pictures.
    window_px
        Half-window of the corners [px]; None chooses for each camera by fit.
    free
        (9, Q) directions in which each lens may change.

    Raises
    ------
    ValueError
        When the views are too few, or leave something undetermined.
    """
    alone = tuple(
        solve_lens(own, board, size, window_px, free)
        for own, size in zip(views, sizes_px, strict=True)
    )
    used = np.array(
        [a.used and b.used for a, b in zip(alone[0].views, alone[1].views, strict=True)]
    )
    if used.sum() < LEAST_TO_FIT:
        raise ValueError(f"expected {LEAST_TO_FIT} boards that fit both cameras, got {used.sum()}")
    corners, starts = [], []
    for solved, size in zip(alone, sizes_px, strict=True):
        px = np.stack([view.corners_px for view in solved.views])[used]
        own = Corners(board.points_m, px, size)
        among = np.array([view.used for view in solved.views])
        poses = solved.fit.camera_from_board[used[among]]
        start = LensFit(solved.fit.params, solved.fit.cov, poses, np.zeros_like(px), np.nan)
        starts.append(fit_lens(own, start, own_only=True))
        corners.append(own)
    fit = fit_pair(corners[0], corners[1], starts[0], starts[1], free)
    return PairSolved(fit, (alone[0], alone[1]), used)


def pair_findings(solved: PairSolved, board: Board, names: tuple[str, str]) -> list[Finding]:
    """What the user should know of each camera's views, the camera named."""
    return [
        replace(each, where=f"{name}: {each.where}")
        for name, own in zip(names, solved.alone, strict=True)
        for each in findings_of(own, board)
    ]


def pair_record(solved: PairSolved, board: Board, names: tuple[str, str]) -> PairCalibration:
    """The record of a solved pair with its verdict; not yet stamped."""
    fit, (one, other) = solved.fit, solved.alone
    misses = np.sqrt(np.mean(np.sum(fit.residual_px**2, axis=-1), axis=-1))
    views = []
    for i, (a, b) in enumerate(zip(one.views, other.views, strict=True)):
        at = int(np.count_nonzero(solved.used[:i]))
        rms = misses[:, at] if solved.used[i] else (a.rms_px, b.rms_px)
        views.append(
            PairView(
                names=(a.name, b.name),
                used=bool(solved.used[i]),
                rms_px=(float(rms[0]), float(rms[1])),
            )
        )
    right, down, ahead = fit.shift_m.tolist()
    w, x, y, z = quaternion_from_matrix(fit.other_from_one[:3, :3]).tolist()
    return PairCalibration(
        cameras=names,
        size_px=(one.size_px, other.size_px),
        params=(fit.one.tolist(), fit.other.tolist()),
        translation_m=(right, down, ahead),
        quaternion=(w, x, y, z),
        cov=fit.cov.tolist(),
        views=views,
        rms_px=fit.rms_px,
        noise_px=fit.noise_px,
        square_m=board.square_m,
        verdict=_judged(solved, board, names),
    )


def _judged(solved: PairSolved, board: Board, names: tuple[str, str]) -> Verdict:
    fit = solved.fit
    against = [
        f"{name}: {reason}"
        for name, own in zip(names, solved.alone, strict=True)
        for reason in judge(own).reasons
        if not judge(own).vouched
    ]
    count = int(solved.used.sum())
    if not board.to_scale:
        against.append("the board was not measured, so the distance of the cameras is not known")
    if count < LEAST_TO_VOUCH:
        against.append(f"{count} boards fit both cameras, {LEAST_TO_VOUCH} at least are needed")
    apart = float(np.sqrt(np.mean([own.fit.rms_px**2 for own in solved.alone])))
    if fit.rms_px > GREATEST_RMS_PX or fit.rms_px > _DISAGREE * apart:
        against.append(
            f"corners miss by {fit.rms_px:.2f} px rms by the pair and {apart:.2f} px by each "
            "camera alone: a camera moved between the pictures, or they are not of one moment"
        )
    if against:
        return Verdict(vouched=False, reasons=against)
    return Verdict(
        vouched=True,
        reasons=[
            f"{count} boards agree in both cameras to {fit.rms_px:.2f} px rms, {apart:.2f} px by "
            "each camera alone"
        ],
    )
