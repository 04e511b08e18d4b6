"""Follow the lights as they are seen, send the results on, and keep them as a session."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from rushlight.capture.devices import CameraList, list_cameras
from rushlight.capture.live import LiveDots, LiveFrames
from rushlight.drive.lights import RUN_ENDED
from rushlight.errors import Finding
from rushlight.jobs.following import header_of, own_filter, prepare, session_of_the_moment, store
from rushlight.jobs.live_outputs import Sending, foretelling_s
from rushlight.jobs.load import load_rig, typed_length_s
from rushlight.jobs.poor_source import poor_source, rig_rate_hz
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.run_summary import RunSummary, export, summarise
from rushlight.jobs.sources import open_source
from rushlight.jobs.warm import warm
from rushlight.keep.writer import SessionWriter
from rushlight.records.session import Clock
from rushlight.track.filter import filter_maker
from rushlight.track.following import Followed, Follower
from rushlight.track.stages import StageDelay, Stages
from rushlight.track.switch import RELEASE_S
from rushlight.track.tally import Tally

TELL_EVERY_S = 0.25
"""How often the state is told [s]."""

LATE_FRAMES = 3.0
"""So many frame periods without a frame, and 0.1 s at least, call off what is down; no source."""

RECENT = 120
"""Frames, presses and releases over which delays are told."""


@dataclass(frozen=True)
class LiveChoice:
    """What the user asked of a live run beside rig and registration.

    Attributes
    ----------
    source
        As `open_live` takes it; None for the rig's own.
    outputs
        Names of what is switched on; None for the rig's own.
    filter_name
        How trails are smoothed; None as the rig says.
    ahead
        How far fixes are foretold, as text with unit; None as the rig says.
    length
        After how long to stop, as text with unit; None runs until the source ends or someone
        ends it.
    loop
        Whether a recording that is replayed begins again at its end.
    """

    source: str | None = None
    outputs: tuple[str, ...] | None = None
    filter_name: str | None = None
    ahead: str | None = None
    length: str | None = None
    loop: bool = False


@dataclass(frozen=True)
class LiveState:
    """How a live run stands, told a few times a second.

    Attributes
    ----------
    rate_hz
        Frames that come a second [Hz]; NaN before there were two.
    frames, dropped, reconnects
        Followed; not followed; how often the source was opened again.
    dots, doubtful
        In the last frame.
    lit
        What is lit, with its place [m]; NaN where no map tells it.
    silent_s
        How long no frame came [s], 0 while they come.
    delays
        How late each stage was of late; none before anything was lit.
    outputs
        Name, messages that left, and steps that newer ones overtook.
    findings
        What the source has found out of itself until now, and faults on the way, as a camera
        that has moved.
    """

    rate_hz: float
    frames: int
    dropped: int
    reconnects: int
    dots: int
    doubtful: int
    lit: tuple[tuple[str, float, float], ...]
    silent_s: float
    delays: tuple[StageDelay, ...]
    outputs: tuple[tuple[str, int, int], ...]
    findings: tuple[Finding, ...] = ()


Tell = Callable[[LiveState], None]
Source = LiveFrames | LiveDots


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
) -> RunSummary:
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

    Returns
    -------
    RunSummary

    Raises
    ------
    RushlightError
        When the source, the rig or an output cannot be used.
    """
    document = None if rig is None else load_rig(rig)[0]
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
            Sending(choice.outputs, ahead_s, setting) as sending,
            (
                session_of_the_moment(header, setting.basis)
                if out is None
                else SessionWriter(out, header, setting.basis, live=True)
            ) as session,
        ):
            for where in sending.served:
                progress(f"pointer events at {where}", 0.0)
            loop = _Loop(source, follower, sending, session, tell)
            ending = None if length_s is None else threading.Timer(length_s, source.stop)
            if ending is not None:
                ending.daemon = True
                ending.start()
            begun(source.stop)
            try:
                loop.run()
            except KeyboardInterrupt:
                source.stop()
            finally:
                if ending is not None:
                    ending.cancel()
            loop.finish()
            sending.close()
            loop.note_departures()
            for event in source.faults:
                session.put_event(event)
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


