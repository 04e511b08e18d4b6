"""A registration in space as a picture: cameras with their doubt, from above and from the side."""

from __future__ import annotations

import io
from typing import Any

import numpy as np

from rushlight.look import EMBER, INK, PAPER, REED, STYLE
from rushlight.physics.sighting import look_line
from rushlight.records.arrays import Array
from rushlight.records.space import ResolvedSpace
from rushlight.records.space_registration import CAMERA_NUMBERS, SpaceRegistration

_SIDES = (
    ("seen from above", 0, 2, "x [m]", "z [m]"),
    ("seen from the side", 2, 1, "z [m]", "y [m]"),
)
_NICE = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)
_SHOWN = 0.06  # of the picture's width, for the greatest doubt
_TWO_SIGMA = 2.0
_NAME_WIDE, _NAME_HIGH = 0.2, 0.06  # room that a camera's name takes, of the picture's width


def picture(space: ResolvedSpace, found: SpaceRegistration, simulated: bool) -> bytes:
    """The rig to scale, its cameras with ellipses of two standard deviations, and every mark: SVG.

    Parameters
    ----------
    space
        The rig.
    found
        Its registration.
    simulated
        Whether its dots were simulated; the picture then says so.
    """
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(11.0, 6.4), layout="constrained")
        panels = figure.subplots(1, 2)
        extent = _extent(space, found)
        stretch = _stretch(found, extent)
        for axes, (title, right, up, label, other) in zip(panels, _SIDES, strict=True):
            _draw_zones(axes, space, right, up)
            _draw_marks(axes, space, found, right, up)
            _draw_cameras(axes, found, right, up, stretch, 0.12 * extent)
            _name_cameras(axes, found, right, up, stretch, extent)
            axes.set_aspect("equal", adjustable="datalim")
            axes.set_title(title, loc="left", fontsize=11)
            axes.set_xlabel(label)
            axes.set_ylabel(other)
            axes.margins(0.08)
        panels[0].invert_yaxis()
        figure.suptitle(_title(found, simulated), x=0.01, ha="left", fontsize=12)
        lines, labels = panels[0].get_legend_handles_labels()
        known = dict(zip(labels, lines, strict=True))
        figure.legend(known.values(), known.keys(), loc="outside lower left", ncols=3,
                      frameon=False)  # fmt: skip
        buffer = io.BytesIO()
        figure.savefig(buffer, format="svg", metadata={"Date": None})
    return buffer.getvalue()


def _title(found: SpaceRegistration, simulated: bool) -> str:
    how = {
        "looks": "looks past marks",
        "placings": "placings on marks",
        "swing": "a swung scale bar",
        "mounting": "measured mounting alone",
        "pair": "photographs of one board alone",
    }[found.method]
    kind = " (simulated)" if simulated else ""
    return f"Cameras registered by {how}{kind}" + (
        "" if found.verdict.vouched else " – NOT VOUCHED FOR"
    )


def _extent(space: ResolvedSpace, found: SpaceRegistration) -> float:
    places = [found.rig_from_camera[:, :3, 3]]
    places += [np.stack([thing.low_m, thing.high_m]) for thing in space.things]
    every = np.concatenate(places)
    return float(np.max(every.max(axis=0) - every.min(axis=0)))


def _stretch(found: SpaceRegistration, extent: float) -> float:
    """How many times longer doubts are drawn than they are."""
    numbers = np.arange(len(found.cov)) % CAMERA_NUMBERS < 3
    greatest = _TWO_SIGMA * float(np.sqrt(np.diag(found.cov_array)[numbers].max()))
    if greatest <= 0.0:
        return 1.0
    return max(nice for nice in _NICE if nice == 1.0 or nice * greatest <= _SHOWN * extent)


def _draw_zones(axes: Any, space: ResolvedSpace, right: int, up: int) -> None:
    from matplotlib.patches import Rectangle

    for number, thing in enumerate(space.things):
        low, size = thing.low_m, thing.high_m - thing.low_m
        axes.add_patch(
            Rectangle(
                (low[right], low[up]), size[right], size[up], facecolor=REED, alpha=0.18,
                edgecolor=REED, label="where things move" if number == 0 else None,
            )
        )  # fmt: skip
        axes.plot([low[right], low[right] + size[right]], [low[up], low[up] + size[up]], alpha=0.0)
    for number, screen in enumerate(space.screens):
        a, b, c = screen.corners_m
        outline = np.stack([a, b, b + c - a, c, a])
        axes.plot(
            outline[:, right], outline[:, up], color=INK, linewidth=2.5,
            label="display" if number == 0 else None,
        )  # fmt: skip


