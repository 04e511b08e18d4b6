"""One frame after the other of a live run: follow, send, keep, tell."""

from __future__ import annotations

import contextlib
import gc
import math
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

import numpy as np

from rushlight.drive.lights import RUN_ENDED
from rushlight.errors import Finding
from rushlight.jobs.following import store
from rushlight.jobs.live_outputs import Sending
from rushlight.jobs.watching import Watch
from rushlight.keep.writer import SessionWriter
from rushlight.records.session import Event
from rushlight.track.following import Followed, Follower
from rushlight.track.stages import StageDelay, Stages
from rushlight.track.switch import RELEASE_S
from rushlight.track.tally import Tally

TELL_EVERY_S = 0.25
"""How often the state is told [s]."""

LATE_FRAMES = 3.0
"""So many frame periods without a frame, and 0.1 s at least, call off what is down, and one of
several cameras is waited for no longer; no source."""

RECENT = 120
"""Frames, presses and releases over which delays are told."""


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
        What is lit, with its two or three coordinates [m]; NaN where no map tells them.
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
    lit: tuple[tuple[str, *tuple[float, ...]], ...]
    silent_s: float
    delays: tuple[StageDelay, ...]
    outputs: tuple[tuple[str, int, int], ...]
    findings: tuple[Finding, ...] = ()


Tell = Callable[[LiveState], None]


class Source(Protocol):
    """What a loop asks of where its frames come from."""

    on_silence: Callable[[], None] | None

    @property
    def dropped(self) -> int:
        """Frames that came and were not taken."""

    @property
    def reconnects(self) -> int:
        """How often it was opened again."""

    @property
    def findings(self) -> list[Finding]:
        """What was noticed so far."""

    @property
    def faults(self) -> list[Event]:
        """Breaks and recoveries."""

    def rate_hz(self) -> float:
        """Frames that came in a second [Hz]."""

    def stop(self) -> None:
        """End the iteration, from any thread."""

    def __iter__(self) -> Iterator[Any]:
        """Blocks for the newest; ends when the source does."""


@dataclass
class LiveLoop:
    """One frame after the other: follow, send, keep, tell.

    Attributes
    ----------
    source, follower, sending, session, tell, watch
        Where frames come from, what follows the lights in them, and who is told.
    counts, rate_hz, stages
        What was seen so far; frames a second, None before there were two; how late each stage was.
    """

    source: Source
    follower: Follower
    sending: Sending
    session: SessionWriter
    tell: Tell
    watch: Watch | None = None
    counts: Tally = field(default_factory=Tally)
    rate_hz: float | None = None
    stages: Stages = field(default_factory=Stages)
    _told_s: float = 0.0
    _last_s: float = 0.0
    _quiet: bool = False
    _followed: Followed | None = None

    def run_to_the_end(
        self, length_s: float | None, begun: Callable[[Callable[[], None]], None]
    ) -> None:
        """Run, and at the end call off what is down, close the outputs, and keep all that is left.

        Parameters
        ----------
        length_s
            After how long to stop [s]; None runs until the source ends or someone ends it.
        begun
            Told, before the first frame is taken, what to call from any thread to end the run.
        """
        ending = None if length_s is None else threading.Timer(length_s, self.source.stop)
        if ending is not None:
            ending.daemon = True
            ending.start()
        begun(self.source.stop)
        try:
            with in_a_hurry():
                self.run()
        except KeyboardInterrupt:
            self.source.stop()
        finally:
            if ending is not None:
                ending.cancel()
        self.finish()
        self.sending.close()
        self.note_departures()
        for event in self.source.faults:
            self.session.put_event(event)

    def run(self) -> None:
        """Until the source ends."""
        self._told_s = self._last_s = time.monotonic()
        self.source.on_silence = self._silent
        for item in self.source:
            took_ns = time.monotonic_ns()
            self._last_s = took_ns * 1e-9
            self._quiet = False
            self.take(item, took_ns)
            self.note_departures()
            self._tell_now_and_then()

    def take(self, item: Any, took_ns: int) -> None:
        """Follow one item of the source, taken at a moment of the host's clock [ns]."""
        frame, dots = item if isinstance(item, tuple) else (item, None)
        followed = on_the_host_clock(self.follower.step(frame, dots), took_ns)
        followed = self.sending.send(followed)
        self.counts.add(followed)
        self.stages.add(followed)
        store(self.session, followed)
        self._followed = followed
        if self.watch is not None:
            self.watch.seen(followed)

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
                (fix.carried, *map(float, fix.position_m[: 2 if fix.dimensions == 2 else 3]))
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


@contextlib.contextmanager
def in_a_hurry() -> Iterator[None]:
    """While frames are followed live, what was loaded until now is spared by the garbage collector.

    To look through all of it takes as long as many frames, which would be dropped.
    """
    gc.collect()
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()


def on_the_host_clock(followed: Followed, took_ns: int) -> Followed:
    """Moments of detection and mapping as they were, not as if the frame came without delay.

    Parameters
    ----------
    followed
        What a frame told.
    took_ns
        When it was taken, by the host's clock [ns].
    """
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


def _named(followed: Followed) -> tuple[tuple[str, *tuple[float, ...]], ...]:
    """Names of what is lit where no map tells a place."""
    held = [link for link in followed.links if link.state == "held" and link.carried]
    return tuple((link.carried or "", np.nan, np.nan) for link in held)
