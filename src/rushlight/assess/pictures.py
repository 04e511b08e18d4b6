"""Pictures of an assessment, as SVG; each says whether it was measured or simulated."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure as Sheet
from matplotlib.patches import Rectangle

from rushlight.look import EMBER, INK, PAPER, REED, STYLE
from rushlight.records.assessment import Assessment, Comparison, PlaceResult, TappingBlock
from rushlight.records.figure import CAUSE_WORDS, ERROR_CAUSES

_MARKERS = "osD^vP"


def pictures_of(
    assessment: Assessment, size_m: tuple[float, float] | None = None
) -> dict[str, str]:
    """File name to SVG text, of every picture that the assessment has numbers for.

    Parameters
    ----------
    assessment
        Its places, comparisons and taps.
    size_m
        Width and height of the surface [m]; without it the places' own extent is drawn.
    """
    pictures = {}
    with mpl.rc_context(STYLE):
        places = _main_places(assessment)
        if places:
            pictures["error-map.svg"] = _svg(lambda: _error_map(assessment, places, size_m))
        rows = _cause_rows(assessment)
        if rows:
            pictures["predicted-measured.svg"] = _svg(lambda: _bars(assessment, rows))
        if any(np.isfinite(block.throughput_bit_s) for block in assessment.taps):
            pictures["throughput.svg"] = _svg(lambda: _throughput(assessment))
    return pictures


def _svg(draw: Callable[[], Sheet]) -> str:
    sheet, buffer = draw(), io.StringIO()
    FigureCanvasSVG(sheet)
    sheet.savefig(buffer, format="svg", metadata={"Date": None})
    return buffer.getvalue()


def _main_places(assessment: Assessment) -> list[PlaceResult]:
    """Places at which all causes acted, else those of the first session in which any was seen."""
    lit = [place for place in assessment.places if place.lit]
    first = next((place for place in lit if place.seen), None)
    if first is None:
        return []
    whole = [place for place in lit if place.cause == "all"]
    return whole or [place for place in lit if place.session == first.session]


def _error_map(
    assessment: Assessment, places: Sequence[PlaceResult], size_m: tuple[float, float] | None
) -> Sheet:
    """One panel a carried thing, with arrows of one magnification and one scale of colours."""
    at = np.array([place.place_m for place in places])
    low, high = (np.zeros(2), np.array(size_m)) if size_m else (at.min(axis=0), at.max(axis=0))
    width, height = (float(each) for each in np.maximum(high - low, 0.05))
    seen = [place for place in places if place.seen]
    longest = max((float(np.linalg.norm(place.deviation_m)) for place in seen), default=0.0)
    # The longest arrow spans about a twelfth of the surface.
    scale = longest / (0.08 * width) if longest > 0 else 1.0
    worst_mm = 1e3 * max((place.rms_m for place in seen), default=1.0)
    step_mm = _round_down(1e3 * longest) if longest > 0 else 1.0
    names = sorted({place.carried for place in places})
    panel_height = float(np.clip(5.6 * height / width, 2.4, 8.0))
    sheet = Sheet(figsize=(8.4, 0.9 + (panel_height + 0.8) * len(names)), layout="constrained")
    panels = sheet.subplots(len(names), 1, squeeze=False)[:, 0]
    for axes, name in zip(panels, names, strict=True):
        some = [place for place in places if place.carried == name]
        shown = _error_panel(axes, some, scale, step_mm, worst_mm)
        if size_m:
            axes.add_patch(Rectangle((0, 0), *size_m, fill=False, edgecolor=INK, linewidth=1.2))
        axes.set_xlim(low[0] - 0.06 * width, high[0] + 0.06 * width)
        axes.set_ylim(low[1] - 0.06 * width, high[1] + 0.06 * width)
        axes.set_aspect("equal")
        axes.set_title(f"{name} ({_rests_on(assessment, some)})", loc="left", fontsize=11)
        axes.set_ylabel("up [m]")
    panels[-1].set_xlabel("to the right on the surface [m]")
    basis = _rests_on(assessment, places)
    sheet.suptitle(f"Where the pointer stood beside the truth ({basis})", x=0.02, ha="left")
    bar = sheet.colorbar(shown, ax=list(panels), shrink=0.8, pad=0.02)
    bar.set_label("error at the place, rms [mm]")
    return sheet


def _rests_on(assessment: Assessment, rows: Sequence[PlaceResult | TappingBlock]) -> str:
    """Measured, simulated, or both: a reference may be measured beside a rehearsed rig."""
    return " and ".join(sorted({assessment.basis_in(row.session) for row in rows}))


def _error_panel(
    axes: Axes, places: Sequence[PlaceResult], scale: float, step_mm: float, worst_mm: float
) -> PathCollection:
    for place in places:
        if not place.seen:
            axes.annotate("unseen", place.place_m, ha="center", va="center", fontsize=8, color=REED)
    seen = [place for place in places if place.seen]
    at = np.array([place.place_m for place in seen]).reshape(-1, 2)
    away = np.array([place.deviation_m for place in seen]).reshape(-1, 2)
    arrows = axes.quiver(
        *at.T, *away.T, angles="xy", scale_units="xy", scale=scale, color=EMBER, width=0.003,
        zorder=2,
    )  # fmt: skip
    axes.quiverkey(arrows, 0.84, 1.05, 1e-3 * step_mm, f"{step_mm:g} mm", labelpos="E", color=EMBER)
    return axes.scatter(
        at[:, 0],
        at[:, 1],
        c=[1e3 * place.rms_m for place in seen],
        cmap="cividis",
        vmin=0.0,
        vmax=worst_mm,
        s=42,
        edgecolors=INK,
        linewidths=0.6,
        zorder=3,
    )


def _round_down(value: float) -> float:
    """The greatest of 1, 2 and 5 times a power of ten that is not above the value."""
    power = 10.0 ** np.floor(np.log10(value))
    return float(power * max(step for step in (1, 2, 5) if step * power <= value * (1 + 1e-9)))


def _cause_rows(assessment: Assessment) -> list[Comparison]:
    """One comparison a cause, of the whole rig's root-mean-square error."""
    rows = []
    for cause in (*ERROR_CAUSES, "all"):
        rows += [
            row
            for row in assessment.compared
            if (row.name, row.cause, row.statistic) == ("error", cause, "rms")
            and row.scope.carried is None
        ][:1]
    return rows


