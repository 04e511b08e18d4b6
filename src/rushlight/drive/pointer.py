"""Pointer events for browsers, pushed over a socket by a process of its own."""

from __future__ import annotations

import contextlib
import json
import multiprocessing
import socket
import time
from collections.abc import Sequence

from rushlight.drive.contacts import WaitingSteps
from rushlight.drive.departures import Departures
from rushlight.drive.listening import listen
from rushlight.drive.origin import is_loopback
from rushlight.drive.output import NOT_SENT, Display, Results, Step, parse_address
from rushlight.drive.pointer_server import Serving, serve
from rushlight.drive.pointer_wire import message
from rushlight.errors import Finding, RushlightError

DEFAULT_ADDRESS = "127.0.0.1:8790"

START_S = 20.0
"""Longest wait for the server's first word; it takes about a second on a slow machine."""

STOP_S = 3.0
"""Longest wait for the server's end before it is ended by force."""


class PointerOutput:
    """Serves the page and the socket by which browsers receive W3C pointer events.

    Steps are written straight to a local socket that never blocks. When the server does not
    read for a while, steps wait here, of places the newest alone.

    Parameters
    ----------
    display
        Whose pixels the steps are in.
    address
        Host and port; port 0 takes any that is free.
    live
        Whether capture times are on the host's monotonic clock; then a page knows the delay.
    departures
        Told of messages that had to wait for room, as they leave.

    Attributes
    ----------
    url
        Of the page.
    sent, lost, findings
        See `output.Output`; lost counts steps given up on the way to a page too.

    Raises
    ------
    RushlightError
        When the address cannot be had, or the server does not start.
    """

    name = "pointer"

    def __init__(
        self,
        display: Display,
        address: str = DEFAULT_ADDRESS,
        live: bool = True,
        departures: Departures | None = None,
    ) -> None:
        host, port = parse_address(address, "rig.toml: drive.pointer")
        listening = listen(
            host, port, "rig.toml: drive.pointer", address,
            "end the other run that serves there, or choose another port", "pointer-address",
        )  # fmt: skip
        port = listening.getsockname()[1]
        self.findings: list[Finding] = []
        self.sent = 0
        self._live = live
        self._waiting = WaitingSteps()
        self._departures = departures or Departures()
        self._heard = b""
        self._unwritten = b""
        self._frames_late: list[int] = []
        self._listening = self._lost_there = 0
        self._ended = False
        shown = f"[{host}]" if ":" in host else host
        if not is_loopback(host):
            self.findings.append(_opened(address))
            shown = socket.gethostname() if host in ("0.0.0.0", "::") else shown
        self.url = f"http://{shown}:{port}/"
        self._socket, theirs = socket.socketpair()
        serving = Serving(display.pixels, display.size_m, live, not is_loopback(host))
        self._process = multiprocessing.get_context("spawn").Process(
            target=serve, args=(listening, theirs, serving), name="rushlight-pointer", daemon=True
        )
        try:
            self._process.start()
        finally:
            listening.close()
            theirs.close()
        self._await_first_word()

    @property
    def listening(self) -> int:
        """How many pages listen, as far as the server has told."""
        self._hear()
        return self._listening

    @property
    def lost(self) -> int:
        """Steps given up because newer ones came before they could leave."""
        return self._waiting.lost + self._lost_there

    def put(self, results: Results, steps: Sequence[Step]) -> int:
        """Write the steps to the server's socket; see `output.Output`."""
        if self._ended:
            return NOT_SENT
        self._hear()
        self._waiting.add(steps)
        if not self._flush():
            return NOT_SENT
        self._departures.left(self.name, self._frames_late, time.monotonic_ns())
        self._frames_late = []
        if not len(self._waiting):
            return NOT_SENT
        sent_ns = time.monotonic_ns()
        leaving = self._waiting.take()
        self._unwritten = message(leaving, sent_ns, self._live).encode() + b"\n"
        self.sent += 1
        frames = [step.frame for step in leaving if step.frame != results.frame]
        if not self._flush():
            self._frames_late = [*frames, results.frame]
            return NOT_SENT
        self._departures.left(self.name, frames, sent_ns)
        return sent_ns

    def close(self) -> None:
        """End the server; pages call off what is down, and try to come back."""
        if not self._ended:
            self._socket.setblocking(True)
            self._socket.settimeout(0.2)
            rest = self._unwritten
            if len(self._waiting):
                steps = self._waiting.take()
                rest += message(steps, time.monotonic_ns(), self._live).encode() + b"\n"
            with contextlib.suppress(OSError):  # gone or stuck, it ends below in either case
                self._socket.sendall(rest)
        self._ended = True
        self._socket.close()
        self._process.join(STOP_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()

    def _flush(self) -> bool:
        """Write what is left of the last message; whether nothing is left."""
        try:
            while self._unwritten:
                self._unwritten = self._unwritten[self._socket.send(self._unwritten) :]
        except BlockingIOError:
            return False
        except OSError:
            self._end("its process has ended")
            return False
        return True

    def _hear(self) -> None:
        """Read what the server has told."""
        if self._ended:
            return
        try:
            while chunk := self._socket.recv(4096):
                self._heard += chunk
            self._end("its process has ended")
        except BlockingIOError:
            pass
        except OSError:
            self._end("its process has ended")
        *lines, self._heard = self._heard.split(b"\n")
        for line in lines:
            state = json.loads(line)
            self._listening, self._lost_there = state["listening"], state["lost"]

    def _end(self, why: str) -> None:
        """Note once that nothing leaves here any more."""
        if not self._ended:
            self._ended, self._listening = True, 0
            self.findings.append(
                Finding(
                    "warning",
                    "output-ended",
                    "output pointer",
                    "",
                    f"is off from here on: {why}",
                    "start the run anew",
                )
            )

    def _await_first_word(self) -> None:
        """Wait until the server answers."""
        until_s = time.monotonic() + START_S
        self._socket.settimeout(0.1)
        while b"\n" not in self._heard:
            chunk: bytes | None
            try:
                chunk = self._socket.recv(4096)
            except TimeoutError:
                chunk = b"" if time.monotonic() > until_s else None
            if chunk is not None:
                self._heard += chunk
            if chunk == b"" or not self._process.is_alive():
                self._process.kill()
                self._process.join()
                self._socket.close()
                raise RushlightError.of(
                    "output pointer",
                    "",
                    "did not start",
                    "leave it out, or see what its process printed above",
                    "pointer-start",
                )
        self._socket.setblocking(False)
        self._hear()


def _opened(address: str) -> Finding:
    return Finding(
        "warning",
        "pointer-open",
        "rig.toml: drive.pointer",
        f'"{address}"',
        "opens the pointers to the network: everyone in it can watch where hands move",
        'use "127.0.0.1:8790" unless another machine shows the page',
    )
