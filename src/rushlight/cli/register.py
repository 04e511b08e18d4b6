"""The verb `register`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from rushlight.cli.register_space import show_space

if TYPE_CHECKING:
    from rushlight.errors import Finding


def register(
    rig: Annotated[Path, typer.Option(help="The rig's file, or its folder.")],
    footage: Annotated[
        list[Path] | None,
        typer.Option(
            help="Footage of beacons being touched one by one, once for each camera; of a rig in "
            "space, the folder of looks, placings or a swung bar, or nothing for its measured "
            "mounting."
        ),
    ] = None,
    camera: Annotated[
        list[str] | None,
        typer.Option(
            help="Register live instead, touch by touch or step by step, with a source as run "
            "--camera takes it; what to do is told in words. Of several cameras in space once for "
            "each, as left=camera:0."
        ),
    ] = None,
    plan: Annotated[
        Path | None,
        typer.Option(help="A plan of this rig, for its beacons where the footage tells none."),
    ] = None,
    out: Annotated[Path, typer.Option(help="Registration to write.")] = Path("registration.json"),
    rate: Annotated[
        str | None, typer.Option(help='Frame rate of footage without times, as "30 Hz".')
    ] = None,
    survey: Annotated[
        Path | None, typer.Option(help="Survey of the picture, as `rushlight survey` writes it.")
    ] = None,
    pair: Annotated[
        Path | None,
        typer.Option(
            help="Of a volume rig of two cameras, the pair as `rushlight calibrate --beside` "
            "writes it: alone, or with a swung bar to better it."
        ),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print what is found as JSON.")] = False,
) -> None:
    """Tie cameras to the display, or to one another; exit code 1 when not vouched for."""
    from rushlight.cli import render
    from rushlight.jobs.register import register as job
    from rushlight.jobs.register_space import SpaceRegisterResult

    if camera:
        _live(
            camera,
            rig,
            out,
            survey,
            {"--footage": footage, "--plan": plan, "--rate": rate, "--pair": pair},
            json,
        )
        return
    if footage and len(footage) > 1:
        from rushlight.cli.beacons import refuse_beside

        refuse_beside("several --footage", {"--pair": pair})
        _several(footage, rig, out, plan, rate, survey, json)
        return
    with render.progress() as progress:
        first = footage[0] if footage else None
        result = job(first, rig, out, plan, rate, progress, survey, pair)
    told = result.as_dict()
    if json:
        render.print_json(told)
    elif isinstance(result, SpaceRegisterResult):
        show_space(told, result.findings)
    else:
        _show(told, result.findings)
    if not told["vouched"]:
        raise typer.Exit(1)


def _live(
    cameras: list[str],
    rig: Path,
    out: Path,
    survey: Path | None,
    others: dict[str, object],
    json: bool,
) -> None:
    """Touch by touch or step by step, by words alone."""
    from rushlight.cli import render
    from rushlight.cli.beacons import TextShow, refuse_beside
    from rushlight.errors import RushlightError
    from rushlight.jobs.register_space_live import by_steps

    refuse_beside("--camera", others)
    sources = [] if cameras == ["rig"] else cameras
    if by_steps(rig):
        refuse_beside("--camera of a rig in space", {"--survey": survey})
        _live_space(sources, rig, out, json)
        return
    if len(sources) > 1:
        raise RushlightError.of(
            "--camera",
            ", ".join(sources),
            "are several, and a surface is registered live by one camera",
            "give one, or record all and give --footage once for each",
            "live-several",
        )
    from rushlight.jobs.register_live import register_live

    source = sources[0] if sources else None
    result = register_live(rig, out, TextShow(rig), source, survey_path=survey)
    told = result.as_dict()
    if json:
        render.print_json(told)
    else:
        _show(told, result.findings)
    if not told["vouched"]:
        raise typer.Exit(1)


def _live_space(sources: list[str], rig: Path, out: Path, json: bool) -> None:
    from queue import SimpleQueue

    from rushlight.cli import render
    from rushlight.cli.steps import StepShow, listen
    from rushlight.jobs.register_space_live import Asks, register_space_live

    asks: Asks = SimpleQueue()
    listen(asks)
    result = register_space_live(rig, out, StepShow(), asks, sources)
    told = result.as_dict()
    if json:
        render.print_json(told)
    else:
        show_space(told, result.findings)
    if not told["vouched"]:
        raise typer.Exit(1)


def _several(
    footages: list[Path],
    rig: Path,
    out: Path,
    plan: Path | None,
    rate: str | None,
    survey: Path | None,
    json: bool,
) -> None:
    """Several cameras of one surface."""
    from rushlight.cli import render
    from rushlight.jobs.register_several import register_several

    with render.progress() as progress:
        result = register_several(footages, rig, out, plan, rate, progress, survey)
    told = result.as_dict()
    if json:
        render.print_json(told)
    else:
        for one, shown in zip(told["cameras"], result.each, strict=True):
            render.heading(f"camera {one['camera']}")
            _show(one, shown.findings)
        for pair in told["agreements"]:
            if pair["apart_mm"] is not None:
                render.note(
                    f"{' and '.join(pair['cameras'])} put the same {pair['beacons']} touches "
                    f"{pair['apart_mm']} mm rms apart"
                )
        render.note(f"written: {told['registration']}, which holds all cameras")
    if not told["vouched"]:
        raise typer.Exit(1)


def _show(told: dict[str, Any], findings: Sequence[Finding]) -> None:
    from rushlight.cli import render

    render.heading(f"registration from {told['basis']} touches")
    render.table(
        "",
        (
            "beacon x [m]",
            "y [m]",
            "held",
            "frames [1]",
            "missed by [mm]",
            "by a map without it [mm]",
            "used",
        ),
        [
            (
                touch["x_m"],
                touch["y_m"],
                touch["carried"],
                touch["frames"],
                touch["missed_mm"],
                touch["missed_without_it_mm"],
                "yes" if touch["used"] else "no: bad",
            )
            for touch in told["touches"]
        ],
    )
    render.note(
        f"touches miss their beacons by {told['rms_residual_mm']} mm rms, "
        f"{told['expected_rms_mm']} mm expected"
    )
    render.note(
        f"error of the map, predicted from the touches: {told['worst_error_mm']} mm rms at "
        "the worst place of the surface"
    )
    for name, (right, up) in told["aside_mm"].items():
        render.note(
            f"{name} touches {right:+} mm to the right and {up:+} mm up of the mean of all "
            "styli, as it is held its own way; the map serves the mean"
        )
    render.findings(findings)
    render.note("vouched for:" if told["vouched"] else "NOT vouched for:")
    for reason in told["reasons"]:
        render.note(f"  {reason}")
    render.note(f"written: {told['registration']}, {told['picture']}")
