"""The plan of a rig in space in pictures, each drawn from the document's own numbers."""

from __future__ import annotations

import math
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Canvas
from matplotlib.patches import Polygon, Rectangle
from scipy.spatial import ConvexHull

from rushlight.physics.geometry import invert_transform, transform_points, undistort_px
from rushlight.plan.look import EMBER, INK, PAPER, QUIET, REED, STYLE, svg_of
from rushlight.plan.pictures import delay_bars
from rushlight.plan.space_design import screen_frame
from rushlight.plan.space_planning import SpacePlanned
from rushlight.records.arrays import Array
from rushlight.records.figure import CAUSE_WORDS, SPACE_CAUSES
from rushlight.records.figure import Figure as Number
from rushlight.records.space_plan import SpacePlan, ZoneMap

# Which axes of the rig run across and up, which one is looked along, and how the view is called.
_VIEWS = ((0, 2, 1, "along y: x and z"), (2, 1, 0, "along x: z and y"))
_INCHES_WIDE = 10.5


def zone_picture(planned: SpacePlanned) -> Canvas:
    """Cameras, screens and zones to scale along two axes, the zones coloured by their error."""
    plan = planned.plan
    known = [v for one in plan.maps for v in np.ravel(_values(one)) if np.isfinite(v)]
    least, most = (min(known), max(known)) if known else (0.0, 1.0)
    most = max(most, 1.02 * least)
    spans = [_span(planned, across, up) for across, up, _, _ in _VIEWS]
    # Side by side, both at one scale.
    wide = sum(span[0, 1] - span[0, 0] for span in spans)
    tall = max(span[1, 1] - span[1, 0] for span in spans)
    inches = min(max((_INCHES_WIDE - 2.2) * tall / wide + 2.0, 4.2), 12.0)
    with matplotlib.rc_context(STYLE):
        canvas = Canvas(figsize=(_INCHES_WIDE, inches), layout="constrained")
        ratios = [span[0, 1] - span[0, 0] for span in spans]
        panels = canvas.subplots(1, 2, width_ratios=ratios)
        picture = None
        for axes, view, span in zip(panels, _VIEWS, spans, strict=True):
            picture = _one_view(axes, planned, view, span, least, most)
        bar = canvas.colorbar(picture, ax=list(panels), shrink=0.8, pad=0.02)
        bar.set_label("error, root-mean-square [mm]")
        bar.outline.set_visible(False)
        handles, words = panels[0].get_legend_handles_labels()
        if handles:
            canvas.legend(handles, words, loc="outside lower left", frameon=False)
        canvas.suptitle(
            f"{plan.rig_name}: predicted error over the zone", x=0.02, ha="left", fontweight="bold"
        )
    return canvas


def _values(one: ZoneMap) -> Array:
    """(Z, Y, X) error [mm], NaN where unknown."""
    return np.array(
        [[[math.nan if v is None else v for v in row] for row in s] for s in one.of("error")]
    )


def _one_view(
    axes: Axes, planned: SpacePlanned, view: tuple[int, int, int, str], span: Array,
    least: float, most: float,
) -> Any:  # fmt: skip
    across, up, along, words = view
    evaluation = planned.evaluation
    axes.set_aspect("equal")
    axes.grid(color=QUIET, alpha=0.25, lw=0.8)
    axes.set_axisbelow(True)
    picture = None
    for one, field in zip(planned.plan.maps, evaluation.fields, strict=True):
        low, high = field.thing.low_m, field.thing.high_m
        values = np.moveaxis(_values(one), (2, 1, 0), (0, 1, 2))  # by x, y, z
        good = np.isfinite(values)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = np.sqrt(np.nansum(values**2, axis=along) / good.sum(axis=along))
        # The axis left over runs in the order of the rig's.
        flat = mean.T if across < up else mean
        extent = (low[across], high[across], low[up], max(high[up], low[up] + 1e-3))
        picture = axes.imshow(
            flat, origin="lower", extent=extent, cmap="cividis", vmin=least, vmax=most,
            aspect="equal", zorder=2,
        )  # fmt: skip
        axes.add_patch(
            Rectangle(
                (low[across], low[up]), high[across] - low[across], high[up] - low[up],
                fill=False, ec=INK, lw=1.2, zorder=3,
            )
        )  # fmt: skip
        axes.annotate(
            f"zone of the {one.carried}'s {field.thing.main}",
            ((low[across] + high[across]) / 2, high[up]),
            xytext=(0, 5), textcoords="offset points", ha="center", va="bottom", fontsize=10,
            zorder=6,
        )  # fmt: skip
    labels: dict[tuple[float, float], list[str]] = {}
    for number, camera in enumerate(evaluation.space.camera_ids):
        place = _camera(axes, planned, number, across, up)
        labels.setdefault(place, []).append(camera)
    for place, cameras in labels.items():  # one behind the other bear one label
        axes.annotate(
            ("camera " if len(cameras) == 1 else "cameras ") + ", ".join(cameras), place,
            xytext=(8, -13), textcoords="offset points", fontsize=10, zorder=7,
        )  # fmt: skip
    for screen in evaluation.space.screens:
        _screen(axes, screen.id, _corners(screen), across, up)
    for count, mark in enumerate(planned.plan.registration.marks):
        axes.plot(
            mark.from_m[across], mark.from_m[up], "o", ms=5, mfc=PAPER, mec=EMBER, zorder=7,
            label="marks to register by" if count == 0 else None,
        )  # fmt: skip
    axes.set_xlim(*span[0])
    axes.set_ylim(*span[1])
    axes.set_xlabel("xyz"[across] + " [m]")
    axes.set_ylabel("xyz"[up] + " [m]")
    axes.set_title(words, fontsize=12, fontweight="normal")
    return picture


