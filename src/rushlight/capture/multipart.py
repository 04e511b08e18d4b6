"""Cameras that send JPEG pictures over HTTP, one part after another.

The parts are those of RFC 2046, section 5.1, under the type ``multipart/x-mixed-replace``. What
low-cost cameras and phones send is sloppier, and is read all the same: boundaries with or without
their dashes, parts with or without their length.
"""

from __future__ import annotations

import http.client
import math
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Generator, Iterator
from contextlib import closing
from email.message import Message
from typing import Any, Protocol

from rushlight.capture.address import basic_login, masked, split_address, without_login
from rushlight.capture.clock import Stamper
from rushlight.capture.device import UNDECODED
from rushlight.capture.feed import Arrival, SourceBroken
from rushlight.capture.settings import CameraSettings
from rushlight.errors import Finding, RushlightError
from rushlight.opencv.video import jpeg_in_grey

SILENCE_S = 3.0
"""A stream silent for so long counts as broken [s]; no source."""

MOST_BYTES = 64 * 2**20
"""No picture is longer [bytes]; no source. It keeps a stream of rubbish from filling memory."""

STAMP = "X-Timestamp"
"""Header in which some cameras write the time in seconds; common practice, no source."""


class Readable(Protocol):
    """A stream of bytes."""

    def readline(self, limit: int = -1, /) -> bytes:
        """Up to and with the next line feed."""

    def read(self, amount: int = -1, /) -> bytes:
        """So many bytes, or what is left."""


class MultipartFeed:
    """A camera's stream of JPEG pictures.

    Parameters
    ----------
    address
        As the user gave it; a name and password in it log in.
    settings
        What is known of the camera.
    """

    simulated = False
    full_scale_dn = 255
    renewable = True

    def __init__(self, address: str, settings: CameraSettings) -> None:
        self._parts = split_address(address)
        self.name, self.camera = masked(address), settings.camera
        self.size_px: tuple[int, int] | None = None
        self.times = "arrival, by the host's clock"
        self.findings: list[Finding] = []
        self._settings = settings

    def arrivals(self, stopping: threading.Event) -> Generator[Arrival | None, None, None]:
        """Ask for the stream, and give its pictures.

        Raises
        ------
        RushlightError
            When the address gives something else.
        SourceBroken
            When the stream cannot be reached, ends, or falls silent.
        """
        with closing(self._response()) as response:
            boundary = self._boundary(response.headers)
            try:
                yield from self._pictures(response, boundary, stopping)
            except TimeoutError:
                raise SourceBroken(f"fell silent for {SILENCE_S:g} s") from None
            except (OSError, http.client.HTTPException) as error:
                raise SourceBroken(f"broke off ({_reason(error)})") from None
        raise SourceBroken("closed the connection")

    def _pictures(
        self, response: Readable, boundary: bytes, stopping: threading.Event
    ) -> Generator[Arrival | None, None, None]:
        stamper = Stamper(self._settings.exposure_s, self._settings.delay_s)
        lost = failed = 0
        for headers, content in parts_of(response, boundary):
            arrived_ns = time.monotonic_ns()
            if stopping.is_set():
                return
            image = jpeg_in_grey(content)
            if image is None:
                lost, failed = lost + 1, failed + 1
                if failed >= UNDECODED:
                    raise SourceBroken("sends parts that are no JPEG pictures")
                continue
            source_ns = _stamp_ns(headers)
            capture_ns, std_ns = stamper(arrived_ns, source_ns)
            if source_ns is not None and not stamper.unfit:
                self.times = "the stream's stamps, on the host's clock"
            yield Arrival(capture_ns, std_ns, image, lost=lost)
            lost = failed = 0

    def _response(self) -> Any:
        """The answer to the request."""
        request = urllib.request.Request(without_login(self._parts))
        login = basic_login(self._parts)
        if login is not None:
            request.add_header("Authorization", login)
        # A camera in the room is asked directly, whatever stands between here and the world.
        opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        try:
            return opener.open(request, timeout=SILENCE_S)
        except urllib.error.HTTPError as error:
            with error:
                if error.code == 401:
                    raise RushlightError.of(
                        self.name,
                        "",
                        "asks for a name and password that it accepts",
                        "write them before the host: http://name:password@…",
                        "address-login",
                    ) from None
                raise SourceBroken(f"answers {error.code} {error.reason}") from None
        except TimeoutError:
            raise SourceBroken(f"does not answer in {SILENCE_S:g} s") from None
        except (OSError, http.client.HTTPException) as error:
            raise SourceBroken(f"cannot be reached ({_reason(error)})") from None

    def _boundary(self, headers: Message) -> bytes:
        """What stands between the parts."""
        kind, boundary = headers.get_content_type(), headers.get_param("boundary")
        if headers.get_content_maintype() == "multipart" and isinstance(boundary, str):
            return boundary.strip().encode("latin-1", "replace")
        what = {"text/html": "a page", "image/jpeg": "a single picture"}.get(kind, kind)
        raise RushlightError.of(
            self.name,
            "",
            f"gives {what} instead of a stream of pictures",
            "give the address of the stream itself, which the camera's own page or leaflet tells",
            "address-no-stream",
        )


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
    mark = b"--" + boundary.lstrip(b"-")
    line = stream.readline(MOST_BYTES)
    while line:
        if not _is_mark(line, mark):
            line = stream.readline(MOST_BYTES)
            continue
        if line.strip().endswith(mark + b"--"):
            return
        headers = http.client.parse_headers(stream)
        length = headers.get("Content-Length", "").strip()
        if length.isascii() and length.isdigit():
            content, line = _counted(stream, int(length)), b""
            if content is None:
                return
        else:
            content, line = _until(stream, mark)
            if not line:
                return  # cut in the middle of a picture
        yield headers, content
        line = line or stream.readline(MOST_BYTES)


def _is_mark(line: bytes, mark: bytes) -> bool:
    """Whether a line begins a part; extra dashes before it are forgiven."""
    bare = line.strip()
    return bare.startswith(b"--") and (b"--" + bare.lstrip(b"-")).startswith(mark)


def _counted(stream: Readable, length: int) -> bytes | None:
    """So many bytes, None where the stream ends within them."""
    if length > MOST_BYTES:
        raise SourceBroken(f"sends a part of {length} bytes")
    content = stream.read(length)
    return content if len(content) == length else None


def _until(stream: Readable, mark: bytes) -> tuple[bytes, bytes]:
    """What stands before the next mark, and the mark's line; empty at the end of the stream."""
    lines: list[bytes] = []
    total = 0
    while line := stream.readline(MOST_BYTES):
        if _is_mark(line, mark):
            return b"".join(lines).removesuffix(b"\n").removesuffix(b"\r"), line
        lines.append(line)
        total += len(line)
        if total > MOST_BYTES:
            raise SourceBroken("sends a part without an end")
    return b"", b""


def _stamp_ns(headers: Message) -> int | None:
    """The camera's own time of a picture [ns], None where it tells none."""
    text = headers.get(STAMP, "").strip()
    try:
        stamp_s = float(text)
    except ValueError:
        return None
    return round(stamp_s * 1e9) if math.isfinite(stamp_s) and stamp_s > 0 else None


def _reason(error: Exception) -> str:
    """Why the network failed, in the system's words."""
    inner = error.reason if isinstance(error, urllib.error.URLError) else error
    if isinstance(inner, OSError) and inner.strerror:
        return inner.strerror
    return str(inner) or type(inner).__name__
