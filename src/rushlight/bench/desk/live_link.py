"""The desk's line to the live process: orders go out, and its newest state comes in."""

from __future__ import annotations

import asyncio
import contextlib
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from rushlight.errors import RushlightError

if TYPE_CHECKING:
    from rushlight.bench.live.control import Place

_AGAIN_S = 0.5
"""Wait before the line is made anew [s]; no source."""

_OPEN_S = 60.0
"""Longest wait for a line [s]; no source."""


class Going(NamedTuple):
    """An act that goes on, and the name of its rig."""

    act: str
    rig: str


class LiveLink:
    """A line to the folder's live process, which is started when it is wanted first.

    The process outlives the desk: a desk that is started anew finds it again, with whatever it
    is at. When the line breaks it is made anew.

    Parameters
    ----------
    folder
        With rigs in it.

    Attributes
    ----------
    state
        The newest state of the live process; empty before the first.
    result
        What the last act that ended gave, or None.
    findings
        Why the last act failed, as plain values.
    changes
        Grows with everything that comes, so that each page sees for itself what it has not shown.
    lines
        How often the line was made; the live process forgets what was typed with each that ends.
    folder
        Of the rigs.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.changes = self.lines = 0
        self._place: Place | None = None
        self._socket: Any = None
        self._hearing: asyncio.Task[None] | None = None
        self._connected = asyncio.Event()
        self._told = asyncio.Event()
        self._news = asyncio.Event()
        self._opening = asyncio.Lock()
        self.state: dict[str, Any] = {}
        self.result: dict[str, Any] | None = None
        self.findings: list[dict[str, str]] = []

    @property
    def url(self) -> str:
        """Of its pages, with the last slash; empty before it is open."""
        return self._place.url if self._place else ""

    @property
    def connected(self) -> bool:
        """Whether the line stands now."""
        return self._connected.is_set()

    @property
    def going(self) -> Going | None:
        """What goes on and would be ended by another start; None while nothing is known of it."""
        if self.state.get("stage") not in ("starting", "running"):
            return None
        return Going(str(self.state.get("act")), str(self.state.get("rig")))

    async def find(self) -> None:
        """Keep a line to the live process if there is one, and start none."""
        from rushlight.bench.live.control import read_place

        if await asyncio.to_thread(read_place, self.folder) is not None:
            await self.open()

    async def open(self) -> None:
        """Find the live process or start it, keep a line to it, and know how it stands.

        Raises
        ------
        RushlightError
            When it does not come to be.
        """
        from rushlight.bench.live.control import start_live

        # Heard from the first, so that a process that comes late, or that another desk started
        # after all, is found without asking again.
        if self._hearing is None or self._hearing.done():
            self._hearing = asyncio.create_task(self._hear())
        async with self._opening:  # of several pages that want it at once, one starts it
            self._place = await asyncio.to_thread(start_live, self.folder)
        try:
            await asyncio.wait_for(self._told.wait(), _OPEN_S)
        except TimeoutError:
            raise RushlightError.of(
                "bench", self.url, "does not answer", "end it and try again", "live-mute"
            ) from None

    async def start(
        self,
        act: str,
        rig: str,
        source: str | None = None,
        out: str | None = None,
        options: dict[str, Any] | None = None,
    ) -> None:
        """Let an act begin; the live process itself opens its camera."""
        self.result, self.findings = None, []
        await self.send(
            {
                "do": "start",
                "act": act,
                "rig": rig,
                "source": source,
                "out": out,
                "options": options or {},
            }
        )

    async def say(self, act: str, message: dict[str, Any]) -> None:
        """Tell a running act something, such as ``{"redo": 3}``."""
        await self.send({"do": "say", "to": act, "message": message})

    async def stop(self) -> None:
        """End the running act."""
        await self.send({"do": "stop"})

    async def send(self, message: dict[str, Any]) -> None:
        """Send an order, opening the line first where it is not.

        Raises
        ------
        RushlightError
            When there is nobody to send it to.
        """
        from websockets.exceptions import ConnectionClosed

        if self._connected.is_set():
            try:
                await self._socket.send(json.dumps(message))
                return
            except ConnectionClosed:  # it has ended; another is found or started
                self._connected.clear()
        await self.open()
        await self._socket.send(json.dumps(message))

    async def news(self, timeout_s: float = 1.0) -> bool:
        """Wait for something new; whether there was before the time was over."""
        try:
            await asyncio.wait_for(self._news.wait(), timeout_s)
        except TimeoutError:
            return False
        self._news.clear()
        return True

    async def close(self) -> None:
        """Hang up; the live process goes on."""
        if self._hearing is not None:
            self._hearing.cancel()
            await asyncio.gather(self._hearing, return_exceptions=True)

    async def _hear(self) -> None:
        from websockets.asyncio.client import connect
        from websockets.exceptions import WebSocketException

        from rushlight.bench.live.control import read_place

        while True:
            place = await asyncio.to_thread(read_place, self.folder)
            if place is not None:
                self._place = place
                with contextlib.suppress(OSError, WebSocketException, TimeoutError):
                    async with connect(place.control_url, compression=None) as socket:
                        self._socket = socket
                        self.lines += 1
                        self._connected.set()
                        async for text in socket:
                            self._take(json.loads(text))
            self._connected.clear()
            self._told.clear()
            self.state = {}
            self.changes += 1
            self._news.set()
            await asyncio.sleep(_AGAIN_S)

    def _take(self, message: dict[str, Any]) -> None:
        match message.get("is"):
            case "state":
                self.state = message
                self._told.set()
            case "done":
                self.result = message
            case "failed":
                self.findings = message.get("findings", [])
        self.changes += 1
        self._news.set()


_links: dict[Path, LiveLink] = {}


def live_link(folder: Path) -> LiveLink:
    """The one line of this desk to a folder's live process."""
    return _links.setdefault(folder.resolve(), LiveLink(folder.resolve()))


def desk_link() -> LiveLink:
    """The line of the folder that this desk serves; `live_link` was called with it before."""
    return next(iter(_links.values()))
