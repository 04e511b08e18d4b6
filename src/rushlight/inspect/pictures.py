"""The picture of a step, as SVG; it says whether the frames were filmed or simulated."""

from __future__ import annotations

import io

from rushlight.inspect.result import Drawing
from rushlight.look import EMBER, INK, REED, STYLE
from rushlight.records.document import Basis


def drawn(drawing: Drawing, basis: Basis) -> str:
    """SVG text of a drawing.

    Parameters
    ----------
    drawing
        Points and line.
    basis
        Of the frames, to stand in the title.
    """
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with mpl.rc_context(STYLE):
        sheet = Figure(figsize=(8.4, 4.6), layout="constrained")
        FigureCanvasSVG(sheet)
        axes = sheet.add_subplot()
        across, up = zip(*drawing.points, strict=True) if drawing.points else ((), ())
        if drawing.spreads:
            axes.errorbar(
                across, up, drawing.spreads, fmt="o", color=EMBER, ecolor=INK, markersize=5,
                elinewidth=1.0, label=f"{basis}, with its standard uncertainty",
            )  # fmt: skip
        else:
            axes.plot(
                across, up, linestyle="none", marker="o", color=EMBER, markersize=4, label=basis
            )
        if drawing.line:
            axes.plot(
                *zip(*drawing.line, strict=True), color=REED, linestyle="--", linewidth=1.6,
                label=drawing.line_name,
            )  # fmt: skip
        axes.set_xlabel(drawing.across)
        axes.set_ylabel(drawing.up)
        axes.set_title(f"{drawing.title} ({basis})", loc="left")
        axes.legend(frameon=False, loc="best")
        buffer = io.StringIO()
        sheet.savefig(buffer, format="svg", metadata={"Date": None})
    return buffer.getvalue()
