"""Follow the lights in recorded footage, and keep what was found as a session."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from rushlight.capture.footage import Footage
from rushlight.capture.open import open_footage
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.following import Setting, header_of, prepare, store
from rushlight.jobs.load import load_rig, typed_rate_hz
from rushlight.jobs.progress import Progress, silent
from rushlight.keep.export import export_csv, export_parquet
from rushlight.keep.session import SessionReader
from rushlight.keep.writer import SessionWriter
from rushlight.records.session import Clock, Event
from rushlight.track.filter import filter_maker
from rushlight.track.following import follow
from rushlight.track.tally import Tally, median_ms

_TELL_EVERY = 20


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
        Frames that the source announced and the run could not follow.
    footage_s, frames_per_s
        Length of the footage [s]; frames followed and stored a second of work [Hz].
    detect_ms, map_ms
        Medians of the time from having a frame to its dots, and to its fixes [ms].
    exports
        Folders written.
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

    def as_dict(self) -> dict[str, Any]:
        """The summary as plain values, for JSON."""
        return {**asdict(self), "findings": [each.as_dict() for each in self.findings]}


def run(
    footage_path: Path,
    out: Path,
    rig: Path | None = None,
    registration_path: Path | None = None,
    filter_name: str = "none",
    csv_folder: Path | None = None,
    parquet_folder: Path | None = None,
    rate: str | None = None,
    progress: Progress = silent,
) -> RunSummary:
    """Follow the lights through every frame of recorded footage.

    Parameters
    ----------
    footage_path
        What `open_footage` reads.
    out
        The session to write; it must not exist.
    rig
        Its file or folder; without it the camera's noise is learnt from the pictures and what
        is carried has no names of its own.
    registration_path
        Maps the dots to the surface; without it there are no fixes.
    filter_name
        One of `track.filter.FILTERS`.
    csv_folder, parquet_folder
        Where to export the session to as well.
    rate
        By which frame times are counted, as ``"30 Hz"``.
    progress
        Told the share of frames done.

    Returns
    -------
    RunSummary

    Raises
    ------
    RushlightError
        When an input cannot be used or a frame cannot be read; what was complete is kept.
    """
    new_filter = filter_maker(filter_name)
    camera = "camera" if rig is None else load_rig(rig)[0].cameras[0].id
    footage = open_footage(footage_path, typed_rate_hz(rate), camera)
    setting = prepare(footage, footage.header, rig, registration_path)
    clock = Clock(id="footage", kind="simulated" if footage.simulated else "file")
    header = header_of(setting, filter_name, clock, footage.content_hash)
    counts = Tally()
    with SessionWriter(out, header, setting.basis) as session:
        try:
            for followed in follow(footage, setting.follower(new_filter)):
                counts.add(followed)
                store(session, followed)
                if counts.frames % _TELL_EVERY == 0:
                    progress("following the lights", counts.share(footage.frames))
        except RushlightError as error:
            raise RushlightError([*error.findings, _kept(out, counts.frames)]) from error
        for finding in footage.findings:
            if finding.severity == "warning":
                session.put_event(Event(counts.last_ns, "fault", detail=str(finding)))
    progress("following the lights", 1.0)
    exports = _export(out, csv_folder, parquet_folder)
    return _summary(out, setting, footage, filter_name, counts, exports)


def _kept(out: Path, frames: int) -> Finding:
    """What is told beside an error in the middle of the footage."""
    return Finding(
        "note", "kept", str(out), f"{frames} frames", "were followed before that and are kept", ""
    )


def _export(out: Path, csv_folder: Path | None, parquet_folder: Path | None) -> list[str]:
    """Write the wanted exports."""
    if csv_folder is None and parquet_folder is None:
        return []
    with SessionReader(out) as reader:
        if csv_folder is not None:
            export_csv(reader, csv_folder)
        if parquet_folder is not None:
            export_parquet(reader, parquet_folder)
    return [str(folder) for folder in (csv_folder, parquet_folder) if folder is not None]


def _summary(
    out: Path,
    setting: Setting,
    footage: Footage,
    filter_name: str,
    counts: Tally,
    exports: list[str],
) -> RunSummary:
    """The counts in words and units."""
    return RunSummary(
        session=str(out),
        basis=setting.basis,
        camera=footage.camera,
        carried=setting.carried,
        filter_name=filter_name,
        times=footage.times,
        frames=counts.frames,
        dots=counts.dots,
        doubtful_dots=counts.doubtful,
        trails=len(counts.trails),
        fixes=counts.fixes,
        switch_downs=counts.events["switch-down"],
        switch_ups=counts.events["switch-up"],
        dropped=max((footage.frames or counts.frames) - counts.frames, 0),
        footage_s=counts.footage_s(),
        frames_per_s=counts.frames_per_s(),
        detect_ms=median_ms(counts.detect_s),
        map_ms=median_ms(counts.map_s),
        exports=exports,
        findings=(*setting.findings, *footage.findings),
    )
