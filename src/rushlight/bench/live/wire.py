"""How the work talks to the live process: one JSON object a message, with bytes after it.

A message is the lengths of both parts, each as four bytes, big-endian; then the JSON; then the
bytes. What the work says goes through an `Outbox`, which never waits: of states and pictures the
newest is kept, of places the newest of each pointer, and coming down, going up, results and
findings are never given up.
"""

from __future__ import annotations

import contextlib
import dataclasses
import json
import math
import socket
import struct
import threading
import time
from collections import deque
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.drive.contacts import WaitingSteps
from rushlight.drive.output import Step
from rushlight.drive.pointer_wire import row_of
from rushlight.errors import Finding

Body = dict[str, Any]

HEAD = struct.Struct(">II")

MOST_BYTES = 1 << 26
"""A longer message is taken for nonsense; no source."""

MOST_SWITCHES = 64
"""Switch events that wait for a slow reader; no source."""

CLOSING_S = 2.0
"""Longest wait for the last words to leave [s]; no source."""


def plain(value: Any) -> Any:
    """A value as JSON can hold it: records as objects, what is no finite number as null."""
    if isinstance(value, Finding):
        return {**value.as_dict(), "sentence": str(value)}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {each.name: plain(getattr(value, each.name)) for each in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(key): plain(each) for key, each in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if isinstance(value, list | tuple | set | frozenset | deque):
        return [plain(each) for each in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return str(value) if isinstance(value, Path) else value


def text_of(body: Body) -> str:
    """A body as JSON without spaces or line breaks."""
    return json.dumps(plain(body), separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def packed(body: Body, more: bytes = b"") -> bytes:
    """A whole message."""
    content = text_of(body).encode()
    return HEAD.pack(len(content), len(more)) + content + more


class Splitter:
    """Cuts a stream of bytes into messages."""

    def __init__(self) -> None:
        self._rest = bytearray()

    def feed(self, chunk: bytes) -> list[tuple[str, bytes]]:
        """The messages that are whole now: JSON text and the bytes after it.

        Raises
        ------
        ValueError
            When the stream makes no sense.
        """
        self._rest += chunk
        whole = []
        while len(self._rest) >= HEAD.size:
            text, more = HEAD.unpack_from(self._rest)
            if text + more > MOST_BYTES:
                raise ValueError(f"expected at most {MOST_BYTES} bytes, got {text + more}")
            middle, end = HEAD.size + text, HEAD.size + text + more
            if len(self._rest) < end:
                break
            whole.append((self._rest[HEAD.size : middle].decode(), bytes(self._rest[middle:end])))
            del self._rest[:end]
        return whole


@dataclasses.dataclass
class Moved:
    """What pointers, places and switches did since it was last taken."""

    steps: WaitingSteps = dataclasses.field(default_factory=WaitingSteps)
    spots: list[Any] | None = None
    switches: deque[Any] = dataclasses.field(default_factory=lambda: deque(maxlen=MOST_SWITCHES))
    frame: int = -1
    capture_ms: float = 0.0

    def __bool__(self) -> bool:
        return bool(len(self.steps)) or self.spots is not None or bool(self.switches)

    def add(
        self,
        steps: Iterable[Step],
        spots: list[Any] | None,
        switches: Iterable[Any],
        frame: int,
        capture_ms: float,
    ) -> None:
        """One frame's; its spots replace those that wait."""
        self.steps.add(steps)
        if spots is not None:
            self.spots = spots
        self.switches.extend(switches)
        self.frame, self.capture_ms = frame, capture_ms

    def take(self, sent_ms: float) -> Body:
        """All of it, as the body of one message; nothing waits afterwards."""
        body: Body = {
            "is": "frame",
            "frame": self.frame,
            "capture_ms": self.capture_ms,
            "sent_ms": sent_ms,
            "steps": [row_of(step, True) for step in self.steps.take()],
            "spots": self.spots,
            "switches": list(self.switches),
        }
        self.spots = None
        self.switches.clear()
        return body


class Outbox:
    """What the work says, on its way out; any thread may put, and none waits.

    Parameters
    ----------
    to
        The socket; it is made one that never blocks.
    """

    def __init__(self, to: socket.socket) -> None:
        to.setblocking(False)
        self._to = to
        self._lock = threading.Lock()
        self._unwritten = memoryview(b"")
        self._sure: deque[bytes] = deque()
        self._slots: dict[str, tuple[Body, bytes]] = {}
        self._moved = Moved()
        self._gone = False

    @property
    def lost(self) -> int:
        """Places that newer ones overtook here."""
        return self._moved.steps.lost

    def say(self, body: Body) -> None:
        """Something that must arrive."""
        with self._lock:
            self._sure.append(packed(body))
            self._flush()

    def newest(self, slot: str, body: Body, more: bytes = b"") -> None:
        """Something of which only the newest matters; a slot holds one."""
        with self._lock:
            self._slots[slot] = (body, more)
            self._flush()

    def moved(
        self,
        steps: Iterable[Step],
        spots: list[Any] | None,
        switches: Iterable[Any],
        frame: int,
        capture_ns: int,
    ) -> None:
        """What one frame told."""
        with self._lock:
            self._moved.add(steps, spots, switches, frame, round(capture_ns * 1e-6, 3))
            self._flush()

    def close(self) -> None:
        """Let the last words leave, if anybody hears them."""
        until_s = time.monotonic() + CLOSING_S
        while time.monotonic() < until_s:
            with self._lock:
                if self._flush():
                    return
            time.sleep(0.002)

    def _flush(self) -> bool:
        """Write what can be written; whether nothing is left."""
        with contextlib.suppress(BlockingIOError):
            try:
                while self._unwritten or self._next():
                    self._unwritten = self._unwritten[self._to.send(self._unwritten) :]
            except BlockingIOError:
                raise
            except OSError:
                self._gone = True
            return True
        return self._gone

    def _next(self) -> bool:
        """Take up the next message; whether there is one."""
        if self._gone:
            return False
        if self._sure:
            message = self._sure.popleft()
        elif self._moved:
            message = packed(self._moved.take(round(time.monotonic_ns() * 1e-6, 3)))
        elif self._slots:
            message = packed(*self._slots.pop(next(iter(self._slots))))
        else:
            return False
        self._unwritten = memoryview(message)
        return True
