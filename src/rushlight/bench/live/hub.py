"""What the live process knows: the act that goes on, who listens, and the newest of everything."""

from __future__ import annotations

import asyncio
import contextlib
import json
import multiprocessing
import socket
import time
from collections.abc import Callable
from multiprocessing.process import BaseProcess
from typing import Any

from rushlight.bench.live.pages import Listener, Looker, see_message
from rushlight.bench.live.wire import Body, Splitter, packed, text_of
from rushlight.bench.live.work import Order, work
from rushlight.drive.pointer_wire import VERSION
from rushlight.errors import Finding

TELL_EVERY_S = 0.2
"""How often desks and pages are told how the act stands [s]."""

STOP_S = 8.0
"""Longest wait for an act to end by itself [s]; no source: a session is closed in between."""

_MARKS = ("beacon", "mark")
"""What stands on display pages, to be touched, looked past or placed on."""

Work = Callable[[socket.socket, Order], None]


class Hub:
    """Starts the work, takes what it says, and hands it to all who listen.

    Parameters
    ----------
    work
        Main function of the work's process.

    Attributes
    ----------
    desks, pages, lookers
        Who listens.
    """

    def __init__(self, work: Work = work) -> None:
        self.desks: set[Listener] = set()
        self.pages: set[Listener] = set()
        self.lookers: set[Looker] = set()
        self.begun_s = time.monotonic()
        self._work = work
        self._process: BaseProcess | None = None
        self._socket: socket.socket | None = None
        self._relaying: asyncio.Task[None] | None = None
        self._order: Order | None = None
        self._stage = "idle"
        self._ended = False
        self._last: dict[str, Body] = {}

    @property
    def idle(self) -> bool:
        """Whether no act goes on."""
        return self._process is None

    # The act.

    async def start(self, order: Order) -> None:
        """Begin an act; one that goes on is ended first."""
        await self.stop()
        ours, theirs = socket.socketpair()
        ours.setblocking(False)
        process = multiprocessing.get_context("spawn").Process(
            target=self._work, args=(theirs, order), name="rushlight-work"
        )
        self._order, self._stage, self._last, self._ended = order, "starting", {}, False
        process.start()
        theirs.close()
        self._process, self._socket = process, ours
        self._relaying = asyncio.create_task(self._relay(ours, process))
        self.tell()
        await self.look()

    async def stop(self) -> None:
        """End the act, and wait until it has ended."""
        if self._process is None or self._relaying is None:
            return
        self._stage = "stopping"
        await self._to_work({"stop": True})
        done, _ = await asyncio.wait([self._relaying], timeout=STOP_S)
        if not done and self._process is not None:
            self._process.kill()
            await asyncio.wait([self._relaying], timeout=STOP_S)

    async def say(self, message: Body) -> None:
        """Something for the act itself."""
        await self._to_work({"say": message})

    async def look(self) -> None:
        """Tell the work whether somebody looks at the picture."""
        await self._to_work({"looking": bool(self.lookers)})

    async def _to_work(self, body: Body) -> None:
        if self._socket is not None:
            with contextlib.suppress(OSError):
                await asyncio.get_running_loop().sock_sendall(self._socket, packed(body))

    async def _relay(self, ours: socket.socket, process: BaseProcess) -> None:
        """Hand on what the work says, until it ends."""
        splitter, loop = Splitter(), asyncio.get_running_loop()
        with contextlib.suppress(OSError, ValueError):
            while chunk := await loop.sock_recv(ours, 1 << 18):
                for text, more in splitter.feed(chunk):
                    self._take(text, more)
        ours.close()
        self._process = self._socket = None
        while process.is_alive():
            await asyncio.sleep(0.01)
        process.join()
        if not self._ended:
            self._fail([_died(self._order, process.exitcode)])
        for kind in _MARKS:
            self._last.pop(kind, None)
            self._words_to_all({kind: None})
        self.tell()

    # What the work says.

    def _take(self, text: str, more: bytes) -> None:
        body = json.loads(text)
        kind = body["is"]
        if kind == "frame":
            for page in self.pages:
                page.frame(text, body)
        elif kind == "views":
            for page in self.pages:
                page.newest("views", text)
        elif kind == "picture":
            del body["is"]
            picture = see_message({**body, "simulated": self.simulated}, more)
            for looker in self.lookers:
                looker.put(picture)
        elif kind == "done":
            self._ended, self._stage = True, "done"
            body["rig"] = self._order.rig.name if self._order else None
            self._last["done"] = body
            self._to_desks(body)
            self._words_to_all({"done": {"act": body["act"], "result": body["result"]}})
        elif kind == "failed":
            self._fail(body["findings"])
        else:
            self._note(kind, body)

    def _note(self, kind: str, body: Body) -> None:
        """Keep the newest of its kind, for those who come later too."""
        self._last[kind] = body
        if kind == "display":
            self._words_to_all({"hello": self._hello()})
        elif kind == "begun":
            self._words_to_all({"simulated": self.simulated})
        elif kind in _MARKS:
            self._words_to_all({kind: body[kind]})
        if kind in ("begun", "state") and self._stage == "starting":
            self._stage = "running"

    def _fail(self, findings: list[Any]) -> None:
        self._ended, self._stage = True, "failed"
        told = {
            "is": "failed",
            "act": self._order.act if self._order else "",
            "rig": self._order.rig.name if self._order else None,
            "findings": findings,
        }
        self._last["failed"] = told
        self._to_desks(told)

    @property
    def simulated(self) -> bool:
        """Whether the frames of the act are computed."""
        return bool(self._last.get("begun", {}).get("simulated"))

    def _hello(self) -> Body:
        display = self._last["display"]
        return {
            "version": VERSION,
            "display_px": display["display_px"],
            "surface_m": display["surface_m"],
        }

    # Who listens.

    def greet(self, page: Listener) -> None:
        """What a page that has just come must know."""
        if "display" in self._last:
            page.newest("hello", text_of({"hello": self._hello()}))
        for kind in _MARKS:
            page.newest(kind, text_of({kind: self._last.get(kind, {}).get(kind)}))
        if "done" in self._last:
            done = self._last["done"]
            page.newest("done", text_of({"done": {"act": done["act"], "result": done["result"]}}))
        page.newest("simulated", text_of({"simulated": self.simulated}))
        page.newest("state", text_of({"state": self.state()}))

    def greet_desk(self, desk: Listener) -> None:
        """What a desk that has just come must know: how all stands, and how the last act ended."""
        desk.newest("state", text_of(self.state()))
        for kind in ("done", "failed"):
            if kind in self._last:
                desk.say(text_of(self._last[kind]))

    def state(self) -> Body:
        """How all stands, as desks are told it."""
        state: Body = {
            # First, so that no word of an act overwrites what is told of pages and stages.
            **self._last.get("state", {}),
            "is": "state",
            "act": self._order.act if self._order else None,
            "rig": self._order.rig.name if self._order else None,
            "stage": self._stage,
            "progress": self._last.get("progress", {}).get("what"),
            "simulated": self.simulated,
            "rehearsed": bool(self._last.get("begun", {}).get("rehearsed")),
            "source": self._last.get("begun", {}).get("source"),
            "beacon": self._last.get("beacon", {}).get("beacon"),
            "pages": len(self.pages),
            "shown": sorted({page.page for page in self.pages if page.page}),
            "ready": sorted({page.page for page in self.pages if page.page and page.ready}),
            "lookers": len(self.lookers),
            "overtaken": sum(page.lost for page in self.pages),
        }
        if "failed" in self._last:
            state["findings"] = self._last["failed"]["findings"]
        return state

    def tell(self) -> None:
        """Tell all how it stands."""
        state = self.state()
        for desk in self.desks:
            desk.newest("state", text_of(state))
        brief = text_of({"state": state})
        for page in self.pages:
            page.newest("state", brief)

    async def tell_on(self) -> None:
        """Tell it again and again: often while an act goes on, each second otherwise."""
        while True:
            await asyncio.sleep(TELL_EVERY_S if not self.idle else 5 * TELL_EVERY_S)
            self.tell()

    def _to_desks(self, body: Body) -> None:
        text = text_of(body)
        for desk in self.desks:
            desk.say(text)

    def _words_to_all(self, body: Body) -> None:
        text = text_of(body)
        slot = next(iter(body))
        for listener in self.pages:
            listener.newest(slot, text)


def _died(order: Order | None, code: int | None) -> Finding:
    return Finding(
        "error",
        "work-died",
        order.act if order else "work",
        "",
        f"ended in the middle, its process with code {code}",
        "begin it anew; what was kept until then is in its session",
    )