def _bars(assessment: Assessment, rows: Sequence[Comparison]) -> Sheet:
    sheet = Sheet(figsize=(8.4, 1.9 + 0.62 * len(rows)), layout="constrained")
    axes = sheet.add_subplot()
    y = np.arange(len(rows))[::-1]
    axes.barh(
        y + 0.19, [row.predicted for row in rows], 0.36, color=PAPER, edgecolor=REED, hatch="///",
        label="predicted",
    )  # fmt: skip
    axes.barh(y - 0.19, [row.measured for row in rows], 0.36, color=EMBER, label=assessment.basis)
    for place, row in zip(y, rows, strict=True):
        end = max(row.predicted, row.measured, row.high or 0.0)
        if row.low is not None and row.high is not None:
            axes.plot([row.low, row.high], [place - 0.19] * 2, color=INK, linewidth=1.6)
            axes.plot(
                [row.low, row.high], [place - 0.19] * 2, color=INK, marker="|", linestyle="none"
            )
        axes.annotate(
            f"{row.predicted:.2f} · {row.measured:.2f}", (end, place), xytext=(6, 0),
            textcoords="offset points", va="center", fontsize=9.5,
        )  # fmt: skip
    axes.set_yticks(y, [CAUSE_WORDS[row.cause or "all"] for row in rows])
    axes.tick_params(axis="y", length=0)
    axes.set_xlabel(f"error over the places, rms [mm]: predicted · {assessment.basis}")
    axes.margins(x=0.16)
    axes.set_xlim(left=0.0)
    axes.set_title(f"Error by cause: predicted and {assessment.basis}", loc="left")
    # Beside the shortest bars, where there is room.
    axes.legend(frameon=False, loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2, borderpad=0)
    return sheet


def _throughput(assessment: Assessment) -> Sheet:
    """Blocks by task; one mark a person, or a device where several were tried.

    Things that were carried in one session are of one rig; people tried one device after another.
    """
    blocks = [block for block in assessment.taps if np.isfinite(block.throughput_bit_s)]
    conditions = sorted({block.condition for block in blocks})
    devices = {block.carried for block in blocks}
    several = not any(devices <= set(session.carried) for session in assessment.sessions)
    groups: dict[str, list[TappingBlock]] = {}
    for block in sorted(blocks, key=lambda each: (each.carried, each.participant)):
        groups.setdefault(block.carried if several else block.participant, []).append(block)
    sheet = Sheet(figsize=(8.4, 2.5 + 0.7 * len(conditions)), layout="constrained")
    axes = sheet.add_subplot()
    for number, (name, rows) in enumerate(groups.items()):
        axes.plot(
            [block.throughput_bit_s for block in rows],
            [len(conditions) - 1 - conditions.index(block.condition) for block in rows],
            linestyle="none", marker=_MARKERS[number % len(_MARKERS)], markersize=9,
            color=(EMBER, REED)[number % 2], label=f"{name} ({_rests_on(assessment, rows)})",
        )  # fmt: skip
    for place, condition in enumerate(reversed(conditions)):
        for those in groups.values() if several else [blocks]:
            values = [block.throughput_bit_s for block in those if block.condition == condition]
            if values:
                axes.annotate(
                    f"mean {np.mean(values):.2f}", (float(np.mean(values)), place),
                    xytext=(0, 12), textcoords="offset points", ha="center", fontsize=9.5,
                )  # fmt: skip
    axes.set_yticks(range(len(conditions)), conditions[::-1])
    axes.set_ylim(-0.6, len(conditions) - 0.3)
    axes.set_xlim(0.0, 1.15 * max(block.throughput_bit_s for block in blocks))
    axes.grid(axis="y", color=INK, alpha=0.15)
    axes.set_xlabel("throughput [bit/s]")
    axes.set_title(f"Pointing ({_rests_on(assessment, blocks)} hands)", loc="left")
    sheet.legend(frameon=False, loc="outside lower center", ncols=4)
    return sheet
