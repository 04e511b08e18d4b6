"""Build: what to buy and do, with drawings, and what is ticked off of it."""

from __future__ import annotations

from typing import Any

from nicegui import ui

from rushlight.bench.desk.cautions import draw_cautions, draw_named_cautions
from rushlight.bench.desk.drawings import draw_drawings
from rushlight.bench.desk.frame import element, findings_list, link, panel, table, words_html
from rushlight.bench.desk.show import basis_mark
from rushlight.bench.desk.worker import quickly, slowly
from rushlight.bench.texts import text
from rushlight.errors import RushlightError
from rushlight.jobs.building import BuildLine, BuildSheet, building, tick
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.kept import kept_plan
from rushlight.publish.buying import Purchase


def twin(place: RigPlace) -> Any:
    """As ``rushlight parts RIG --json``."""
    return building(place.file).as_dict()


async def draw(place: RigPlace) -> None:
    """Draw the page into the frame."""
    await BuildPage(place).draw()


class BuildPage:
    """The page of one tab."""

    def __init__(self, place: RigPlace) -> None:
        self._place = place
        self._done: dict[str, bool] = {}

    async def draw(self) -> None:
        """Draw the head, then everything once the plan is there."""
        element("h1", text("build.title"))
        element("p", text("build.lead"), "lead")
        self._notice = ui.element("div").classes("notice")
        self._notice.props["role"] = "status"
        self._all = ui.element("div").classes("stack")
        planned = kept_plan(self._place.file) is not None
        if not planned:
            with self._notice:
                element("span", text("build.planning"))
        await ui.context.client.connected(timeout=60.0)
        try:
            sheet = await (quickly if planned else slowly)(building, self._place.file)
        except RushlightError as error:
            self._tell(error)
            return
        self._notice.clear()
        with self._all:
            self._draw_sheet(sheet, planned)

    def _draw_sheet(self, sheet: BuildSheet, planned: bool) -> None:
        draw_cautions(sheet.build.cautions)
        if sheet.findings:
            with panel(text("build.stop")):
                findings_list(sheet.findings)
        self._done = {line.key: line.state == "done" for line in sheet.lines}
        if not planned:
            with element("p", None, "soft small"):
                element("span", text("build.unkept"))
                link(text("build.unkept.plan"), f"/rig/{self._place.name}/plan")
        with element("p", None, "row"):
            self._count = element("strong", None)
            self._count.props["role"] = "status"
            element("span", text("build.kept"), "soft small")
        self._show_count()
        with ui.element("div").classes("columns even"):
            with panel(text("build.buy")):
                self._lines(sheet.buy)
                cost = sheet.as_dict()["cost"]
                with ui.element("p").classes("total"):
                    value = cost["value"]
                    total = text("unknown") if value is None else f"{value:.2f} {cost['unit']}"
                    element("strong", text("build.total", total=total))
                    basis_mark(cost["basis"])
                element("p", cost["method"], "soft small")
            with panel(text("build.do")):
                self._lines(sheet.steps)
        with panel(text("build.wiring")):
            if sheet.build.wiring:
                draw_drawings(sheet.build.wiring)
            else:
                element("p", text("build.wiring.none"))
        with panel(text("build.mounting")):
            element("p", text("build.mounting.lead"), "soft small")
            draw_drawings(sheet.build.mounting)
            for lookup in sheet.build.lookups:
                element("h3", lookup.what)
                table(lookup.columns, lookup.rows, lookup.what)

    def _lines(self, lines: Any) -> None:
        with ui.element("ul").classes("ticks"):
            for line in lines:
                with ui.element("li"):
                    self._line(line)

    def _line(self, line: BuildLine[Any]) -> None:
        what = line.what
        bought = isinstance(what, Purchase)
        with ui.element("label").classes("choice"):
            box = element("input", None, type="checkbox", data_tick=line.key)
            box.props["checked"] = line.state == "done"
            title = f"{what.count} × {what.name}" if isinstance(what, Purchase) else what.title
            element("span", title, "what")
        if bought:
            element("span", what.together, "price")
        with ui.element("div").classes("told"):
            if line.state == "changed":
                element("p", text("build.changed"), "mark")
            if isinstance(what, Purchase):
                _draw_purchase(what)
            else:
                draw_named_cautions(what.cautions)
                element("p", what.text)

        async def change(event: Any) -> None:
            await self._tick(line, bool(event.args))

        box.on("change", change, js_handler="(e) => emit(e.target.checked)")

    async def _tick(self, line: BuildLine[Any], done: bool) -> None:
        try:
            await quickly(tick, self._place.file, line.key, line.digest, done)
        except RushlightError as error:
            self._tell(error)
            return
        self._done[line.key] = done
        self._show_count()

    def _show_count(self) -> None:
        self._count.clear()
        with self._count:
            words = text("build.count", done=sum(self._done.values()), of=len(self._done))
            ui.html(words_html(words), sanitize=False, tag="span")

    def _tell(self, error: RushlightError) -> None:
        self._notice.clear()
        with self._notice:
            findings_list(error.findings)


def _draw_purchase(what: Purchase) -> None:
    if what.matters:
        element("p", "; ".join(what.matters), "small")
    words = [text("build.each", price=what.each)] if what.price and what.count > 1 else []
    words += [what.price_note] if what.price_note else []
    with ui.element("p").classes("soft small row"):
        if words:
            element("span", ", ".join(words))
        if what.price_basis:
            basis_mark(what.price_basis)
    if what.sources:
        element("p", text("build.sources", sources="; ".join(what.sources)), "soft small")
