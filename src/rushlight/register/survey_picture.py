"""The surveyed picture on the wall, drawn: its corners with their doubt, and its readings."""

from __future__ import annotations

import io

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.registration import DisplaySurvey

_PAPER, _INK, _EMBER, _REED = "#FBF7EF", "#22262B", "#B34A12", "#46623F"
MAGNIFIED = 20.0
"""Departures from the rectangle are drawn so many times larger than they are."""


def picture(survey: DisplaySurvey, corners_m: Array, corner_std_m: Array) -> bytes:
    """How the picture departs from a rectangle, as SVG.

    Parameters
    ----------
    survey
        With its `size_m`.
    corners_m, corner_std_m
        (4, 2) from the lower left on, anticlockwise [m].

    Raises
    ------
    ValueError
        When the survey does not tell the surface's size.
    """
    import matplotlib
    from matplotlib.figure import Figure

    if survey.size_m is None:
        raise ValueError("expected a survey with size_m")
    width, height = survey.size_m
    plain = np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    shown = plain + MAGNIFIED * (corners_m - plain)
    style = {
        "svg.hashsalt": "rushlight", "font.family": "sans-serif", "font.size": 11,
        "text.color": _INK, "axes.labelcolor": _INK, "axes.edgecolor": _INK,
        "xtick.color": _INK, "ytick.color": _INK,
    }  # fmt: skip
    with matplotlib.rc_context(style):
        figure = Figure(figsize=(9.0, 2.2 + 7.0 * height / width), facecolor=_PAPER)
        axes = figure.add_subplot()
        axes.set_facecolor(_PAPER)
        axes.plot(
            *np.vstack([plain, plain[:1]]).T, color=_REED, linestyle="--",
            label="rectangle of the rig",
        )  # fmt: skip
        axes.plot(
            *np.vstack([shown, shown[:1]]).T, color=_EMBER, marker="o",
            label=f"picture as surveyed, departures × {MAGNIFIED:.0f}",
        )  # fmt: skip
        for place, at, std in zip(shown, corners_m, corner_std_m, strict=True):
            axes.annotate(
                ", ".join(f"{a * 1e3:.0f} ± {s * 1e3:.1f}" for a, s in zip(at, std, strict=True))
                + " mm",
                place, xytext=(0, 8), textcoords="offset points", ha="center",
            )  # fmt: skip
        axes.set_aspect("equal", adjustable="datalim")
        axes.margins(0.18)
        axes.set_xlabel("x on the surface [m]")
        axes.set_ylabel("y [m]")
        axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.14), ncols=2, frameon=False)
        sound = survey.verdict is not None and survey.verdict.vouched
        axes.set_title(
            "Picture survey" + ("" if sound else " – NOT VOUCHED FOR"), loc="left", fontsize=12
        )
        buffer = io.BytesIO()
        figure.savefig(buffer, format="svg", metadata={"Date": None}, bbox_inches="tight")
    return buffer.getvalue()
