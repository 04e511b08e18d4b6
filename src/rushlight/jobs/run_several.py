"""Follow the lights of one surface in footage of several cameras, and keep one session."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from rushlight.capture.open import open_footage
from rushlight.errors import RushlightError
from rushlight.jobs.following import Setting, header_of, own_filter, prepare
from rushlight.jobs.load import bits_of, load_rig, typed_quantity
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.run_summary import RunSummary, export, summarise
from rushlight.keep.writer import SessionWriter
from rushlight.records.session import Clock, Event, Fix
from rushlight.track.filter import filter_maker
from rushlight.track.following import Followed, follow
from rushlight.track.fuse_fixes import fuse_fixes, join_switching
from rushlight.track.tally import Tally

_TELL_EVERY = 20


def run_several(
    footages: Sequence[Path],
    out: Path,
    rig: Path,
    registration_path: Path,
    filter_name: str | None = None,
    csv_folder: Path | None = None,
    parquet_folder: Path | None = None,
    rate: str | None = None,
    progress: Progress = silent,
) -> RunSummary:
    """Follow the lights through the footage of several cameras at once.

    Parameters
    ----------
    footages
        Two or more of one event, each of another camera, their times of one clock.
    registration_path
        A joint registration, from `rushlight.jobs.register_several`.
    out, rig, filter_name, csv_folder, parquet_folder, rate, progress
        As for `rushlight.jobs.run.run`.

    Returns
    -------
    RunSummary
        Of all cameras together: frames and dots are counted over all, fixes are the fused ones.

    Raises
    ------
    RushlightError
        When an input cannot be used, or two are of one camera.
    """
    document, shelf = load_rig(rig)
    filter_name = filter_name or own_filter(document)
    settings: list[Setting] = []
    sources = []
    for path in footages:
        footage = open_footage(
            path,
            typed_quantity(rate, "frequency", "--rate"),
            document.cameras[0].id,
            rig_rate_hz=document.cameras[0].frame_rate.value,
            bits=bits_of(document, shelf),
        )
        if footage.camera in [each.source.camera for each in settings]:
            raise RushlightError.of(
                "--footage",
                str(path),
                f'is of the camera "{footage.camera}", as another one is',
                "give footage of each camera once",
                "footage-twice",
            )
        settings.append(prepare(footage, footage.header, rig, registration_path))
        sources.append(footage)
    clock = Clock(id="footage", kind="simulated" if sources[0].simulated else "file")
    header = header_of(settings[0], filter_name, clock, sources[0].content_hash)
    header = header.model_copy(update={"cameras": [each.camera for each in sources]})
    counts, fixes, events, first_trail = Tally(), [], [], 0
    with SessionWriter(out, header, settings[0].basis) as session:
        for number, (setting, footage) in enumerate(zip(settings, sources, strict=True)):
            own_fixes: list[Fix] = []
            own_events: list[Event] = []
            last_trail = first_trail
            new_filter = filter_maker(filter_name, document.smoothing)
            for followed in follow(footage, setting.follower(new_filter)):
                counts.add(followed)
                last_trail = max([last_trail, *_keep(session, followed, first_trail)])
                own_fixes += [
                    fix.replace(trail=_moved(fix.trail, first_trail)) for fix in followed.fixes
                ]
                own_events += [
                    replace(each, trail=_moved(each.trail, first_trail)) for each in followed.events
                ]
                if counts.frames % _TELL_EVERY == 0:
                    done = followed.frame.index / max(footage.frames or 1, 1)
                    progress("following the lights", (number + done) / len(sources))
            first_trail = last_trail + 1
            fixes.append(own_fixes)
            events.append(own_events)
        together, switching = fuse_fixes(fixes), join_switching(events)
        for fix in together:
            session.put_fix(fix)
        for event in switching:
            session.put_event(event)
    progress("following the lights", 1.0)
    counts.fixes = sum(not fix.predicted for fix in together)
    counts.events.clear()
    counts.events.update(event.kind for event in switching)
    found = tuple(each for footage in sources for each in footage.findings)
    return summarise(
        out,
        settings[0],
        sources[0].times,
        filter_name,
        counts,
        export(out, csv_folder, parquet_folder),
        (*found, *counts.faults()),
        dropped=max(sum(each.frames or 0 for each in sources) - counts.frames, 0),
    )


def _moved(trail: int, first: int) -> int:
    """A trail's number in the session of all cameras; −1 is none."""
    return trail if trail < 0 else trail + first


def _keep(session: SessionWriter, followed: Followed, first_trail: int) -> list[int]:
    """Store what one camera saw, and the numbers of its trails in the session."""
    frame = followed.frame
    session.put_frame(frame)
    session.put_dots(frame.camera, frame.index, followed.dots)
    links = [replace(link, trail=_moved(link.trail, first_trail)) for link in followed.links]
    session.put_links(links)
    return [link.trail for link in links]
