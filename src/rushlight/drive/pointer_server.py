"""The process that serves pages and pushes pointer steps to them.

It lives apart from the tracker, so that neither waits for the other: beside a busy Python thread
a server in the same process is kept waiting for the interpreter. It is started by
`pointer.PointerOutput`, hears steps over a local socket, and ends when that socket closes,
whatever befell the tracker.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import signal
import socket
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import Any

from rushlight.drive.contacts import WaitingSteps
from rushlight.drive.origin import may_listen
from rushlight.drive.pointer_wire import VERSION, message, step_of

PAGE_FOLDER = Path(__file__).parent / "page"

PAGE_FILES = {
    "index.html": "text/html",
    "mark.svg": "image/svg+xml",
    "page.css": "text/css",
    "page.js": "text/javascript",
    "pointer.js": "text/javascript",
}

POLICY = "default-src 'self'; connect-src 'self' ws: wss:; frame-ancestors 'self'"
"""Content security policy of the pages: nothing from elsewhere (W3C CSP level 3)."""

TELL_EVERY_S = 0.25
"""How often at most the tracker is told of new losses [s]; no source."""

CLOSING_S = 1
"""Time that open connections are given to close."""

FOREIGN_CODE = 1008
"""Close code for a page that may not listen: policy violation (RFC 6455, section 7.4.1)."""


@dataclass(frozen=True)
class Serving:
    """What the server has to know.

    Attributes
    ----------
    pixels, size_m
        Of the display.
    live
        Whether capture times are on the host's monotonic clock.
    open_to_network
        Whether the socket is bound to more than loopback.
    """

    pixels: tuple[int, int]
    size_m: tuple[float, float]
    live: bool
    open_to_network: bool


@dataclass(eq=False)
class _Page:
    """One page that listens, and what waits for it."""

    waiting: WaitingSteps = field(default_factory=WaitingSteps)
    text: str | None = None
    sent_ns: int = 0
    news: asyncio.Event = field(default_factory=asyncio.Event)

    def put(self, text: str, body: dict[str, Any]) -> None:
        """Let a message wait: as it stands if it is alone, else merged with what waits."""
        if self.text is None and not len(self.waiting):
            self.text = text
        else:
            if self.text is not None:
                self.waiting.add(map(step_of, json.loads(self.text)["steps"]))
                self.text = None
            self.waiting.add(map(step_of, body["steps"]))
            self.sent_ns = round(body["sent_ms"] * 1e6)
        self.news.set()

    def take(self, live: bool) -> str:
        """What waits, as one message."""
        self.news.clear()
        if self.text is not None:
            text, self.text = self.text, None
            return text
        return message(self.waiting.take(), self.sent_ns, live)


class _Hub:
    """Takes lines from the tracker and hands them to all pages."""

    def __init__(self, tracker: socket.socket, serving: Serving) -> None:
        self.serving = serving
        self.pages: set[_Page] = set()
        self._tracker = tracker
        self._lost = self._told_lost = 0
        self._told_s = 0.0

    async def lines(self) -> AsyncIterator[str]:
        """Lines from the tracker until it closes."""
        loop = asyncio.get_running_loop()
        rest = b""
        with contextlib.suppress(OSError):
            while chunk := await loop.sock_recv(self._tracker, 1 << 16):
                *whole, rest = (rest + chunk).split(b"\n")
                for line in whole:
                    yield line.decode()

    async def relay(self) -> None:
        """Hand on what the tracker says, until it ends."""
        async for line in self.lines():
            body = json.loads(line)
            for page in self.pages:
                page.put(line, body)
            due = time.monotonic() - self._told_s > TELL_EVERY_S
            if due and self._lost_so_far() != self._told_lost:
                await self.tell()

    def _lost_so_far(self) -> int:
        """Steps that newer ones overtook on the way to any page."""
        return self._lost + sum(page.waiting.lost for page in self.pages)

    async def tell(self) -> None:
        """Tell the tracker how many listen, and what was lost on the way to them."""
        self._told_lost, self._told_s = self._lost_so_far(), time.monotonic()
        told = {"listening": len(self.pages), "lost": self._told_lost}
        state = json.dumps(told).encode() + b"\n"
        with contextlib.suppress(OSError):
            await asyncio.get_running_loop().sock_sendall(self._tracker, state)

    async def joined(self, page: _Page) -> None:
        """A page begins to listen."""
        self.pages.add(page)
        await self.tell()

    async def left(self, page: _Page) -> None:
        """A page has gone."""
        self.pages.discard(page)
        self._lost += page.waiting.lost
        await self.tell()


def _hello(serving: Serving) -> str:
    """The first message to every page."""
    hello = {"version": VERSION, "display_px": serving.pixels, "surface_m": serving.size_m}
    return json.dumps({"hello": hello})


def _application(hub: _Hub) -> Any:
    """The routes: the files of the page, and the socket."""
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import FileResponse, Response
    from starlette.routing import Route, WebSocketRoute
    from starlette.websockets import WebSocket, WebSocketDisconnect

    def file_endpoint(name: str, kind: str) -> Callable[[Request], Awaitable[Response]]:
        async def endpoint(request: Request) -> Response:
            headers = {"Cache-Control": "no-cache", "X-Content-Type-Options": "nosniff"}
            if name == "pointer.js":  # a page of any origin may load the module; it holds no data
                headers["Access-Control-Allow-Origin"] = "*"
            if kind == "text/html":
                headers["Content-Security-Policy"] = POLICY
            return FileResponse(PAGE_FOLDER / name, media_type=kind, headers=headers)

        return endpoint

    async def answer_pings(ws: WebSocket) -> None:
        while True:
            try:
                asked = json.loads(await ws.receive_text())
                sent_ms = float(asked["ping"])
            except (ValueError, KeyError, TypeError):
                continue
            now_ms = round(time.monotonic_ns() * 1e-6, 3)
            await ws.send_text(json.dumps({"pong": sent_ms, "server_ms": now_ms}))

    async def push(ws: WebSocket, page: _Page) -> None:
        while True:
            await page.news.wait()
            await ws.send_text(page.take(hub.serving.live))

    async def pointer(ws: WebSocket) -> None:
        headers = ws.headers
        if not may_listen(headers.get("origin"), headers.get("host"), hub.serving.open_to_network):
            await ws.close(FOREIGN_CODE)
            return
        await ws.accept()
        page = _Page()
        pushing: asyncio.Task[None] | None = None
        try:
            await ws.send_text(_hello(hub.serving))
            await hub.joined(page)
            pushing = asyncio.create_task(push(ws, page))
            await answer_pings(ws)
        except (WebSocketDisconnect, RuntimeError, OSError):
            pass
        finally:
            if pushing is not None:
                pushing.cancel()
                await asyncio.gather(pushing, return_exceptions=True)
            await hub.left(page)

    routes = [
        Route("/" if name == "index.html" else f"/{name}", file_endpoint(name, kind))
        for name, kind in PAGE_FILES.items()
    ]
    return Starlette(routes=[*routes, WebSocketRoute("/pointer", pointer)])


async def _serve(listening: socket.socket, tracker: socket.socket, serving: Serving) -> None:
    """Serve until the tracker closes its end."""
    import uvicorn

    tracker.setblocking(False)
    hub = _Hub(tracker, serving)
    config = uvicorn.Config(
        _application(hub),
        log_config=None,
        access_log=False,
        lifespan="off",
        loop="asyncio",
        http="h11",
        ws="websockets-sansio",
        ws_per_message_deflate=False,  # a place is shorter than what packing it costs
        ws_max_size=1024,
        ws_ping_interval=5.0,
        ws_ping_timeout=5.0,
        timeout_graceful_shutdown=CLOSING_S,
    )

    class Server(uvicorn.Server):
        def handle_exit(self, sig: int, frame: FrameType | None) -> None:
            # Ctrl-C reaches the whole group of processes; the tracker decides when this one ends.
            if sig != signal.SIGINT:
                super().handle_exit(sig, frame)

    server = Server(config)
    running = asyncio.create_task(server.serve([listening]))
    await hub.tell()  # the tracker waits for this word
    relaying = asyncio.create_task(hub.relay())
    await asyncio.wait([running, relaying], return_when=asyncio.FIRST_COMPLETED)
    server.should_exit = True
    relaying.cancel()
    await asyncio.gather(running, relaying, return_exceptions=True)


def serve(listening: socket.socket, tracker: socket.socket, serving: Serving) -> None:
    """Run the server; the main function of its process.

    Parameters
    ----------
    listening
        Bound and listening already, so that an address in use was told by the tracker.
    tracker
        Lines of steps come in by it; how many listen goes out.
    serving
        What to serve.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    asyncio.run(_serve(listening, tracker, serving))
