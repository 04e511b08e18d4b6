"""The way from the survey's page to its marks on the display, which follow what is typed."""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Callable
from urllib.parse import quote

from nicegui import ui

from rushlight.bench.desk.frame import element, lead_to, link
from rushlight.bench.desk.live_link import desk_link
from rushlight.bench.desk.live_panel import Findings, asked_on_this_machine
from rushlight.bench.texts import text
from rushlight.errors import RushlightError
from rushlight.jobs.folder import RigPlace

_TELL_EVERY_S = 0.5
"""How often the display is told what is typed, where that has changed [s]; no source."""


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
        self._told = ""

    def draw(self) -> None:
        """Draw it into the present place; the live process is found or started meanwhile."""
        with ui.element("div").classes("row"):
            self._open = link(text("survey.marks.open"), "", "button", target="_blank")
        self._open.props["data-open"] = "survey"
        self._waits = element("p", text("survey.marks.waiting"), "soft small")
        self._faults = Findings()
        element("p", text("survey.marks.lead"), "soft small")
        if not asked_on_this_machine():
            element("p", text("panel.elsewhere"), "notice")
        self._point()
        ui.context.client.on_delete(self._leave)
        ui.timer(0.01, self._find, once=True)
        ui.timer(_TELL_EVERY_S, self._tell)

    async def _find(self) -> None:
        try:
            await self._link.open()
        except RushlightError as error:
            self._faults.show(error.findings)
        self._point()

    def _point(self) -> None:
        served = self._link.url
        lead_to(self._open, f"{served}survey?rig={quote(self._place.name)}" if served else "")
        self._waits.set_visibility(not served)

    async def _tell(self) -> None:
        self._point()
        if not self._link.connected:
            self._told = ""  # the next live process knows nothing of it
        elif (now := self._typed()) != self._told:
            await self._send(now)
            self._told = now

    async def _leave(self) -> None:
        if self._told and self._link.connected:
            with contextlib.suppress(RushlightError, OSError):
                await self._send("")

    async def _send(self, words: str) -> None:
        name = self._place.name
        await self._link.send({"do": "type", "rig": name, "by": self._tab, "text": words})
