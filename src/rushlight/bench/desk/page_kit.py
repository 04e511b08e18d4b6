"""Kit: what would be published, what is missing before it is, and the making of it."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from nicegui import ui

from rushlight.bench.desk.cautions import draw_cautions
from rushlight.bench.desk.files import keep_preview
from rushlight.bench.desk.frame import button, element, findings_list, link, panel, table
from rushlight.bench.desk.show import basis_mark
from rushlight.bench.desk.worker import quickly, slowly
from rushlight.bench.texts import text
from rushlight.errors import RushlightError
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.kept import kept_plan
from rushlight.jobs.kit_preview import KitPreview, kit_preview, make_kit
from rushlight.jobs.progress import ToldInFile, told_in

_LOOK_EVERY_S = 0.4
"""How often the making of a kit is looked at [s]; no source."""


def twin(place: RigPlace) -> Any:
    """As ``rushlight kit RIG --preview --json``."""
    return kit_preview(place.file).as_dict()


async def draw(place: RigPlace) -> None:
    """Draw the page into the frame."""
    await KitPage(place).draw()


class KitPage:
    """The page of one tab."""

    def __init__(self, place: RigPlace) -> None:
        self._place = place
        self._shown: KitPreview | None = None
        self._told: Path | None = None

    async def draw(self) -> None:
        """Draw the head, then the preview once it is made."""
        element("h1", text("kit.title"))
        element("p", text("kit.lead"), "lead")
        self._notice = ui.element("div").classes("notice")
        self._notice.props["role"] = "status"
        self._all = ui.element("div").classes("stack")
        await ui.context.client.connected(timeout=60.0)
        await self._show()

    async def _show(self) -> None:
        planned = kept_plan(self._place.file) is not None
        self._say(text("kit.previewing" if planned else "kit.planning"))
        try:
            run = quickly if planned else slowly
            self._shown = await run(kit_preview, self._place.file)
        except RushlightError as error:
            self._tell(error)
            return
        self._say("")
        keep_preview(self._place.file, self._shown.page)
        self._all.clear()
        with self._all:
            self._draw_preview(self._shown)

    def _draw_preview(self, shown: KitPreview) -> None:
        made = shown.made.kit
        with panel(text("kit.missing")):
            findings = [*shown.lacking, *shown.made.findings]
            if findings:
                findings_list(findings)
            else:
                element("p", text("kit.missing.none"))
        draw_cautions(made.cautions)
        with panel(text("kit.make")):
            for notice in made.notices:
                element("p", notice, "small")
            self._draw_make(shown)
        with panel(text("kit.preview")):
            element("p", text("kit.preview.lead"), "soft small")
            frame = element("iframe", None, "preview")
            frame.props["src"] = f"/rig/{self._place.name}/preview.html"
            frame.props["title"] = text("kit.preview")
            frame.props["sandbox"] = ""
            frame.props["tabindex"] = "0"
        with panel(text("kit.unknown")), ui.element("ul").classes("plain"):
            for line in made.not_known:
                element("li", line)
        with ui.element("details").classes("panel"):
            title = text("kit.files", count=len(made.files))
            element("summary", title)
            table(
                [text("kit.file"), text("kit.file.role"), text("kit.file.basis")],
                [[each.path, each.role, text(f"basis.{each.basis}")] for each in made.files],
                title,
            )

    def _draw_make(self, shown: KitPreview) -> None:
        made = shown.made.kit
        with ui.element("p").classes("total"):
            element("strong", text("kit.edition", edition=made.edition))
            if made.header:
                basis_mark(made.header.basis)
        blocked = any(each.severity == "error" for each in shown.lacking)
        if blocked:
            element("p", text("kit.blocked"))
        if shown.is_published:
            element("p", text("kit.same"))
        else:
            with ui.element("div").classes("row"):
                self._make = button(
                    text("kit.make.now"), self._make_it, first=True, disabled=blocked
                )
                self._progress = element("progress", None, max=1, value=0)
                self._progress.props["aria-label"] = text("kit.progress")
                self._progress.set_visibility(False)
                self._doing = element("span", "", "soft")
                self._doing.props["role"] = "status"
        if shown.published is not None:
            self._draw_published(shown)

    def _draw_published(self, shown: KitPreview) -> None:
        here = f"/rig/{self._place.name}"
        edition = shown.published.edition if shown.published else ""
        element("p", text("kit.lies", edition=edition, folder=shown.folder), "small")
        with ui.element("div").classes("row"):
            link(text("kit.open"), f"{here}/published/index.html", "button", target="_blank")
            if shown.folder.with_name(f"{shown.folder.name}.zip").is_file():
                link(text("kit.zip"), f"{here}/published.zip", "button", download="")

    async def _make_it(self) -> None:
        self._make.props["disabled"] = True
        self._make.update()
        self._progress.set_visibility(True)
        with tempfile.TemporaryDirectory() as work:
            self._told = Path(work) / "told.json"
            with self._all:
                looking = ui.timer(_LOOK_EVERY_S, self._look)
            try:
                await slowly(make_kit, self._place.file, ToldInFile(self._told))
            except RushlightError as error:
                self._tell(error)
                self._make.props["disabled"] = False
                self._make.update()
                self._progress.set_visibility(False)
                return
            finally:
                looking.cancel()
                self._told = None
        await self._show()

    def _look(self) -> None:
        told = told_in(self._told) if self._told else None
        if told is None:
            return
        what, share = told
        self._progress.props["value"] = share
        self._progress.update()
        self._doing.clear()
        with self._doing:
            element("span", text("kit.doing", what=what))

    def _say(self, words: str) -> None:
        self._notice.clear()
        if words:
            with self._notice:
                element("span", words)

    def _tell(self, error: RushlightError) -> None:
        self._notice.clear()
        with self._notice:
            findings_list(error.findings)
