"""The verb `inspect`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rushlight.inspect.guide import Step
    from rushlight.jobs.inspect import Inspected


def inspect(
    step: Annotated[
        str | None,
        typer.Argument(help="The step to take; without one, all are listed."),
    ] = None,
    frames: Annotated[
        list[Path] | None,
        typer.Option(
            help="A take (video or folder of pictures), or a folder of takes; repeatable. Their "
            "names tell the conditions. Without it, the step is explained."
        ),
    ] = None,
    live: Annotated[
        str | None,
        typer.Option(help="Take from a running camera, as run --camera does; or rig, for its own."),
    ] = None,
    take: Annotated[
        list[str] | None,
        typer.Option(help='Name of a live take, as "dark" or "4 ms"; repeatable, in order.'),
    ] = None,
    length: Annotated[
        str | None, typer.Option("--for", help='How long a live take lasts, as "2 s".')
    ] = None,
    rig: Annotated[
        Path | None, typer.Option(help="The rig; measured values are written beside it.")
    ] = None,
    camera: Annotated[str | None, typer.Option(help="Id of the camera in the rig.")] = None,
    emitter: Annotated[
        str | None, typer.Option(help="Part id of the emitter that is filmed.")
    ] = None,
    frequency: Annotated[
        str | None, typer.Option(help='How often the light blinks, as "100 Hz"; for row-time.')
    ] = None,
    current: Annotated[
        str | None, typer.Option(help='Current through the emitters filmed, as "20 mA".')
    ] = None,
    reference_intensity: Annotated[
        str | None,
        typer.Option(help='Intensity of the emitter named "reference", as "20 mW/sr".'),
    ] = None,
    rate: Annotated[
        str | None, typer.Option(help='Frame rate of takes without times, as "30 Hz".')
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Folder to write to; by default measured beside the rig.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print what is found as JSON.")] = False,
) -> None:
    """Measure what a camera and its emitters really do; exit code 1 when pictures do not tell.

    Tried on computed pictures only so far, on no camera or emitter.
    """
    from rushlight.cli import render
    from rushlight.inspect.guide import AT_REST, SENSOR_STEP, STEPS, step_of

    _sensible(step, frames, live, take, length)
    if step == AT_REST and (live is not None or rig is not None):
        _at_rest(live, rig, camera, length, json)
        return
    if step is None or (not frames and live is None and (known := step_of(step)) is not None):
        shown = (*STEPS, SENSOR_STEP) if step is None else (known,)
        _explain([each for each in shown if each is not None], json)
        return
    from rushlight.jobs.inspect import Asked
    from rushlight.jobs.inspect import inspect as job

    asked = Asked(rig, camera, emitter, frequency, current, reference_intensity, out)
    if live is not None:
        from rushlight.jobs.inspect_live import inspect_live

        source = None if live == "rig" else live
        result = inspect_live(step, source, take or [], asked, length, _ready, render.say)
    else:
        with render.progress() as progress:
            result = job(step, frames or [], asked, rate, progress)
    if json:
        render.print_json(result.as_dict())
    else:
        _show(result)
    if not result.result.told:
        raise typer.Exit(1)


def _sensible(
    step: str | None,
    frames: list[Path] | None,
    live: str | None,
    take: list[str] | None,
    length: str | None,
) -> None:
    """Refuse what would be passed over in silence."""
    from rushlight.errors import RushlightError
    from rushlight.inspect.guide import AT_REST

    wrong = None
    if step is None and (frames or live):
        wrong = "--frames" if frames else "--live", "needs the step to take", "name it first"
    elif frames and step == AT_REST:
        wrong = "--frames", "holds pictures, and at-rest listens to a sensor", "give --live"
    elif frames and live:
        wrong = "--frames and --live", "are two sources", "give one of them"
    elif live is None and step != AT_REST and (take or length):
        wrong = "--take" if take else "--for", "does nothing without --live", "leave it out"
    if wrong is not None:
        raise RushlightError.of(wrong[0], "", wrong[1], wrong[2], "option-idle")


def _ready(name: str) -> None:
    """Wait until the user says that the hands are ready; at once where nobody sits there."""
    if sys.stdin.isatty():
        typer.prompt(f'next take: "{name}"; press Enter when ready', default="", err=True)


def _at_rest(
    live: str | None, rig: Path | None, camera: str | None, length: str | None, json: bool
) -> None:
    """Learn the noise of a sensor that sends dots."""
    from rushlight.cli import render
    from rushlight.errors import RushlightError
    from rushlight.jobs.inspect_live import learn_rest

    if rig is None:
        raise RushlightError.of(
            "inspect", "at-rest", "needs the rig that tells the sensor's lines", "give --rig"
        )
    render.aside("let the lights lie still in view …")
    noise, path = learn_rest(None if live in (None, "rig") else live, rig, camera, length)
    if json:
        print(noise.json_text())
        return
    xx, yy = noise.cov_px2[0][0], noise.cov_px2[1][1]
    basis = noise.header.basis if noise.header else "measured"
    render.heading(f"dots of {noise.camera} at rest ({basis})")
    render.table(
        "",
        ["what", "value"],
        [
            ["frames, lights", f"{noise.frames}, {noise.dots}"],
            ["rate", f"{noise.rate_hz:.1f} Hz"],
            ["standard deviation x, y", f"{xx**0.5:.3f}, {yy**0.5:.3f} px"],
            ["step x, y", f"{noise.step_px[0]:g}, {noise.step_px[1]:g} px"],
            ["dots that failed to come", f"{100 * noise.drop_share:.1f} %"],
        ],
    )
    render.note(f"written: {path}; the rig uses it from now on")


def _explain(steps: list[Step], json: bool) -> None:
    """What each step asks for, and what to do with the hands."""
    from rushlight.cli import render
    from rushlight.inspect.guide import UNTRIED

    if json:
        render.print_json(
            [
                {
                    "step": step.name,
                    "answers": step.answers,
                    "do": list(step.do),
                    "takes": step.takes,
                    "cautions": list(step.cautions),
                }
                for step in steps
            ]
        )
        return
    for step in steps:
        render.heading(step.name)
        render.note(step.answers)
        for number, act in enumerate(step.do, 1):
            render.note(f"  {number}. {act}")
        render.note(f"  Takes: {step.takes}")
        for caution in step.cautions:
            render.note(f"  Caution: {caution}")
    render.note("")
    render.note(UNTRIED)


def _show(result: Inspected) -> None:
    from rushlight.cli import render
    from rushlight.inspect.guide import UNTRIED

    found = result.result
    of = f" of {result.part}" if result.part else ""
    render.heading(f"{found.step}{of} ({result.basis} pictures): {found.verdict}")
    for reason in found.reasons:
        render.note(f"  {reason}")
    if found.measures:
        render.table(
            "",
            ["measured", "value and 95 % interval", "for the shelf"],
            [[each.name, each.text, each.field] for each in found.measures],
        )
    for hint in found.hints:
        render.note(f"For the rig: {hint}")
    render.findings(result.findings)
    for caution in result.cautions:
        render.note(f"Caution: {caution}")
    render.note(UNTRIED)
    if result.written:
        render.note(f"written: {', '.join(str(path) for path in result.written)}")
