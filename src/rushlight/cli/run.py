"""The verb `run`."""

from __future__ import annotations

from contextlib import nullcontext, redirect_stdout
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rushlight.jobs.run_space import SpaceRunSummary
    from rushlight.jobs.run_summary import RunSummary


class FilterName(StrEnum):
    """How a trail is smoothed."""

    none = "none"
    one_euro = "one-euro"
    kalman = "kalman"


class OutputName(StrEnum):
    """Where results go."""

    none = "none"
    pointer = "pointer"
    desktop = "desktop"
    touch = "touch"
    osc = "osc"
    lines = "lines"
    views = "views"


def run(
    footage: Annotated[
        list[Path] | None,
        typer.Option(
            help="Simulated footage, a video file, or a folder of pictures; once for each camera "
            "of one surface."
        ),
    ] = None,
    camera: Annotated[
        list[str] | None,
        typer.Option(
            help="Follow live: camera:0, an http or rtsp address, serial:DEVICE, "
            "simulated:FOLDER, session:FILE, rehearsal:SEED; or rig, for the rig's own source. "
            "Of several cameras once for each, as left=camera:0."
        ),
    ] = None,
    tune: Annotated[
        list[Path] | None,
        typer.Option(help="Choose smoothing from recorded sessions instead; repeatable."),
    ] = None,
    list_cameras: Annotated[
        bool, typer.Option("--list-cameras", help="List the cameras of this computer.")
    ] = False,
    rig: Annotated[Path | None, typer.Option(help="The rig's file, or its folder.")] = None,
    registration: Annotated[
        Path | None, typer.Option(help="Maps dots to the surface; without it, no fixes.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Session file to write, or folder of a tuning.")
    ] = None,
    filter: Annotated[
        FilterName | None,
        typer.Option(help="How each trail is smoothed; smoothing lags. As the rig says, or none."),
    ] = None,
    output: Annotated[
        list[OutputName] | None,
        typer.Option(help="Where results of a live run go; repeatable. As the rig says."),
    ] = None,
    ahead: Annotated[
        str | None, typer.Option(help='How far results are foretold when sent, as "30 ms".')
    ] = None,
    length: Annotated[
        str | None, typer.Option("--for", help='When to end a live run, as "60 s".')
    ] = None,
    loop: Annotated[
        bool, typer.Option("--loop", help="Replay a recording again and again.")
    ] = False,
    most_lag: Annotated[
        str | None,
        typer.Option(
            help='Of a tuning: the most lag wanted, "15 ms" if left out, or "knee" to let the '
            "curve say."
        ),
    ] = None,
    export_csv: Annotated[Path | None, typer.Option(help="Folder for the session as CSV.")] = None,
    export_parquet: Annotated[
        Path | None, typer.Option(help="Folder for the session as Parquet.")
    ] = None,
    rate: Annotated[
        str | None, typer.Option(help='Frame rate of footage without times, as "30 Hz".')
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the summary as JSON.")] = False,
) -> None:
    """Follow the lights, in footage or live; keep dots, trails, fixes and switchings; send them."""
    from rushlight.cli import render

    _one_of(footage, camera, tune, list_cameras)
    _only_with(
        camera or None,
        "--camera",
        {"--output": output, "--ahead": ahead, "--for": length, "--loop": loop or None},
    )
    _only_with(footage, "--footage", {"--rate": rate})
    _only_with(tune, "--tune", {"--most-lag": most_lag})
    _only_with(
        footage or camera,
        "--footage or --camera",
        {
            "--rig": rig,
            "--registration": registration,
            "--filter": filter,
            "--export-csv": export_csv,
            "--export-parquet": export_parquet,
        },
    )
    if list_cameras:
        from rushlight.cli.live import show_cameras
        from rushlight.jobs.live import cameras

        found = cameras()
        if json:
            render.print_json(found.as_dict())
        else:
            show_cameras(found)
        return
    if tune:
        from rushlight.cli.tune import show
        from rushlight.jobs.tune import tune as tuning

        with render.progress() as progress:
            wanted = None if most_lag == "knee" else most_lag or "15 ms"
            told = tuning(tune, out or Path("tuning"), wanted, progress)
        if json:
            render.print_json(told.as_dict())
        else:
            show(told)
        return
    names = None if output is None else tuple(each.value for each in output if each != "none")
    if camera:
        _live(
            camera, out, rig, registration, filter, names, ahead, length, loop,
            export_csv, export_parquet, json,
        )  # fmt: skip
        return
    if footage and len(footage) > 1:
        _several(footage, out, rig, registration, filter, export_csv, export_parquet, rate, json)
        return
    from rushlight.jobs.run import run as job

    with render.progress() as progress:
        summary = job(
            footage[0] if footage else Path(),
            out or Path("session.sqlite"),
            rig=rig,
            registration_path=registration,
            filter_name=None if filter is None else filter.value,
            csv_folder=export_csv,
            parquet_folder=export_parquet,
            rate=rate,
            progress=progress,
        )
    _show_either(summary, json)


def _several(
    footages: list[Path],
    out: Path | None,
    rig: Path | None,
    registration: Path | None,
    filter: FilterName | None,
    export_csv: Path | None,
    export_parquet: Path | None,
    rate: str | None,
    json: bool,
) -> None:
    from rushlight.cli import render
    from rushlight.errors import RushlightError
    from rushlight.jobs.run_several import run_several

    if rig is None or registration is None:
        raise RushlightError.of(
            "--footage",
            f"{len(footages)} of them",
            "need the rig and the joint registration of its cameras",
            "give --rig and --registration",
            "option-missing",
        )
    with render.progress() as progress:
        summary = run_several(
            footages,
            out or Path("session.sqlite"),
            rig,
            registration,
            None if filter is None else filter.value,
            export_csv,
            export_parquet,
            rate,
            progress,
        )
    _show(summary, json)


def _live(
    given: list[str],
    out: Path | None,
    rig: Path | None,
    registration: Path | None,
    filter: FilterName | None,
    outputs: tuple[str, ...] | None,
    ahead: str | None,
    length: str | None,
    loop: bool,
    export_csv: Path | None,
    export_parquet: Path | None,
    json: bool,
) -> None:
    import sys

    from rushlight.cli import render
    from rushlight.cli.live import ended_by_signal, panel
    from rushlight.jobs.live import run_live
    from rushlight.jobs.live_choice import LiveChoice

    named = tuple(each for each in given if each != "rig")
    choice = LiveChoice(
        source=named[0] if len(named) == 1 else None,
        cameras=named if len(named) > 1 else (),
        outputs=outputs,
        filter_name=None if filter is None else filter.value,
        ahead=ahead,
        length=length,
        loop=loop,
    )
    with ended_by_signal() as begun, panel() as tell:
        summary = run_live(
            choice, out, rig, registration, export_csv, export_parquet, tell, render.say, begun
        )
    # JSON lines have standard output for themselves.
    lines = any(name in ("lines", "views") for name, _, _ in summary.outputs)
    with redirect_stdout(sys.stderr) if lines else nullcontext():
        _show_either(summary, json)


def _only_with(given: object, option: str, others: dict[str, object]) -> None:
    """Refuse what would do nothing without another option."""
    for name, value in others.items():
        if value is not None and given is None:
            from rushlight.errors import RushlightError

            raise RushlightError.of(
                name, "", f"does nothing without {option}", "leave it out", "option-idle"
            )


def _one_of(
    footage: list[Path] | None, camera: list[str] | None, tune: object, list_cameras: bool
) -> None:
    """Exactly one thing to do."""
    given = [
        name
        for name, value in (
            ("--footage", footage),
            ("--camera", camera),
            ("--tune", tune),
            ("--list-cameras", list_cameras or None),
        )
        if value
    ]
    if len(given) == 1:
        return
    from rushlight.errors import RushlightError

    raise RushlightError.of(
        "run",
        " and ".join(given),
        "is more than one thing to do" if given else "was told nothing to follow",
        "give one of --footage, --camera, --tune and --list-cameras",
        "run-what",
    )


def _show_either(summary: RunSummary | SpaceRunSummary, json: bool) -> None:
    from rushlight.jobs.run_space import SpaceRunSummary

    if isinstance(summary, SpaceRunSummary):
        from rushlight.cli.run_space import show

        show(summary, json)
    else:
        _show(summary, json)


def _show(summary: RunSummary, json: bool) -> None:
    from rushlight.cli import render

    if json:
        render.print_json(summary.as_dict())
        return
    seen = "frames as they came" if summary.live else "footage"
    render.heading(f"session from {summary.basis} {seen}")
    rows: list[tuple[str, object, str]] = [
        ("frames", summary.frames, ""),
        ("dots", summary.dots, ""),
        ("doubtful dots", summary.doubtful_dots, _reasons(summary)),
        ("trails", summary.trails, ""),
        ("fixes", summary.fixes, "" if summary.mapped else "there is no registration"),
        ("switched on", summary.switch_downs, ""),
        ("switched off", summary.switch_ups, ""),
        ("dropped frames", summary.dropped, ""),
        ("length", _with_unit(summary.footage_s, "s"), f"times {summary.times}"),
    ]
    if summary.live:
        rows += [
            ("rate", _with_unit(summary.rate_hz, "frames/s"), "of the source"),
            ("reconnects", summary.reconnects, ""),
        ]
    else:
        rows += [("speed", _with_unit(summary.frames_per_s, "frames/s"), "storage included")]
    rows += [
        ("frame to dots", _with_unit(summary.detect_ms, "ms"), "median of the computing"),
        ("frame to fixes", _with_unit(summary.map_ms, "ms"), "median of the computing"),
    ]
    rows += [
        (f"sent by {name}", sent, f"messages; {lost} overtaken by newer ones")
        for name, sent, lost in summary.outputs
    ]
    render.table("", ["what", "how many", "remark"], rows)
    if summary.delays:
        from rushlight.cli.live import show_delays

        show_delays(summary.delays)
    render.findings(summary.findings)
    render.note(f"written: {', '.join([summary.session, *summary.exports])}")


def _reasons(summary: RunSummary) -> str:
    """Why dots were doubted; few of them are lights."""
    return ", ".join(f"{reason} {count}" for reason, count in summary.doubts.items())


def _with_unit(value: float | None, unit: str) -> str | None:
    return None if value is None else f"{value:.3g} {unit}"
