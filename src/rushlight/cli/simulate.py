"""The verb `simulate`."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rushlight.jobs.simulate_space import SpaceFilmed


class ScriptName(StrEnum):
    """What happens before the camera."""

    registration = "registration"
    grid = "grid"
    tapping = "tapping"
    strokes = "strokes"
    places = "places"
    motion = "motion"
    still = "still"
    swing = "swing"


class CauseName(StrEnum):
    """The causes of error that can be switched on one by one."""

    centre = "centre"
    registration = "registration"
    lens = "lens"
    flatness = "flatness"
    tip = "tip"
    pixel = "pixel"
    build = "build"
    point = "point"
    turning = "turning"


def simulate(
    rig: Annotated[Path, typer.Argument(help="The rig's file, or its folder.")],
    script: Annotated[ScriptName, typer.Option(help="What happens before the camera.")],
    out: Annotated[
        Path | None, typer.Option(help="Folder for the footage; simulated/SCRIPT by the rig.")
    ] = None,
    seed: Annotated[int, typer.Option(min=0, help="The same rig and seed are one room.")] = 1,
    only: Annotated[
        list[CauseName] | None, typer.Option(help="Keep this cause of error only; repeatable.")
    ] = None,
    without: Annotated[
        list[CauseName] | None, typer.Option(help="Leave out this cause of error; repeatable.")
    ] = None,
    plan: Annotated[
        Path | None,
        typer.Option("--plan", "--beacons", help="A plan of this rig: its beacons and exposure."),
    ] = None,
    camera: Annotated[str | None, typer.Option(help="Camera that films; the first.")] = None,
    columns: Annotated[int, typer.Option(min=1, max=200, help="Of the grid.")] = 9,
    rows: Annotated[int, typer.Option(min=1, max=200, help="Of the grid.")] = 6,
    frames_per_place: Annotated[
        int | None, typer.Option(min=1, help="How long a beacon or place is held, in frames.")
    ] = None,
    places: Annotated[
        int | None, typer.Option(min=1, help="Places at which things in space are held.")
    ] = None,
    length: Annotated[
        str | None,
        typer.Option(help='How long things in space are swung, move or rest, as "6 s".'),
    ] = None,
    touched_by: Annotated[
        list[str] | None,
        typer.Option(help="A carried thing that touches the beacons; by default every stylus."),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the summary as JSON.")] = False,
) -> None:
    """Film a rig that exists on paper only, with the truth kept beside the footage."""
    from rushlight.cli import render
    from rushlight.jobs.simulate import simulate as job
    from rushlight.jobs.simulate import summary
    from rushlight.jobs.simulate_space import SpaceFilmed

    with render.progress() as progress:
        filmed = job(
            rig,
            script.value,
            out,
            seed,
            only=[cause.value for cause in only or ()],
            without=[cause.value for cause in without or ()],
            plan=plan,
            camera=camera,
            columns=columns,
            rows=rows,
            frames_per_place=frames_per_place,
            touched_by=touched_by or (),
            progress=progress,
            places=places,
            length=length,
        )
    if isinstance(filmed, SpaceFilmed):
        _tell_space(filmed, json)
        return
    told = summary(*filmed)
    if json:
        render.print_json(told)
        return
    render.note(
        f"simulated, not filmed: {told['frames']} frames, {told['seconds']} s of the script "
        f'"{told["script"]}", seed {told["seed"]}'
    )
    render.note(f"causes of error: {', '.join(told['causes']) or 'none'}")
    if told["compression"] != "raw":
        render.note(
            f"every picture was compressed and decoded again ({told['compression']}) by another "
            "coder than the camera's own"
        )
    render.note(f"exposure: {told['exposure_ms']} ms; marks shown: {told['goals']}")
    render.note(f"footage in {told['folder']}; the truth lies beside it in {told['truth']}")


def _tell_space(filmed: SpaceFilmed, json: bool) -> None:
    """What several cameras filmed of a rig of space."""
    from rushlight.cli import render
    from rushlight.jobs.simulate_space import space_summary

    told = space_summary(filmed)
    if json:
        render.print_json(told)
        return
    render.note(
        f"simulated, not filmed: {filmed.frames} frames of {len(filmed.header.cameras)} "
        f"{'camera' if len(filmed.header.cameras) == 1 else 'cameras'}, "
        f'{filmed.seconds:.1f} s of the script "{filmed.header.script}", seed {told["seed"]}'
    )
    render.note(f"causes of error: {', '.join(filmed.header.causes or []) or 'none'}")
    exposures = ", ".join(f"{name} {ms:.3g} ms" for name, ms in filmed.exposures_ms.items())
    render.note(f"exposure: {exposures}; marks: {len(filmed.header.marks)}")
    render.note(f"footage in {filmed.folder}; the truth lies beside it in {filmed.header.truth}")
