"""Follow what moves in space as the cameras see it, send it on, and keep it as a session."""

from __future__ import annotations

import time
from collections import Counter, deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.capture.together import LiveTogether
from rushlight.errors import Finding
from rushlight.jobs.following import live_session
from rushlight.jobs.live_choice import LiveChoice
from rushlight.jobs.live_loop import LATE_FRAMES, LiveLoop, Tell
from rushlight.jobs.live_outputs import Sending, foretelling_s
from rushlight.jobs.load import load_rig, rig_path, typed_length_s
from rushlight.jobs.poor_source import poor_source
from rushlight.jobs.progress import Progress
from rushlight.jobs.run_space import (
    SpaceRunSummary,
    check_filter,
    check_registered,
    check_sizes,
    detectors_of,
    findings_of,
    inputs_of,
)
from rushlight.jobs.run_summary import export
from rushlight.jobs.space_sources import open_sources
from rushlight.jobs.told import keep_told
from rushlight.jobs.warm import warm
from rushlight.jobs.watching import Watch
from rushlight.plan.space_evaluate import exposures_of
from rushlight.records.arrays import Array
from rushlight.records.document import Basis, read_document
from rushlight.records.dots import REASONS, Dots, Frame
from rushlight.records.rig import Rig
from rushlight.records.session import Clock, SessionHeader, TrailLink
from rushlight.records.space import ResolvedSpace
from rushlight.records.space_registration import SpaceRegistration
from rushlight.shelf.resolve_space import resolve_space
from rushlight.track.following import Followed
from rushlight.track.space_cameras import SpaceCameras
from rushlight.track.space_follow import Detected, SpaceFollowed, SpaceFollower
from rushlight.track.switch import RELEASE_S
from rushlight.track.tally import median_ms


def run_live_space(
    choice: LiveChoice,
    rig_file: Path,
    registration_path: Path | None,
    out: Path | None,
    exports: tuple[Path | None, Path | None],
    tell: Tell,
    progress: Progress,
    begun: Callable[[Callable[[], None]], None],
    watch: Watch | None = None,
) -> SpaceRunSummary:
    """Follow what moves in space until every source ends or someone ends it.

    Parameters
    ----------
    choice
        What to follow, and where results go.
    exports
        Folders for the session as CSV and as Parquet, or None.
    rig_file, registration_path, out, tell, progress, begun, watch
        As of `rushlight.jobs.live.run_live`; the registration must be given.

    Raises
    ------
    RushlightError
        When a source, the rig, the registration or an output cannot be used.
    """
    given = choice.cameras or (() if choice.source is None else (choice.source,))
    _, registration_path = inputs_of(rig_file, registration_path)
    check_filter(choice.filter_name)
    rig, shelf = load_rig(rig_file)
    name, folder = rig_path(rig_file).name, rig_path(rig_file).parent
    space = resolve_space(rig, shelf, name)
    registration = read_document(SpaceRegistration, registration_path)
    check_registered(space, registration, registration_path.name)
    cameras = SpaceCameras.registered(space, registration)
    ahead_s = foretelling_s(choice.ahead, rig)
    progress("loading the kernels", 0.0)
    warm()
    progress("loading the kernels", 1.0)
    progress("opening the cameras", 0.0)
    with open_sources(given, rig, rig_file, choice.loop) as source:
        progress("opening the cameras", 1.0)
        check_sizes(space, source.sources)
        basis: Basis = "simulated" if source.simulated else "measured"
        slowest_hz = float(np.min(space.cameras.frame_rate_hz[0]))
        follower = SpaceFollower(
            cameras,
            space.things,
            exposures_of(space).tolist(),
            wait_ns=round(max(RELEASE_S, LATE_FRAMES / slowest_hz) * 1e9),
        )
        header = _header(rig, registration, space)
        with (
            Sending(choice.outputs, ahead_s, rig, space, watch) as sending,
            live_session(out, header, basis) as session,
        ):
            loop = SpaceLoop(
                source,
                follower,
                sending,
                session,
                tell,
                watch,
                detectors=detectors_of(rig, shelf, folder, space, source.sources),
                thing_ids=[thing.id for thing in space.things],
            )
            if watch is not None:
                watch.begins(source.sources[0])
            loop.run_to_the_end(typed_length_s(choice.length), begun)
        summary = loop.summary(session.path, basis, space)
        summary.exports = export(session.path, *exports)
        summary.outputs = sending.counts()
        summary.findings = (
            *findings_of(rig, registration, (name, registration_path.name), source.simulated),
            *source.findings,
            *poor_sources(source, loop.frames, rig),
            *sending.findings,
            *late_findings(space.camera_ids, follower.late),
        )
    keep_told("run", session.path, summary)
    return summary


