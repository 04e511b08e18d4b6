"""Several live sources taken from at once: whichever has something new, the older first."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from types import TracebackType
from typing import Self

from rushlight.capture.live import SILENCE_S, LiveDots, LiveFrames
from rushlight.errors import Finding
from rushlight.records.dots import Dots, Frame
from rushlight.records.session import Event

Given = tuple[int, Frame, Dots | None]


class LiveTogether:
    """The live sources of several cameras as one; a context manager.

    Iterating gives (number of the source, frame, its dots or None) until every source has ended.
    A source that is silent holds up no other.

    Parameters
    ----------
    sources
        Opened already.
    """

    def __init__(self, sources: Sequence[LiveFrames | LiveDots]) -> None:
        self.sources = tuple(sources)
        self.on_silence: Callable[[], None] | None = None
        self._news = threading.Event()
        for source in self.sources:
            source.on_news = self._news.set

    @property
    def simulated(self) -> bool:
        """Whether any of them is."""
        return any(source.simulated for source in self.sources)

    @property
    def dropped(self) -> int:
        """Frames of all that came and were not taken."""
        return sum(source.dropped for source in self.sources)

    @property
    def reconnects(self) -> int:
        """How often any was opened again."""
        return sum(source.reconnects for source in self.sources)

    @property
    def findings(self) -> list[Finding]:
        """What was noticed of any, each once."""
        return list(dict.fromkeys(each for source in self.sources for each in source.findings))

    @property
    def faults(self) -> list[Event]:
        """Breaks and recoveries of all, in the order of time."""
        every = [event for source in self.sources for event in source.faults]
        return sorted(every, key=lambda event: event.time_ns)

    def rate_hz(self) -> float:
        """Frames that the first one gave in a second of late; NaN before there were two."""
        return self.sources[0].rate_hz()

    def stop(self) -> None:
        """End the iteration, from any thread."""
        for source in self.sources:
            source.stop()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        with ExitStack() as stack:
            for source in self.sources:
                stack.push(source)
            self.stop()

    def __iter__(self) -> Iterator[Given]:
        for source in self.sources:
            source.begin_taking()
        while True:
            came = self._news.wait(SILENCE_S)
            self._news.clear()
            ended = all(source.ended for source in self.sources)
            taken = list(self._taken())
            yield from sorted(taken, key=lambda given: given[1].capture_ns)
            if ended and not taken:
                return
            if not came and self.on_silence is not None:
                self.on_silence()

    def _taken(self) -> Iterator[Given]:
        for number, source in enumerate(self.sources):
            while (item := source.take_now()) is not None:
                yield (number, *item) if isinstance(item, tuple) else (number, item, None)
