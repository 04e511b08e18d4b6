"""Follow the lights of one surface as several cameras see them, joined frame by frame."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from rushlight.capture.together import LiveTogether
from rushlight.drive.lights import RUN_ENDED
from rushlight.errors import RushlightError
from rushlight.jobs.following import header_of, live_session, own_filter, prepare, store
from rushlight.jobs.live_choice import LiveChoice
from rushlight.jobs.live_loop import LiveLoop, Tell, on_the_host_clock
from rushlight.jobs.live_outputs import Sending, display_of, foretelling_s
from rushlight.jobs.live_space import poor_sources
from rushlight.jobs.load import load_rig, typed_length_s
from rushlight.jobs.progress import Progress
from rushlight.jobs.run_summary import RunSummary, export, summarise
from rushlight.jobs.space_sources import open_sources
from rushlight.jobs.warm import warm
from rushlight.jobs.watching import Watch
from rushlight.records.document import Basis
from rushlight.records.session import Clock
from rushlight.track.filter import filter_maker
from rushlight.track.following import Followed, Follower
from rushlight.track.fuse_live import LiveFusing


def run_live_several(
    choice: LiveChoice,
    rig_file: Path | None,
    registration_path: Path | None,
    out: Path | None,
    exports: tuple[Path | None, Path | None],
    tell: Tell,
    progress: Progress,
    begun: Callable[[Callable[[], None]], None],
    watch: Watch | None = None,
) -> RunSummary:
    """Follow the lights through several cameras until every source ends or someone ends it.

    Parameters
    ----------
    choice
        What to follow, and where results go.
    registration_path
        A joint registration, from `rushlight.jobs.register_several`.
    exports
        Folders for the session as CSV and as Parquet, or None.
    rig_file, out, tell, progress, begun, watch
        As of `rushlight.jobs.live.run_live`.

    Returns
    -------
    RunSummary
        Of all cameras together: frames and dots are counted over all, fixes are the joined ones.

    Raises
    ------
    RushlightError
        When a source, the rig, the registration or an output cannot be used.
    """
    if rig_file is None or registration_path is None:
        raise RushlightError.of(
            "--camera",
            ", ".join(choice.cameras),
            "are several, which are joined on the surface that they see",
            "give --rig and the joint registration of its cameras, or one camera",
            "live-several",
        )
    rig, _ = load_rig(rig_file)
    filter_name = choice.filter_name or own_filter(rig)
    new_filter = filter_maker(filter_name, rig.smoothing)
    length_s, ahead_s = typed_length_s(choice.length), foretelling_s(choice.ahead, rig)
    progress("loading the kernels", 0.0)
    warm()
    progress("loading the kernels", 1.0)
    progress("opening the cameras", 0.0)
    with open_sources(choice.cameras, rig, rig_file, choice.loop) as source:
        progress("opening the cameras", 1.0)
        settings = [prepare(each, None, rig_file, registration_path) for each in source.sources]
        first = settings[0]
        names = [each.camera for each in source.sources]
        basis: Basis = "simulated" if source.simulated else "measured"
        header = header_of(first, filter_name, Clock(id="host", kind="host-monotonic"))
        header = header.model_copy(update={"cameras": names})
        followers = [each.follower(new_filter, in_a_hurry=True) for each in settings]
        with (
            Sending(choice.outputs, ahead_s, rig, display_of(first), watch) as sending,
            live_session(out, header, basis) as session,
        ):
            for where in sending.served:
                progress(f"pointer events at {where}", 0.0)
            loop = SeveralLoop(
                source, followers[0], sending, session, tell, watch,
                followers=followers, fusing=LiveFusing(names),
            )  # fmt: skip
            if watch is not None:
                watch.begins(source.sources[0])
            loop.run_to_the_end(length_s, begun)
        told = (
            *source.findings,
            *poor_sources(source, loop.frames, rig),
            *sending.findings,
            *loop.counts.faults(),
        )
    return summarise(
        session.path,
        first,
        source.sources[0].times,
        filter_name,
        loop.counts,
        export(session.path, *exports),
        told,
        dropped=source.dropped,
        reconnects=source.reconnects,
        live=True,
        rate_hz=loop.rate_hz,
        outputs=sending.counts(),
        delays=loop.stages.delays(),
    )


@dataclass
class SeveralLoop(LiveLoop):
    """A `LiveLoop` over the frames of several cameras of one surface.

    Attributes
    ----------
    followers
        One for each camera, in the order of the sources.
    fusing
        Joins what they tell.
    frames
        Followed so far, by camera.
    """

    source: LiveTogether
    followers: Sequence[Follower] = ()
    fusing: LiveFusing = field(default_factory=lambda: LiveFusing(()))
    frames: Counter[str] = field(default_factory=Counter)

    def take(self, item: Any, took_ns: int) -> None:
        """Follow one camera's frame, and join what it tells with the others'."""
        camera, frame, dots = item
        own = on_the_host_clock(self.followers[camera].step(frame, dots), took_ns)
        followed = self.sending.send(self._joined(camera, own))
        self.counts.add(followed)
        self.frames[frame.camera] += 1
        self.stages.add(followed)
        store(self.session, followed)
        self._followed = followed
        if self.watch is not None and camera == 0:
            self.watch.seen(followed)

    def finish(self) -> None:
        """Tell that what is still lit ends here, each light once."""
        if self._followed is None:
            return
        ends = []
        for camera, follower in enumerate(self.followers):
            last = replace(self._followed, links=[], fixes=[], events=follower.finish())
            ends += self._joined(camera, last).events
        if not ends:
            return
        self.sending.call_off(RUN_ENDED)
        ended = replace(self._followed, links=[], fixes=[], events=ends)
        for event in self.sending.send(ended).events:
            self.counts.events[event.kind] += 1
            self.session.put_event(event)

    def _joined(self, camera: int, own: Followed) -> Followed:
        """What a camera's frame adds to what all see."""
        moment_ns = own.frame.capture_ns
        fixes, events = self.fusing.step(camera, moment_ns, own.fixes, own.events)
        links = [replace(link, trail=self.fusing.moved(link.trail, camera)) for link in own.links]
        return replace(own, links=links, fixes=fixes, events=events)
