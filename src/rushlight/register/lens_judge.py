"""What to make of a solved lens: warnings about its views, a verdict, and the record."""

from __future__ import annotations

import math

import numpy as np

from rushlight.errors import Finding
from rushlight.physics.geometry import distortion_limit, undistort_px
from rushlight.records.registration import LensCalibration, LensView, Verdict
from rushlight.register.lens_calibrate import LEAST_TO_VOUCH, LensSolved, ViewResult
from rushlight.register.lens_views import Board

LEAST_TURN_RAD = math.radians(20.0)
"""The boards' normals must differ by this, or the focal length hangs on noise (common practice,
no source: 30 to 45 degrees of tilt are advised)."""
BLURRED_PX, BLURRED_RATIO = 2.0, 1.8
"""A view this blurred, and so much more than the others' median, is named."""
GREATEST_RMS_PX = 1.0
"""Corners that miss by more do not come from this board through this model of a lens."""
GREATEST_DOUBT_PX = 1.0
"""Doubt of the rays beyond which a lens is not vouched for, where corners were seen [px]."""
LEAST_COVERED = 0.6
"""Part of the picture that corners should cover; less is named."""
HELD_OUT_RATIO = 1.5
_STILL_DOUBTFUL_PX = 3.0


def findings_of(solved: LensSolved, board: Board) -> list[Finding]:
    """What the user should know of the views and the lens, the views in their order."""
    found = [each for view in solved.views for each in _of_view(view, solved)]
    used = [view for view in solved.views if view.used]
    if len(used) < LEAST_TO_VOUCH:
        found.append(
            _warning(
                "views-few",
                "views",
                str(len(used)),
                f"are fewer than the {LEAST_TO_VOUCH} that a lens is vouched for by",
                "take more, each tilted otherwise and elsewhere in the picture",
            )
        )
    turn = greatest_turn_rad(solved)
    if turn < LEAST_TURN_RAD:
        found.append(
            _warning(
                "views-flat",
                "views",
                f"turned by {math.degrees(turn):.0f}° at most from one to another",
                "hardly tell the focal length",
                "take views in which the board is tilted by 30 to 45°, each to another side",
            )
        )
    found += _of_picture(solved)
    if solved.stretch > 1.0:
        found.append(
            _warning(
                "views-disagree",
                "views",
                "",
                f"differ {solved.stretch:.1f} times as much as the noise of their corners lets "
                "expect, and the doubt told has been widened by that",
                "fix the board to something flat and stiff, and hold it still",
            )
        )
    if not board.to_scale:
        found.append(
            Finding(
                "note",
                "board-not-to-scale",
                "board",
                "",
                "was not measured: the lens does not depend on its scale, but no distance of "
                "the board is told",
                "measure the check line to have them",
            )
        )
    return found


def judge(solved: LensSolved) -> Verdict:
    """May the lens be relied on, and why or why not?"""
    used = [view for view in solved.views if view.used]
    against = []
    if len(used) < LEAST_TO_VOUCH:
        against.append(f"{len(used)} views are used, {LEAST_TO_VOUCH} at least are needed")
    if greatest_turn_rad(solved) < LEAST_TURN_RAD:
        against.append("the board is tilted too little from view to view")
    unfit = [view.name for view in used if view.window_unfit]
    if unfit:
        against.append(f"the corner window does not fit {', '.join(unfit)}")
    if solved.fit.rms_px > GREATEST_RMS_PX:
        against.append(
            f"corners miss by {solved.fit.rms_px:.2f} px rms: the board is not flat or not this "
            "one, or the lens is none that the model describes"
        )
    if not solved.doubt_seen_px <= GREATEST_DOUBT_PX:
        against.append(
            f"the rays are doubtful by {solved.doubt_seen_px:.2f} px rms where corners were seen, "
            f"more than {GREATEST_DOUBT_PX:g} px"
        )
    if against:
        return Verdict(vouched=False, reasons=against)
    return Verdict(
        vouched=True,
        reasons=[
            f"{len(used)} views agree to {solved.fit.rms_px:.2f} px rms, and by the lens of the "
            f"others to {solved.held_out_rms_px:.2f} px",
            f"the rays are doubtful by {solved.doubt_seen_px:.2f} px rms where corners were seen, "
            f"{100 * solved.covered:.0f} % of the picture",
        ],
    )


