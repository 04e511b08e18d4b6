"""The rig in its room, from the side and from above, to scale."""

from __future__ import annotations

from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Canvas
from matplotlib.patches import Arc, Polygon, Rectangle
from numpy.typing import NDArray

from rushlight.plan.look import EMBER, INK, QUIET, REED, STYLE
from rushlight.plan.planning import Planned
from rushlight.plan.room_marks import draw_room, extent_of
from rushlight.plan.sight import surface_of_px

Array = NDArray[Any]

_MARGIN_M = 0.35
_INCHES_WIDE = 9.6


def _edge_middles(planned: Planned, camera: int) -> Array:
    """Where on the surface's plane (4, 2) [m] the middles of the picture's edges look:
    top, right, bottom, left."""
    size = planned.resolved.cameras.size_px[0, camera]
    share = np.array([[0.5, 0.0], [1.0, 0.5], [0.5, 1.0], [0.0, 0.5]])
    return surface_of_px(planned.resolved, camera, share * size - 0.5)[0]


def _canvas(across_m: float, up_m: float) -> tuple[Canvas, Axes]:
    height = (_INCHES_WIDE - 1.2) * up_m / across_m + 0.9
    canvas = Canvas(figsize=(_INCHES_WIDE, min(max(height, 4.0), 11.0)), layout="constrained")
    axes = canvas.subplots()
    axes.set_aspect("equal")
    axes.grid(color=QUIET, alpha=0.25, lw=0.8)
    axes.set_axisbelow(True)
    return canvas, axes


def _camera(
    axes: Axes, place: tuple[float, float], ends: Array, label: str, dy: float, ha: str = "center"
) -> None:
    """A camera and the wedge that it sees; `ends` (2, 2) on the wall, NaN where there is none."""
    if np.isfinite(ends).all():
        axes.add_patch(Polygon([place, *ends], closed=True, fc=EMBER, alpha=0.12, lw=0))
        for end in ends:
            axes.plot([place[0], end[0]], [place[1], end[1]], color=EMBER, lw=1.2)
    axes.plot(*place, marker="s", ms=11, color=EMBER, mec=INK)
    axes.annotate(
        label,
        place,
        xytext=(0, dy),
        textcoords="offset points",
        ha=ha,
        va="center",
        fontsize=11,
    )


def side_view(planned: Planned, people: tuple[str, ...]) -> Canvas:
    """The room from the side: the wall on the left, heights above the floor."""
    resolved, plan = planned.resolved, planned.plan
    floor, height = float(resolved.surface.floor_m[0]), float(resolved.surface.size_m[0, 1])
    lenses = resolved.cameras.rig_from_camera[0, :, :3, 3]
    crowd = resolved.people
    far = max(lenses[:, 2].max(), *(crowd.standing_m[0, :, 1] + crowd.reach_m[0]), 1.0) + _MARGIN_M
    tall = max(lenses[:, 1].max() + floor, floor + height, *crowd.stature_m[0]) + 0.6
    with matplotlib.rc_context(STYLE):
        canvas, axes = _canvas(far + 0.5, tall + 0.3)
        for index, name in enumerate(planned.names.cameras):
            lens = lenses[index]
            middles = _edge_middles(planned, index)
            ends = np.array([[0.0, middles[0, 1] + floor], [0.0, middles[2, 1] + floor]])
            _camera(
                axes,
                (lens[2], lens[1] + floor),
                ends,
                f"{name}: {lens[1] + floor:.2f} m high, {lens[2]:.2f} m from the wall",
                20,
                "right",
            )
        for index, name in enumerate(people):
            z, stature = float(crowd.standing_m[0, index, 1]), float(crowd.stature_m[0, index])
            shoulder, reach = float(crowd.shoulder_m[0, index]), float(crowd.reach_m[0, index])
            colour, dash = (REED, INK)[index % 2], ("-", "--")[index % 2]
            axes.add_patch(Rectangle((z - 0.11, 0.0), 0.22, stature, fc=colour, alpha=0.25, lw=0))
            axes.plot([z - 0.11, z + 0.11], [stature, stature], color=colour, lw=2, ls=dash)
            for arc in _reach_arcs((z, shoulder), reach, colour, dash):
                axes.add_patch(arc)
            axes.plot(z, shoulder, "o", color=colour, ms=6)
            label = f"{name}: stature {stature:.2f} m, reach {reach:.2f} m from the shoulder"
            axes.plot([], [], color=colour, ls=dash, lw=1.8, marker="o", label=label)
        axes.plot([0.0, 0.0], [0.0, tall - 0.1], color=INK, lw=1.5)
        axes.plot([0.0, 0.0], [floor, floor + height], color=INK, lw=7, solid_capstyle="butt")
        axes.annotate(
            "surface",
            (0.0, floor + height / 2),
            xytext=(-14, 0),
            rotation=90,
            textcoords="offset points",
            ha="center",
            va="center",
        )
        axes.axhline(0.0, color=INK, lw=2.5)
        axes.set_xlim(-0.4, far)
        axes.set_ylim(-0.15, tall)
        if people:
            axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.13), frameon=False)
        axes.set_xlabel("distance from the wall [m]")
        axes.set_ylabel("height above the floor [m]")
        axes.set_title(f"{plan.rig_name}: side view to scale, as planned (predicted)")
    return canvas


