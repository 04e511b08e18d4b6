"""What waits for each open page: a few frames, then the newest; so a slow page slows nobody."""

from __future__ import annotations

import asyncio
import json
from collections import deque
from dataclasses import dataclass, field
from typing import Any

from rushlight.bench.live.wire import Body, Moved, text_of
from rushlight.drive.pointer_wire import step_of

MOST_WORDS = 64
"""Messages without a slot that wait for a slow page before the oldest is given up; no source."""

MOST_FRAMES = 8
"""Frames that wait one by one, whole, before they are merged into the newest; our own choice."""


@dataclass(eq=False)
class Listener:
    """A page, or a desk, that hears events; and what waits for it.

    Attributes
    ----------
    page
        What it calls itself.
    ready
        Whether its user has begun: it is past its start sheet.
    dropped
        Messages given up because newer ones came.
    """

    page: str = ""
    ready: bool = False
    dropped: int = 0
    news: asyncio.Event = field(default_factory=asyncio.Event)
    _words: deque[str] = field(default_factory=deque)
    _slots: dict[str, str] = field(default_factory=dict)
    _frames: deque[tuple[str, Body]] = field(default_factory=deque)
    _moved: Moved = field(default_factory=Moved)
    _sent_ms: float = 0.0

    @property
    def lost(self) -> int:
        """Places that newer ones overtook, and messages given up."""
        return self._moved.steps.lost + self.dropped

    def say(self, text: str) -> None:
        """One message, in order."""
        self._words.append(text)
        if len(self._words) > MOST_WORDS:
            self._words.popleft()
            self.dropped += 1
        self.news.set()

    def newest(self, slot: str, text: str) -> None:
        """One of which only the newest matters."""
        self._slots[slot] = text
        self.news.set()

    def frame(self, text: str, body: Body) -> None:
        """What a frame told: as it stands while few wait, else merged with what waits."""
        self._frames.append((text, body))
        if self._moved or len(self._frames) > MOST_FRAMES:
            while self._frames:
                self._merge(self._frames.popleft()[1])
        self.news.set()

    def take(self) -> list[str]:
        """All that waits: what is said once, then the newest of each slot, then the frames."""
        self.news.clear()
        taken = [*self._words, *self._slots.values()]
        self._words.clear()
        self._slots.clear()
        taken += [text for text, _ in self._frames]
        self._frames.clear()
        if self._moved:
            taken.append(text_of(self._moved.take(self._sent_ms)))
        return taken

    def _merge(self, body: Body) -> None:
        self._sent_ms = body["sent_ms"]
        self._moved.add(
            map(step_of, body["steps"]),
            body["spots"],
            body["switches"],
            body["frame"],
            body["capture_ms"],
        )


@dataclass(eq=False)
class Looker:
    """A page that looks at the picture; only the newest waits for it."""

    picture: bytes | None = None
    dropped: int = 0
    news: asyncio.Event = field(default_factory=asyncio.Event)

    def put(self, picture: bytes) -> None:
        """Show this one next."""
        self.dropped += self.picture is not None
        self.picture = picture
        self.news.set()

    def take(self) -> bytes:
        """The newest."""
        self.news.clear()
        picture, self.picture = self.picture, None
        return picture or b""


def see_message(head: Body, picture: bytes) -> bytes:
    """Dots and picture of one frame as one message: length of the head, head, picture.

    Parameters
    ----------
    head
        Frame, capture_ms, size_px of the camera, picture_px, dots as [x, y, carried, lit].
    picture
        JPEG.
    """
    content = text_of(head).encode()
    return len(content).to_bytes(4, "big") + content + picture


def see_parts(message: bytes) -> tuple[Any, bytes]:
    """Head and picture of such a message."""
    middle = 4 + int.from_bytes(message[:4], "big")
    return json.loads(message[4:middle]), message[middle:]