def _corners(screen: Any) -> Array:
    corner, wide, high, _ = screen_frame(screen)
    return np.array([corner, corner + wide, corner + wide + high, corner + high])


def _screen(axes: Axes, name: str, corners: Array, across: int, up: int) -> None:
    flat = corners[:, [across, up]]
    axes.add_patch(Polygon(flat, closed=True, fc=REED, ec=REED, alpha=0.35, lw=4, zorder=4))
    # Below its lowest end, at the left where it lies level: cameras and zones have names beside.
    end = flat[np.lexsort((flat[:, 0], flat[:, 1].round(6)))[0]]
    level = float(np.ptp(flat[:, 0])) > float(np.ptp(flat[:, 1]))
    axes.annotate(
        name, end.tolist(), xytext=(-6 if level else 6, -4), textcoords="offset points",
        fontsize=11, color=REED, fontweight="bold", ha="right" if level else "left", va="top",
        zorder=7,
    )  # fmt: skip


def _view_corners(planned: SpacePlanned, camera: int) -> Array:
    """(5, 3) a camera's place, and the corners of its picture as far off as the zones reach."""
    space = planned.evaluation.space
    c = space.cameras
    wide, high = c.size_px[0, camera]
    px = np.array([[0.0, 0.0], [wide - 1, 0.0], [wide - 1, high - 1], [0.0, high - 1]])
    rays = undistort_px(px, c.K[0, camera], c.distortion[0, camera])
    pose = c.rig_from_camera[0, camera]
    ends = np.concatenate([[thing.low_m, thing.high_m] for thing in space.things])
    grid = np.stack(np.meshgrid(*np.stack([ends.min(0), ends.max(0)]).T), -1).reshape(-1, 3)
    depth = float(transform_points(invert_transform(pose), grid)[:, 2].max())
    corners = np.column_stack([rays, np.ones(4)]) * depth
    return np.vstack([pose[:3, 3], transform_points(pose, corners)])


def _camera(
    axes: Axes, planned: SpacePlanned, number: int, across: int, up: int
) -> tuple[float, float]:
    """Draw a camera with what it sees; where it stands [m], to the centimetre."""
    flat = _view_corners(planned, number)[:, [across, up]]
    if np.isfinite(flat).all():
        hull = flat[ConvexHull(flat).vertices]
        axes.add_patch(Polygon(hull, closed=True, fc=EMBER, alpha=0.10, lw=0, zorder=1))
        axes.add_patch(Polygon(hull, closed=True, fill=False, ec=EMBER, lw=1.0, zorder=5))
    axes.plot(*flat[0], marker="s", ms=9, color=EMBER, mec=INK, zorder=7)
    return round(float(flat[0, 0]), 2), round(float(flat[0, 1]), 2)


def _span(planned: SpacePlanned, across: int, up: int) -> Array:
    """(2, 2) from and to where a view reaches, across and up [m]."""
    space = planned.evaluation.space
    points = [_view_corners(planned, i) for i in range(len(space.camera_ids))]
    points += [_corners(screen) for screen in space.screens]
    points += [np.stack([thing.low_m, thing.high_m]) for thing in space.things]
    whole = np.concatenate(points)[:, [across, up]]
    whole = whole[np.isfinite(whole).all(axis=1)]
    return np.stack([whole.min(axis=0) - 0.12, whole.max(axis=0) + 0.12], axis=1)


