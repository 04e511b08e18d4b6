"""A lens calibration in one picture: how corners miss, where they lie, and what is in doubt."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np

from rushlight.look import EMBER, INK, PAPER, REED
from rushlight.records.arrays import Array
from rushlight.register.lens_calibrate import LensSolved

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.contour import ContourSet

_ARROW_SHARE = 0.05
"""Length of a long arrow as part of the picture's width."""


def picture(solved: LensSolved, camera: str, basis: str, vouched: bool) -> bytes:
    """The residual arrows, the coverage and the doubt of the rays over the picture, as PNG.

    Parameters
    ----------
    solved
        The lens and its views.
    camera
        Its id, for the heading.
    basis
        "measured" or "simulated", as the picture says.
    vouched
        Whether the lens is relied on.
    """
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    style = {
        "font.family": "sans-serif", "font.size": 10, "text.color": INK,
        "axes.labelcolor": INK, "axes.edgecolor": INK, "axes.facecolor": PAPER,
        "xtick.color": INK, "ytick.color": INK,
    }  # fmt: skip
    columns, rows = solved.size_px
    with mpl.rc_context(style):
        figure = Figure(
            figsize=(12.0, 1.5 + 5.1 * rows / columns), facecolor=PAPER, layout="constrained"
        )
        FigureCanvasAgg(figure)
        left, right = figure.subplots(1, 2)
        _arrows(left, solved)
        shown = _doubt(right, solved)
        for axes in (left, right):
            axes.set_xlim(-0.5, columns - 0.5)
            axes.set_ylim(rows - 0.5, -0.5)
            axes.set_aspect("equal")
            axes.set_xlabel("x in the picture [px]")
        left.set_ylabel("y, downward [px]")
        figure.colorbar(shown, ax=right, shrink=0.8, label="doubt of the ray, rms [px]")
        verdict = "vouched for" if vouched else "NOT vouched for"
        figure.suptitle(
            f"Lens of {camera} ({basis}), {verdict}: corners miss by {solved.fit.rms_px:.2f} px "
            f"rms, by the lens of the other views {solved.held_out_rms_px:.2f} px",
            x=0.02, ha="left",
        )  # fmt: skip
        buffer = io.BytesIO()
        figure.savefig(buffer, format="png", dpi=110, metadata={"Software": None})
    return buffer.getvalue()


def _arrows(axes: Axes, solved: LensSolved) -> None:
    used = [view for view in solved.views if view.used]
    at = np.concatenate([view.corners_px for view in used])
    away = np.concatenate([view.residual_px for view in used])
    long_px = float(np.quantile(np.linalg.norm(away, axis=-1), 0.95))
    scale = max(long_px, 1e-12) / (_ARROW_SHARE * solved.size_px[0])
    arrows = axes.quiver(
        *at.T, *away.T, angles="xy", scale_units="xy", scale=scale, color=EMBER, width=0.0018
    )
    axes.plot(*at.T, linestyle="none", marker=".", markersize=1.5, color=INK)
    step = _round_down(long_px)
    axes.quiverkey(arrows, 0.88, 0.05, step, f"{step:g} px", labelpos="E", color=EMBER)
    dropped = [view for view in solved.views if not view.used]
    for view in dropped:
        axes.plot(*view.corners_px.T, linestyle="none", marker="x", markersize=3, color=REED)
    crosses = " (crosses: left out)" if dropped else ""
    axes.set_title(f"Corners, and where the lens has them{crosses}", loc="left")


def _doubt(axes: Axes, solved: LensSolved) -> ContourSet:
    from rushlight.physics.geometry.lens_doubt import lens_doubt_px, picture_grid

    columns, rows = 65, 49
    grid = picture_grid(solved.size_px, columns, rows)
    doubt = lens_doubt_px(grid, solved.fit.K, solved.fit.k, solved.cov).reshape(rows, columns)
    x, y = grid.reshape(rows, columns, 2)[0, :, 0], grid.reshape(rows, columns, 2)[:, 0, 1]
    levels = _levels(float(np.nanmin(doubt)), float(np.nanmax(doubt)))
    from matplotlib.colors import BoundaryNorm

    shown = axes.contourf(
        x, y, doubt, levels=levels, cmap="cividis", norm=BoundaryNorm(levels, 256)
    )
    for view in solved.views:
        if view.used:
            outline = _outline(view.corners_px)
            axes.plot(*outline.T, color=PAPER, linewidth=0.8)
    axes.set_title("Boards seen (outlines), and the doubt of the rays", loc="left")
    return shown


def _outline(corners_px: Array) -> Array:
    from scipy.spatial import ConvexHull

    around = corners_px[ConvexHull(corners_px).vertices]
    return np.concatenate([around, around[:1]])


def _levels(least: float, most: float) -> list[float]:
    """1, 2, 5 times the powers of ten, from below the least to above the most."""
    low, high = (np.log10(max(each, 1e-6)) for each in (least, most))
    powers = range(int(np.floor(low)), int(np.ceil(high)) + 1)
    steps = [step * 10.0**power for power in powers for step in (1, 2, 5)]
    first = max(i for i, step in enumerate(steps) if step <= max(least, 1e-6))
    last = next((i for i, step in enumerate(steps) if step >= most), len(steps) - 1)
    return steps[first : max(last, first + 1) + 1]


def _round_down(value: float) -> float:
    """The greatest of 1, 2 and 5 times a power of ten that is not above the value."""
    power = 10.0 ** np.floor(np.log10(max(value, 1e-12)))
    return float(power * max(step for step in (1, 2, 5) if step * power <= value * (1 + 1e-9)))