@dataclass
class _Loop:
    """One frame after the other: follow, send, keep, tell."""

    source: Source
    follower: Follower
    sending: Sending
    session: SessionWriter
    tell: Tell
    counts: Tally = field(default_factory=Tally)
    rate_hz: float | None = None
    stages: Stages = field(default_factory=Stages)
    _told_s: float = 0.0
    _last_s: float = 0.0
    _quiet: bool = False
    _followed: Followed | None = None

    def run(self) -> None:
        """Until the source ends."""
        self._told_s = self._last_s = time.monotonic()
        self.source.on_silence = self._silent
        for item in self.source:
            took_ns = time.monotonic_ns()
            self._last_s = took_ns * 1e-9
            self._quiet = False
            frame, dots = item if isinstance(item, tuple) else (item, None)
            followed = _on_the_host_clock(self.follower.step(frame, dots), took_ns)
            followed = self.sending.send(followed)
            self.counts.add(followed)
            self.stages.add(followed)
            store(self.session, followed)
            self.note_departures()
            self._followed = followed
            self._tell_now_and_then()

    def finish(self) -> None:
        """Tell that what is still lit ends here.

        Pointers are called off before, for nobody lifted them: an end would be taken for a click.
        """
        events = self.follower.finish()
        if self._followed is None or not events:
            return
        self.sending.call_off(RUN_ENDED)
        ended = replace(self._followed, links=[], fixes=[], events=events)
        for event in self.sending.send(ended).events:
            self.counts.events[event.kind] += 1
            self.session.put_event(event)

    def note_departures(self) -> None:
        """Keep and count what has left since the last time."""
        left = self.sending.departures()
        if left:
            self.session.put_departures(left)
        self.stages.left([*left, *self.session.saved()])

    def _silent(self) -> None:
        """No frame has come for a while: nothing may stay down, and the user is told."""
        rate_hz = self.rate_hz or math.nan
        longest_s = max(RELEASE_S, LATE_FRAMES / rate_hz) if rate_hz > 0 else RELEASE_S
        if not self._quiet and time.monotonic() - self._last_s > longest_s:
            self._quiet = True
            self.sending.call_off()
        self._tell_now_and_then()

    def _tell_now_and_then(self) -> None:
        if time.monotonic() - self._told_s >= TELL_EVERY_S:
            self._told_s = time.monotonic()
            self.tell(self._state(self._followed))

    def _state(self, followed: Followed | None) -> LiveState:
        rate_hz = self.source.rate_hz()
        self.rate_hz = rate_hz if np.isfinite(rate_hz) else self.rate_hz
        lit = (
            ()
            if self._quiet or followed is None
            else tuple(
                (fix.carried, float(fix.position_m[0]), float(fix.position_m[1]))
                for fix in followed.fixes
            )
        )
        return LiveState(
            rate_hz=rate_hz,
            frames=self.counts.frames,
            dropped=self.source.dropped,
            reconnects=self.source.reconnects,
            dots=0 if followed is None else int(followed.doubts[0]),
            doubtful=0 if followed is None else int(followed.doubts[1:].sum()),
            lit=lit if lit or self._quiet or followed is None else _named(followed),
            silent_s=time.monotonic() - self._last_s if self._quiet else 0.0,
            delays=self.stages.delays(RECENT),
            outputs=self.sending.counts(),
            findings=(*self.source.findings, *self.counts.faults()),
        )


def _on_the_host_clock(followed: Followed, took_ns: int) -> Followed:
    """Moments of detection and mapping as they were, not as if the frame came without delay."""
    if not (followed.fixes or followed.events):
        return followed
    moments = {
        "detect_ns": took_ns + round(followed.detect_s * 1e9),
        "map_ns": took_ns + round(followed.map_s * 1e9),
    }
    return replace(
        followed,
        fixes=[fix.replace(**moments) for fix in followed.fixes],
        events=[replace(event, **moments) for event in followed.events],
    )


def _named(followed: Followed) -> tuple[tuple[str, float, float], ...]:
    """Names of what is lit where no map tells a place."""
    held = [link for link in followed.links if link.state == "held" and link.carried]
    return tuple((link.carried or "", np.nan, np.nan) for link in held)
