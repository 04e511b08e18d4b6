"""Matrices for renderers: how to draw a scene on each screen for an eye that was found."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, TextIO

import numpy as np

from rushlight.drive.departures import Departures
from rushlight.drive.lines import LinesOutput
from rushlight.drive.output import Display, Results
from rushlight.errors import RushlightError
from rushlight.physics.geometry.offaxis import off_axis, parallax_jacobian, screen_frame
from rushlight.records.arrays import Array
from rushlight.records.session import Fix
from rushlight.records.space import Screen
from rushlight.records.view import ViewMatrices

EYE = "eye"
"""Name of the point for which pictures are drawn."""
NEAR_M, FAR_M = 0.05, 50.0
"""Between which distances from the eye things are drawn [m]; a choice of ours. The sides of the
frustum let a renderer choose its own."""
FRAMES_THAT_WAIT = 2
"""A picture for where the eye was is of no use: only the newest frames wait for a reader."""


def view_of(fix: Fix, screens: Sequence[Screen], scene_m: Array | None = None) -> ViewMatrices:
    """The matrices of every screen for one fix of an eye.

    Parameters
    ----------
    fix
        In space: its place is the eye's.
    screens
        One or more.
    scene_m
        (2,) how far content stands out before the screens and lies behind them [m]; None or NaN
        when that is not known.
    """
    eye, cov = fix.position_m, fix.cov[:3, :3]
    corners = np.stack([screen.corners_m for screen in screens])
    drawn = off_axis(corners, eye, NEAR_M, FAR_M)
    depths = np.full(2, np.nan) if scene_m is None else np.array([scene_m[0], -scene_m[1]])
    frame = screen_frame(corners)
    middle = frame.corner_m + np.einsum("si,sij->sj", frame.size_m / 2.0, frame.axes[:, :2])
    content = middle[:, None] + depths[:, None] * frame.axes[:, None, 2]
    slope = parallax_jacobian(content, corners[:, None], eye)
    spread = np.einsum("sdia,ab,sdib->sd", slope, cov, slope) / 2.0
    return ViewMatrices(
        carried=fix.carried,
        point=fix.point,
        frame=fix.frame,
        capture_ns=fix.capture_ns,
        valid_ns=fix.valid_ns,
        predicted=fix.predicted,
        screens=tuple(screen.id for screen in screens),
        near_m=NEAR_M,
        far_m=FAR_M,
        eye_m=eye,
        eye_cov=cov,
        frustum=np.stack(drawn.frustum[:4], axis=-1),
        projection=drawn.projection,
        view=drawn.view,
        doubt_m=np.sqrt(spread),
    )


def view_object(view: ViewMatrices) -> dict[str, Any]:
    """The matrices as plain values; null stands for what is not known."""
    return {
        "carried": view.carried,
        "point": view.point,
        "frame": view.frame,
        "capture_ns": view.capture_ns,
        "valid_ns": view.valid_ns,
        "predicted": view.predicted,
        "eye_m": _plain(view.eye_m),
        "eye_std_m": _plain(np.sqrt(np.diagonal(view.eye_cov))),
        "near_m": view.near_m,
        "far_m": view.far_m,
        "screens": [
            {
                "surface": name,
                "frustum_m": _plain(view.frustum[i]),
                "clip_from_eye": _plain(view.projection[i]),
                "eye_from_rig": _plain(view.view[i]),
                "nearest_std_m": _plain(view.doubt_m[i, 0]),
                "farthest_std_m": _plain(view.doubt_m[i, 1]),
            }
            for i, name in enumerate(view.screens)
        ],
    }


def _plain(values: Array) -> Any:
    """Nested lists, None for what is not finite."""
    if np.ndim(values):
        return [_plain(each) for each in values]
    return float(values) if np.isfinite(values) else None


class ViewsOutput(LinesOutput):
    """Writes the matrices for each eye as one JSON object a line, as `LinesOutput` does.

    A frame in which no eye was found is left out, and a reader that is slow gets the newest.

    Parameters
    ----------
    screens
        On which pictures are drawn.
    scene_m
        See `view_of`.
    display, stream, departures
        As in `LinesOutput`.

    Raises
    ------
    RushlightError
        When there is no screen.
    """

    name = "views"
    most_frames = FRAMES_THAT_WAIT

    def __init__(
        self,
        screens: Sequence[Screen],
        scene_m: Array | None,
        display: Display,
        stream: TextIO | None = None,
        departures: Departures | None = None,
    ) -> None:
        if not screens:
            raise RushlightError.of(
                "output",
                '"views"',
                "draws on a screen, and the rig has none",
                "give the rig a surface, or leave the output out",
                "views-no-screen",
            )
        self._screens, self._scene_m = tuple(screens), scene_m
        super().__init__(display, stream, departures)

    def wants(self, results: Results) -> bool:
        """Whether an eye was found."""
        return any(is_eye(fix) for fix in results.fixes)

    def line(self, results: Results, sent_ns: int) -> str:
        """One frame's matrices, without the line's end."""
        views = [
            view_object(view_of(fix, self._screens, self._scene_m))
            for fix in results.fixes
            if is_eye(fix)
        ]
        body = {
            "frame": results.frame if results.frame >= 0 else None,
            "capture_ns": results.capture_ns,
            "sent_ns": sent_ns,
            "views": views,
        }
        return json.dumps(body, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def is_eye(fix: Fix) -> bool:
    """Whether a fix tells where an eye is in space."""
    return fix.point == EYE and fix.dimensions != 2
