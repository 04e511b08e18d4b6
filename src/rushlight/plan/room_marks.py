"""What stands in a room, drawn onto its view from above: walls, windows, lamps, beam, places."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon, Rectangle
from numpy.typing import NDArray

from rushlight.plan.look import INK, PAPER, QUIET, REED
from rushlight.records.plan_room import PlanBeam
from rushlight.records.room import Room
from rushlight.shelf.room_light import corners_m

Array = NDArray[Any]


def extent_of(room: Room | None, beam: PlanBeam | None) -> Array:
    """Places (N, 2) along the wall and out of it [m] that the view should hold."""
    places = [] if beam is None else [[beam.lens_m[0], beam.lens_m[2]]]
    if room is not None:
        for thing in (*room.windows, *room.places, *room.neighbours):
            places += [corner[[0, 2]].tolist() for corner in corners_m(thing)]
        for thing in (*room.lamps, *room.disturbers):
            places.append([thing.position[0].value, thing.position[2].value])
    return np.array(places, float).reshape(-1, 2)


def draw_room(axes: Axes, room: Room | None, beam: PlanBeam | None, width_m: float) -> None:
    """Everything that the rig says of its room, each with its word beside it."""
    if beam is not None:
        _beam(axes, beam, width_m)
    if room is None:
        return
    _walls(axes, room)
    for place in room.places:
        _box(axes, *corners_m(place), place.id, QUIET, ":")
    for near in room.neighbours:
        _box(axes, *corners_m(near), f"{near.id} (other rig)", INK, "-.")
    for window in room.windows:
        corner, opposite = corners_m(window)
        x, z = np.array([corner, opposite])[:, [0, 2]].T
        skylight = corner[1] == opposite[1]
        if skylight:
            _box(axes, corner, opposite, f"{window.id} (skylight)", REED, "--")
            continue
        axes.plot(x, z, color=REED, lw=7, solid_capstyle="butt")
        axes.plot(x, z, color=PAPER, lw=3, solid_capstyle="butt")
        _word(axes, (float(x.mean()), float(z.mean())), f"{window.id} ({window.light})", (8, 8))
    for lamp in room.lamps:
        place = (lamp.position[0].value, lamp.position[2].value)
        axes.plot(*place, marker="*", ms=15, color=PAPER, mec=INK, mew=1.2)
        _word(axes, place, f"{lamp.id} ({lamp.kind})", (10, 0))
    for disturber in room.disturbers:
        place = (disturber.position[0].value, disturber.position[2].value)
        axes.plot(*place, marker="x", ms=10, color=INK, mew=2)
        _word(axes, place, f"{disturber.id} ({disturber.kind})", (10, 0))


def _walls(axes: Axes, room: Room) -> None:
    """The side walls and the far one, as far as the rig says where they stand."""
    if room.left is None or room.width is None or room.depth is None:
        return
    left, wide, deep = -room.left.value, room.width.value, room.depth.value
    axes.plot([left, left, left + wide, left + wide], [0.0, deep, deep, 0.0], color=INK, lw=1.5)


def _beam(axes: Axes, beam: PlanBeam, width_m: float) -> None:
    lens = (beam.lens_m[0], beam.lens_m[2])
    axes.add_patch(
        Polygon([lens, (0.0, 0.0), (width_m, 0.0)], closed=True, fc=QUIET, alpha=0.16, lw=0)
    )
    for edge in (0.0, width_m):
        axes.plot([lens[0], edge], [lens[1], 0.0], color=QUIET, lw=1.2, ls="--")
    axes.plot(*lens, marker="D", ms=9, color=QUIET, mec=INK)
    _word(axes, lens, "projector", (12, 0))


def _box(axes: Axes, corner: Array, opposite: Array, word: str, colour: str, dash: str) -> None:
    low, high = np.minimum(corner, opposite), np.maximum(corner, opposite)
    side = np.maximum(high - low, 0.04)
    axes.add_patch(
        Rectangle((low[0], low[2]), side[0], side[2], fill=False, ec=colour, lw=1.6, ls=dash)
    )
    _word(axes, (float(high[0]), float(high[2])), word, (4, -6))


def _word(axes: Axes, place: tuple[float, float], word: str, offset: tuple[int, int]) -> None:
    axes.annotate(
        word,
        place,
        xytext=offset,
        textcoords="offset points",
        va="center",
        fontsize=9,
        color=INK,
        bbox={"fc": PAPER, "ec": "none", "pad": 1, "alpha": 0.8},
    )
