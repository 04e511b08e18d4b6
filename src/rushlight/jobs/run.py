"""Follow the lights in recorded footage, and keep what was found as a session."""

from __future__ import annotations

from pathlib import Path

from rushlight.capture.open import open_footage
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.following import header_of, own_filter, prepare, store
from rushlight.jobs.load import bits_of, load_rig, typed_quantity
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.run_space import SpaceRunSummary, is_space_footage, run_space
from rushlight.jobs.run_summary import RunSummary, export, summarise
from rushlight.keep.writer import SessionWriter
from rushlight.records.session import Clock, Event
from rushlight.track.filter import filter_maker
from rushlight.track.following import follow
from rushlight.track.tally import Tally

_TELL_EVERY = 20


def run(
    footage_path: Path,
    out: Path,
    rig: Path | None = None,
    registration_path: Path | None = None,
    filter_name: str | None = None,
    csv_folder: Path | None = None,
    parquet_folder: Path | None = None,
    rate: str | None = None,
    progress: Progress = silent,
) -> RunSummary | SpaceRunSummary:
    """Follow the lights through every frame of recorded footage.

    Parameters
    ----------
    footage_path
        What `open_footage` reads, or the folder of what several cameras of a rig of space filmed.
    out
        The session to write; it must not exist.
    rig
        Its file or folder; without it the camera's noise is learnt from the pictures and what
        is carried has no names of its own.
    registration_path
        Maps the dots to the surface; without it there are no fixes.
    filter_name
        One of `track.filter.FILTERS`; None as the rig says, or else none.
    csv_folder, parquet_folder
        Where to export the session to as well.
    rate
        By which frame times are counted, as ``"30 Hz"``.
    progress
        Told the share of frames done.

    Returns
    -------
    RunSummary
        Of footage of a surface rig.
    SpaceRunSummary
        Of footage of a rig that follows things in space.

    Raises
    ------
    RushlightError
        When an input cannot be used or a frame cannot be read; what was complete is kept.
    """
    if is_space_footage(footage_path):
        return run_space(
            footage_path,
            out,
            rig,
            registration_path,
            filter_name,
            csv_folder,
            parquet_folder,
            progress,
        )
    document, shelf = (None, None) if rig is None else load_rig(rig)
    filter_name = filter_name or own_filter(document)
    new_filter = filter_maker(filter_name, document.smoothing if document else None)
    camera = document.cameras[0] if document else None
    footage = open_footage(
        footage_path,
        typed_quantity(rate, "frequency", "--rate"),
        camera.id if camera else "camera",
        rig_rate_hz=camera.frame_rate.value if camera else None,
        bits=bits_of(document, shelf) if document and shelf else None,
    )
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
    exports = export(out, csv_folder, parquet_folder)
    return summarise(
        out,
        setting,
        footage.times,
        filter_name,
        counts,
        exports,
        (*footage.findings, *counts.faults()),
        dropped=max((footage.frames or counts.frames) - counts.frames, 0),
    )


def _kept(out: Path, frames: int) -> Finding:
    """What is told beside an error in the middle of the footage."""
    return Finding(
        "note", "kept", str(out), f"{frames} frames", "were followed before that and are kept", ""
    )
