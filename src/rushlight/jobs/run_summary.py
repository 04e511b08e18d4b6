"""What a run found, counted, whether it followed a film or a live camera."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from rushlight.errors import Finding
from rushlight.jobs.following import Setting
from rushlight.jobs.told import keep_told
from rushlight.keep.export import export_csv, export_parquet
from rushlight.keep.session import SessionReader
from rushlight.track.stages import StageDelay
from rushlight.track.tally import Tally, median_ms


@dataclass(frozen=True)
class RunSummary:
    """What a run found, counted.

    Attributes
    ----------
    session
        The file.
    basis
        measured, or simulated where the footage says so.
    camera, carried, filter_name
        Who was followed by which camera, and how smoothed.
    times
        Where the frames' times come from, in words.
    frames, dots, doubtful_dots, trails, fixes, switch_downs, switch_ups
        Counts; doubtful dots have a reason against them.
    dropped
        Frames that the source announced or gave and the run did not follow.
    live
        Whether a live source was followed, and not a film.
    rate_hz, reconnects
        Of a live source: frames that came a second, None before there were two, and how often it
        was opened again.
    footage_s, frames_per_s
        Length of the footage [s]; frames followed and stored a second of work [Hz].
    detect_ms, map_ms
        Medians of the time from having a frame to its dots, and to its fixes [ms].
    exports
        Folders written.
    doubts
        Doubtful dots by the reason against them.
    mapped
        Whether a registration mapped the dots to the surface.
    outputs
        Name of each output, messages that left, and what newer ones overtook.
    delays
        Of a live source, how late each stage was.
    findings
        What the user should know.
    """

    session: str
    basis: str
    camera: str
    carried: list[str]
    filter_name: str
    times: str
    frames: int
    dots: int
    doubtful_dots: int
    trails: int
    fixes: int
    switch_downs: int
    switch_ups: int
    dropped: int
    footage_s: float | None
    frames_per_s: float | None
    detect_ms: float | None
    map_ms: float | None
    exports: list[str]
    findings: tuple[Finding, ...]
    doubts: dict[str, int] = field(default_factory=dict)
    mapped: bool = False
    live: bool = False
    rate_hz: float | None = None
    reconnects: int = 0
    outputs: tuple[tuple[str, int, int], ...] = ()
    delays: tuple[StageDelay, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """The summary as plain values, for JSON."""
        return {**asdict(self), "findings": [each.as_dict() for each in self.findings]}


def summarise(
    out: Path,
    setting: Setting,
    times: str,
    filter_name: str,
    counts: Tally,
    exports: list[str],
    findings: tuple[Finding, ...],
    **live: Any,
) -> RunSummary:
    """The counts in words and units.

    Parameters
    ----------
    out
        The session.
    setting, counts
        What was followed, and what was seen.
    times
        Where the frames' times come from, in words.
    filter_name
        By which trails were smoothed.
    exports
        Folders written.
    findings
        Of the source.
    live
        Fields of `RunSummary` that the caller knows better.
    """
    told: dict[str, Any] = {
        "session": str(out),
        "basis": setting.basis,
        "camera": setting.source.camera,
        "carried": setting.carried,
        "filter_name": filter_name,
        "times": times,
        "frames": counts.frames,
        "dots": counts.dots,
        "doubtful_dots": sum(counts.doubtful().values()),
        "doubts": counts.doubtful(),
        "trails": len(counts.trails),
        "fixes": counts.fixes,
        "switch_downs": counts.events["switch-down"],
        "switch_ups": counts.events["switch-up"],
        "dropped": 0,
        "footage_s": counts.footage_s(),
        "frames_per_s": counts.frames_per_s(),
        "detect_ms": median_ms(counts.detect_s),
        "map_ms": median_ms(counts.map_s),
        "exports": exports,
        "mapped": setting.surface_map is not None,
        "findings": (*setting.findings, *findings),
    }
    summary = RunSummary(**(told | live))
    keep_told("run", out, summary)
    return summary


def export(out: Path, csv_folder: Path | None, parquet_folder: Path | None) -> list[str]:
    """Write the wanted exports; the folders written.

    Parameters
    ----------
    out
        The session.
    csv_folder, parquet_folder
        Where to, or None.
    """
    if csv_folder is None and parquet_folder is None:
        return []
    with SessionReader(out) as reader:
        if csv_folder is not None:
            export_csv(reader, csv_folder)
        if parquet_folder is not None:
            export_parquet(reader, parquet_folder)
    return [str(folder) for folder in (csv_folder, parquet_folder) if folder is not None]
