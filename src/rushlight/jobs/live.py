"""Follow the lights as they are seen, send the results on, and keep them as a session."""

from __future__ import annotations

import math
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Self

import numpy as np

from rushlight.capture.devices import CameraList, list_cameras
from rushlight.capture.live import LiveDots, LiveFrames
from rushlight.drive.output import Display, Results
from rushlight.drive.outputs import ELSEWHERE, Outputs, open_outputs
from rushlight.drive.pointer import PointerOutput
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.following import Setting, header_of, own_filter, prepare, store
from rushlight.jobs.load import load_rig, typed_length_s, typed_quantity
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.run_summary import RunSummary, export, summarise
from rushlight.jobs.sources import open_source
from rushlight.jobs.warm import warm
from rushlight.keep.writer import SessionWriter
from rushlight.records.rig import Rig
from rushlight.records.session import Clock, Fix
from rushlight.track.filter import filter_maker
from rushlight.track.following import Followed, Follower
from rushlight.track.foretell import Foretold
from rushlight.track.switch import RELEASE_S
from rushlight.track.tally import Tally

MOST_AHEAD_S = 0.5
"""Farthest that a hand is foretold [s]; no source."""

TELL_EVERY_S = 0.25
"""How often the state is told [s]."""

LATE_FRAMES = 3.0
"""So many frame periods without a frame, and 0.1 s at least, call off what is down; no source."""

RECENT = 120
"""Frames over which delays are told."""


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
    since_s
        Since the first frame [s].
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
    delay_ms
        Medians over the last frames from the middle of the exposure to dots, to fixes and to
        sending [ms]; NaN where nothing was to be told.
    outputs
        Name, messages that left, and steps that newer ones overtook.
    """

    since_s: float
    rate_hz: float
    frames: int
    dropped: int
    reconnects: int
    dots: int
    doubtful: int
    lit: tuple[tuple[str, float, float], ...]
    silent_s: float
    delay_ms: tuple[float, float, float]
    outputs: tuple[tuple[str, int, int], ...]


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
) -> RunSummary:
    """Follow the lights that a source shows now, until it ends or someone ends it.

    ``KeyboardInterrupt`` is the usual end: what is down is called off at every output, and the
    session is closed.

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
    _ahead_s(choice, document)
    progress("loading the kernels", 0.0)
    warm()
    progress("loading the kernels", 1.0)
    progress("opening the camera", 0.0)
    with open_source(choice.source, rig, loop=choice.loop) as source:
        progress("opening the camera", 1.0)
        setting = prepare(source, None, rig, registration_path)
        out = Path(datetime.now().strftime("session-%Y%m%d-%H%M%S.sqlite")) if out is None else out
        header = header_of(setting, filter_name, Clock(id="host", kind="host-monotonic"))
        follower = setting.follower(new_filter)
        with (
            _Sending(choice, setting) as sending,
            SessionWriter(out, header, setting.basis) as session,
        ):
            for where in sending.served:
                progress(f"pointer events at {where}", 0.0)
            loop = _Loop(source, follower, sending, session, tell)
            ending = None if length_s is None else threading.Timer(length_s, source.stop)
            if ending is not None:
                ending.daemon = True
                ending.start()
            try:
                loop.run()
            except KeyboardInterrupt:
                source.stop()
            finally:
                if ending is not None:
                    ending.cancel()
            loop.finish()
            for event in source.faults:
                session.put_event(event)
        told = (*source.findings, *sending.findings, *loop.counts.faults())
    return summarise(
        out,
        setting,
        source.times,
        filter_name,
        loop.counts,
        export(out, csv_folder, parquet_folder),
        told,
        dropped=source.dropped,
        reconnects=source.reconnects,
        rate_hz=loop.rate_hz,
        outputs=sending.counts(),
    )


@dataclass
class _Loop:
    """One frame after the other: follow, send, keep, tell."""

    source: Source
    follower: Follower
    sending: _Sending
    session: SessionWriter
    tell: Tell
    counts: Tally = field(default_factory=Tally)
    rate_hz: float | None = None
    _delays_ms: deque[tuple[float, float, float]] = field(
        default_factory=lambda: deque(maxlen=RECENT)
    )
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
            store(self.session, followed)
            if followed.fixes:
                self._delays_ms.append(_delays_ms(followed.fixes[-1]))
            self._followed = followed
            self._tell_now_and_then()

    def finish(self) -> None:
        """Tell that what is still lit ends here.

        Pointers are called off before, for nobody lifted them: an end would be taken for a click.
        """
        events = self.follower.finish()
        if self._followed is None or not events:
            return
        self.sending.call_off()
        ended = replace(self._followed, links=[], fixes=[], events=events)
        for event in self.sending.send(ended).events:
            self.counts.events[event.kind] += 1
            self.session.put_event(event)

    def _silent(self) -> None:
        """No frame has come for a while: nothing may stay down, and the user is told."""
        rate_hz = self.rate_hz or math.nan
        longest_s = max(RELEASE_S, LATE_FRAMES / rate_hz) if rate_hz > 0 else RELEASE_S
        if not self._quiet and time.monotonic() - self._last_s > longest_s:
            self._quiet = True
            self.sending.call_off()
        self._tell_now_and_then()

    def _tell_now_and_then(self) -> None:
        if self._followed is not None and time.monotonic() - self._told_s >= TELL_EVERY_S:
            self._told_s = time.monotonic()
            self.tell(self._state(self._followed))

    def _state(self, followed: Followed) -> LiveState:
        rate_hz = self.source.rate_hz()
        self.rate_hz = rate_hz if np.isfinite(rate_hz) else self.rate_hz
        lit = (
            ()
            if self._quiet
            else tuple(
                (fix.carried, float(fix.position_m[0]), float(fix.position_m[1]))
                for fix in followed.fixes
            )
        )
        return LiveState(
            since_s=self.counts.footage_s() or 0.0,
            rate_hz=rate_hz,
            frames=self.counts.frames,
            dropped=self.source.dropped,
            reconnects=self.source.reconnects,
            dots=int(followed.doubts[0]),
            doubtful=int(followed.doubts[1:].sum()),
            lit=lit if lit or self._quiet else _named(followed),
            silent_s=time.monotonic() - self._last_s if self._quiet else 0.0,
            delay_ms=self._medians(),
            outputs=self.sending.counts(),
        )

    def _medians(self) -> tuple[float, float, float]:
        if not self._delays_ms:
            return np.nan, np.nan, np.nan
        told = np.array(self._delays_ms)
        known = [column[np.isfinite(column)] for column in told.T]
        first, second, third = (float(np.median(c)) if len(c) else np.nan for c in known)
        return first, second, third


