"""The plan in pictures, each drawn from the document's own numbers; all say "predicted"."""

from __future__ import annotations

import math
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Canvas
from numpy.typing import NDArray

from rushlight.physics.people import ada_children_reach_band, ada_reach_band
from rushlight.plan.light_picture import light_window
from rushlight.plan.look import EMBER, INK, PAPER, QUIET, REED, STYLE, svg_of
from rushlight.plan.planning import Planned
from rushlight.plan.room import side_view, top_view
from rushlight.plan.shade_maps import shade_maps
from rushlight.records.figure import CAUSE_WORDS, ERROR_CAUSES, find_figure
from rushlight.records.plan import Plan, PlanMap
from rushlight.records.space_plan import SpacePlan

Array = NDArray[Any]


_CHILDREN = (("3 to 4", 3), ("5 to 8", 5), ("9 to 12", 9))


def error_map(plan: Plan) -> Canvas:
    """Error at every place for each stylus, with the beacons, the outline of what is covered."""
    with matplotlib.rc_context(STYLE):
        rows = len(plan.maps)
        width, height = (plan.maps[0].x_m[-1] + plan.maps[0].x_m[0], _top(plan.maps[0]))
        panel = 7.4 * height / width
        canvas = Canvas(figsize=(9.6, (panel + 1.3) * rows + 0.5), layout="constrained")
        panels = canvas.subplots(rows, 1, squeeze=False)[:, 0]
        least, most = _range_of(plan.maps)
        for axes, one in zip(panels, plan.maps, strict=True):
            picture = _one_map(axes, one, plan, least, most)
        bar = canvas.colorbar(picture, ax=list(panels), shrink=0.7, pad=0.02)
        bar.set_label("error, root-mean-square [mm]")
        bar.outline.set_visible(False)
        canvas.suptitle(f"{plan.rig_name}: predicted error", x=0.02, ha="left", fontweight="bold")
    return canvas


def _top(one: PlanMap) -> float:
    return one.y_m[-1] + one.y_m[0]


def _range_of(maps: list[PlanMap]) -> tuple[float, float]:
    """Least and largest error of all maps [mm], a little apart."""
    known = [value for one in maps for row in one.of("error") for value in row if value is not None]
    if not known:
        return 0.0, 1.0
    return min(known), max(max(known), 1.02 * min(known))


def _one_map(axes: Axes, one: PlanMap, plan: Plan, least: float, most: float) -> Any:
    values = np.array([[math.nan if v is None else v for v in row] for row in one.of("error")])
    width, height = one.x_m[-1] + one.x_m[0], _top(one)
    picture = axes.imshow(
        values, origin="lower", extent=(0, width, 0, height), cmap="cividis", vmin=least, vmax=most
    )
    covered = np.array(one.of("covered")) == 1.0
    dx, dy = width / plan.columns, height / plan.rows
    for (row, column), good in np.ndenumerate(covered):
        x, y, value = one.x_m[column], one.y_m[row], values[row, column]
        text = "–" if math.isnan(value) else f"{value:.1f}"
        light = math.isnan(value) or value > least + 0.45 * (most - least)
        axes.text(
            x,
            _free_height(plan, x, y, dx, dy),
            text,
            ha="center",
            va="center",
            fontsize=11,
            color=INK if light else PAPER,
        )
        if not good:
            axes.add_patch(
                matplotlib.patches.Rectangle(
                    (x - dx / 2, y - dy / 2), dx, dy, fill=False, hatch="///", lw=0, ec=PAPER
                )
            )
    _outline(axes, covered, dx, dy)
    _reach_lines(axes, plan, width, height)
    for number, (x, y) in enumerate(plan.beacons, start=1):
        axes.plot(x, y, "o", ms=13, mfc=PAPER, mec=EMBER, mew=2)
        axes.text(x, y, str(number), ha="center", va="center", fontsize=9, color=INK)
    axes.set_xlabel("x [m]")
    axes.set_ylabel("y [m]")
    axes.set_title(
        f"{one.carried}: {covered.mean():.0%} covered; hatched: not covered; circles: beacons"
        + ("; dashes: reach (ADA 308)" if plan.floor_m is not None else ""),
        fontsize=12,
        fontweight="normal",
    )
    return picture


def _reach_lines(axes: Axes, plan: Plan, width: float, height: float) -> None:
    """How high and how low seated adults and children are to reach, where it crosses the surface.

    Source: 2010 ADA Standards, §308.2 forward, and advisory 308.1; local codes differ.
    """
    if plan.floor_m is None:
        return
    bands = [
        ("seated adult", ada_reach_band("forward")),
        *((f"child of {ages}", ada_children_reach_band(age)) for ages, age in _CHILDREN),
    ]
    ends = {who: high for who, (_, high) in bands}
    ends |= {f"{who}, lowest": low for who, (low, _) in bands}
    for who, end in ends.items():
        y = end - plan.floor_m
        if 0.0 < y < height:
            for colour, line in ((PAPER, "-"), (INK, (0, (6, 4)))):  # seen on dark and on pale
                axes.plot([0.0, width], [y, y], color=colour, lw=1.4, ls=line)
            axes.annotate(
                who,
                (width, y),
                xytext=(4, 0),
                textcoords="offset points",
                va="center",
                fontsize=9,
            )


def _free_height(plan: Plan, x: float, y: float, dx: float, dy: float) -> float:
    """Where in a cell its number stands clear of the beacons: low, or else high."""
    low = y - 0.3 * dy
    crowded = any(abs(bx - x) < 0.4 * dx and abs(by - low) < 0.3 * dy for bx, by in plan.beacons)
    return y + 0.3 * dy if crowded else low


