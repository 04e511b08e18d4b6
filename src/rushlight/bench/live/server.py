"""The live process itself: display pages, their sockets, and the socket for the desk's orders."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import secrets
import signal
import socket
import time
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from rushlight.bench.display_routes import display_routes
from rushlight.bench.guard import FOREIGN_CODE, Guard
from rushlight.bench.live.control import (
    Place,
    is_token,
    live_file,
    order_of,
    read_place,
    write_place,
)
from rushlight.bench.live.hub import Hub
from rushlight.bench.live.pages import Listener, Looker
from rushlight.bench.live.wire import text_of
from rushlight.bench.texts import catalogue, direction, locale
from rushlight.drive.listening import listen as listening_at
from rushlight.drive.origin import is_loopback
from rushlight.drive.output import parse_address
from rushlight.errors import RushlightError

DISPLAY = Path(__file__).parents[1] / "display"
POINTER_MODULE = Path(__file__).parents[2] / "drive" / "page" / "pointer.js"

KINDS = {
    ".html": "text/html",
    ".js": "text/javascript",
    ".css": "text/css",
    ".svg": "image/svg+xml",
    ".json": "application/json",
}

POLICY = (
    "default-src 'self'; connect-src 'self' ws: wss: blob: data:; img-src 'self' blob: data:; "
    "frame-ancestors 'self' http://127.0.0.1:* http://localhost:*"
)
"""Nothing from elsewhere; a desk page on this machine may hold a display page in a frame. A policy
can name no IPv6 address (W3C, Content Security Policy Level 3, 2.3.1, host-char), so that one under
such an address links to display pages instead."""

TO_HANDS = ("invite", "release", "look", "wander")
"""What a page may ask of a rehearsal by a message of its own."""

CLOSING_S = 1
LONELY_S = 1800.0
"""With no act, no page and no desk for so long, the process ends [s]; no source."""


class Live:
    """The routes.

    Parameters
    ----------
    folder
        With rigs in it.
    hub
        Of the act.
    token
        Of the desk.
    """

    def __init__(self, folder: Path, hub: Hub, token: str) -> None:
        self.folder, self.hub, self.token = folder, hub, token
        self.typed: dict[str, tuple[str, str]] = {}
        self._typed_by_line: dict[str, Listener] = {}
        self.over = asyncio.Event()

    def application(self, open_to_network: bool) -> Guard:
        """All of it, guarded."""
        routes = [
            Route("/", self._start),
            Route("/pointer.js", self._file(POINTER_MODULE)),
            Route("/texts.json", self._texts),
            Route("/state.json", self._state),
            Route("/display/{name}", self._display),
            *display_routes(self.folder, open_to_network, lambda: self.hub.simulated, self.typed),
            Route("/{name}", self._page),
            WebSocketRoute("/see", self.see),
            WebSocketRoute("/events", self.events),
            WebSocketRoute("/pointer", self.events),
            WebSocketRoute("/control", self.control),
        ]
        return Guard(Starlette(routes=routes), open_to_network)

    # Pages.

    def _file(self, path: Path) -> Callable[[Request], Awaitable[Response]]:
        async def endpoint(_: Request) -> Response:
            return _sent(path)

        return endpoint

    async def _start(self, _: Request) -> Response:
        return _sent(DISPLAY / "index.html")

    async def _page(self, request: Request) -> Response:
        return _sent(DISPLAY / f"{request.path_params['name']}.html")

    async def _display(self, request: Request) -> Response:
        return _sent(DISPLAY / request.path_params["name"])

    async def _state(self, _: Request) -> Response:
        return Response(text_of(self.hub.state()), media_type="application/json")

    async def _texts(self, _: Request) -> Response:
        return JSONResponse({**catalogue(locale()), "_locale": locale(), "_dir": direction()})

    # Sockets.

    async def see(self, ws: WebSocket) -> None:
        """Pictures, each with the dots of its own frame."""
        await ws.accept()
        looker = Looker()
        self.hub.lookers.add(looker)
        await self.hub.look()

        async def push() -> None:
            while True:
                await looker.news.wait()
                await ws.send_bytes(looker.take())

        try:
            await _while_open(ws, push(), lambda _: None)
        finally:
            self.hub.lookers.discard(looker)
            await self.hub.look()

    async def events(self, ws: WebSocket) -> None:
        """Pointers, places, beacons and the state; answers pings."""
        await ws.accept()
        page = Listener()
        own = ws.headers.get("origin") == f"http://{ws.headers.get('host')}"
        self.hub.greet(page)
        self.hub.pages.add(page)
        page.news.set()

        async def hear(text: str) -> None:
            asked = json.loads(text)
            if "ping" in asked:
                now_ms = round(time.monotonic_ns() * 1e-6, 3)
                await ws.send_text(text_of({"pong": float(asked["ping"]), "server_ms": now_ms}))
            if "page" in asked:
                page.page, page.ready = str(asked["page"])[:40], bool(asked.get("ready"))
            if own and isinstance(asked.get("say"), dict):
                await self.hub.say(asked["say"])
            if own and (to_hands := {key: asked[key] for key in TO_HANDS if key in asked}):
                await self.hub.say(to_hands)

        try:
            await _while_open(ws, _push_all(ws, page), hear)
        finally:
            self.hub.pages.discard(page)

    async def control(self, ws: WebSocket) -> None:
        """Orders of the desk, which shows the token; no page of a browser is let in."""
        if ws.headers.get("origin") or not is_token(ws.query_params.get("token"), self.token):
            await ws.close(FOREIGN_CODE)
            return
        await ws.accept()
        desk = Listener("desk")
        self.hub.greet_desk(desk)
        self.hub.desks.add(desk)

        async def hear(text: str) -> None:
            message = json.loads(text)
            match message.get("do"):
                case "start":
                    try:
                        await self.hub.start(order_of(message, self.folder))
                    except RushlightError as error:
                        told = {"act": message.get("act"), "findings": list(error.findings)}
                        desk.say(text_of({"is": "failed", **told}))
                case "stop":
                    await self.hub.stop()
                case "say":
                    await self.hub.say(message["message"])
                case "type":
                    self._type(desk, *(str(message[key]) for key in ("rig", "by", "text")))
                case "state":
                    desk.newest("state", text_of(self.hub.state()))
                case "end":
                    self.over.set()

        try:
            await _while_open(ws, _push_all(ws, desk), hear)
        finally:
            self.hub.desks.discard(desk)
            # A desk that ended took what was typed there with it; one whose line broke tells it
            # again by its next, which may stand already.
            for rig in [rig for rig, line in self._typed_by_line.items() if line is desk]:
                del self.typed[rig], self._typed_by_line[rig]

    def _type(self, desk: Listener, rig: str, by: str, text: str) -> None:
        """Readings of a survey as a desk page has them now; none when they are kept or left."""
        if text:
            self.typed[rig], self._typed_by_line[rig] = (by, text), desk
        elif self.typed.get(rig, ("",))[0] == by:
            del self.typed[rig], self._typed_by_line[rig]

    async def lonely(self) -> None:
        """Wait until nobody has needed this process for long."""
        since_s = time.monotonic()
        while time.monotonic() - since_s < LONELY_S:
            await asyncio.sleep(5.0)
            hub = self.hub
            if not hub.idle or hub.pages or hub.desks or hub.lookers:
                since_s = time.monotonic()


async def _push_all(ws: WebSocket, listener: Listener) -> None:
    while True:
        await listener.news.wait()
        for text in listener.take():
            await ws.send_text(text)


async def _while_open(ws: WebSocket, pushing: Any, hear: Callable[[str], Any]) -> None:
    """Push and hear until the page has gone; what makes no sense is passed over."""
    task = asyncio.create_task(pushing)
    try:
        while True:
            text = await ws.receive_text()
            with contextlib.suppress(ValueError, KeyError, TypeError, AttributeError):
                answer = hear(text)
                if answer is not None:
                    await answer
    except (WebSocketDisconnect, RuntimeError, OSError):
        pass
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


def _sent(path: Path) -> Response:
    kind = KINDS.get(path.suffix)
    if kind is None or not path.is_file():
        return PlainTextResponse("there is no such page\n", 404)
    headers = {"Cache-Control": "no-cache", "X-Content-Type-Options": "nosniff"}
    if path.suffix == ".html":
        headers["Content-Security-Policy"] = POLICY
    return FileResponse(path, media_type=kind, headers=headers)


def listen(address: str) -> tuple[socket.socket, str, bool]:
    """A socket that listens, its address, and whether that is open to the network.

    Raises
    ------
    RushlightError
        When the address cannot be had.
    """
    host, port = parse_address(address, "--address", "127.0.0.1:8781")
    listening = listening_at(
        host, port, "--address", address, "end what serves there, or choose another port",
        "live-address",
    )  # fmt: skip
    shown = f"[{host}]" if ":" in host else host
    return listening, f"{shown}:{listening.getsockname()[1]}", not is_loopback(host)


async def serve(folder: Path, address: str, hub: Hub | None = None) -> None:
    """Serve until told to end.

    Parameters
    ----------
    folder
        With rigs in it.
    address
        Host and port.
    hub
        Of the act; None makes one.

    Raises
    ------
    RushlightError
        When the address cannot be had, or another live process serves the folder.
    """
    import uvicorn

    if (other := read_place(folder)) is not None:
        raise RushlightError.of(
            str(folder), "", f"is served by another live process at {other.url}",
            "use that one, or end it", "live-twice",
        )  # fmt: skip
    listening, address, opened = listen(address)
    live = Live(folder, hub or Hub(), secrets.token_urlsafe(24))
    config = uvicorn.Config(
        live.application(opened),
        log_config=None,
        access_log=False,
        lifespan="off",
        loop="asyncio",
        http="h11",
        ws="websockets-sansio",
        ws_per_message_deflate=False,
        ws_max_size=1 << 16,
        ws_ping_interval=5.0,
        ws_ping_timeout=5.0,
        timeout_graceful_shutdown=CLOSING_S,
    )

    class Server(uvicorn.Server):
        @contextlib.contextmanager
        def capture_signals(self) -> Iterator[None]:
            # A signal ends this process by our own hand, so that the act is ended in order.
            yield

    def over(*_: object) -> None:
        loop.call_soon_threadsafe(live.over.set)

    loop = asyncio.get_running_loop()
    for each in (signal.SIGINT, signal.SIGTERM):
        signal.signal(each, over)
    server = Server(config)
    tasks = [
        asyncio.create_task(each)
        for each in (server.serve([listening]), live.over.wait(), live.lonely(), live.hub.tell_on())
    ]
    write_place(folder, Place(address, live.token, os.getpid()))
    print(f"display pages at http://{address}/", flush=True)
    if opened:
        print("this address is open to the network: everyone in it can watch", flush=True)
    try:
        await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        await live.hub.stop()
        server.should_exit = True
        for task in tasks[1:]:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        live_file(folder).unlink(missing_ok=True)
