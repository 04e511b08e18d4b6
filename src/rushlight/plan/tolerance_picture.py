"""The tolerance in a picture: which cause makes how much of each doubt."""

from __future__ import annotations

import math

import matplotlib
from matplotlib.figure import Figure as Canvas

from rushlight.plan.look import EMBER, INK, QUIET, REED, STYLE, svg_of
from rushlight.records.tolerance import MEASURE_WORDS, Tolerance

_TELLING = 0.9
"""Share left above which a diamond would be the luck of few draws (our own choice)."""


def tolerance_picture(document: Tolerance) -> bytes:
    """Causes as bars, one panel a measure, as an SVG; says that it is predicted."""
    names = [cause.name for cause in document.causes]
    with matplotlib.rc_context(STYLE):
        height = 0.36 * max(len(names), 1) + 1.5
        canvas = Canvas(figsize=(11.0, 2 * height), layout="constrained")
        panels = canvas.subplots(2, 2, sharey=True).ravel()
        for axes, measure in zip(panels, document.measures, strict=True):
            values = [cause.std[measure.name] or 0.0 for cause in document.causes]
            most = max(values, default=0.0)
            for row, value in enumerate(values):
                colour = EMBER if value == most and most > 0 else QUIET
                axes.barh(row, value, color=colour, height=0.62)
                axes.annotate(f" {value:.2g}", (value, row), va="center", fontsize=10, color=INK)
                left = document.causes[row].left[measure.name]
                if measure.std and left is not None and left < _TELLING:
                    drawn = measure.std * math.sqrt(1.0 - left)
                    axes.plot(drawn, row, "D", ms=8, mfc="none", mec=INK, mew=1.6)
            if measure.std is not None:
                axes.barh(len(names), measure.std, color=REED, height=0.62)
                axes.annotate(
                    f" {measure.std:.2g}", (measure.std, len(names)), va="center", fontsize=10
                )
            axes.set_yticks(range(len(names) + 1), [*names, "all, drawn together"])
            axes.set_ylim(len(names) + 0.6, -0.6)
            axes.set_xlim(0, 1.2 * max(most, measure.std or 0.0, 1e-9))
            axes.set_xlabel(f"standard deviation [{measure.unit}]")
            bent = " (not linear)" if measure.linear is False else ""
            axes.set_title(f"{MEASURE_WORDS[measure.name]}{bent}", fontsize=11)
        canvas.suptitle(
            f"{document.rig_name}: predicted doubt by cause, each alone: bars, to first order;\n"
            "diamonds, what the draws lose once the cause is known",
            x=0.02,
            ha="left",
            fontweight="bold",
        )
    return svg_of(canvas)
