"""Live sources: a thread reads, only the latest frames are kept, and what breaks is opened again.

A long queue of frames would be a second of lag the moment the computer falls behind; none at all
would lose a frame whenever it only hesitates. So frames wait for some hundredths of a second. When
the oldest has waited longer, all that wait are given up for the one that comes, and counted as
dropped; their numbers are missing among those that are handed out.
"""

from __future__ import annotations

import math
import threading
import time
from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import closing
from types import TracebackType
from typing import Generic, Protocol, Self, TypeVar

from rushlight.capture.feed import Arrival, Feed, SourceBroken, note_once
from rushlight.errors import Finding, RushlightError
from rushlight.records.dots import Dots, Frame
from rushlight.records.session import Event

FIRST_PAUSE_S = 0.1
"""Before a broken source is opened again [s]; doubles with every failure. No source."""

LONGEST_PAUSE_S = 5.0
"""Where the doubling ends [s]; no source."""

STEADY_S = 5.0
"""A source that ran this long is opened again after the first pause [s]; no source."""

RATE_WINDOW_S = 3.0
"""Over which the frame rate is measured [s]; no source."""

WAITING_S = 0.04
"""How long a frame may wait to be taken when the next one comes [s]; our own choice: five frames
at 120 Hz, and a lag that hands hardly notice."""

SILENCE_S = 0.05
"""How long nothing must come before it is told, again and again [s]; no source."""

OPENING_S = 8.0
"""How long the first frame is waited for [s]; no source. Some drivers take seconds to start."""


Item = TypeVar("Item", covariant=True)


class LiveSource(Protocol[Item]):
    """What every live source looks like; it yields `Frame`, or frame and dots together.

    Attributes
    ----------
    name, camera, size_px, simulated, full_scale_dn, times, findings
        As of recorded footage.
    gives_dots
        Whether it yields (Frame, Dots) instead of frames.
    dropped
        Frames that were given up for a newer one before they were taken, and those that the source
        says it lost, since the first was asked for.
    reconnects
        How often the source was opened again after it broke.
    faults
        Breaks and recoveries with their moments, for the session.
    on_silence
        Called, where frames are taken, again and again while none comes.
    """

    name: str
    camera: str
    gives_dots: bool
    faults: list[Event]
    on_silence: Callable[[], None] | None

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of every frame [px]."""

    @property
    def simulated(self) -> bool:
        """Whether the frames were computed rather than filmed."""

    @property
    def full_scale_dn(self) -> int:
        """Level of a pixel at full scale."""

    @property
    def times(self) -> str:
        """Where the capture times come from, in words."""

    @property
    def findings(self) -> list[Finding]:
        """What was noticed so far."""

    @property
    def dropped(self) -> int:
        """Frames that came or were announced and were not taken."""

    @property
    def reconnects(self) -> int:
        """How often the source was opened again."""

    def __enter__(self) -> Self:
        """The source itself."""

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop, and wait until the source is closed."""

    def __iter__(self) -> Iterator[Item]:
        """Blocks for the next; ends on `stop`, or when the source ends for good."""

    def stop(self) -> None:
        """End the iteration, from any thread."""

    def rate_hz(self) -> float:
        """Frames that came in a second over the last seconds; NaN before there were two."""


Given = TypeVar("Given")


