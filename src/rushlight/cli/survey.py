"""The verb `survey`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def survey(
    rig: Annotated[Path, typer.Argument(help="The rig's file, or its folder.")],
    readings: Annotated[
        Path | None,
        typer.Option(
            help="Your readings; readings.toml beside the rig. With --touches, where they are "
            "written; touches.toml beside it."
        ),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Survey to write; survey.json beside the rig.")
    ] = None,
    template: Annotated[
        bool, typer.Option("--template", help="Write a commented file for your readings instead.")
    ] = False,
    list_marks: Annotated[
        bool,
        typer.Option(
            "--list-marks", help="Tell at which display pixels the marks are, and survey nothing."
        ),
    ] = False,
    touches: Annotated[
        Path | None,
        typer.Option(
            help="Instead of a ruler: footage, or a session of run, in which a light is held at "
            "one mark after the other."
        ),
    ] = None,
    registration: Annotated[
        Path | None,
        typer.Option(
            help="In whose metres --touches are told; registration.json beside the rig. It must "
            "be older than what changed in the picture."
        ),
    ] = None,
    marks: Annotated[
        list[str] | None,
        typer.Option(
            help="A mark of --touches, once for each in their order; the four corners from the "
            "lower left on, anticlockwise, and that one again, when left out."
        ),
    ] = None,
    stylus: Annotated[
        str | None,
        typer.Option(help="Which stylus touched; the first that registered when left out."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print what is found as JSON.")] = False,
) -> None:
    """Find the displayed picture's shape by ruler or touches; exit code 1 when not vouched for."""
    from rushlight.cli import render
    from rushlight.errors import RushlightError
    from rushlight.jobs.survey import survey as job
    from rushlight.jobs.survey import template as write_template

    if touches is None:
        idle = {"--registration": registration, "--marks": marks, "--stylus": stylus}
        for option, given in idle.items():
            if given:
                shown = ", ".join(given) if isinstance(given, list) else str(given)
                raise RushlightError.of(
                    option, shown, "is about --touches", "give --touches, or leave it out",
                    "option-idle",
                )  # fmt: skip
    if list_marks:
        _list_marks(
            rig, readings, json, {"--template": template, "--touches": touches, "--out": out}
        )
        return
    if template:
        path = write_template(rig, readings if out is None else out)
        if json:
            render.print_json({"template": str(path)})
        else:
            render.note(f"written: {path}; replace its lengths by yours")
        return
    if touches is None:
        result = job(rig, readings, out)
    else:
        from rushlight.jobs.survey_touches import USUAL_MARKS, survey_touches

        with render.progress() as progress:
            result = survey_touches(
                rig, touches, registration, tuple(marks or USUAL_MARKS), stylus, readings, out,
                progress,
            )  # fmt: skip
    told = result.as_dict()
    if json:
        render.print_json(told)
    else:
        render.heading(f"survey of the picture on {told['surface']}")
        render.table(
            "",
            ("corner", "x [mm]", "± [mm]", "y [mm]", "± [mm]"),
            [
                (c["corner"], c["x_mm"], c["x_std_mm"], c["y_mm"], c["y_std_mm"])
                for c in told["corners"]
            ],
        )
        render.table(
            "",
            ("reading", "read [mm]", "± [mm]", "misses by [mm]", "in its doubt [1]", "held"),
            [
                (
                    r["where"],
                    r["read_mm"],
                    r["std_mm"],
                    r["missed_mm"],
                    r["score"],
                    "probably wrong"
                    if r["suspect"]
                    else "good"
                    if r["score"] is not None
                    else "unchecked",
                )
                for r in told["readings"]
            ],
        )
        render.note(f"doubt of a place of the picture: {told['rms_std_mm']} mm rms")
        one, other = told["next_reading"]
        render.note(
            f"most told by one more reading: {one} to {other}, then {told['next_rms_std_mm']} mm"
        )
        render.findings(result.findings)
        render.note("vouched for:" if told["vouched"] else "NOT vouched for:")
        for reason in told["reasons"]:
            render.note(f"  {reason}")
        render.note(f"written: {told['survey']}, {told['picture']}")
    if not told["vouched"]:
        raise typer.Exit(1)


def _list_marks(rig: Path, readings: Path | None, json: bool, others: dict[str, object]) -> None:
    """Where the marks are, and what is to be read between them."""
    from rushlight.cli import render
    from rushlight.errors import RushlightError
    from rushlight.jobs.survey_marks import survey_marks

    for option, given in others.items():
        if given:
            raise RushlightError.of(
                option, "" if given is True else str(given), "does nothing with --list-marks",
                "leave one of them out", "option-idle",
            )  # fmt: skip
    told = survey_marks(rig, readings).as_dict()
    if json:
        render.print_json(told)
        return
    wide, high = told["size_px"]
    render.heading(f"marks of the picture on {told['surface']}, {wide} × {high} px")
    render.table(
        "",
        ("mark", "from the left [px]", "from the top [px]"),
        [(each["mark"], each["x_px"], each["y_px"]) for each in told["marks"]],
    )
    render.table(
        "",
        ("to be read", "kind", "the rig says [mm]", "read"),
        [
            (
                " to ".join(filter(None, (each["from"], each["to"])))
                + (f", at {each['at']}" if each["at"] else ""),
                each["kind"],
                each["rig_mm"],
                "yes" if each["read"] else "not yet",
            )
            for each in told["readings"]
        ],
    )
    render.note("0 px is the lit picture's very edge; the bench's page Survey shows the marks")
