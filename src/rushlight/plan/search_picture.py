"""A search in a picture that stands still: its winners, and the room from above."""

from __future__ import annotations

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Canvas

from rushlight.plan.look import EMBER, INK, PAPER, QUIET, REED, STYLE, svg_of
from rushlight.records.search import SearchCandidate, SearchResult

_SHAPES = ("o", "s", "^", "D", "v", "P")
_ELSEWHERE = "p"


def search_picture(result: SearchResult) -> bytes:
    """Coverage against error of the winners, and where they stand, as an SVG; says "predicted"."""
    with matplotlib.rc_context(STYLE):
        canvas = Canvas(figsize=(11.0, 5.6), layout="constrained")
        canvas.get_layout_engine().set(w_pad=0.12, h_pad=0.12)  # type: ignore[union-attr, call-arg]
        front, room = canvas.subplots(1, 2, width_ratios=(3, 2))
        _front(front, result)
        _room(room, result)
        canvas.suptitle(
            f"{result.rig_name}: predicted, {len(result.candidates)} rigs that no other beats in "
            "everything",
            x=0.02,
            ha="left",
            fontweight="bold",
        )
    return svg_of(canvas)


def _everyone(result: SearchResult) -> list[SearchCandidate]:
    return [*result.candidates, *([result.own] if result.own else [])]


def _won(result: SearchResult) -> set[str]:
    """Places in which a rig that is shown stands."""
    return {each.place for each in _everyone(result)}


def _look(result: SearchResult, one: SearchCandidate) -> dict[str, object]:
    """The mark of a candidate: shape by its place, large and filled when it is to be taken."""
    places = [each.id for each in result.places]
    shape = _SHAPES[places.index(one.place) % 6] if one.place in places else _ELSEWHERE
    if one.number == 0:
        return {"marker": shape, "ms": 8, "mfc": INK, "mec": INK, "zorder": 5}
    if one.number == result.chosen:
        return {"marker": shape, "ms": 13, "mfc": EMBER, "mec": EMBER, "zorder": 4}
    return {"marker": shape, "ms": 9, "mfc": PAPER, "mec": REED, "mew": 1.6, "zorder": 3}


def _front(axes: Axes, result: SearchResult) -> None:
    for one in _everyone(result):
        at = 1e3 * one.error_rms_m, 100.0 * one.coverage
        axes.plot(*at, ls="", clip_on=False, **_look(result, one))
        if one.number in (0, result.chosen):
            words = "the rig as it stands" if one.number == 0 else f"number {one.number}: take it"
            words += f" (warned of: {', '.join(one.warned)})" if one.warned else ""
            axes.plot([], [], ls="", label=words, **_look(result, one))
    won = _won(result)
    for index, place in enumerate(result.places):
        if place.id not in won:
            continue
        shape = _SHAPES[index % 6]
        axes.plot([], [], shape, ms=9, mfc=PAPER, mec=REED, mew=1.6, label=f"in {place.id}")
    axes.set_xlabel("error over the surface, root-mean-square [mm]")
    axes.set_ylabel("covers, past bodies, arms and hands [%]")
    axes.grid(color=QUIET, alpha=0.3)
    axes.margins(0.08)
    axes.legend(frameon=False, loc="upper center", bbox_to_anchor=(0.5, -0.14), ncols=3)


def _room(axes: Axes, result: SearchResult) -> None:
    axes.plot([0, result.surface_m[0]], [0, 0], color=INK, lw=5, solid_capstyle="butt")
    axes.annotate(
        "surface", (result.surface_m[0] / 2, 0), xytext=(0, 8), textcoords="offset points",
        ha="center",
    )  # fmt: skip
    for place in result.places:
        (x0, _, z0), (x1, _, z1) = place.low_m, place.high_m
        axes.add_patch(
            matplotlib.patches.Rectangle(
                (x0, z0),
                max(x1 - x0, 0.02),
                max(z1 - z0, 0.02),
                fill=False,
                ec=REED,
                ls="--",
                lw=1.5,
            )
        )
        words = place.id if place.id in _won(result) else f"{place.id}: none shown"
        axes.annotate(words, (x0, z1), xytext=(2, -13), textcoords="offset points")
    for one in _everyone(result):
        axes.plot(one.position_m[0], one.position_m[2], ls="", **_look(result, one))
    axes.set_aspect("equal")
    axes.margins(0.08)
    axes.invert_yaxis()
    axes.set_xlabel("x [m], from above")
    axes.set_ylabel("out of the surface [m]")