UNNAMED_FRAMES = 8
"""A picture in which nothing is found is looked at so many frames late; our own choice."""


@dataclass
class SpaceLoop(LiveLoop):
    """A `LiveLoop` over the frames of several cameras.

    Attributes
    ----------
    detectors, thing_ids
        By camera, from a picture to its dots; what is looked for.
    told
        What was seen so far, of what a surface rig does not have.
    frames
        Followed so far, by camera.
    """

    source: LiveTogether
    follower: SpaceFollower  # type: ignore[assignment]
    detectors: Sequence[Callable[[Array], Dots]] = ()
    thing_ids: Sequence[str] = ()
    told: SpaceRunSummary = field(default_factory=lambda: SpaceRunSummary("", "measured", [], []))
    frames: Counter[str] = field(default_factory=Counter)
    _seconds: list[float] = field(default_factory=list)
    _unseen: deque[tuple[Frame, Dots]] = field(default_factory=deque)
    _doubts: Array = field(default_factory=lambda: np.zeros(len(REASONS), np.int64))

    def take(self, item: Any, took_ns: int) -> None:
        """Follow one camera's frame, and every moment that is complete by it."""
        camera, frame, dots = item
        if dots is None:
            if frame.image is None:
                return
            dots = self.detectors[camera](frame.image)
        detect_ns = time.monotonic_ns()
        self._doubts = np.bincount(dots.reason, minlength=len(REASONS))
        self.frames[frame.camera] += 1
        self.session.put_frame(frame)
        self.session.put_dots(frame.camera, frame.index, dots)
        self.counts.add(_empty(frame, self._doubts, (detect_ns - took_ns) * 1e-9))
        links: list[TrailLink] = []
        for done in self.follower.step([Detected(camera, frame, dots)]):
            self._moment(done, detect_ns)
            links += done.links
        if self.watch is not None:
            self._look(camera, frame, dots, [each for each in links if each.camera == self._first])

    @property
    def _first(self) -> str:
        """Id of the first camera, whose pictures are looked at."""
        return self.source.sources[0].camera

    def _look(self, camera: int, frame: Frame, dots: Dots, links: list[TrailLink]) -> None:
        """Let the first camera's newest picture be seen whose dots have their names.

        They get them when the other cameras have come to its moment too. A picture that nothing
        is found in waits for a few more frames.
        """
        assert self.watch is not None
        if camera == 0:
            self._unseen.append((frame, dots))
        named = {link.frame for link in links}
        last = max(
            (at for at, (one, _) in enumerate(self._unseen) if one.index in named),
            default=len(self._unseen) - 1 - UNNAMED_FRAMES,
        )
        for _ in range(last + 1):
            frame, dots = self._unseen.popleft()
        if last >= 0:
            own = [link for link in links if link.frame == frame.index]
            self.watch.seen(replace(_empty(frame, self._doubts, 0.0), dots=dots, links=own))

    def finish(self) -> None:
        """What still waits is followed, and kept."""
        self._rest()

    def _silent(self) -> None:
        self._rest()
        super()._silent()

    def _rest(self) -> None:
        """No frame of any camera has come for a while: what waits for one waits no longer."""
        detect_ns = time.monotonic_ns()
        for done in self.follower.rest():
            self._moment(done, detect_ns)

    def _moment(self, done: SpaceFollowed, detect_ns: int) -> None:
        """Send, count and keep what one moment told."""
        map_ns = time.monotonic_ns()
        moments = {"detect_ns": detect_ns, "map_ns": map_ns}
        moment = done.moment
        frame = Frame(self._first, moment.frame, moment.time_ns, np.nan, None)
        followed = replace(
            _empty(frame, self._doubts, 0.0),
            links=list(done.links),
            fixes=[fix.replace(**moments) for fix in done.fixes],
            events=[
                replace(each.known(moment.time_ns, 0.0, 0.0), **moments) for each in done.events
            ],
        )
        followed = self.sending.send(followed)
        self.stages.add(followed)
        self.session.put_links(followed.links)
        for fix in followed.fixes:
            self.session.put_fix(fix)
        for event in followed.events:
            self.session.put_event(event)
        self.told.add(done)
        self._seconds.append(done.seconds)
        self._followed = followed

    def summary(self, path: Path, basis: Basis, space: ResolvedSpace) -> SpaceRunSummary:
        """What was found, counted."""
        return replace(
            self.told,
            session=str(path),
            basis=basis,
            cameras=list(space.camera_ids),
            carried=list(self.thing_ids),
            frames=self.counts.frames,
            dots=self.counts.dots,
            doubtful_dots=sum(self.counts.doubtful().values()),
            doubts=self.counts.doubtful(),
            footage_s=self.counts.footage_s(),
            detect_ms=median_ms(self.counts.detect_s),
            map_ms=median_ms(self._seconds),
            live=True,
            dropped=self.source.dropped,
            late=sum(self.follower.late),
            reconnects=self.source.reconnects,
            rates_hz={each.camera: each.rate_hz() or None for each in self.source.sources},
            delays=self.stages.delays(),
        )


