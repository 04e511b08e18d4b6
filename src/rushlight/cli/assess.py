"""The verb `assess`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rushlight.records.assessment import Assessment, Comparison
    from rushlight.records.figure import Figure, Scope

CAUSES_ALONE = ("centre", "registration", "lens", "flatness", "tip", "pixel")


def assess(
    sessions: Annotated[list[Path], typer.Argument(help="Sessions of one rig.")],
    plan: Annotated[Path | None, typer.Option(help="A plan of the rig, to compare with.")] = None,
    rig: Annotated[
        Path | None, typer.Option(help="The rig, for display pixels, targets and reference.")
    ] = None,
    truth: Annotated[
        list[Path] | None, typer.Option(help="The truth of a session's footage; repeatable.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Folder for assessment.json and pictures.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the assessment as JSON.")] = False,
) -> None:
    """Tell how true, steady and quick a rig is, beside its plan and its reference."""
    from rushlight.cli import render
    from rushlight.jobs.assess import assess as job

    with render.progress() as progress:
        assessment = job(sessions, plan, rig, truth or (), out, progress)
    if json:
        print(assessment.json_text())
        return
    _show_figures(assessment)
    _show_taps(assessment)
    _show_comparison(assessment)
    _show_reference(assessment)
    render.heading("Findings")
    render.findings(assessment.findings)
    if out is not None:
        render.note(f"written to {out}")


def _show_figures(assessment: Assessment) -> None:
    from rushlight.cli import render

    render.heading(f"{assessment.rig_name or 'Rig not named'} ({assessment.basis})")
    render.table(
        "Sessions",
        ["session", "what", "causes", "frames []", "fixes []", "truth"],
        [
            [each.name, each.kind, each.cause_word, each.frames, each.fixes,
             "yes" if each.truth else "no"]
            for each in assessment.sessions
        ],
    )  # fmt: skip
    for condition in assessment.conditions:
        render.note(condition)
    render.table(
        "Figures",
        ["figure", "cause", "statistic", "of", "value", "from", "to", "unit"],
        [
            [row.name, _cause(row.cause), row.statistic, _scope(row.scope), _digits(row.value),
             _digits(row.low), _digits(row.high), row.unit]
            for row in assessment.figures
            if _is_shown(row)
        ],
    )  # fmt: skip


def _show_taps(assessment: Assessment) -> None:
    from rushlight.cli import render

    if not assessment.taps:
        return
    columns = ["who", "targets", "trials []", "left out []", "misnamed []",
               "misses [1]", "MT [s]", "We [m]", "Ae [m]", "IDe [bit]", "TP [bit/s]"]  # fmt: skip
    rows = [
        [
            each.participant,
            each.condition,
            each.n,
            each.left_out,
            each.misnamed,
            _digits(each.error_rate),
            _digits(each.movement_time_s),
            _digits(each.effective_width_m),
            _digits(each.effective_distance_m),
            _digits(each.effective_difficulty_bit),
            _digits(each.throughput_bit_s),
        ]
        for each in assessment.taps
    ]
    render.table("Tapping", columns, rows)


def _show_comparison(assessment: Assessment) -> None:
    from rushlight.cli import render

    if not assessment.compared:
        return
    render.table(
        f"Predicted beside {assessment.basis}",
        ["figure", "cause", "statistic", "of", "predicted", assessment.basis, "ratio", "from", "to",
         "how to read it"],
        [
            [row.name, _cause(row.cause), row.statistic, _scope(row.scope), _digits(row.predicted),
             _digits(row.measured), _digits(row.ratio), _digits(row.ratio_low),
             _digits(row.ratio_high), row.reading]
            for row in assessment.compared
            if _is_shown(row)
        ],
    )  # fmt: skip


def _show_reference(assessment: Assessment) -> None:
    from rushlight.cli import render

    if assessment.reference is None:
        return
    render.heading(f"Beside {assessment.reference}")
    render.table(
        "Relative performance; above 1 is better than the reference",
        ["criterion", "statistic", "rig", "reference", "unit", "ratio", "from", "to",
         "how to read it"],
        [
            [row.name, row.statistic, _digits(row.rig_value), _digits(row.reference_value),
             row.unit, _digits(row.ratio), _digits(row.low), _digits(row.high), row.reading]
            for row in assessment.relative
        ],
    )  # fmt: skip
    whole = assessment.overall
    if whole is not None:
        change = f"{whole.weight_change:.0%}"
        render.table(
            f"Overall, by the rig's own weights: {_digits(whole.value)}; it becomes",
            ["if the weight of", "is", f"is {change} less", f"is {change} more"],
            [
                [row.name, _digits(row.weight), _digits(row.if_lower), _digits(row.if_higher)]
                for row in whole.weights
            ],
        )
    cost = assessment.cost
    if cost is not None:
        render.note(
            f"Relative cost: {_digits(cost.ratio)} of the reference's price "
            f"({cost.rig_cost:.2f} of {cost.reference_cost:.2f} {cost.currency}; {cost.method})"
        )


def _is_shown(row: Figure | Comparison) -> bool:
    """The whole rig; of single causes the root-mean-square error only. The file holds the rest."""
    whole = row.scope.carried is None
    single = row.cause in CAUSES_ALONE
    return whole and (not single or (row.name, row.statistic) == ("error", "rms"))


def _cause(cause: str | None) -> str:
    from rushlight.records.figure import CAUSE_WORDS

    return CAUSE_WORDS.get(cause or "", cause or "–")


def _scope(scope: Scope) -> str:
    parts = (scope.carried, scope.person, scope.region, scope.condition)
    return ", ".join(part for part in parts if part) or "the rig"


def _digits(value: float | None) -> str | None:
    return None if value is None or value != value else f"{value:.3g}"
