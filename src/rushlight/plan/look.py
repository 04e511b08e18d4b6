"""How the plan's pictures look: palette, type, and an SVG that is the same whenever it is drawn."""

from __future__ import annotations

import io
from typing import Any

import matplotlib
from matplotlib.figure import Figure as Canvas

PAPER, INK, EMBER, REED = "#FBF7EF", "#22262B", "#B34A12", "#46623F"
QUIET = "#8A8578"
STYLE: dict[str, Any] = {
    "svg.hashsalt": "rushlight",
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "system-ui", "Arial", "sans-serif"],
    "font.size": 12,
    "axes.titlesize": 14,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "figure.facecolor": PAPER,
    "axes.facecolor": PAPER,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
}


def svg_of(canvas: Canvas) -> bytes:
    """A figure as an SVG that is the same whenever it is drawn."""
    out = io.BytesIO()
    with matplotlib.rc_context(STYLE):
        canvas.savefig(out, format="svg", metadata={"Date": None, "Creator": "Rushlight"})
    return out.getvalue()
