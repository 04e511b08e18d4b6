"""The tables that show a tolerance: words and rounding only."""

from __future__ import annotations

from rushlight.cli.plan_tables import Table
from rushlight.cli.rounding import number, quantity
from rushlight.records.tolerance import MEASURE_WORDS, Tolerance


def tables(document: Tolerance) -> list[Table]:
    """Every table of a tolerance, in the order of showing."""
    return [_targets(document), _measures(document), _shares(document), _spreads(document)]


def _percent(value: float | None) -> str | None:
    return None if value is None else f"{100 * value:.0f}"


def _targets(document: Tolerance) -> Table:
    rows: list[list[object]] = [
        [
            one.what,
            one.wanted,
            _percent(one.probability),
            f"{100 * one.low:.0f} to {100 * one.high:.0f}",
            one.not_known,
        ]
        for one in document.targets
    ]
    columns = ["target", "wanted", "probability [%]", "95 % interval [%]", "not known in [1]"]
    return f"How probably the targets are met ({document.draws} draws)", columns, rows


def _measures(document: Tolerance) -> Table:
    words = {True: "linear", False: "not linear", None: "not known"}
    rows: list[list[object]] = [
        [
            MEASURE_WORDS[one.name],
            quantity(one.planned, one.unit),
            number(one.first_std),
            number(one.std),
            None if one.low is None else f"{number(one.low)} to {number(one.high)}",
            words[one.linear],
        ]
        for one in document.measures
    ]
    columns = ["what", "as planned", "first order ± [1]", "drawn ± [1]", "95 % of draws [1]", "is"]
    return "What the doubts do together, in the unit of the plan", columns, rows


def _shares(document: Tolerance) -> Table:
    rows: list[list[object]] = []
    for cause in document.causes:
        cells: list[object] = [cause.name]
        for measure in document.measures:
            share, left = cause.share[measure.name], cause.left[measure.name]
            cells.append(None if share is None else f"{100 * share:.0f} / {_percent(left) or '–'}")
        cells.append(_percent(cause.met_left))
        rows.append(cells)
    columns = ["cause", *(f"{one.name} [%]" for one in document.measures), "all met [%]"]
    return (
        "Share of the first-order variance / variance left once the cause is known "
        f"({document.pairs} pairs of draws)",
        columns,
        rows,
    )


def _spreads(document: Tolerance) -> Table:
    rows: list[list[object]] = [
        [cause.words, cause.spread, cause.source] for cause in document.causes
    ]
    return "What was doubted, and by how much", ["cause", "spread", "known from"], rows
