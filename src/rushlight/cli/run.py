"""The verb `run`."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class FilterName(StrEnum):
    """How a trail is smoothed."""

    none = "none"
    one_euro = "one-euro"
    kalman = "kalman"


def run(
    footage: Annotated[
        Path,
        typer.Option(help="Simulated footage, a video file, or a folder of pictures."),
    ],
    rig: Annotated[Path | None, typer.Option(help="The rig's file, or its folder.")] = None,
    registration: Annotated[
        Path | None, typer.Option(help="Maps dots to the surface; without it, no fixes.")
    ] = None,
    out: Annotated[Path, typer.Option(help="Session file to write.")] = Path("session.sqlite"),
    filter: Annotated[
        FilterName, typer.Option(help="How each trail is smoothed; smoothing lags.")
    ] = FilterName.none,
    export_csv: Annotated[Path | None, typer.Option(help="Folder for the session as CSV.")] = None,
    export_parquet: Annotated[
        Path | None, typer.Option(help="Folder for the session as Parquet.")
    ] = None,
    rate: Annotated[
        str | None, typer.Option(help='Frame rate of footage without times, as "30 Hz".')
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the summary as JSON.")] = False,
) -> None:
    """Follow the lights in footage, and keep dots, trails, fixes and switchings as a session."""
    from rushlight.cli import render
    from rushlight.jobs.run import run as job

    with render.progress() as progress:
        summary = job(
            footage,
            out,
            rig=rig,
            registration_path=registration,
            filter_name=filter.value,
            csv_folder=export_csv,
            parquet_folder=export_parquet,
            rate=rate,
            progress=progress,
        )
    if json:
        render.print_json(summary.as_dict())
        return
    render.heading(f"session from {summary.basis} footage")
    shown = summary.as_dict()
    rows = [
        ("frames", summary.frames, ""),
        ("dots", summary.dots, f"beside {summary.doubtful_dots} doubtful"),
        ("trails", summary.trails, ""),
        ("fixes", summary.fixes, "" if registration else "there is no registration"),
        ("switched on", summary.switch_downs, ""),
        ("switched off", summary.switch_ups, ""),
        ("dropped frames", summary.dropped, ""),
        ("footage", _with_unit(shown["footage_s"], "s"), f"times {summary.times}"),
        ("speed", _with_unit(shown["frames_per_s"], "frames/s"), "storage included"),
        ("frame to dots", _with_unit(shown["detect_ms"], "ms"), "median"),
        ("frame to fixes", _with_unit(shown["map_ms"], "ms"), "median"),
    ]
    render.table("", ["what", "how many", "remark"], rows)
    render.findings(summary.findings)
    render.note(f"written: {', '.join([summary.session, *summary.exports])}")


def _with_unit(value: float | None, unit: str) -> str | None:
    return None if value is None else f"{value:.3g} {unit}"