def _outline(axes: Axes, covered: NDArray[np.bool_], dx: float, dy: float) -> None:
    """A line round the places that are covered."""
    padded = np.pad(covered, 1)
    lines = []
    for row, column in np.argwhere(padded[:, 1:] != padded[:, :-1]):
        x = column * dx
        lines.append([(x, (row - 1) * dy), (x, row * dy)])
    for row, column in np.argwhere(padded[1:] != padded[:-1]):
        y = row * dy
        lines.append([((column - 1) * dx, y), (column * dx, y)])
    axes.add_collection(
        matplotlib.collections.LineCollection(lines, colors=EMBER, linewidths=2.5, clip_on=False)
    )


def cause_bars(plan: Plan) -> Canvas:
    """The error by cause, the dominant one first."""
    found = {cause: find_figure(plan.figures, "error", cause, "rms") for cause in ERROR_CAUSES}
    lines = [(c, f) for c, f in found.items() if f is not None and f.value is not None]
    lines.sort(key=lambda line: -(line[1].value or 0.0))
    whole = find_figure(plan.figures, "error", "all", "rms")
    if whole is not None and whole.value is not None:
        lines.append(("all", whole))
    with matplotlib.rc_context(STYLE):
        canvas = Canvas(figsize=(9.6, 4.6), layout="constrained")
        axes = canvas.subplots()
        labels = []
        for row, (cause, figure) in enumerate(lines):
            value = figure.value or 0.0
            low, high = figure.low or value, figure.high or value
            colour = REED if cause == "all" else EMBER if row == 0 else QUIET
            axes.barh(row, value, color=colour, height=0.62)
            axes.plot([low, high], [row, row], color=INK, lw=2, marker="|", ms=9)
            axes.annotate(
                f"{value:.2f} mm ({low:.2f} to {high:.2f})",
                (max(high, value), row),
                xytext=(10, 0),
                textcoords="offset points",
                va="center",
                fontsize=12,
            )
            labels.append(CAUSE_WORDS[cause])
        axes.set_yticks(range(len(lines)), labels)
        axes.invert_yaxis()
        axes.set_xlim(0, 1.55 * max([(f.high or f.value or 1.0) for _, f in lines], default=1.0))
        axes.set_xlabel("root-mean-square error over the surface [mm]; line: 90 % of builds")
        axes.set_title(f"{plan.rig_name}: predicted error by cause")
    return canvas


_PALE = ("#C9C2B2", "#8FA887", "#D08A5E")


def delay_bars(plan: Plan | SpacePlan) -> Canvas:
    """The delay stage by stage, mean and at the slowest moment of typical parts."""
    shades = (EMBER, "#D08A5E", REED, "#8FA887", "#C9C2B2", QUIET, "#5B6570")
    with matplotlib.rc_context(STYLE):
        canvas = Canvas(figsize=(9.6, 4.2), layout="constrained")
        axes = canvas.subplots()
        for row, statistic in enumerate(("mean", "max")):
            start = 0.0
            stages = [
                f
                for f in plan.figures
                if f.name == "delay" and f.statistic == statistic and f.cause != "all"
            ]
            for shade, figure in zip(shades, stages, strict=False):
                value = figure.value or 0.0
                word = CAUSE_WORDS[figure.cause or "all"]
                label = word if row == 0 else None
                axes.barh(row, value, left=start, color=shade, ec=PAPER, height=0.55, label=label)
                if value >= 4.0:
                    middle = start + value / 2
                    colour = INK if shade in _PALE else PAPER
                    style = {"ha": "center", "va": "center", "fontweight": "bold"}
                    axes.text(middle, row, f"{value:.0f}", color=colour, **style)
                start += value
            axes.annotate(
                f"{start:.0f} ms", (start, row), xytext=(6, 0), textcoords="offset points",
                va="center", fontweight="bold",
            )  # fmt: skip
        wanted = next((t.wanted for t in plan.targets if t.what == "mean delay"), None)
        if wanted is not None:
            axes.axvline(wanted, color=INK, ls="--", lw=1.5)
            axes.annotate(
                f"wanted: {wanted:g} ms", (wanted, -0.52), xytext=(6, 0),
                textcoords="offset points", va="bottom",
            )  # fmt: skip
        axes.set_yticks([0, 1], ["mean", "slowest\nmoment"])
        axes.set_ylim(1.6, -0.75)
        axes.set_xlim(0, 1.18 * max(axes.get_xlim()[1], wanted or 0.0))
        axes.set_xlabel("delay, with typical parts [ms]")
        axes.set_title(f"{plan.rig_name}: predicted delay")
        axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.2), ncols=3, frameon=False)
    return canvas


def draw_all(planned: Planned, people: tuple[str, ...]) -> dict[str, tuple[bytes, str]]:
    """File name to picture and what it shows."""
    plan = planned.plan
    pictures = {
        "error-map.svg": (error_map(plan), "predicted error over the surface, beacons, coverage"),
        "error-causes.svg": (cause_bars(plan), "predicted error by cause, the dominant one first"),
        "delay.svg": (delay_bars(plan), "predicted delay, stage by stage"),
        "shade-maps.svg": (
            shade_maps(plan),
            "how often people hide the light or shade the picture, and where the sun falls",
        ),
        "side-view.svg": (side_view(planned, people), "side view to scale"),
        "top-view.svg": (top_view(planned, people), "top view to scale"),
    }
    light = light_window(plan)
    if light is not None:
        pictures["light-window.svg"] = (light, "grey level against exposure, and what serves")
    return {name: (svg_of(canvas), shows) for name, (canvas, shows) in pictures.items()}
