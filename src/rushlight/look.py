"""The house's palette, and how every picture looks that is drawn with it; no drawing here."""

from __future__ import annotations

from typing import Any

PAPER, INK, EMBER, REED = "#FBF7EF", "#22262B", "#B34A12", "#46623F"
DARK = ("#16181C", "#EFE9DC", "#F0A35E", "#9DB893")
"""The same four where the reader prefers a dark page."""

STYLE: dict[str, Any] = {
    "svg.hashsalt": "rushlight",
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.size": 11.0,
    "text.color": INK,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.facecolor": PAPER,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "figure.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "xtick.color": INK,
    "ytick.color": INK,
}
"""Settings of the drawing library: the same file whenever the same is drawn."""
