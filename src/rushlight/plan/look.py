"""How the plan's pictures look: palette, type, and an SVG that is the same whenever it is drawn."""

from __future__ import annotations

import io
from typing import Any

import matplotlib
from matplotlib.figure import Figure as Canvas

from rushlight import look
from rushlight.look import EMBER, INK, PAPER, REED

__all__ = ["EMBER", "INK", "PAPER", "QUIET", "REED", "STYLE", "svg_of"]

QUIET = "#8A8578"
STYLE: dict[str, Any] = {
    **look.STYLE,
    "font.sans-serif": ["DejaVu Sans", "system-ui", "Arial", "sans-serif"],
    "font.size": 12,
    "axes.titlesize": 14,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
}


def svg_of(canvas: Canvas) -> bytes:
    """A figure as an SVG that is the same whenever it is drawn."""
    out = io.BytesIO()
    with matplotlib.rc_context(STYLE):
        canvas.savefig(out, format="svg", metadata={"Date": None, "Creator": "Rushlight"})
    return out.getvalue()
