"""What every demo ends with: a figure in words, and a measured one beside its prediction."""

from __future__ import annotations

from collections.abc import Sequence

from rushlight.records.assessment import Assessment
from rushlight.records.figure import Figure, find_figure


def plain(figures: Sequence[Figure], name: str, statistic: str) -> Figure | None:
    """The figure of all causes without a condition, of the whole rig or its only thing."""
    some = [each for each in figures if each.scope.condition is None]
    return find_figure(some, name, "all", statistic) or find_figure(some, name, None, statistic)


def amount(figure: Figure | None) -> str:
    """A figure with its interval, in words."""
    if figure is None or figure.value is None:
        return "not known"
    span = ""
    if figure.low is not None and figure.high is not None and figure.level is not None:
        span = f" [{figure.low:.1f} to {figure.high:.1f} at {figure.level * 100:.0f} %]"
    return f"{figure.value:.1f} {figure.unit} {figure.statistic}{span}"


def measured(assessed: Assessment, seen: Figure | None) -> str:
    """A figure of an assessment in words: what it rests on, and how its prediction fared by it."""
    told = (
        f"{amount(seen)} ({assessed.basis}: shows that the program agrees with itself, not that a "
        "real rig will)"
    )
    readings = [
        each.reading
        for each in assessed.compared
        if seen is not None
        and (each.name, each.cause, each.statistic, each.scope)
        == (seen.name, seen.cause, seen.statistic, seen.scope)
    ]
    return "; ".join([told, *readings[:1]])
