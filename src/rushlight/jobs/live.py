"""Follow the lights as they are seen, send the results on, and keep them as a session."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from rushlight.capture.devices import CameraList, list_cameras
from rushlight.jobs.following import header_of, live_session, own_filter, prepare
from rushlight.jobs.live_choice import LiveChoice
from rushlight.jobs.live_loop import LiveLoop, Tell
from rushlight.jobs.live_outputs import Sending, display_of, foretelling_s
from rushlight.jobs.live_several import run_live_several
from rushlight.jobs.live_space import run_live_space
from rushlight.jobs.load import load_rig, typed_length_s
from rushlight.jobs.poor_source import poor_source, rig_rate_hz
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.run_space import SpaceRunSummary
from rushlight.jobs.run_summary import RunSummary, export, summarise
from rushlight.jobs.sources import open_source
from rushlight.jobs.warm import warm
from rushlight.jobs.watching import Watch
from rushlight.records.session import Clock
from rushlight.shelf.resolve_space import space_kinds
from rushlight.track.filter import filter_maker


def cameras() -> CameraList:
    """The cameras of this computer."""
    return list_cameras()


def run_live(
    choice: LiveChoice,
    out: Path | None = None,
    rig: Path | None = None,
    registration_path: Path | None = None,
    csv_folder: Path | None = None,
    parquet_folder: Path | None = None,
    tell: Tell = lambda _: None,
    progress: Progress = silent,
    begun: Callable[[Callable[[], None]], None] = lambda _: None,
    watch: Watch | None = None,
) -> RunSummary | SpaceRunSummary:
    """Follow the lights that a source shows now, until it ends or someone ends it.

    At the end, asked for through `begun` or by ``KeyboardInterrupt``, what is down is called off
    at every output, and the session is closed.

    Parameters
    ----------
    choice
        What to follow, and where results go.
    out
        The session to write; it must not exist. None takes a name of the moment.
    rig
        Its file or folder.
    registration_path
        Maps the dots to the surface; without it there are no fixes, and nothing to send.
    csv_folder, parquet_folder
        Where to export the session to as well, at the end.
    tell
        Told the state a few times a second.
    progress
        Told what is being made ready.
    begun
        Told, before the first frame is taken, what to call from any thread to end the run.
    watch
        Who looks on, frame by frame.

    Returns
    -------
    RunSummary
        Of a surface rig, or of no rig.
    SpaceRunSummary
        Of a rig that follows things in space.

    Raises
    ------
    RushlightError
        When the source, the rig or an output cannot be used.
    """
    document = None if rig is None else load_rig(rig)[0]
    if rig is not None and document is not None and space_kinds(document):
        return run_live_space(
            choice, rig, registration_path, out, (csv_folder, parquet_folder), tell, progress,
            begun, watch,
        )  # fmt: skip
    if choice.cameras:
        return run_live_several(
            choice, rig, registration_path, out, (csv_folder, parquet_folder), tell, progress,
            begun, watch,
        )  # fmt: skip
    filter_name = choice.filter_name or own_filter(document)
    new_filter = filter_maker(filter_name, document.smoothing if document else None)
    length_s = typed_length_s(choice.length)
    ahead_s = foretelling_s(choice.ahead, document)
    progress("loading the kernels", 0.0)
    warm()
    progress("loading the kernels", 1.0)
    progress("opening the camera", 0.0)
    with open_source(choice.source, rig, loop=choice.loop) as source:
        progress("opening the camera", 1.0)
        setting = prepare(source, None, rig, registration_path)
        header = header_of(setting, filter_name, Clock(id="host", kind="host-monotonic"))
        follower = setting.follower(new_filter, in_a_hurry=True)
        with (
            Sending(choice.outputs, ahead_s, setting.rig, display_of(setting), watch) as sending,
            live_session(out, header, setting.basis) as session,
        ):
            for where in sending.served:
                progress(f"pointer events at {where}", 0.0)
            loop = LiveLoop(source, follower, sending, session, tell, watch)
            if watch is not None:
                watch.begins(source)
            loop.run_to_the_end(length_s, begun)
        told = (
            *source.findings,
            *(poor_source(source, loop.counts.frames, loop.rate_hz, rig_rate_hz(setting))),
            *sending.findings,
            *loop.counts.faults(),
        )
    return summarise(
        session.path,
        setting,
        source.times,
        filter_name,
        loop.counts,
        export(session.path, csv_folder, parquet_folder),
        told,
        dropped=source.dropped,
        reconnects=source.reconnects,
        live=True,
        rate_hz=loop.rate_hz,
        outputs=sending.counts(),
        delays=loop.stages.delays(),
    )