def _empty(frame: Frame, doubts: Array, detect_s: float) -> Followed:
    """A frame's dots counted, and nothing followed."""
    return Followed(frame, Dots.none(), doubts, [], [], [], detect_s, 0.0)


def poor_sources(source: LiveTogether, frames: Counter[str], rig: Rig) -> list[Finding]:
    """What a user should know of cameras that gave less than is counted on.

    Parameters
    ----------
    source
        That was followed.
    frames
        How many were followed, by camera.
    rig
        With the rates that are counted on.
    """
    wanted_hz = {camera.id: camera.frame_rate.value for camera in rig.cameras}
    found = []
    for each in source.sources:
        rate_hz = each.rate_hz()
        came_hz = rate_hz if rate_hz > 0.0 else None
        found += poor_source(each, frames[each.camera], came_hz, wanted_hz[each.camera])
    return found


def late_findings(cameras: Sequence[str], late: Sequence[int]) -> list[Finding]:
    """That frames of a camera came too late to be joined with the others'."""
    return [
        Finding(
            "warning",
            "frames-late",
            f'camera "{camera}"',
            f"{count} frames",
            "came when moments of their time had gone without them",
            "look at its cable and network, or set it to what delays it less",
        )
        for camera, count in zip(cameras, late, strict=True)
        if count
    ]


def _header(rig: Rig, registration: SpaceRegistration, space: ResolvedSpace) -> SessionHeader:
    return SessionHeader(
        rig=rig.content_hash(),
        rig_name=rig.name,
        registration=registration.content_hash(),
        cameras=list(space.camera_ids),
        carried=[thing.id for thing in space.things],
        clocks=[
            Clock(
                id=each.camera,
                kind="host-monotonic",
                offset_ns=each.clock_offset_ns,
                std_ns=each.clock_std_ns,
            )
            for each in registration.cameras
        ],
    )
