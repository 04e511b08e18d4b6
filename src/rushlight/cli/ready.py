"""The verb `ready`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from rushlight.jobs.ready_telling import ReadyResult


def ready(
    rig: Annotated[Path, typer.Option(help="The rig's file, or its folder.")],
    registration: Annotated[
        Path | None, typer.Option(help="What is checked; the last one beside the rig by default.")
    ] = None,
    camera: Annotated[
        str, typer.Option(help="A source as run --camera takes it; rig, for the rig's own.")
    ] = "rig",
    stylus: Annotated[
        str | None, typer.Option(help="Which stylus touches; the first that registered.")
    ] = None,
    cells_since: Annotated[
        str | None,
        typer.Option(help='The day on which new cells were put in, as "2026-11-02".'),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print what is found as JSON.")] = False,
) -> None:
    """Check a registered rig by two touches, its light and cells; exit code 1 for no-go."""
    from rushlight.cli import render
    from rushlight.cli.beacons import TextShow
    from rushlight.jobs.ready import ready as job

    source = None if camera == "rig" else camera
    result = job(
        rig, registration, TextShow(rig), source, touched_by=stylus, cells_since=cells_since
    )
    if json:
        render.print_json(result.as_dict())
    else:
        _show(result)
    if not result.go:
        raise typer.Exit(1)


def _show(result: ReadyResult) -> None:
    from rushlight.cli import render

    told = result.as_dict()
    render.heading(f"the rig this morning, from {told['basis']} frames")
    if told["touches"]:
        render.table(
            "",
            ("beacon x [m]", "y [m]", "missed by [mm]", "expected rms [mm]"),
            [
                (touch["x_m"], touch["y_m"], touch["missed_mm"], touch["expected_mm"])
                for touch in told["touches"]
            ],
        )
    render.table(
        "",
        ("what", "now", "expected"),
        [
            ("room's light", _percent(told["room_share"]), _percent(told["room_planned_share"])),
            ("lights standing in view", told["lights_standing"], 0),
            ("light of a touch", _percent(told["touch_light_share"]), "100 % at registration"),
            ("weakest touch over noise", told["weakest_over_noise"], "10 or more"),
            *(
                (
                    f"cells of {each['carried']}",
                    f"{each['used_h']} h used",
                    f"{each['runtime_h']} h",
                )
                for each in told["cells"]
            ),
        ],
    )
    render.note(
        f"room's light in shares of full scale; hours of use from {told['sessions']} kept "
        "sessions; runtimes as the plan predicts"
    )
    render.note(_honest(told))
    render.findings(result.findings)
    render.note("GO" if told["go"] else "NO-GO")


def _honest(told: dict[str, Any]) -> str:
    """What the two touches can tell, and how often they are wrong."""
    return (
        f"two touches notice a camera turned by {told['turn_noticed_deg']}° about its least shown "
        f"axis {told['turn_noticed_chance']:.0%} of times, and call a rig that nothing happened "
        f"to no-go {told['false_alarm']:.0%} of times"
    )


def _percent(share: float | None) -> str | None:
    return None if share is None else f"{share:.1%}".replace("%", " %")