def calibration_of(solved: LensSolved, board: Board, camera: str) -> LensCalibration:
    """The record of a solved lens, with its verdict; not yet stamped."""
    return LensCalibration(
        camera=camera,
        params=solved.fit.params.tolist(),
        cov=solved.cov.tolist(),
        size_px=solved.size_px,
        view_rms_px=[view.rms_px for view in solved.views if view.used],
        views=[
            LensView(
                name=view.name,
                used=view.used,
                rms_px=view.rms_px,
                held_out_rms_px=view.held_out_rms_px,
                tilt_rad=view.tilt_rad,
                share=view.share,
                edge_px=view.edge_px,
                window_px=view.window_px,
            )
            for view in solved.views
        ],
        held_out_rms_px=solved.held_out_rms_px,
        noise_px=solved.fit.noise_px,
        covered=solved.covered,
        doubt_seen_px=solved.doubt_seen_px,
        doubt_worst_px=solved.doubt_worst_px,
        square_m=board.square_m if board.to_scale else None,
        verdict=judge(solved),
    )


def greatest_turn_rad(solved: LensSolved) -> float:
    """The greatest angle between the normals of two used views [rad]."""
    normals = solved.fit.camera_from_board[:, :3, 2]
    return float(np.arccos(np.clip(np.min(normals @ normals.T), -1.0, 1.0)))


def _of_view(view: ViewResult, solved: LensSolved) -> list[Finding]:
    others = [each for each in solved.views if each is not view]
    usual = float(np.median([each.rms_px for each in others]))
    told = f"misses by {view.rms_px:.2f} px rms where the others miss by {usual:.2f}"
    left_out = "" if view.used else " and was left out"
    found = []
    if view.window_unfit:
        found.append(
            _warning(
                "corner-window-unfit",
                view.name,
                f"corners by a window of {2 * view.window_px + 1} px",
                f"{told}{left_out}: the window takes in the edges of neighbouring corners; a "
                f"fitting one gives {view.other_window_rms_px:.2f} px",
                "leave the window to be chosen by fit",
            )
        )
    elif not view.used:
        found.append(
            _warning(
                "view-unfit",
                view.name,
                "",
                f"{told} and was left out",
                "look whether the board is bent, moving, or partly in shadow, and take it anew",
            )
        )
    sharpest = float(np.median([each.edge_px for each in others]))
    if view.edge_px > max(BLURRED_PX, BLURRED_RATIO * sharpest):
        found.append(
            _warning(
                "view-blurred",
                view.name,
                f"edges {view.edge_px:.1f} px wide, standard deviation",
                f"is blurred where the others have {sharpest:.1f} px",
                "hold the board still and within focus, and take it anew",
            )
        )
    return found


def _of_picture(solved: LensSolved) -> list[Finding]:
    found = []
    columns, rows = solved.size_px
    ends = np.array([[x, y] for x in (0.0, columns - 1.0) for y in (0.0, rows - 1.0)])
    rays = undistort_px(ends, solved.fit.K, solved.fit.k)
    if not np.all(np.isfinite(rays)):
        limit = float(distortion_limit(solved.fit.k))
        found.append(
            _warning(
                "lens-model-ends",
                "lens",
                f"one-to-one up to {math.degrees(math.atan(limit)):.0f}° from its axis",
                "does not reach the corners of the picture",
                "take views with the board in those corners, and rely on no dot there",
            )
        )
    worst = solved.doubt_worst_px
    if solved.covered < LEAST_COVERED or worst > _STILL_DOUBTFUL_PX:
        doubt = f"± {worst:.1f} px" if math.isfinite(worst) else "without any bound"
        found.append(
            _warning(
                "picture-uncovered",
                "views",
                f"corners in {100 * solved.covered:.0f} % of the picture",
                f"leave the lens beyond them to be guessed: {doubt} at the worst place",
                "take views that reach into the corners of the picture",
            )
        )
    ratio = solved.held_out_rms_px / solved.fit.rms_px if solved.fit.rms_px > 0 else 1.0
    if ratio > HELD_OUT_RATIO:
        found.append(
            _warning(
                "held-out-worse",
                "views",
                f"{solved.held_out_rms_px:.2f} px rms by the lens of the others",
                f"miss {ratio:.1f} times as much as by the lens of all: each view tells "
                "something that no other confirms",
                "take more views",
            )
        )
    fx, fy = solved.fit.params[:2]
    if abs(fx / fy - 1.0) > 0.01:
        found.append(
            _warning(
                "pixels-not-square",
                "lens",
                f"fx {fx:.1f} px and fy {fy:.1f} px",
                f"differ by {100 * abs(fx / fy - 1.0):.1f} %, which few cameras do",
                "measure both check lines of the print, and see that no program stretches the "
                "picture",
            )
        )
    return found


def _warning(code: str, where: str, given: str, allowed: str, remedy: str) -> Finding:
    return Finding("warning", code, where, given, allowed, remedy)
