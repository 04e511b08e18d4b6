"""What the verb `search` shows of a rig in space: words and rounding only."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.cli.rounding import quantity

if TYPE_CHECKING:
    from rushlight.records.space_search import SpaceCandidate, SpaceSearchResult


def show(result: SpaceSearchResult, folder: Path) -> None:
    """The result in words and tables."""
    from rushlight.cli import render, search_tables

    render.heading(f"{result.rig_name}: what was found in {result.tried} rigs that were tried")
    if result.rig_basis == "invented":
        render.note("The rig is invented; everything here is predicted, nothing measured.")
    for line in result.why:
        render.note(line)
    warned = any(one.warned for one in result.candidates)
    money = f"cost [{result.currency}]" if result.currency else "cost"
    render.table(
        "None better in everything, the preferred first (judged coarsely)",
        [
            "",
            "in",
            "camera",
            "filter",
            "light",
            money,
            "error",
            "covered",
            "delay",
            *(["warned of"] if warned else []),
        ],
        [
            [*_row(one), *([", ".join(one.warned) or "nothing"] if warned else [])]
            for one in result.candidates
        ],
    )
    if result.thrown_out:
        render.table(
            "Left out",
            ["what", "why", "how often", "such as"],
            [
                [each.of, each.words, each.count, "; ".join(each.examples)]
                for each in result.thrown_out
            ],
        )
    render.note("\n".join(_to_write(result.chosen)))
    search_tables.show_prices(result)
    render.heading("Eyes and hands")
    render.note("\n\n".join(result.cautions.values()))
    if result.findings:
        render.heading("Findings")
        render.findings([each.finding() for each in result.findings])
    render.heading("Assumed")
    render.note("\n".join(f"· {each}" for each in result.assumptions))
    render.note(f"written to {folder}: search.json")


def _row(one: SpaceCandidate) -> list[object]:
    current = "" if one.current_a is None else f", {1e3 * one.current_a:g} mA"
    error = None if not math.isfinite(one.error_rms_m) else quantity(1e3 * one.error_rms_m, "mm")
    return [
        one.number,
        ", ".join(one.places),
        one.camera,
        one.filter or "none",
        f"{one.emitter or 'as they are'}{current}",
        None if not math.isfinite(one.cost) else f"{one.cost:.2f}",
        error,
        f"{100.0 * one.coverage:.0f} %",
        f"{1e3 * one.delay_s:.0f} ms",
    ]


def _to_write(one: SpaceCandidate) -> list[str]:
    """What to write into the rig's file to take the chosen candidate."""
    lines = ["To take the one judged closely, write into rig.toml, for each camera in its order:"]
    look = ", ".join(f'"{step:g} m"' for step in one.look_at_m)
    for position in one.positions_m:
        place = ", ".join(f'"{step:g} m"' for step in position)
        lines += [
            f'  part = "{one.camera}"',
            *([f'  filter = "{one.filter}"'] if one.filter else ["  no filter"]),
            f"  position = [{place}]",
            f"  look_at = [{look}]",
        ]
    if one.emitter is not None and one.current_a is not None:
        lines.append(
            f'and for each light  part = "{one.emitter}"  and  current = '
            f'"{1e3 * one.current_a:g} mA"'
        )
    return lines
