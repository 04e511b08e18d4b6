"""The verb `assess`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rushlight.jobs.progress import Progress
    from rushlight.records.assessment import Assessment, Comparison
    from rushlight.records.figure import Figure

CAUSES_ALONE = (
    "centre", "registration", "lens", "flatness", "tip", "pixel", "build", "point", "turning",
)  # fmt: skip


def assess(
    sessions: Annotated[list[Path], typer.Argument(help="Sessions of one rig.")],
    plan: Annotated[Path | None, typer.Option(help="A plan of the rig, to compare with.")] = None,
    rig: Annotated[
        Path | None, typer.Option(help="The rig, for display pixels, targets and reference.")
    ] = None,
    truth: Annotated[
        list[Path] | None, typer.Option(help="The truth of a session's footage; repeatable.")
    ] = None,
    marks: Annotated[
        Path | None,
        typer.Option(help="List of the marks touched, in order, for footage that does not tell."),
    ] = None,
    registration: Annotated[
        Path | None,
        typer.Option(help="Of cameras in space: to check lengths and reprojection by it."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Folder for assessment.json and pictures.")
    ] = None,
    film: Annotated[
        Path | None,
        typer.Option(help="Folder for the scene as drawn for the eye of the first session."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the assessment as JSON.")] = False,
) -> None:
    """Tell how true, steady and quick a rig is, beside its plan and its reference."""
    from rushlight.cli import render
    from rushlight.jobs.assess import assess as job

    with render.progress() as progress:
        if film is not None:
            _film(sessions, rig, film, progress)
        assessment = job(sessions, plan, rig, truth or (), marks, out, progress, registration)
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
    if film is not None:
        render.note(f"pictures and matrices written to {film}")


def _film(sessions: list[Path], rig: Path | None, film: Path, progress: Progress) -> None:
    """Draw the rig's scene for the eye of the first session."""
    from rushlight.errors import RushlightError
    from rushlight.jobs.scene import scene_film

    if rig is None:
        raise RushlightError.of(
            "--film", str(film), "needs the rig, whose scene it draws", "give --rig", "film-no-rig"
        )
    scene_film(sessions[0], rig, film, progress=progress)


def _show_figures(assessment: Assessment) -> None:
    from rushlight.cli import render

    render.heading(f"{assessment.rig_name or 'Rig not named'} ({assessment.basis})")
    render.table(
        "Sessions",
        ["session", "what", "causes", "frames [1]", "fixes [1]", "truth"],
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
        ["figure", "value [1]", "interval [1]", "unit"],
        [
            [_what(row), _digits(row.value), _span(row.low, row.high), row.unit]
            for row in assessment.figures
            if _is_shown(row, assessment)
        ],
    )


def _show_taps(assessment: Assessment) -> None:
    from rushlight.cli import render

    if not assessment.taps:
        return
    rows = [
        [
            f"{each.participant}, {each.condition}",
            each.n,
            each.left_out,
            _digits(each.error_rate),
            _digits(each.movement_time_s),
            _digits(each.effective_width_m),
            _digits(each.effective_distance_m),
            _digits(each.effective_difficulty_bit),
            _digits(each.throughput_bit_s),
        ]
        for each in assessment.taps
    ]
    columns = ["who and targets", "taps [1]", "not [1]", "miss [1]", "MT [s]", "We [m]",
               "Ae [m]", "IDe [bit]", "TP [bit/s]"]  # fmt: skip
    render.table('Tapping ("not": trials that do not count)', columns, rows)
    for form in dict.fromkeys(each.ae_form for each in assessment.taps):
        render.note(f"form of Ae: {form}; We from SDx with n − 1")


def _show_comparison(assessment: Assessment) -> None:
    from rushlight.cli import render

    if not assessment.compared:
        return
    shown = [row for row in assessment.compared if _is_shown(row, assessment)]
    render.table(
        f"Predicted beside {assessment.basis}",
        ["figure", "predicted [1]", f"{assessment.basis} [1]", "unit", "ratio [1]", "interval [1]"],
        [
            [_what(row), _digits(row.predicted), _digits(row.measured), row.unit,
             _digits(row.ratio), _span(row.ratio_low, row.ratio_high)]
            for row in shown
        ],
    )  # fmt: skip
    _show_readings([(_what(row), row.reading) for row in shown])


def _show_readings(rows: list[tuple[str, str]]) -> None:
    """How to read the rows of a table, those that read alike together."""
    from rushlight.cli import render

    for reading in dict.fromkeys(reading for _, reading in rows):
        those = "; ".join(what for what, its in rows if its == reading)
        render.note(f"{those}: {reading}")


def _show_reference(assessment: Assessment) -> None:
    from rushlight.cli import render

    if assessment.reference is None:
        return
    render.heading(f"Beside {assessment.reference}")
    render.table(
        "Relative performance; above 1 is better than the reference",
        ["criterion", "rig [1]", "reference [1]", "unit", "ratio [1]", "interval [1]"],
        [
            [f"{row.name}, {row.statistic}", _digits(row.rig_value), _digits(row.reference_value),
             row.unit, _digits(row.ratio), _span(row.low, row.high)]
            for row in assessment.relative
        ],
    )  # fmt: skip
    _show_readings([(f"{row.name}, {row.statistic}", row.reading) for row in assessment.relative])
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


def _is_shown(row: Figure | Comparison, assessment: Assessment) -> bool:
    """The whole rig, or each thing in space; of single causes the root-mean-square error only.

    The file holds the rest.
    """
    whole = row.scope.carried is None or not _has_whole(row, assessment)
    single = row.cause in CAUSES_ALONE
    return whole and (not single or (row.name, row.statistic) == ("error", "rms"))


def _has_whole(row: Figure | Comparison, assessment: Assessment) -> bool:
    """Whether the same is told of the whole rig."""
    if not assessment.stands:
        return True
    rows: list[Figure | Comparison] = [*assessment.figures]
    if row not in rows:
        rows = [*assessment.compared]
    of_all = row.scope.model_copy(update={"carried": None})
    return any(
        (each.name, each.cause, each.statistic, each.scope)
        == (row.name, row.cause, row.statistic, of_all)
        for each in rows
    )


def _cause(cause: str | None) -> str:
    from rushlight.records.figure import CAUSE_WORDS

    return CAUSE_WORDS.get(cause or "", cause or "–")


def _what(row: Figure | Comparison) -> str:
    """Figure, cause, statistic and scope in one line."""
    scope = row.scope
    cause = None if row.cause in (None, "all") else _cause(row.cause)
    parts = (row.name, cause, row.statistic, scope.carried, scope.person, scope.region)
    of = f" ({scope.condition})" if scope.condition else ""
    return ", ".join(part for part in parts if part) + of


def _span(low: float | None, high: float | None) -> str | None:
    shown = _digits(low), _digits(high)
    return None if None in shown else f"{shown[0]} to {shown[1]}"


def _digits(value: float | None) -> str | None:
    return None if value is None or value != value else f"{value:.3g}"
