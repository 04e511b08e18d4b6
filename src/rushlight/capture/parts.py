"""A multipart stream taken apart, each part as soon as its last byte is here.

The parts are those of RFC 2046, section 5.1, under the type ``multipart/x-mixed-replace``. What
low-cost cameras and phones send is sloppier, and is read all the same: boundaries with or without
their dashes, parts with or without their length. Where the length is not told, a picture's own end
ends its part: waiting for the next boundary would cost the time of a whole frame.
"""

from __future__ import annotations

import http.client
from collections.abc import Iterator
from email.message import Message
from typing import Protocol

from rushlight.capture.feed import SourceBroken
from rushlight.capture.jpeg_end import JpegEnd

MOST_BYTES = 64 * 2**20
"""No picture is longer [bytes]; no source. It keeps a stream of rubbish from filling memory."""

AT_ONCE = 1 << 16
"""Bytes that are asked of the network at a time; no source."""


class Readable(Protocol):
    """A stream of bytes."""

    def read1(self, amount: int = -1, /) -> bytes:
        """What is there, so many bytes at most; waits for one at least; empty at the end."""


def parts_of(stream: Readable, boundary: bytes) -> Iterator[tuple[Message, bytes]]:
    """The parts of a multipart stream, one after another.

    Parameters
    ----------
    stream
        At its start.
    boundary
        As the stream's type names it, with or without leading dashes.

    Yields
    ------
    headers : email.message.Message
    content : bytes

    Raises
    ------
    SourceBroken
        When a part is longer than any picture.
    """
    held = _Held(stream)
    mark = b"--" + boundary.lstrip(b"-")
    while line := held.readline(MOST_BYTES):
        if _begins(line.lstrip(), mark) != 0:
            continue
        if line.strip().endswith(mark + b"--"):
            return
        headers = http.client.parse_headers(held)  # type: ignore[arg-type]
        length = headers.get("Content-Length", "").strip()
        counted = length.isascii() and length.isdigit()
        content = held.read(int(length)) if counted else _until(held, mark)
        if content is None:
            return  # cut in the middle of a picture
        yield headers, content


class _Held:
    """What has come of a stream and was not used yet."""

    def __init__(self, stream: Readable) -> None:
        self.bytes = bytearray()
        self._stream = stream

    def more(self) -> bool:
        """Wait for some bytes; False at the end."""
        chunk = self._stream.read1(AT_ONCE)
        self.bytes += chunk
        return bool(chunk)

    def take(self, amount: int) -> bytes:
        """The first so many bytes of what is held."""
        taken = bytes(self.bytes[:amount])
        del self.bytes[:amount]
        return taken

    def readline(self, limit: int) -> bytes:
        """Up to and with the next line feed, or so many bytes, or what is left at the end."""
        looked = 0
        while (end := self.bytes.find(b"\n", looked, limit)) < 0 and len(self.bytes) < limit:
            looked = len(self.bytes)
            if not self.more():
                return self.take(len(self.bytes))
        return self.take(end + 1 if end >= 0 else limit)

    def read(self, amount: int) -> bytes | None:
        """So many bytes, None where the stream ends within them."""
        if amount > MOST_BYTES:
            raise SourceBroken(f"sends a part of {amount} bytes")
        while len(self.bytes) < amount:
            if not self.more():
                return None
        return self.take(amount)


def _begins(content: bytes | bytearray, mark: bytes, start: int = 0, end: int | None = None) -> int:
    """Where a line with the mark begins, −1 where none does.

    Extra dashes and blanks before the mark are forgiven.
    """
    at = content.find(mark, start, end)
    while at >= 0:
        first = at
        while first > 0 and content[first - 1] in b"- \t":
            first -= 1
        if first == 0 or content[first - 1] == ord("\n"):
            return first
        at = content.find(mark, at + 1, end)
    return -1


def _until(held: _Held, mark: bytes) -> bytes | None:
    """A part without length: up to its picture's end, or the next boundary if that comes first.

    None at the end of the stream.
    """
    picture = JpegEnd()
    looked = 0
    while True:
        end = picture.find(held.bytes)
        line = _begins(held.bytes, mark, looked, end if end >= 0 else None)
        if line >= 0:
            return held.take(line).removesuffix(b"\n").removesuffix(b"\r")
        if end >= 0:
            return held.take(end)
        if len(held.bytes) > MOST_BYTES:
            raise SourceBroken("sends a part without an end")
        looked = max(len(held.bytes) - len(mark), 0)  # a mark may have come in part
        if not held.more():
            return None
