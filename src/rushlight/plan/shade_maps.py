"""What stands between light and camera, projector and picture: maps drawn from the document."""

from __future__ import annotations

import math
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Canvas
from numpy.typing import NDArray

from rushlight.plan.look import INK, PAPER, STYLE
from rushlight.records.plan import Plan, PlanMap

Array = NDArray[Any]

LAYERS = {
    "shadow": "light hidden from all cameras,\neveryone at work [% of scenes]",
    "place-shaded": "touched place in the toucher's own\nshadow [% of scenes]",
    "sun": "infrared light on the surface,\nwith the sun at its worst [W/m²]",
}
"""What is drawn where the plan tells it; every cell bears its number."""


def shade_maps(plan: Plan) -> Canvas:
    """A map for each carried thing of how often people are in the way, and one of the sun."""
    panels = [
        (one, layer)
        for layer in ("shadow", "place-shaded")
        for one in plan.maps
        if layer in one.names
    ]
    panels += [(plan.maps[0], "sun")] if "sun" in plan.maps[0].names else []
    one = plan.maps[0]
    width, height = one.x_m[-1] + one.x_m[0], one.y_m[-1] + one.y_m[0]
    with matplotlib.rc_context(STYLE):
        rows = math.ceil(len(panels) / 2)
        size = (11.0, (5.0 * height / width + 0.9) * rows + 0.5)
        canvas = Canvas(figsize=size, layout="constrained")
        grid = canvas.subplots(rows, 2, squeeze=False).ravel()
        for axes, (each, layer) in zip(grid, panels, strict=False):
            _panel(axes, each, layer, width, height)
        for axes in grid[len(panels) :]:
            axes.set_axis_off()
        canvas.suptitle(
            f"{plan.rig_name}: what stands in the way, as planned (predicted)",
            x=0.02,
            ha="left",
            fontweight="bold",
        )
    return canvas


def _panel(axes: Axes, one: PlanMap, layer: str, width: float, height: float) -> None:
    values = np.array([[math.nan if v is None else v for v in row] for row in one.of(layer)])
    share = one.units[one.names.index(layer)] == "%"
    most = 100.0 if share else max(float(np.nanmax(values, initial=0.0)), 1e-9)
    axes.imshow(
        values, origin="lower", extent=(0, width, 0, height), cmap="cividis", vmin=0, vmax=most
    )
    for (row, column), value in np.ndenumerate(values):
        text = "–" if math.isnan(value) else f"{value:.0f}" if share else f"{value:.2g}"
        pale = math.isnan(value) or value > 0.45 * most
        axes.text(
            one.x_m[column],
            one.y_m[row],
            text,
            ha="center",
            va="center",
            fontsize=9,
            color=INK if pale else PAPER,
        )
    whose = "" if layer == "sun" else f"{one.carried}: "
    axes.set_title(f"{whose}{LAYERS[layer]}", fontsize=10, fontweight="normal")
    axes.set_xlabel("x [m]")
    axes.set_ylabel("y [m]")
