"""The part of the start page that begins a new rig: an invented example, or four questions."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from nicegui import ui
from nicegui.element import Element

from rushlight.bench.desk.frame import button, element, findings_list, keep_typed, panel
from rushlight.bench.desk.worker import quickly
from rushlight.bench.texts import text
from rushlight.errors import RushlightError
from rushlight.jobs.begin import WHERE, Answers, begin_from_answers, begin_from_scenario
from rushlight.jobs.demo import SCENARIOS
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.new import KINDS
from rushlight.jobs.parts import parts

_GIVEN = "(e) => emit(e.target.value)"


def draw_new(folder: Path, places: list[RigPlace]) -> None:
    """Draw both ways of beginning."""
    element("h2", text("start.new"))
    with ui.element("div").classes("columns even"):
        with panel(text("start.example"), level=3):
            _examples(folder, {place.name for place in places})
        with panel(text("start.questions"), level=3):
            Questions(folder).draw()


def _examples(folder: Path, there: set[str]) -> None:
    element("p", text("start.example.lead"), "soft small")
    told = ui.element("div")
    told.props["role"] = "status"
    for scenario in SCENARIOS:
        with ui.element("div").style("margin-bottom: 18px"):
            words = text(f"start.example.{scenario}")
            element("p", words).style("margin-bottom: 6px")
            if scenario in there:
                element("p", text("start.example.there"), "soft small")
                continue

            def add(name: str = scenario) -> None:
                told.clear()
                try:
                    begin_from_scenario(folder, name)
                except RushlightError as error:
                    with told:
                        findings_list(error.findings)
                    return
                ui.navigate.to(f"/rig/{name}/plan")

            made = button(text("start.example.take"), add)
            made.props["aria-label"] = f"{text('start.example.take')}: {words}"


class Questions:
    """The form; everything in it is this tab's own."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._given = {
            "name": "my-display",
            "kind": "surface",
            "width": "",
            "height": "",
            "where": "behind",
            "camera": "",
        }

    def draw(self) -> None:
        """Draw the questions."""
        element("p", text("start.questions.lead"), "soft small")
        self._line("name", "start.name", text("start.name.hint"))
        kinds = [(kind, text(f"kind.{kind}")) for kind in KINDS]
        self._choices("kind", "start.kind", kinds, self._ask_again)
        with ui.element("fieldset"):
            element("legend", text("start.size"))
            self._line("width", "start.size.width")
            self._line("height", "start.size.height")
            self._no_size = element("p", text("start.size.volume"), "soft small")
        wheres = [*((each, text(f"start.where.{each}")) for each in WHERE)]
        self._where = self._choices(
            "where", "start.where", [*wheres, ("", text("start.where.any"))]
        )
        self._in_space = element("p", text("start.where.space"), "soft small")
        with ui.element("div").classes("field"):
            label = element("label", text("start.have"), "asked")
            chosen = ui.element("select")
            chosen.props["id"] = f"select-{chosen.id}"
            label.props["for"] = f"select-{chosen.id}"
            with chosen:
                element("option", text("start.have.none"), value="")
                for part in parts(None).of_kind("camera"):
                    element("option", f"{part.id}: {part.name}", value=part.id)
            chosen.on("change", self._take("camera"), js_handler=_GIVEN)
        self._told = ui.element("div")
        self._told.props["role"] = "status"
        button(text("start.make"), self._make, first=True)
        self._ask_again()

    def _take(self, name: str, then: Callable[[], None] | None = None) -> Callable[[Any], None]:
        def take(event: Any) -> None:
            self._given[name] = event.args
            if then is not None:
                then()

        return take

    def _line(self, name: str, key: str, hint: str = "") -> None:
        with ui.element("div").classes("field"):
            label = element("label", text(key) + (f" ({hint})" if hint else ""), "label")
            typed = element("input", None, type="text", value=self._given[name], autocomplete="off")
            keep_typed(typed)
            typed.props["id"] = f"line-{typed.id}"
            typed.props["data-answer"] = name
            label.props["for"] = f"line-{typed.id}"
            typed.on("input", self._take(name), js_handler=_GIVEN)

    def _choices(
        self,
        name: str,
        key: str,
        choices: list[tuple[str, str]],
        then: Callable[[], None] | None = None,
    ) -> Element:
        with ui.element("fieldset") as group:
            element("legend", text(key))
            for value, words in choices:
                with element("label", None, "choice"):
                    chosen = element("input", None, type="radio", value=value, name=name)
                    if value == self._given[name]:
                        chosen.props["checked"] = True
                    chosen.on("change", self._take(name, then), js_handler=_GIVEN)
                    element("span", words)
        return group

    def _ask_again(self) -> None:
        """Ask only what the kind of rig can answer."""
        kind = self._given["kind"]
        self._no_size.set_visibility(kind == "volume")
        self._where.set_visibility(kind == "surface")
        self._in_space.set_visibility(kind != "surface")

    async def _make(self) -> None:
        self._told.clear()
        given = self._given
        answers = Answers(
            given["kind"], given["width"], given["height"], given["where"], given["camera"]
        )
        try:
            await quickly(begin_from_answers, self._folder, given["name"], answers)
        except RushlightError as error:
            with self._told:
                findings_list(error.findings)
            return
        ui.navigate.to(f"/rig/{given['name']}/plan")
