"""Plan: change a rig and see at once what can be expected of it, before anything is bought."""

from __future__ import annotations

import time
from typing import Any

from nicegui import ui

from rushlight.bench.desk.draft import Draft
from rushlight.bench.desk.frame import (
    button,
    element,
    findings_list,
    panel,
    table,
    words_html,
)
from rushlight.bench.desk.plan_close import PlanClose
from rushlight.bench.desk.plan_fields import PlanFields
from rushlight.bench.desk.plan_text import PlanText
from rushlight.bench.desk.room_view import RoomView
from rushlight.bench.desk.show import budget_html, number, percent
from rushlight.bench.texts import text
from rushlight.errors import RushlightError
from rushlight.jobs.edit import fields_of
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.glance import Glance
from rushlight.jobs.kept import kept_plan
from rushlight.jobs.plan import plan
from rushlight.records.figure import CAUSE_WORDS

_SETTLED_S = 0.3
"""Rest of a slider after which all but the map is drawn anew [s]; no source."""


def twin(place: RigPlace) -> Any:
    """As ``rushlight plan RIG --json``."""
    made = kept_plan(place.file) or plan(place.file)
    return made.model_dump(mode="json", by_alias=True)


async def draw(place: RigPlace) -> None:
    """Draw the page into the frame."""
    await PlanPage(Draft.of(place)).draw()


class PlanPage:
    """The page of one tab."""

    def __init__(self, draft: Draft) -> None:
        self._draft = draft
        self._moved_s = 0.0
        self._said = ""

    async def draw(self) -> None:
        """Draw everything, then take up what the tab kept, and look."""
        self._page = ui.context.client
        element("h1", text("plan.title"))
        element("p", text("plan.lead"), "lead")
        self._notice = ui.element("div").classes("notice")
        self._notice.props["role"] = "status"
        with ui.element("div").classes("columns wide-narrow"):
            with ui.element("div").classes("stack"):
                with panel(text("plan.room")):
                    self._room = RoomView()
                with panel(text("plan.now")):
                    self._figures = ui.html("", sanitize=False)
                    element("p", text("plan.now.note"), "soft small")
                with panel(text("plan.causes")):
                    element("p", text("plan.causes.lead"), "soft small")
                    self._causes = ui.html("", sanitize=False)
                with panel(text("plan.findings")):
                    self._findings = ui.element("div")
            with ui.element("div").classes("stack"):
                with panel(text("plan.fields")):
                    self._fields = PlanFields(fields_of(self._draft.text), self._change)
                    self._text = PlanText(self._draft, self._use)
                with panel(text("plan.beside")):
                    element("p", text("plan.beside.lead"), "soft small")
                    self._beside = ui.element("div")
                    self._draw_beside()
        with ui.element("div").classes("savebar row"):
            self._save = button(text("plan.save"), self._save_rig, first=True, disabled=True)
            self._undo = button(text("plan.undo"), self._back, disabled=True)
            self._state = element("span", "", "soft")
        self._close = PlanClose(self._draft)
        await ui.context.client.connected(timeout=60.0)
        restored = await self._draft.take_from_browser()
        await self._draft.settle()
        if restored:
            self._fields_again()
            self._tell([], self._draft.came or text("plan.restored"))
            self._draft.came = ""
        self._show_all()
        ui.timer(0.1, self._rest)
        await self._text.take_from_browser()
        await self._draft.take_beside_from_browser()
        self._draw_beside()

    async def _change(self, path: str, given: str, stamp: float) -> None:
        self._moved_s = time.monotonic()
        await self._draft.change(path, given, stamp, self._show_map)

    def _show_map(self, stamp: float) -> None:
        """The map at once; the rest when the slider rests."""
        shown = self._draft.shown
        self._room.show(shown, stamp)
        if shown.room is None:  # warnings come when the slider rests
            self._fields.mark(shown.findings)

    async def _rest(self) -> None:
        if self._draft.unsettled and time.monotonic() - self._moved_s > _SETTLED_S:
            await self._settle()

    async def _settle(self) -> None:
        try:
            await self._draft.settle()
        except RushlightError as error:
            self._tell(error.findings)
            return
        self._show_rest()

    def _show_all(self) -> None:
        self._room.show(self._draft.shown)
        self._show_rest()

    def _show_rest(self) -> None:
        shown = self._draft.shown
        self._figures.set_content(_figures_html(shown))
        causes = {CAUSE_WORDS.get(name, name): mm for name, mm in shown.causes_mm.items()}
        self._causes.set_content(budget_html(causes, "mm"))
        self._fields.mark(shown.findings)
        self._findings.clear()
        with self._findings:
            if shown.findings:
                findings_list(shown.findings)
            else:
                element("p", text("plan.findings.none"), "soft")
        self._draw_beside()
        self._say_state()
        self._keep_in_browser()
        self._text.show()

    def _keep_in_browser(self) -> None:
        with self._page:  # the button that led here may have been drawn anew since
            self._draft.keep_in_browser()

    def _say_state(self, words: str | None = None) -> None:
        """Tell whether it is saved; words about that stand until something is changed."""
        changed = self._draft.changed
        if changed:
            self._said = ""
        elif words is not None:
            self._said = words
        for each in (self._save, self._undo):
            each.props["disabled"] = not changed
            each.update()
        self._state.clear()
        with self._state:
            element("span", text("plan.unsaved") if changed else self._said)
        self._close.changed(changed)

    def _tell(self, findings: Any, words: str = "") -> None:
        self._notice.clear()
        with self._notice:
            if words:
                element("span", words)
            if findings:
                findings_list(findings)

    async def _save_rig(self) -> None:
        if self._draft.unsettled:
            await self._settle()
        try:
            self._draft.save()
        except RushlightError as error:
            self._tell(error.findings)
            if any(each.code == "changed-elsewhere" for each in error.findings):
                with self._notice:
                    button(text("plan.overwrite"), self._overwrite)
            return
        self._tell([])
        self._say_state(text("plan.saved.faulty" if self._draft.faulty else "plan.saved"))
        self._close.saved()
        self._keep_in_browser()

    async def _overwrite(self) -> None:
        self._draft.take_file_as_read()
        await self._save_rig()

    async def _back(self) -> None:
        self._draft.take_file_as_read()
        self._tell([])
        await self._use(self._draft.read_as)

    async def _use(self, words: str) -> None:
        """Take another text for the whole rig."""
        self._draft.take(words)
        await self._taken()

    async def _taken(self) -> None:
        """Show another text that was taken."""
        self._fields_again()  # at once: a look may take its time on a busy machine
        await self._draft.settle()
        self._show_all()

    def _fields_again(self) -> None:
        try:
            self._fields.refresh(fields_of(self._draft.text))
        except RushlightError as error:
            self._tell(error.findings)

    def _draw_beside(self) -> None:
        self._beside.clear()
        with self._beside:
            if self._draft.beside is not None:
                kept, now = self._draft.beside[1], self._draft.shown
                columns = [text(f"plan.beside.{each}") for each in ("what", "a", "now")]
                table(columns, [
                    [text("plan.error"), number(kept.error_mm, "mm"), number(now.error_mm, "mm")],
                    [text("plan.worst"), number(kept.worst_mm, "mm"), number(now.worst_mm, "mm")],
                    [text("plan.coverage"), percent(kept.coverage), percent(now.coverage)],
                    [text("plan.delay"), number(kept.delay_ms, "ms"), number(now.delay_ms, "ms")],
                ], text("plan.beside"))  # fmt: skip
            with ui.element("div").classes("row"):
                button(text("plan.beside.keep"), self._keep_beside)
                if self._draft.beside is not None:
                    button(text("plan.beside.swap"), self._change_places)

    async def _keep_beside(self) -> None:
        if self._draft.unsettled:
            await self._settle()
        with self._page:  # the button that led here may have been drawn anew since
            self._draft.lay_beside()
        self._draw_beside()

    async def _change_places(self) -> None:
        if self._draft.unsettled:
            await self._settle()
        with self._page:
            self._draft.change_places()
        await self._taken()


