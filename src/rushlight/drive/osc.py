"""Open Sound Control: one bundle a frame, with the moment of capture as its time tag.

The addresses are our own and stand in `docs/outputs.md`. Source of the format: M. Wright, The
Open Sound Control 1.0 Specification (2002), "OSC Time Tags", "OSC Bundles"; from memory.
"""

from __future__ import annotations

import re
import socket
import time
from collections.abc import Sequence
from typing import Any

import numpy as np

from rushlight.drive.output import NOT_SENT, Display, Results, Step, parse_address
from rushlight.errors import Finding, RushlightError
from rushlight.records.session import Event, Fix

DEFAULT_ADDRESS = "127.0.0.1:9010"

TROUBLE_TOLD = 1
"""Findings of failed sending are told once; the count goes on."""

_UNFIT = re.compile(r"[^!-~]|[ #*,/?\[\]{}]")


def address_part(name: str) -> str:
    """A name as a part of an address: what the format reserves becomes "_".

    Parameters
    ----------
    name
        Of a carried thing or a point.

    Examples
    --------
    >>> address_part("stylus wren")
    'stylus_wren'
    """
    return _UNFIT.sub("_", name)


def bundle(
    results: Results, display: Display, capture_unix_s: float | None, sent_ns: int = -1
) -> bytes:
    """One frame's results as the bytes of one bundle.

    Parameters
    ----------
    results
        Of the frame.
    display
        Whose pixels are given beside metres.
    capture_unix_s
        Moment of capture [s] since 1970 in UTC; None writes the tag "at once".
    sent_ns
        Moment of sending on the clock of the capture times [ns]; −1 where that is not known.

    Returns
    -------
    bytes
    """
    from pythonosc.osc_bundle_builder import IMMEDIATELY, OscBundleBuilder

    tag: Any = IMMEDIATELY if capture_unix_s is None else capture_unix_s
    builder = OscBundleBuilder(tag)
    builder.add_content(_message("/rushlight/frame", "ii", (results.frame, len(results.fixes))))
    if results.fixes:
        newest = results.fixes[-1]
        since_ms = _delays_ms(results.capture_ns, newest.detect_ns, newest.map_ns, sent_ns)
        builder.add_content(_message("/rushlight/delay", "fff", since_ms))
    for event in results.events:
        if (switching := _switching(event, sent_ns)) is not None:
            builder.add_content(switching)
    for fix in results.fixes:
        builder.add_content(_place(fix, display))
    return bytes(builder.build().dgram)


class OscOutput:
    """Sends bundles as datagrams; nobody need listen.

    Parameters
    ----------
    display
        See `bundle`.
    address
        Host and port to send to.
    live
        Whether capture times are on the host's monotonic clock; otherwise the tag is "at once".

    Raises
    ------
    RushlightError
        When the host is not known.
    """

    name = "osc"

    def __init__(self, display: Display, address: str = DEFAULT_ADDRESS, live: bool = True) -> None:
        host, port = parse_address(address, "rig.toml: drive.osc", "127.0.0.1:9010")
        try:
            family, _, _, _, to = socket.getaddrinfo(host, port, type=socket.SOCK_DGRAM)[0]
        except OSError as error:
            raise RushlightError.of(
                "rig.toml: drive.osc",
                f'"{address}"',
                f"is not known here ({error.strerror or error})",
                "write the receiver's address in numbers",
                "osc-address",
            ) from None
        self.sent = self.lost = 0
        self.findings: list[Finding] = []
        self._to: Any = to
        self._display = display
        self._live = live
        self._socket = socket.socket(family, socket.SOCK_DGRAM)
        self._socket.setblocking(False)
        bundle(Results(0, 0), display, None)  # the library is loaded here and not in a frame

    def put(self, results: Results, steps: Sequence[Step]) -> int:
        """Send one frame, those without fixes and events included; see `output.Output`."""
        capture_s = None
        if self._live:
            capture_s = (time.time_ns() - time.monotonic_ns() + results.capture_ns) * 1e-9
        try:
            sent_ns = time.monotonic_ns() if self._live else NOT_SENT
            self._socket.sendto(bundle(results, self._display, capture_s, sent_ns), self._to)
        except ConnectionError:
            pass  # nobody listens at the moment, which the system tells at the next sending
        except OSError as error:
            self._failed(error)
            return NOT_SENT
        self.sent += 1
        return time.monotonic_ns()

    def close(self) -> None:
        """Close the socket."""
        self._socket.close()

    def _failed(self, error: OSError) -> None:
        self.lost += 1
        if len(self.findings) < TROUBLE_TOLD and not isinstance(error, BlockingIOError):
            self.findings.append(
                Finding(
                    "warning",
                    "osc-lost",
                    "output osc",
                    "",
                    f"could not send ({error.strerror or error}); the frames lost are counted",
                    "look at the network and at drive.osc in rig.toml",
                )
            )


def _message(address: str, types: str, values: Sequence[Any]) -> Any:
    """One message; the types are given, so that a whole number does not change its type."""
    from pythonosc.osc_message_builder import OscMessageBuilder

    builder = OscMessageBuilder(address)
    for kind, value in zip(types, values, strict=True):
        builder.add_arg(value, kind)
    return builder.build()


def _place(fix: Fix, display: Display) -> Any:
    """The message of one fix, by its dimensions."""
    carried = address_part(fix.carried)
    x, y, z = map(float, fix.position_m)
    seen = int(not fix.predicted)
    if fix.dimensions == 2:
        x_px, y_px = display.px(x, y)
        std_m = float(np.sqrt(np.trace(fix.cov[:2, :2]) / 2.0))
        return _message(
            f"/rushlight/spot/{carried}", "ifffffi", (fix.trail, x, y, x_px, y_px, std_m, seen)
        )
    point = address_part(fix.point)
    if fix.dimensions == 3:
        return _message(f"/rushlight/point/{carried}/{point}", "ifffi", (fix.trail, x, y, z, seen))
    return _message(
        f"/rushlight/pose/{carried}",
        "ifffffffi",
        (fix.trail, x, y, z, *map(float, fix.quaternion), seen),
    )


def _delays_ms(since_ns: int, *moments_ns: int) -> list[float]:
    """Moments counted from one, so that they fit into short floats [ms]; NaN if unknown."""
    return [(each - since_ns) * 1e-6 if each >= 0 else np.nan for each in moments_ns]


def _switching(event: Event, sent_ns: int) -> Any:
    """The message of a light that goes on or off; None for other events."""
    words = {"switch-down": "down", "switch-up": "up"}
    if event.kind not in words or event.carried is None:
        return None
    moments_ns = (event.capture_ns, event.detect_ns, event.map_ns, sent_ns)
    return _message(
        f"/rushlight/{words[event.kind]}/{address_part(event.carried)}",
        "iffff",
        (event.trail, *_delays_ms(event.time_ns, *moments_ns)),
    )
