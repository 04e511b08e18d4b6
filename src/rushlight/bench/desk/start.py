"""The start page: the rigs of the folder, and how to begin a new one."""

from __future__ import annotations

from pathlib import Path

from nicegui import ui

from rushlight.bench.desk.frame import element, link
from rushlight.bench.desk.stages import stages
from rushlight.bench.desk.start_new import draw_new
from rushlight.bench.texts import text
from rushlight.jobs.folder import STAGES, RigPlace, rigs_of


async def draw_start(folder: Path) -> None:
    """Draw the page into the frame."""
    element("h1", text("start.title"))
    element("p", text("start.lead"), "lead")
    places = rigs_of(folder)
    if not places:
        element("p", text("start.empty"))
    with ui.element("ul").classes("cards"):
        for place in places:
            _card(place)
    draw_new(folder, places)


def _card(place: RigPlace) -> None:
    with ui.element("li").classes("panel"):
        element("h2", place.title or place.name)
        kinds = ", ".join(text(f"kind.{kind}") for kind in place.kinds)
        element("p", f"{place.name} · {kinds}" if kinds else place.name, "soft small")
        if place.basis == "invented":
            element("p", text("invented"), "mark")
        if place.fault:
            element("p", f"{text('severity.error')}: {place.fault}", "small")
        else:
            element("p", text(f"start.stage.{place.stage}"))
        with ui.element("div").classes("row"):
            wanted = place.next_step if place.next_step in stages() else stages()[0]
            shown = place.next_step or stages()[-1]
            words = (
                text("start.next", step=text(f"stage.{shown}"))
                if place.next_step in stages()
                else text("start.open")
            )
            link(words, f"/rig/{place.name}/{wanted}", "button first")
            done = len(place.made)
            element(
                "span",
                text("start.reached", count=done, all=len(STAGES) - 1),
                "soft small",
            )
