"""Cameras that send JPEG pictures over HTTP, one part after another: see `parts`."""

from __future__ import annotations

import http.client
import math
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Generator
from contextlib import closing
from email.message import Message
from typing import Any

from rushlight.capture.address import basic_login, masked, split_address, without_login
from rushlight.capture.clock import Stamper
from rushlight.capture.device import UNDECODED
from rushlight.capture.feed import Arrival, SourceBroken
from rushlight.capture.parts import Readable, parts_of
from rushlight.capture.settings import CameraSettings
from rushlight.errors import Finding, RushlightError
from rushlight.opencv.video import jpeg_in_grey

SILENCE_S = 3.0
"""A stream silent for so long counts as broken [s]; no source."""

STAMP = "X-Timestamp"
"""Header in which some cameras write the time in seconds; common practice, no source."""


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