class _Reader(ABC, Generic[Given]):
    """Reads a feed in a thread of its own and hands out the latest; a `LiveSource`.

    Parameters
    ----------
    feed
        What is read.
    patience_s
        How long a broken source is tried again before it counts as gone [s]; None never gives up.
    """

    gives_dots: bool

    def __init__(self, feed: Feed, patience_s: float | None = None) -> None:
        self._feed = feed
        self._patience_s = math.inf if patience_s is None else patience_s
        self.name, self.camera = feed.name, feed.camera
        self.faults: list[Event] = []
        self.on_silence: Callable[[], None] | None = None
        self.on_news: Callable[[], None] | None = None
        self._size_px = feed.size_px
        self._stopping = threading.Event()
        self._changed = threading.Condition()
        self._thread: threading.Thread | None = None
        self._waiting: deque[tuple[float, Given]] = deque()  # when it came [s], and it
        self._error: Exception | None = None
        self._broke_ns: int | None = None
        self._opened = self._ended = self._taking = False
        self._next_index = self._dropped = self._reconnects = self._last_ns = 0
        self._came_s: deque[float] = deque(maxlen=4096)

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of every frame [px]; (0, 0) before the first frame told it."""
        return self._size_px or (0, 0)

    @property
    def simulated(self) -> bool:
        """Whether the frames were computed rather than filmed."""
        return self._feed.simulated

    @property
    def full_scale_dn(self) -> int:
        """Level of a pixel at full scale; 255 before a deeper picture came."""
        return self._feed.full_scale_dn

    @property
    def times(self) -> str:
        """Where the capture times come from, in words."""
        return self._feed.times

    @property
    def findings(self) -> list[Finding]:
        """What was noticed so far."""
        return self._feed.findings

    @property
    def dropped(self) -> int:
        """Frames that came or were announced and were not taken."""
        return self._dropped

    @property
    def reconnects(self) -> int:
        """How often the source was opened again after it broke."""
        return self._reconnects

    def open(self, within_s: float = OPENING_S) -> Self:
        """Begin reading, and wait until the size of the frames is known.

        Parameters
        ----------
        within_s
            How long to wait [s], > 0.

        Raises
        ------
        RushlightError
            When the source cannot be opened, in one sentence.
        """
        self._begin()
        with self._changed:
            self._changed.wait_for(
                lambda: (self._opened and self._size_px is not None) or self._ended, within_s
            )
            error, ready = self._error, self._opened and self._size_px is not None
            ended = self._ended
        if ready and error is None:
            return self
        self.stop()
        if error is not None:
            raise error
        allowed = "ended before a frame came" if ended else f"gave no frame in {within_s:g} s"
        raise RushlightError.of(
            self.name, "", allowed, "check that the camera is on and sends pictures", "no-frame"
        )

    def stop(self) -> None:
        """End the iteration, from any thread; the source is closed soon after."""
        self._stopping.set()
        with self._changed:
            self._changed.notify_all()
        self._tell_news()

    def rate_hz(self) -> float:
        """Frames that came in a second over the last seconds [Hz]; NaN before there were two."""
        with self._changed:
            came_s = list(self._came_s)
        if len(came_s) < 2:
            return math.nan
        recent = [when for when in came_s if when >= time.monotonic() - RATE_WINDOW_S]
        if len(recent) < 2:
            return 0.0
        return (len(recent) - 1) / (recent[-1] - recent[0])

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()
        if self._thread is not None:
            self._thread.join(OPENING_S)

    def begin_taking(self) -> None:
        """From here on, what is not taken is lost."""
        with self._changed:
            if not self._taking:
                # What came before anybody asked is neither stale news nor a loss.
                self._taking = True
                self._waiting.clear()
                self._next_index = self._dropped = 0
        self._begin()

    @property
    def ended(self) -> bool:
        """Whether nothing will come any more."""
        with self._changed:
            return self._stopping.is_set() or (self._ended and not self._waiting)

    def take_now(self) -> Given | None:
        """The next item if there is one, without waiting; `on_news` tells when to ask."""
        with self._changed:
            if not self._waiting and self._ended and self._error is not None:
                raise self._error
            return self._waiting.popleft()[1] if self._waiting else None

    def __iter__(self) -> Iterator[Given]:
        self.begin_taking()
        while (item := self._take()) is not None:
            yield item

    def _begin(self) -> None:
        """Start the thread, once."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name=self.name, daemon=True)
            self._thread.start()

    def _take(self) -> Given | None:
        """The next item, once there is one; None at the end."""
        while True:
            with self._changed:
                came = self._changed.wait_for(
                    lambda: self._waiting or self._ended or self._stopping.is_set(),
                    SILENCE_S,
                )
                if came:
                    if self._stopping.is_set():
                        return None
                    if not self._waiting and self._error is not None:
                        raise self._error
                    return self._waiting.popleft()[1] if self._waiting else None
            if self.on_silence is not None:
                self.on_silence()

    def _work(self) -> None:
        """Read until the source ends for good; whatever fails is raised where frames are taken."""
        try:
            self._read_again_and_again()
        except Exception as error:
            self._error = error
        finally:
            with self._changed:
                self._ended = True
                self._changed.notify_all()
            self._tell_news()

    def _read_again_and_again(self) -> None:
        """Open and read the feed, with growing pauses after it broke."""
        pause_s = FIRST_PAUSE_S
        while not self._stopping.is_set():
            began_s = time.monotonic()
            reason = self._read_once()
            if reason is None or self._stopping.is_set():
                return
            if time.monotonic() - began_s > STEADY_S:
                pause_s = FIRST_PAUSE_S
            if self._broke_ns is None:
                self._broke_ns = self._note_break(reason)
            if (time.monotonic_ns() - self._broke_ns) * 1e-9 > self._patience_s:
                self._note_gone(reason)
                return
            self._stopping.wait(pause_s)
            pause_s = min(2.0 * pause_s, LONGEST_PAUSE_S)

    def _read_once(self) -> str | None:
        """One opening of the feed, to its end: why it ended, None when it ended for good."""
        try:
            with closing(self._feed.arrivals(self._stopping)) as arrivals:
                for arrival in arrivals:
                    if self._stopping.is_set():
                        return None
                    self._put(arrival)
        except SourceBroken as broken:
            if not self._opened:
                raise RushlightError.of(
                    self.name, "", str(broken), "check the camera, its cable and its address"
                ) from broken
            return str(broken)
        except RushlightError as refused:
            if not (self._opened and self._feed.renewable):
                raise
            return refused.findings[0].allowed
        return "ended" if self._feed.renewable else None

    def _put(self, arrival: Arrival | None) -> None:
        """Number an arrival and let it wait to be taken."""
        with self._changed:
            if not self._opened:
                self._opened = True
                self._changed.notify_all()
            if self._broke_ns is not None:
                self._note_return(self._broke_ns)
                self._broke_ns = None
            if arrival is None:
                return
            if not self._fits(arrival):
                self._next_index += arrival.lost + 1
                self._dropped += arrival.lost + 1
                return
            now_s = time.monotonic()
            self._came_s.append(now_s)
            index = self._next_index + arrival.lost
            self._next_index = index + 1
            given_up = self._give_up(now_s, arrival.capture_ns)
            if self._taking:
                self._dropped += arrival.lost + given_up
            frame = Frame(
                self.camera, index, arrival.capture_ns, arrival.capture_std_ns, arrival.image
            )
            if arrival.capture_ns > self._last_ns or given_up:
                self._waiting.append((now_s, self._item(frame, arrival.dots)))
                self._last_ns = arrival.capture_ns
            else:
                self._dropped += self._taking
            self._changed.notify_all()
        self._tell_news()

    def _give_up(self, now_s: float, capture_ns: int) -> int:
        """Give up all that wait once the oldest has waited too long; how many those were.

        Of frames that came in one go, as lines of a sensor may, and so have one moment, the last
        is kept.
        """
        if not self._waiting:
            return 0
        if self._taking and now_s - self._waiting[0][0] <= WAITING_S:
            if capture_ns > self._last_ns:
                return 0
            self._waiting.pop()
            return 1
        count = len(self._waiting)
        self._waiting.clear()
        return count

    def _tell_news(self) -> None:
        if self.on_news is not None:
            self.on_news()

    @abstractmethod
    def _item(self, frame: Frame, dots: Dots | None) -> Given:
        """What is handed out of an arrival."""

    def _fits(self, arrival: Arrival) -> bool:
        """Whether a picture is of the size of the first."""
        if arrival.image is None:
            return True
        size_px = (int(arrival.image.shape[1]), int(arrival.image.shape[0]))
        if self._size_px is None:
            self._size_px = size_px
        if size_px == self._size_px:
            return True
        note_once(
            self.findings,
            Finding(
                "warning",
                "size-changes",
                self.name,
                f"{size_px[0]}×{size_px[1]} px",
                f"is not of the size of the first, {self._size_px[0]}×{self._size_px[1]} px, "
                "and such frames were passed over",
                "keep the camera as it was at registration",
            ),
        )
        return False

    def _note_break(self, reason: str) -> int:
        """Tell that the source broke; when it did [ns]."""
        now_ns = time.monotonic_ns()
        self.faults.append(Event(now_ns, "fault", detail=f"{self.name} broke: {reason}"))
        note_once(
            self.findings,
            Finding(
                "warning",
                "source-broke",
                self.name,
                "",
                f"broke while it ran ({reason}) and was opened again as soon as it could be",
                "check its cable, its power and its network",
            ),
        )
        return now_ns

    def _note_return(self, broke_ns: int) -> None:
        """Tell that the source is back."""
        now_ns = time.monotonic_ns()
        self._reconnects += 1
        away_s = (now_ns - broke_ns) * 1e-9
        self.faults.append(
            Event(now_ns, "fault", detail=f"{self.name} is back after {away_s:.1f} s")
        )

    def _note_gone(self, reason: str) -> None:
        """Tell that the source was given up."""
        finding = Finding(
            "error",
            "source-gone",
            self.name,
            "",
            f"{reason} and did not come back in {self._patience_s:g} s",
            "check its cable, its power and its network, and run again",
        )
        self.findings.append(finding)
        self.faults.append(Event(time.monotonic_ns(), "fault", detail=str(finding)))


class LiveFrames(_Reader[Frame]):
    """A live source of pictures."""

    gives_dots = False

    def _item(self, frame: Frame, dots: Dots | None) -> Frame:
        return frame


class LiveDots(_Reader[tuple[Frame, Dots]]):
    """A live source of dots; its frames have no pictures."""

    gives_dots = True

    def _item(self, frame: Frame, dots: Dots | None) -> tuple[Frame, Dots]:
        return frame, Dots.none() if dots is None else dots
