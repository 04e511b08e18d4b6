"""The picture of the stages' delays, one bar a stage, each where the one before it ends."""

from __future__ import annotations

import io
from collections.abc import Sequence

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure as Sheet

from rushlight.assess.stages import STAGES, stage_figures
from rushlight.look import EMBER, INK, PAPER, REED, STYLE
from rushlight.records.document import Basis
from rushlight.records.figure import Figure

_WHOLE = STAGES[-1][0]


def draw_stages(figures: Sequence[Figure], pictures: Basis) -> str:
    """An SVG of medians as bars, and of 95th percentiles as marks, with their intervals.

    Parameters
    ----------
    figures
        From `stage_delays`; others are passed over.
    pictures
        Whether the pictures that were worked on were filmed ("measured") or simulated.

    Raises
    ------
    ValueError
        When no figure tells of a stage.
    """
    some = stage_figures(figures)
    rows = [each for each in some if each.statistic == "median"]
    tails = {each.scope.condition: each for each in some if each.statistic == "p95"}
    if not rows:
        raise ValueError("expected figures of stages, got none")
    with mpl.rc_context(STYLE):  # type: ignore[arg-type]
        sheet = Sheet(figsize=(8.4, 1.9 + 0.62 * len(rows)), layout="constrained")
        axes = sheet.add_subplot()
        start = 0.0
        for number, row in enumerate(rows):
            whole = row.scope.condition == _WHOLE
            begin = 0.0 if whole else start
            _bar(axes, len(rows) - 1 - number, begin, row, tails.get(row.scope.condition), whole)
            start = begin + (row.value or 0.0)
        axes.set_yticks(range(len(rows))[::-1], [row.scope.condition or "" for row in rows])
        axes.tick_params(axis="y", length=0)
        axes.margins(x=0.16)
        axes.set_xlim(left=0.0)
        axes.set_xlabel("time since capture, by medians [ms]; lines: 95 % intervals")
        kind = "simulated pictures" if pictures == "simulated" else "filmed pictures"
        axes.set_title(f"Delay by stage, timed on the computer ({kind})", loc="left")
        axes.legend(
            frameon=False, loc="lower right", bbox_to_anchor=(1.0, 1.06), ncols=2, borderpad=0
        )
        FigureCanvasSVG(sheet)
        buffer = io.StringIO()
        sheet.savefig(buffer, format="svg", metadata={"Date": None})
    return buffer.getvalue()


def _bar(axes: Axes, y: int, begin: float, row: Figure, tail: Figure | None, whole: bool) -> None:
    """One stage: its median as a bar, its 95th percentile as a mark, both with intervals."""
    first = not axes.patches
    axes.barh(
        y, row.value or 0.0, 0.46, left=begin, color=PAPER if whole else EMBER,
        edgecolor=EMBER, hatch="///" if whole else None, label="median" if first else None,
    )  # fmt: skip
    _interval(axes, y, begin, row)
    end, words = begin + max(row.value or 0.0, row.high or 0.0), f"{row.value:.2f}"
    if tail is not None and tail.value is not None:
        axes.plot(
            begin + tail.value, y, marker="D", linestyle="none", color=REED, markersize=7,
            label="95th percentile" if first else None,
        )  # fmt: skip
        _interval(axes, y, begin, tail)
        end = max(end, begin + tail.value, begin + (tail.high or 0.0))
        words += f" · {tail.value:.2f} ms"
    axes.annotate(
        words, (end, y), xytext=(9, 0), textcoords="offset points", va="center", fontsize=9.5
    )


def _interval(axes: Axes, y: int, begin: float, figure: Figure) -> None:
    if figure.low is None or figure.high is None:
        return
    ends = [begin + figure.low, begin + figure.high]
    axes.plot(ends, [y, y], color=INK, linewidth=1.6)
    axes.plot(ends, [y, y], color=INK, marker="|", linestyle="none")
