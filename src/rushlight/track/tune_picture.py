"""The picture of a tuning: jitter against lateness, with what was chosen."""

from __future__ import annotations

import io

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure as Sheet
from matplotlib.ticker import FormatStrFormatter, NullFormatter

from rushlight.look import EMBER, INK, PAPER, REED, STYLE
from rushlight.records.tuning import TunedPoint, Tuning

_LOOKS = {"none": ("s", INK), "one-euro": ("o", EMBER), "kalman": ("D", REED)}
_LINEAR_MS = 1.0  # below, the axis of lateness is linear, so that 0 has a place


def setting_words(point: TunedPoint) -> str:
    """A filter with its numbers, as one would say it."""
    if point.filter == "one-euro":
        return f"one-euro, {point.cutoff_hz:g} Hz, gain {point.speed_gain:g}"
    if point.filter == "kalman":
        return f"kalman, agility {point.agility_px2_s3:g}"
    return "no filter"


def draw_tuning(tuning: Tuning) -> bytes:
    """A PNG of all that was tried.

    Parameters
    ----------
    tuning
        Measured or simulated; the picture says which.
    """
    with mpl.rc_context(STYLE):
        sheet = Sheet(figsize=(8.4, 5.6), layout="constrained")
        FigureCanvasAgg(sheet)
        _panel(sheet.add_subplot(), tuning)
        sheet.legend(frameon=False, fontsize=9.5, loc="outside lower center", ncols=4)
        buffer = io.BytesIO()
        sheet.savefig(buffer, format="png", dpi=150, metadata={"Software": "Rushlight"})
    return buffer.getvalue()


def _panel(axes: Axes, tuning: Tuning) -> None:
    for name, (marker, colour) in _LOOKS.items():
        some = [point for point in tuning.points if point.filter == name]
        for front in (False, True):
            rows = [point for point in some if point.front == front]
            axes.plot(
                [row.late_ms for row in rows], [row.jitter for row in rows], linestyle="none",
                marker=marker, markersize=7 if front else 5, markeredgecolor=colour,
                markerfacecolor=colour if front else PAPER, alpha=1.0 if front else 0.6,
                zorder=3 if name == "none" else 2,
                label=_label(name) if front == any(point.front for point in some) else None,
            )  # fmt: skip
    front_points = sorted(
        (each for each in tuning.points if each.front), key=lambda each: each.late_ms
    )
    axes.plot(
        [each.late_ms for each in front_points], [each.jitter for each in front_points],
        color=INK, linewidth=1.2, zorder=1, label="nothing both steadier and earlier",
    )  # fmt: skip
    for each in front_points:
        if each.jitter_low is not None and each.jitter_high is not None:
            axes.plot([each.late_ms] * 2, [each.jitter_low, each.jitter_high], color=INK, lw=1.0)
    if tuning.most_lag_ms is not None:
        axes.axvline(tuning.most_lag_ms, color=INK, linestyle="--", linewidth=1.0)
        axes.annotate(
            f"limit {tuning.most_lag_ms:g} ms", (tuning.most_lag_ms, 1.0),
            xycoords=("data", "axes fraction"), xytext=(4, -10), textcoords="offset points",
            fontsize=9.5,
        )  # fmt: skip
    chosen = tuning.points[tuning.chosen]
    axes.plot(
        chosen.late_ms, chosen.jitter, marker="o", markersize=17, markerfacecolor="none",
        markeredgecolor=INK, markeredgewidth=1.8,
    )  # fmt: skip
    _tell(axes, chosen, "chosen", -22)
    if tuning.now != tuning.chosen:
        _tell(axes, tuning.points[tuning.now], "as run, by default", 16)
    axes.set_xscale("symlog", linthresh=_LINEAR_MS)
    axes.set_xlim(left=-0.15 * _LINEAR_MS)
    axes.xaxis.set_major_formatter(FormatStrFormatter("%g"))
    axes.set_yscale("log")
    axes.margins(y=0.15)
    for formatter in (axes.yaxis.set_major_formatter, axes.yaxis.set_minor_formatter):
        formatter(FormatStrFormatter("%.3g"))
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.set_xlabel("late in motion: the greatest of lag (upper end), slow lag and stray [ms]")
    axes.set_ylabel(f"jitter at rest, rms [{tuning.unit}]")
    axes.set_title(f"Steadiness against lateness ({tuning.basis})", loc="left")


def _label(name: str) -> str:
    return "no filter" if name == "none" else name


def _tell(axes: Axes, point: TunedPoint, what: str, above: int) -> None:
    """Words above or below a point, toward the middle of the picture."""
    early = point.late_ms < _LINEAR_MS
    axes.annotate(
        f"{what}: {setting_words(point)}", (point.late_ms, point.jitter), xytext=(0, above),
        textcoords="offset points", ha="left" if early else "center", fontsize=10,
    )  # fmt: skip
