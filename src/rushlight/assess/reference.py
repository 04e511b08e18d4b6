"""The rig beside its costly reference: criterion by criterion, then cost, apart."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from rushlight.assess.units import in_unit
from rushlight.errors import Finding
from rushlight.physics.comparison import overall, relative_cost, relative_performance
from rushlight.physics.uncertainty import coverage_factor, ratio_interval
from rushlight.records.assessment import (
    OverallPerformance,
    RelativeCost,
    RelativePerformanceRow,
    WeightShift,
)
from rushlight.records.figure import Figure
from rushlight.records.rig import Reference, ReferenceFigure, Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.cost import cost_figure, cost_std

LOWER_IS_BETTER = frozenset({"error", "jitter", "trueness", "precision", "delay", "dropouts"})
END_TO_END = frozenset({"delay"})
"""Criteria that a session cannot measure whole; the plan's prediction stands in."""
_KNOWN_BASES = ("measured",)


class Relative(NamedTuple):
    """All that is told of the rig beside its reference."""

    rows: list[RelativePerformanceRow]
    overall: OverallPerformance | None
    cost: RelativeCost | None
    findings: list[Finding]


def beside_reference(
    rig: Rig, shelf: Shelf, measured: Sequence[Figure], predicted: Sequence[Figure]
) -> Relative:
    """How the rig stands beside the reference that it names.

    Parameters
    ----------
    rig, shelf
        With or without a reference.
    measured
        Figures of the sessions.
    predicted
        Figures of the plan, for what a session cannot measure whole.
    """
    if rig.reference is None:
        return Relative([], None, None, [])
    rows, findings = [], []
    for wanted in rig.reference.figures:
        row, found = _criterion(wanted, measured, predicted)
        rows += [row] if row else []
        findings += found
    total, found = _overall(rig, rows)
    cost, found_cost = _cost(rig, rig.reference, shelf)
    return Relative(rows, total, cost, [*findings, *found, *found_cost])


def _criterion(
    wanted: ReferenceFigure, measured: Sequence[Figure], predicted: Sequence[Figure]
) -> tuple[RelativePerformanceRow | None, list[Finding]]:
    where = f"reference: {wanted.name} ({wanted.statistic})"
    pool = predicted if wanted.name in END_TO_END else measured
    ours = next((figure for figure in pool if _fits(figure, wanted)), None)
    if ours is None or ours.value is None:
        remedy = (
            "give the plan with --plan"
            if wanted.name in END_TO_END
            else "assess a session that shows it"
        )
        return None, [
            Finding("note", "criterion-unknown", where, "", "has no figure of the rig", remedy)
        ]
    theirs = wanted.value
    unit = theirs.unit or "1"
    value = in_unit(ours.value, ours.unit, unit)
    if value <= 0 or theirs.value <= 0:
        return None, [
            Finding(
                "note", "criterion-zero", where, f"{value:g} beside {theirs.value:g} {unit}",
                "gives no ratio, for one of them is 0", "read the two values side by side",
            )
        ]  # fmt: skip
    log_std = _log_std(ours)
    found = relative_performance(
        value,
        theirs.value,
        wanted.name in LOWER_IS_BETTER,
        rig_std=None if log_std is None else log_std * value,
        reference_std=theirs.std,
    )
    known = bool(np.isfinite(found.log_std))
    return RelativePerformanceRow(
        name=wanted.name,
        statistic=wanted.statistic,
        unit=unit,
        rig_value=value,
        rig_basis=ours.basis,
        reference_value=theirs.value,
        reference_basis=theirs.basis,
        reference_source=theirs.source,
        lower_is_better=wanted.name in LOWER_IS_BETTER,
        ratio=float(found.ratio),
        low=float(found.low) if known else None,
        high=float(found.high) if known else None,
        level=found.level if known else None,
        log_std=float(found.log_std) if known else None,
        reading=_reading(ours, wanted, found.reference_sampled, known),
    ), []


def _fits(figure: Figure, wanted: ReferenceFigure) -> bool:
    scope = figure.scope
    whole = not any((scope.carried, scope.person, scope.region, scope.condition))
    return (
        figure.name == wanted.name
        and figure.statistic == wanted.statistic
        and figure.cause in (None, "all")
        and whole
    )


