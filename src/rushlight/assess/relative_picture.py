"""A picture of the rig beside its reference: criterion by criterion, with intervals, and cost."""

from __future__ import annotations

import io
import textwrap

import matplotlib as mpl
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure as Sheet

from rushlight.look import EMBER, INK, PAPER, REED, STYLE
from rushlight.records.assessment import Assessment, RelativePerformanceRow

TITLE_CHARACTERS = 58
"""Of a line of the title, which is no wider than the axes; as it looks, no source."""


def relative_picture(assessment: Assessment) -> str | None:
    """SVG of ratios with their intervals, on a logarithmic scale; None where there are none.

    Parameters
    ----------
    assessment
        Its criteria beside the reference; costs stand in words, for less is better there.
    """
    rows = assessment.relative
    if not rows:
        return None
    with mpl.rc_context(STYLE):
        sheet = Sheet(figsize=(8.4, 1.9 + 0.7 * len(rows)), layout="constrained")
        axes = sheet.add_subplot()
        for place, row in enumerate(reversed(rows)):
            known = row.low is not None and row.high is not None
            if row.low is not None and row.high is not None:
                axes.plot([row.low, row.high], [place, place], color=EMBER, linewidth=2.5)
            axes.plot(
                row.ratio, place, marker="o" if known else "D", markersize=9,
                color=EMBER if known else REED, markerfacecolor=EMBER if known else "none",
            )  # fmt: skip
            axes.annotate(
                f"{row.ratio:.2f}" + ("" if known else ", interval not known"), (row.ratio, place),
                xytext=(0, 10), textcoords="offset points", ha="center", fontsize=9.5,
                bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.0},  # over the line at 1
            )  # fmt: skip
        axes.axvline(1.0, color=INK, linewidth=1.2)
        axes.set_xscale("log")
        ends = [each for row in rows for each in (row.ratio, row.low, row.high) if each]
        axes.set_xlim(0.7 * min([*ends, 0.7]), 1.4 * max([*ends, 1.4]))
        axes.set_ylim(-0.6, len(rows) - 0.2)
        names = [_name(row) for row in reversed(rows)]
        axes.set_yticks(range(len(rows)), names)
        ticks = [tick for tick in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
                 if axes.get_xlim()[0] <= tick <= axes.get_xlim()[1]]  # fmt: skip
        axes.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
        axes.minorticks_off()
        axes.set_xlabel("rig over reference; right of the line the rig is better")
        title = f"Beside {assessment.reference} ({assessment.basis})"
        axes.set_title(textwrap.fill(title, TITLE_CHARACTERS), loc="left")
        FigureCanvasSVG(sheet)
        buffer = io.StringIO()
        sheet.savefig(buffer, format="svg", metadata={"Date": None})
    return buffer.getvalue()


def _name(row: RelativePerformanceRow) -> str:
    lines = [
        f"{row.name.replace('-', ' ')}, {row.statistic}",
        f"({row.rig_basis} over {row.reference_basis})",
    ]
    return "\n".join([lines[0], *([row.condition] if row.condition else []), lines[1]])
