"""Predictions beside measurements, joined on name, cause, statistic and scope."""

from __future__ import annotations

from collections.abc import Sequence

from rushlight.assess.units import in_unit
from rushlight.records.assessment import Comparison
from rushlight.records.figure import Figure, Scope

SELF_CONSISTENT = (
    "simulated: agreement shows that the tool agrees with itself, not that it is right"
)


HIGHER_IS_BETTER = frozenset({"coverage", "throughput"})


def same_scope(predicted: Scope, measured: Scope) -> bool:
    """Whether a prediction speaks of what was measured.

    Rig, camera and surface may be left out on one side; carried thing, person, region and
    condition must be the same.
    """
    for field in ("rig", "camera", "surface"):
        given, found = getattr(predicted, field), getattr(measured, field)
        if given is not None and found is not None and given != found:
            return False
    return all(
        getattr(predicted, field) == getattr(measured, field)
        for field in ("carried", "person", "region", "condition")
    )


def compare(predicted: Sequence[Figure], measured: Sequence[Figure]) -> list[Comparison]:
    """Each measured figure that has a prediction, beside it.

    Parameters
    ----------
    predicted
        Figures of a plan.
    measured
        Figures of an assessment; units may differ within a dimension.
    """
    rows = []
    for figure in measured:
        match = next((each for each in predicted if _joins(each, figure)), None)
        if match is not None and match.value is not None and figure.value is not None:
            rows.append(_row(figure, match, figure.value))
    return rows


def _joins(predicted: Figure, measured: Figure) -> bool:
    return (
        predicted.name == measured.name
        and (predicted.cause or "all") == (measured.cause or "all")
        and predicted.statistic == measured.statistic
        and same_scope(predicted.scope, measured.scope)
    )


def _row(figure: Figure, match: Figure, measured: float) -> Comparison:
    told = [
        None if each is None else in_unit(each, match.unit, figure.unit)
        for each in (match.value, match.low, match.high)
    ]
    predicted = told[0] or 0.0
    low, high = figure.low, figure.high
    return Comparison(
        name=figure.name,
        cause=figure.cause,
        statistic=figure.statistic,
        scope=figure.scope,
        unit=figure.unit,
        predicted=predicted,
        measured=measured,
        low=low,
        high=high,
        level=figure.level,
        # Of nought there is no part to tell; the reading says what the interval shows.
        ratio=_over(predicted, measured) if predicted else None,
        ratio_low=_over(predicted, high) if predicted else None,
        ratio_high=_over(predicted, low) if predicted else None,
        method=figure.method,
        basis=figure.basis,
        reading=_of_nought(figure, told[1], told[2], measured)
        if not predicted and told[1] is not None and told[2] is not None
        else _reading(figure, predicted, measured),
    )


def _of_nought(figure: Figure, low: float, high: float, measured: float) -> str:
    """How to read what is expected to be nought on average over builds: by its interval."""
    where = "within" if low <= measured <= high else "beyond"
    return (
        f"expected to be 0 over many builds; the {figure.basis} value lies {where} the predicted "
        f"{low:.2g} to {high:.2g} {figure.unit}"
    )


def _over(numerator: float, denominator: float | None) -> float | None:
    return numerator / denominator if denominator else None


def _reading(figure: Figure, predicted: float, measured: float) -> str:
    if figure.low is None or figure.high is None:
        words = f"no interval of the {figure.basis} value, so agreement cannot be judged"
    elif not figure.low <= predicted <= figure.high:
        below = predicted < figure.low
        hopeful = below != (figure.name in HIGHER_IS_BETTER)
        words = (
            f"the prediction lies {'below' if below else 'above'} the {figure.basis} interval: too "
            f"{'hopeful' if hopeful else 'cautious'}"
        )
    else:
        words = f"the prediction lies within the {figure.basis} interval"
        if measured and figure.high > 2.0 * figure.low:
            words += ", which is wide and shows little"
    return words