def _log_std(figure: Figure) -> float | None:
    """Standard uncertainty of the logarithm, from a figure's interval."""
    if not figure.low or not figure.high or figure.level is None or figure.low <= 0:
        return None
    return float(np.log(figure.high / figure.low)) / (2.0 * coverage_factor(figure.level))


def _reading(ours: Figure, wanted: ReferenceFigure, sampled: bool, known: bool) -> str:
    parts = []
    if ours.basis not in _KNOWN_BASES:
        parts.append(f"the rig's figure is {ours.basis}, not measured")
    if wanted.value.basis not in _KNOWN_BASES:
        parts.append(f"the reference's figure is {wanted.value.basis}")
    if not sampled:
        parts.append("a figure as published has no sampling variance: no test of equivalence")
    if not known:
        parts.append("the rig's spread is not known")
    return "; ".join(parts)


def _overall(
    rig: Rig, rows: Sequence[RelativePerformanceRow]
) -> tuple[OverallPerformance | None, list[Finding]]:
    if rig.weights is None:
        return None, []
    given: dict[str, float] = {str(name): weight for name, weight in rig.weights.items()}
    weighted = [row for row in rows if given.get(row.name, 0.0) > 0]
    missing = [
        name
        for name, weight in given.items()
        if weight > 0 and name not in {row.name for row in rows}
    ]
    if missing:
        return None, [
            Finding(
                "note", "overall-incomplete", "weights", ", ".join(missing),
                "have a weight and no ratio, so that there is no overall figure",
                "assess sessions that show them, or give them the weight 0",
            )
        ]  # fmt: skip
    if not weighted:
        return None, []
    # One criterion may be judged by several statistics; they share its weight.
    counts = [sum(other.name == row.name for other in weighted) for row in weighted]
    weights = [given[row.name] / count for row, count in zip(weighted, counts, strict=True)]
    log_std = [np.nan if row.log_std is None else row.log_std for row in weighted]
    found = overall([row.ratio for row in weighted], weights, log_std)
    known = bool(np.isfinite(found.low))
    return OverallPerformance(
        value=float(found.value),
        low=float(found.low) if known else None,
        high=float(found.high) if known else None,
        level=found.level,
        weight_change=found.weight_change,
        weights=[
            WeightShift(
                name=row.name,
                weight=float(found.weights[k]),
                if_lower=float(found.if_weight_lower[k]),
                if_higher=float(found.if_weight_higher[k]),
            )
            for k, row in enumerate(weighted)
        ],
    ), []


def _cost(
    rig: Rig, reference: Reference, shelf: Shelf
) -> tuple[RelativeCost | None, list[Finding]]:
    price, ours = reference.price, cost_figure(rig, shelf)
    where = "reference: price"
    if price is None or ours.value is None or price.amount <= 0:
        return None, [
            Finding("note", "cost-unknown", where, "", "or the rig's is not known", "add prices")
        ]
    if ours.unit != price.currency:
        return None, [
            Finding(
                "note", "cost-currency", where, price.currency,
                f"is not the rig's {ours.unit}, and rates change", "price both in one currency",
            )
        ]  # fmt: skip
    std = cost_std(rig, shelf)
    ends = None
    if std is not None and price.std is not None and ours.value > 0:
        ends = ratio_interval(ours.value, std, price.amount, price.std)
    noted = (price.source or "").removeprefix(price.basis).lstrip("; ")
    known = ends is not None and np.isfinite([ends.low, ends.high]).all()
    return RelativeCost(
        rig_cost=ours.value,
        reference_cost=price.amount,
        currency=price.currency,
        ratio=float(relative_cost(ours.value, price.amount)),
        low=float(ends.low) if ends and known else None,
        high=float(ends.high) if ends and known else None,
        level=ends.level if ends and known else None,
        method=f"{ours.method}; reference's price of {price.date}, {price.basis}"
        + (f" ({noted})" if noted else "")
        + ("; interval by Fieller's theorem from the prices' spreads" if known else ""),
        basis=ours.basis,
    ), []
