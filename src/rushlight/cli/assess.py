"""The verb `assess`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rushlight.jobs.progress import Progress
    from rushlight.records.assessment import Assessment


def assess(
    sessions: Annotated[
        list[Path],
        typer.Argument(
            help="Sessions of one rig, or sittings of trials; or a rig, for all beside it."
        ),
    ],
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
    anew: Annotated[
        bool,
        typer.Option("--anew", help="Of a rig: assess its sessions anew, and keep that beside it."),
    ] = False,
    json: Annotated[bool, typer.Option("--json", help="Print the assessment as JSON.")] = False,
) -> None:
    """Tell how true, steady and quick a rig is, beside its plan and its reference."""
    from rushlight.cli import render
    from rushlight.jobs.assess import assess as job
    from rushlight.jobs.results import is_rig, refuse_beside_rig

    if anew or (len(sessions) == 1 and is_rig(sessions[0])):
        given = {
            "--plan": plan, "--rig": rig, "--truth": truth, "--marks": marks,
            "--registration": registration, "--out": out, "--film": film,
        }  # fmt: skip
        refuse_beside_rig(sessions, [name for name, value in given.items() if value])
        _results(sessions[0], anew, json)
        return
    with render.progress() as progress:
        if film is not None:
            _film(sessions, rig, film, progress)
        assessment = job(sessions, plan, rig, truth or (), marks, out, progress, registration)
    if json:
        print(assessment.json_text())
        return
    _show(assessment)
    if out is not None:
        render.note(f"written to {out}")
    if film is not None:
        render.note(f"pictures and matrices written to {film}")


def _results(rig: Path, anew: bool, json: bool) -> None:
    """All that was found of a rig."""
    from rushlight.cli import render
    from rushlight.jobs.results import results

    with render.progress() as progress:
        found = results(rig, anew, progress)
    if json:
        render.print_json(found.as_dict())
        return
    for of, assessment in found.documents.items():
        render.heading(f"{found.title}: {of}")
        _show(assessment)
    render.findings(found.findings)


def _show(assessment: Assessment) -> None:
    from rushlight.cli import render

    _show_figures(assessment)
    _show_taps(assessment)
    _show_comparison(assessment)
    _show_reference(assessment)
    render.heading("Findings")
    render.findings(assessment.findings)


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
    from rushlight.jobs.assess_rows import digits, is_shown, row_words, span

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
    shown = [row for row in assessment.figures if is_shown(row, assessment)]
    render.table(
        "Figures",
        ["figure", "value [1]", "interval [1]", "unit"],
        [
            [_told(row_words(row), row.basis, assessment.basis), digits(row.value),
             span(row.low, row.high), row.unit]
            for row in shown
        ],
    )  # fmt: skip


def _told(words: str, basis: str, whole: str) -> str:
    """A row's words, with its basis where it is not that of the whole, which the heading tells."""
    return words if basis == whole else f"{words} ({basis})"


def _show_taps(assessment: Assessment) -> None:
    from rushlight.cli import render
    from rushlight.jobs.assess_rows import digits

    if not assessment.taps:
        return
    carried = len({each.carried for each in assessment.taps}) > len(
        {each.participant for each in assessment.taps}
    )
    rows = [
        [
            _told(
                f"{each.participant}, {f'{each.carried}, ' if carried else ''}{each.condition}",
                assessment.basis_in(each.session),
                assessment.basis,
            ),
            each.n,
            each.left_out,
            digits(each.error_rate),
            digits(each.movement_time_s),
            digits(each.effective_width_m),
            digits(each.effective_distance_m),
            digits(each.effective_difficulty_bit),
            digits(each.throughput_bit_s),
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
    from rushlight.jobs.assess_rows import digits, is_shown, row_words, span

    if not assessment.compared:
        return
    shown = [row for row in assessment.compared if is_shown(row, assessment)]
    found = assessment.basis
    render.table(
        f"Predicted beside {found}",
        ["figure", "predicted [1]", f"{found} [1]", "unit", "ratio [1]", "interval [1]"],
        [
            [_told(row_words(row), row.basis, found), digits(row.predicted), digits(row.measured),
             row.unit, digits(row.ratio), span(row.ratio_low, row.ratio_high)]
            for row in shown
        ],
    )  # fmt: skip
    _show_readings([(row_words(row), row.reading) for row in shown])


def _show_readings(rows: list[tuple[str, str]]) -> None:
    """How to read the rows of a table, those that read alike together."""
    from rushlight.cli import render

    for reading in dict.fromkeys(reading for _, reading in rows):
        those = "; ".join(what for what, its in rows if its == reading)
        render.note(f"{those}: {reading}")


def _show_reference(assessment: Assessment) -> None:
    from rushlight.cli import render
    from rushlight.jobs.assess_rows import criterion_words, digits, span

    if assessment.reference is None:
        return
    render.heading(f"Beside {assessment.reference}")
    whole = assessment.basis
    render.table(
        "Relative performance; above 1 is better than the reference",
        ["criterion", "rig [1]", "reference [1]", "unit", "ratio [1]", "interval [1]"],
        [
            [criterion_words(row), _told(digits(row.rig_value) or "", row.rig_basis, whole),
             _told(digits(row.reference_value) or "", row.reference_basis, whole),
             row.unit, digits(row.ratio), span(row.low, row.high)]
            for row in assessment.relative
        ],
    )  # fmt: skip
    _show_readings([(criterion_words(row), row.reading) for row in assessment.relative])
    overall = assessment.overall
    if overall is not None:
        change = f"{overall.weight_change:.0%}"
        render.table(
            f"Overall, by the rig's own weights: {digits(overall.value)}; it becomes",
            ["if the weight of", "is", f"is {change} less", f"is {change} more"],
            [
                [row.name, digits(row.weight), digits(row.if_lower), digits(row.if_higher)]
                for row in overall.weights
            ],
        )
    cost = assessment.cost
    if cost is not None:
        ends = span(cost.low, cost.high)
        ends = f" ({ends})" if ends else ""
        render.note(
            f"Relative cost: {digits(cost.ratio)}{ends} of the reference's price "
            f"({cost.rig_cost:.2f} of {cost.reference_cost:.2f} {cost.currency}; {cost.method})"
        )