def _reach_arcs(centre: tuple[float, float], reach: float, colour: str, dash: str) -> list[Arc]:
    """The half of a reach circle toward the wall at x = 0, the part behind the wall left out."""
    cut = np.degrees(np.arccos(centre[0] / reach)) if reach > centre[0] else 0.0
    ends = [(90.0, 180.0 - cut), (180.0 + cut, 270.0)]
    return [_arc(centre, reach, end, colour, dash) for end in ends]


def _arc(
    centre: tuple[float, float], reach: float, ends: tuple[float, float], colour: str, dash: str
) -> Arc:
    first, last = ends
    return Arc(
        centre, 2 * reach, 2 * reach, theta1=first, theta2=last, color=colour, lw=1.8, ls=dash
    )


def top_view(planned: Planned, people: tuple[str, ...]) -> Canvas:
    """The room from above: the wall at the top, people and camera before it."""
    resolved, plan = planned.resolved, planned.plan
    width = float(resolved.surface.size_m[0, 0])
    lenses = resolved.cameras.rig_from_camera[0, :, :3, 3]
    crowd, standing = resolved.people, planned.standing
    views = [_edge_middles(planned, index) for index in range(len(lenses))]
    edges = np.array([[view[3, 0], view[1, 0]] for view in views])
    reaches = [standing.low_m - crowd.reach_m[0], standing.high_m + crowd.reach_m[0]]
    left = np.nanmin([0.0, *edges.ravel(), *reaches[0], *lenses[:, 0]]) - 0.2
    right = np.nanmax([width, *edges.ravel(), *reaches[1], *lenses[:, 0]]) + 0.2
    far = max(float(lenses[:, 2].max()), 1.0) + _MARGIN_M
    room, beam = planned.room, plan.room.beam
    held = extent_of(room, beam)
    if len(held):
        left, right = min(left, held[:, 0].min() - 0.3), max(right, held[:, 0].max() + 0.6)
        far = max(far, held[:, 1].max() + _MARGIN_M)
    with matplotlib.rc_context(STYLE):
        canvas, axes = _canvas(right - left, far + 0.5)
        draw_room(axes, room, beam, width)
        for index, name in enumerate(planned.names.cameras):
            lens, view = lenses[index], views[index]
            ends = np.array([[view[3, 0], 0.0], [view[1, 0], 0.0]])
            place = (float(lens[0]), float(lens[2]))
            _camera(axes, place, ends, f"{name}: x {lens[0]:.2f} m, {lens[2]:.2f} m away", -20)
        for index, name in enumerate(people):
            z, radius = float(crowd.standing_m[0, index, 1]), float(crowd.breadth_m[0, index]) / 2
            low, high = float(standing.low_m[index]), float(standing.high_m[index])
            colour, dash = (REED, INK)[index % 2], ("-", "--")[index % 2]
            middle, reach = (low + high) / 2.0, float(crowd.reach_m[0, index])
            axes.add_patch(
                Rectangle((low, z - 0.03), high - low, 0.06, fc=colour, alpha=0.35, lw=0)
            )
            axes.add_patch(matplotlib.patches.Circle((middle, z), radius, fc=colour, alpha=0.3))
            for arc in _reach_from_above(low, high, z, reach, colour, dash):
                axes.add_patch(arc)
            axes.annotate(
                name,
                (middle, z + radius),
                xytext=(0, -12),
                color=colour,
                textcoords="offset points",
                ha="center",
                va="center",
                fontsize=11,
            )
        axes.axhline(0.0, color=INK, lw=1.5)
        axes.plot([0.0, width], [0.0, 0.0], color=INK, lw=7, solid_capstyle="butt")
        axes.annotate(
            "surface",
            (width / 2, 0.0),
            xytext=(0, 14),
            textcoords="offset points",
            ha="center",
            va="center",
        )
        axes.set_xlim(left, right)
        axes.set_ylim(far, -0.35)
        axes.set_xlabel("x along the surface [m]")
        axes.set_ylabel("distance from the wall [m]")
        axes.set_title(f"{plan.rig_name}: top view to scale, as planned (predicted)")
    return canvas


def _reach_from_above(
    low_m: float, high_m: float, z_m: float, reach: float, colour: str, dash: str
) -> list[Arc]:
    """How far to the left and right someone reaches who may stand from `low_m` to `high_m`."""
    cut = np.degrees(np.arcsin(min(z_m / reach, 1.0)))
    left = _arc((low_m, z_m), reach, (180.0, 180.0 + cut), colour, dash)
    return [left, _arc((high_m, z_m), reach, (360.0 - cut, 360.0), colour, dash)]