def _figures_html(shown: Glance) -> str:
    """The figures with what is wanted of each."""
    wanted, met_by = shown.targets, shown.met
    rows = [
        (text("plan.error"), number(shown.error_mm, "mm"), "", None),
        (
            text("plan.worst"),
            number(shown.worst_mm, "mm"),
            _wish("most", wanted.get("error_mm"), number(wanted.get("error_mm"), "mm")),
            met_by.get("error_mm"),
        ),
        (
            text("plan.coverage"),
            percent(shown.coverage),
            _wish("least", wanted.get("coverage"), percent(wanted.get("coverage"))),
            met_by.get("coverage"),
        ),
        (
            text("plan.delay"),
            number(shown.delay_ms, "ms"),
            _wish("most", wanted.get("delay_ms"), number(wanted.get("delay_ms"), "ms")),
            met_by.get("delay_ms"),
        ),
        *(
            (text("plan.exposure", camera=camera), number(value, "ms"), "", None)
            for camera, value in shown.exposures_ms.items()
        ),
    ]
    if shown.worst_mm is None:
        del rows[1]
    parts = ['<dl class="figures">']
    for name, value, wish, met in rows:
        verdict = "" if met is None else f", {text('plan.met' if met else 'plan.unmet')}"
        parts.append(
            f'<div><dt>{words_html(name)}</dt><dd><span class="big">{words_html(value)}</span>'
            f'<br><span class="soft small">{words_html(wish + verdict)}</span></dd></div>'
        )
    rough = f'<p class="small">{words_html(text("plan.now.rough"))}</p>' if shown.rough else ""
    return "".join([*parts, "</dl>", rough])


def _wish(which: str, wanted: float | None, value: str) -> str:
    """What is wanted in words; none where nothing is, or where it cannot be read."""
    return "" if wanted is None else text(f"plan.wanted.{which}", value=value)