def _on_the_host_clock(followed: Followed, took_ns: int) -> Followed:
    """Moments of detection and mapping as they were, not as if the frame came without delay."""
    if not followed.fixes:
        return followed
    detect_ns = took_ns + round(followed.detect_s * 1e9)
    map_ns = took_ns + round(followed.map_s * 1e9)
    fixes = [fix.replace(detect_ns=detect_ns, map_ns=map_ns) for fix in followed.fixes]
    return replace(followed, fixes=fixes)


def _delays_ms(fix: Fix) -> tuple[float, float, float]:
    """From the middle of the exposure to dots, to the fix, and to sending [ms]."""
    first, second, third = (
        (at - fix.capture_ns) * 1e-6 if at >= 0 else np.nan
        for at in (fix.detect_ns, fix.map_ns, fix.sent_ns)
    )
    return first, second, third


class _Sending:
    """The outputs, if there are any, and how far ahead fixes are foretold for them.

    What is sent may be foretold; what is kept is what was seen, with the moment of sending.
    """

    def __init__(self, choice: LiveChoice, setting: Setting) -> None:
        rig = setting.rig
        names = choice.outputs if choice.outputs is not None else tuple(rig.outputs if rig else ())
        wanted = [name for name in dict.fromkeys(names) if name != ELSEWHERE]
        ahead_s = _ahead_s(choice, rig)
        self._foretold = Foretold(ahead_s) if ahead_s else None
        self._outputs: Outputs | None = None
        if not wanted:
            return
        if rig is None or not rig.surfaces or setting.surface_map is None:
            raise RushlightError.of(
                "output",
                wanted[0],
                "needs places on the surface, and without a rig and a registration there are none",
                "give --rig and --registration",
                "output-no-map",
            )
        surface = rig.surfaces[0]
        display = Display((surface.width.value, surface.height.value), surface.pixels, surface.id)
        self._outputs = open_outputs(wanted, display, rig.drive)

    @property
    def served(self) -> list[str]:
        """Addresses at which something can be opened."""
        each = self._outputs.outputs if self._outputs else []
        return [output.url for output in each if isinstance(output, PointerOutput)]

    @property
    def findings(self) -> list[Finding]:
        """Of the outputs."""
        return self._outputs.findings if self._outputs else []

    def counts(self) -> tuple[tuple[str, int, int], ...]:
        """Name, messages that left, and what newer ones overtook, of each output."""
        tally = self._outputs.tally if self._outputs else {}
        return tuple((name, sent, lost) for name, (sent, lost) in tally.items())

    def call_off(self) -> None:
        """Call off what is down at every output."""
        if self._outputs is not None:
            self._outputs.call_off()

    def send(self, followed: Followed) -> Followed:
        """Hand the results to every output; the same with the moment at which they left."""
        if self._outputs is None:
            return followed
        fixes = followed.fixes
        if self._foretold is not None:
            fixes = [self._foretold(fix) for fix in fixes]
        frame = followed.frame
        left = self._outputs.put(Results(frame.index, frame.capture_ns, fixes, followed.events))
        if not left or not followed.fixes:
            return followed
        sent_ns = max(left.values())
        kept = [fix.replace(sent_ns=sent_ns) for fix in followed.fixes]
        return replace(followed, fixes=kept)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._outputs is not None:
            self._outputs.close()


def _ahead_s(choice: LiveChoice, rig: Rig | None) -> float:
    """How far fixes are foretold [s]."""
    typed = typed_quantity(choice.ahead, "time", "--ahead")
    if typed is not None:
        if not 0.0 <= typed <= MOST_AHEAD_S:
            raise RushlightError.of(
                "--ahead",
                f'"{choice.ahead}"',
                f"is outside 0 to {MOST_AHEAD_S * 1e3:g} ms; no hand can be foretold for longer",
                'give a time such as "30 ms"',
                "ahead-range",
            )
        return typed
    return rig.drive.ahead.value if rig and rig.drive and rig.drive.ahead else 0.0


def _named(followed: Followed) -> tuple[tuple[str, float, float], ...]:
    """Names of what is lit where no map tells a place."""
    held = [link for link in followed.links if link.state == "held" and link.carried]
    return tuple((link.carried or "", np.nan, np.nan) for link in held)