def _draw_marks(
    axes: Any, space: ResolvedSpace, found: SpaceRegistration, right: int, up: int
) -> None:
    for row in found.rows:
        if row.mark_m and row.far_m:
            line = look_line(row.mark_m, row.far_m).direction
            reach = max(
                float((thing.high_m - row.mark_m) @ line)
                for thing in space.things
                if thing.id == row.carried
            )
            ends = np.stack([row.far_m, row.mark_m + line * reach])
            axes.plot(ends[:, right], ends[:, up], color=INK, linewidth=0.6, alpha=0.5)
    for used, marker, word in ((True, "o", "mark"), (False, "X", "mark left out as bad")):
        at = np.array([row.mark_m for row in found.rows if row.mark_m and row.used is used])
        if len(at):
            axes.plot(
                at[:, right], at[:, up], marker, color=INK, markerfacecolor=PAPER, markersize=6,
                linestyle="none", label=word,
            )  # fmt: skip


def _draw_cameras(
    axes: Any, found: SpaceRegistration, right: int, up: int, stretch: float, reach: float
) -> None:
    from matplotlib.patches import Ellipse

    for number, camera in enumerate(found.cameras):
        pose = camera.rig_from_camera
        at, ahead = pose[:3, 3], pose[:3, 2] * reach
        axes.annotate(
            "", xy=(at[right] + ahead[right], at[up] + ahead[up]), xytext=(at[right], at[up]),
            arrowprops={"arrowstyle": "->", "color": INK},
        )  # fmt: skip
        axes.plot(
            at[right], at[up], "s", color=INK, markersize=7, linestyle="none",
            label="camera and where it looks" if number == 0 else None,
        )  # fmt: skip
        wide, high, angle = _ellipse(_place_cov(found, number, right, up))
        if wide > 0.0:
            axes.add_patch(
                Ellipse(
                    (at[right], at[up]), 2 * wide * stretch, 2 * high * stretch, angle=angle,
                    fill=False, edgecolor=EMBER, linewidth=2.0,
                    label=f"doubt of its place, two standard deviations (× {stretch:.0f})",
                )
            )  # fmt: skip


def _name_cameras(
    axes: Any, found: SpaceRegistration, right: int, up: int, stretch: float, extent: float
) -> None:
    """Names above the cameras and their doubts; of those one behind the other, in one line."""
    places = found.rig_from_camera[:, :3, 3][:, [right, up]]
    together: list[list[int]] = []
    for number, place in enumerate(places):
        for group in together:
            if np.all(
                np.abs(place - places[group[0]]) < np.array([_NAME_WIDE, _NAME_HIGH]) * extent
            ):
                group.append(number)
                break
        else:
            together.append([number])
    upward = -1.0 if up == 2 else 1.0  # from above, z runs downward
    for group in together:
        doubts = [np.sqrt(max(_place_cov(found, each, right, up)[1, 1], 0.0)) for each in group]
        tops = upward * places[group, 1] + _TWO_SIGMA * stretch * np.array(doubts)
        axes.annotate(
            ", ".join(found.cameras[each].camera for each in group),
            (float(np.mean(places[group, 0])), upward * float(tops.max())),
            xytext=(0, 7), textcoords="offset points", ha="center",
        )  # fmt: skip


def _place_cov(found: SpaceRegistration, camera: int, right: int, up: int) -> Array:
    """(2, 2) covariance of a camera's place as a view shows it [m²]."""
    first = CAMERA_NUMBERS * camera
    return found.cov_array[[[first + right], [first + up]], [first + right, first + up]]


def _ellipse(cov: Array) -> tuple[float, float, float]:
    """Half axes [m] and angle [°] of two standard deviations."""
    values, vectors = np.linalg.eigh((cov + cov.T) / 2.0)
    half = _TWO_SIGMA * np.sqrt(np.maximum(values, 0.0))
    return float(half[1]), float(half[0]), float(np.degrees(np.arctan2(*vectors[::-1, 1])))
