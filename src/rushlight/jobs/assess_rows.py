"""Which rows of an assessment are shown, and how each is named: for command and page alike."""

from __future__ import annotations

from rushlight.records.assessment import Assessment, Comparison, RelativePerformanceRow
from rushlight.records.figure import CAUSE_WORDS, Figure

CAUSES_ALONE = (
    "centre", "registration", "lens", "flatness", "tip", "pixel", "build", "point", "turning",
)  # fmt: skip


def is_shown(row: Figure | Comparison, assessment: Assessment) -> bool:
    """The whole rig, or each thing in space; of single causes the root-mean-square error only.

    The file holds the rest.
    """
    whole = row.scope.carried is None or not _has_whole(row, assessment)
    single = row.cause in CAUSES_ALONE
    return whole and (not single or (row.name, row.statistic) == ("error", "rms"))


def _has_whole(row: Figure | Comparison, assessment: Assessment) -> bool:
    """Whether the same is told of the whole rig."""
    rows: list[Figure | Comparison] = [*assessment.figures]
    if row not in rows:
        rows = [*assessment.compared]
    of_all = row.scope.model_copy(update={"carried": None})
    return any(
        (each.name, each.cause, each.statistic, each.scope)
        == (row.name, row.cause, row.statistic, of_all)
        for each in rows
    )


def row_words(row: Figure | Comparison) -> str:
    """Figure, cause, statistic and scope in one line."""
    scope = row.scope
    cause = None if row.cause in (None, "all") else CAUSE_WORDS.get(row.cause or "", row.cause)
    parts = (
        row.name.replace("-", " "),
        cause,
        row.statistic,
        scope.carried,
        scope.person,
        scope.region,
    )
    of = f" ({scope.condition})" if scope.condition else ""
    return ", ".join(part for part in parts if part) + of


def criterion_words(row: RelativePerformanceRow) -> str:
    """Criterion, statistic and under which condition."""
    of = f" ({row.condition})" if row.condition else ""
    return f"{row.name.replace('-', ' ')}, {row.statistic}{of}"


def digits(value: float | None) -> str | None:
    """Three digits that count; None for what is not known."""
    if value is None or value != value:
        return None
    shown = f"{value:.3g}"
    return f"{value:.0f}" if "e+" in shown else shown


def span(low: float | None, high: float | None) -> str | None:
    """An interval in words; None where there is none."""
    shown = digits(low), digits(high)
    return None if None in shown else f"{shown[0]} to {shown[1]}"