_PANELS = {
    "error": "error of place [mm]",
    "turn-error": "error of the angle [°]",
    "picture-error": "error of the picture [mm]",
}


def cause_bars(plan: SpacePlan) -> Canvas:
    """Errors by cause, the dominant one first, a panel for each kind of error of each thing."""
    groups: dict[tuple[str, str, str], list[Number]] = {}
    for figure in plan.figures:
        scope = figure.scope
        ours = figure.name in _PANELS and figure.statistic == "rms" and figure.unit != "px"
        if ours and scope.carried is not None:
            key = (figure.name, scope.carried, scope.condition or "")
            groups.setdefault(key, []).append(figure)
    with matplotlib.rc_context(STYLE):
        canvas = Canvas(figsize=(9.6, 0.6 + 2.9 * len(groups)), layout="constrained")
        panels = canvas.subplots(len(groups), 1, squeeze=False)[:, 0]
        for axes, ((name, carried, condition), figures) in zip(panels, groups.items(), strict=True):
            title = ", ".join(filter(None, (carried, _PANELS[name].split(" [")[0], condition)))
            _bars(axes, figures, title, _PANELS[name].split(" [")[1].rstrip("]"))
        canvas.suptitle(
            f"{plan.rig_name}: predicted errors by cause", x=0.02, ha="left", fontweight="bold"
        )
    return canvas


def _bars(axes: Axes, figures: list[Number], title: str, unit: str) -> None:
    lines = [f for f in figures if f.cause in SPACE_CAUSES and f.value is not None]
    lines.sort(key=lambda figure: -(figure.value or 0.0))
    lines += [f for f in figures if f.cause == "all" and f.value is not None]
    for row, figure in enumerate(lines):
        value = figure.value or 0.0
        colour = REED if figure.cause == "all" else EMBER if row == 0 else QUIET
        axes.barh(row, value, color=colour, height=0.62)
        axes.annotate(
            f"{value:.3g}°" if unit == "°" else f"{value:.3g} {unit}", (value, row),
            xytext=(8, 0), textcoords="offset points", va="center", fontsize=11,
        )  # fmt: skip
    axes.set_yticks(range(len(lines)), [CAUSE_WORDS[f.cause or "all"] for f in lines])
    axes.invert_yaxis()
    axes.set_xlim(0, 1.25 * max([f.value or 0.0 for f in lines], default=1.0) or 1.0)
    axes.set_xlabel(f"root-mean-square [{unit}]")
    axes.set_title(title, fontsize=12)


def baseline_curve(plan: SpacePlan) -> Canvas:
    """Error against the distance between two cameras."""
    known = [one for one in plan.baselines if one.error_m is not None]
    with matplotlib.rc_context(STYLE):
        canvas = Canvas(figsize=(9.6, 4.4), layout="constrained")
        axes = canvas.subplots()
        x = [one.baseline_m for one in known]
        axes.plot(x, [1e3 * (one.error_m or 0.0) for one in known], "o-", color=EMBER,
                  label="all causes together")  # fmt: skip
        axes.plot(x, [1e3 * (one.dots_m or 0.0) for one in known], "s--", color=REED,
                  label="dot centre alone")  # fmt: skip
        for one in known:
            if one.now:
                axes.axvline(one.baseline_m, color=INK, ls=":", lw=1.5)
                axes.annotate(
                    " as the rig stands", (one.baseline_m, 0.0), xytext=(0, 6),
                    textcoords="offset points", va="bottom",
                )  # fmt: skip
        axes.set_ylim(bottom=0.0)
        axes.set_xlabel("distance between the first two cameras [m]")
        axes.set_ylabel("root-mean-square error [mm]")
        axes.set_title(f"{plan.rig_name}: predicted error by baseline")
        axes.legend(frameon=False)
    return canvas


def draw_space(planned: SpacePlanned) -> dict[str, tuple[bytes, str]]:
    """File name to picture and what it shows."""
    plan = planned.plan
    pictures = {
        "zone-map.svg": (
            zone_picture(planned),
            "cameras, screens and zones to scale, with the predicted error",
        ),
        "error-causes.svg": (cause_bars(plan), "predicted errors by cause, the dominant one first"),
        "delay.svg": (delay_bars(plan), "predicted delay, stage by stage"),
    }
    if len(plan.baselines) > 1:
        pictures["baseline.svg"] = (
            baseline_curve(plan),
            "predicted error against the distance between two cameras",
        )
    return {name: (svg_of(canvas), shows) for name, (canvas, shows) in pictures.items()}
