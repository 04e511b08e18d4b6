"""The way from the survey's page to its marks on the display, which follow what is typed."""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from nicegui import ui

from rushlight.bench.desk.frame import element, link
from rushlight.bench.desk.live_link import desk_link, live_link
from rushlight.bench.desk.live_panel import asked_on_this_machine
from rushlight.bench.texts import text
from rushlight.errors import RushlightError
from rushlight.jobs.folder import RigPlace, find_rig

if TYPE_CHECKING:
    from fastapi import FastAPI

_TELL_EVERY_S = 0.5
"""How often the display is told what is typed, where that has changed [s]; no source."""


def add_way(app: FastAPI, folder: Path) -> None:
    """Add the route that leads to a rig's marks on the display.

    A page that is read only needs no live process: it is started when somebody goes this way.

    Parameters
    ----------
    app
        The desk's application.
    folder
        Holds the rigs.
    """
    from starlette.responses import RedirectResponse, Response

    @app.get("/rig/{name}/marks")
    async def marks(name: str) -> Response:
        served = live_link(folder)
        try:
            rig = find_rig(folder, name).name
            await served.open()
        except RushlightError as error:
            return Response(f"{error}\n", 409, media_type="text/plain; charset=utf-8")
        return RedirectResponse(f"{served.url}survey?rig={quote(rig)}", 303)


class ShowMarks:
    """Leads to the display page, and tells it what the form of this tab has.

    Parameters
    ----------
    place
        The rig.
    typed
        Gives the readings as they stand in the form, or nothing where they are kept as they are.
    """

    def __init__(self, place: RigPlace, typed: Callable[[], str]) -> None:
        self._place, self._typed = place, typed
        self._link = desk_link()
        self._tab = secrets.token_urlsafe(8)
        self._told, self._line = "", 0

    def draw(self) -> None:
        """Draw it into the present place."""
        way = f"/rig/{quote(self._place.name)}/marks"
        with ui.element("div").classes("row"):
            shown = link(text("survey.marks.open"), way, "button", target="_blank")
            shown.props["data-open"] = "survey"
        element("p", text("survey.marks.lead"), "soft small")
        if not asked_on_this_machine():
            element("p", text("panel.elsewhere"), "notice")
        ui.context.client.on_delete(self._leave)
        ui.timer(0.01, self._find, once=True)
        ui.timer(_TELL_EVERY_S, self._tell)

    async def _find(self) -> None:
        with contextlib.suppress(RushlightError):  # told to whoever goes there
            await self._link.find()

    async def _tell(self) -> None:
        if not self._link.connected:
            return
        if self._line != self._link.lines:  # what came by the one before was forgotten with it
            self._told, self._line = "", self._link.lines
        if (now := self._typed()) != self._told:
            await self._send(now)
            self._told = now

    async def _leave(self) -> None:
        if self._told and self._link.connected:
            with contextlib.suppress(RushlightError, OSError):
                await self._send("")

    async def _send(self, words: str) -> None:
        name = self._place.name
        await self._link.send({"do": "type", "rig": name, "by": self._tab, "text": words})
