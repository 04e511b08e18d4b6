"""Try: choose a task, a device and a person, open the page of trials, and see what was kept."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from nicegui import ui
from nicegui.element import Element

from rushlight.bench.desk.frame import (
    element,
    findings_list,
    keep_typed,
    lead_to,
    link,
    panel,
    table,
)
from rushlight.bench.desk.live_panel import LivePanel
from rushlight.bench.desk.show import about, number
from rushlight.bench.desk.stages import stages
from rushlight.bench.desk.worker import quickly, slowly
from rushlight.bench.texts import text
from rushlight.errors import Finding
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.load import load_rig
from rushlight.jobs.sittings import KeptSitting, kept_sittings, sittings_told, trial_files
from rushlight.jobs.trials_plan import TASKS, Task, try_plan
from rushlight.records.trials import TryPlan

_LOOK_EVERY_S = 2.0
"""How often the folder of sittings is looked at [s]; no source."""
_GIVEN = "(e) => emit(e.target.value)"


def twin(place: RigPlace) -> Any:
    """As ``rushlight assess trials/*.json --rig RIG --json``."""
    return sittings_told(place.file)


async def draw(place: RigPlace) -> None:
    """Draw the page into the frame."""
    element("h1", text("tryout.title"))
    if not load_rig(place.file)[0].surfaces:
        element("p", text("tryout.space"), "lead")
        return
    element("p", text("tryout.lead"), "lead")
    await ui.context.client.connected(timeout=60.0)
    plans = await quickly(_plans, place.file, "viewpoint" in place.kinds)
    await TryPage(place, plans).draw()


def _plans(file: Path, views: bool) -> dict[Task, TryPlan]:
    return {task: try_plan(file, task) for task in TASKS if task != "align" or views}


class TryPage:
    """The page of one tab."""

    def __init__(self, place: RigPlace, plans: dict[Task, TryPlan]) -> None:
        self._place, self._plans = place, plans
        self._carried = plans["ring"].carried
        self._asked = {
            "rig": place.name,
            # A rig that follows an eye alone has one task for it, one that follows neither none.
            "task": "ring" if self._carried or "align" not in plans else "align",
            "role": "rig" if self._carried or "align" in plans else "reference",
            "carried": self._carried[0] if self._carried else "",
            "name": "",
            "person": "",
        }
        self._seen: list[tuple[str, int]] | None = None
        self._people: list[str] = []

    async def draw(self) -> None:
        """Draw everything, and what was kept."""
        with ui.element("div").classes("columns even"):
            with ui.element("div").classes("stack"):
                with panel(text("tryout.task")):
                    self._choices(
                        "task",
                        text("tryout.task"),
                        [(task, self._task_words(task)) for task in self._plans],
                    )
                with panel(text("tryout.device")):
                    self._device = ui.element("div")
                    self._draw_device()
                with panel(text("tryout.person")):
                    element("p", text("tryout.person.lead"), "soft small")
                    self._person = ui.element("div")
            with ui.element("div").classes("stack"):
                with panel(text("tryout.open")):
                    element("p", text("tryout.open.lead"), "soft small")
                    self._open = link(text("tryout.open"), "", "button first", target="_blank")
                    self._open.props["data-open"] = "try"
                    self._waits = element("p", text("tryout.open.waiting"), "soft small")
                self._live = LivePanel(self._place, "run")
                self._live.draw()
        with panel(text("tryout.kept")) as box:
            box.style("margin-top: 24px")
            element("p", text("tryout.kept.lead"), "soft small")
            self._kept = ui.element("div")
            element("p", text("tryout.command"), "soft small")
        self._draw_people()
        self._point()
        await self._look()
        ui.timer(0.5, self._point)
        ui.timer(_LOOK_EVERY_S, self._look)

    def _task_words(self, task: Task) -> str:
        time = about(self._plans[task].about_s)
        return text("tryout.about", task=text(f"tryout.task.{task}"), time=time)

    def _draw_device(self) -> None:
        own = "tryout.role.rig" if self._carried else "tryout.role.rig.view"
        can = self._carried or self._asked["task"] == "align"
        if not can and self._asked["role"] == "rig":
            self._asked["role"] = "reference"
        roles = [("rig", text(own))] if can else []
        roles += [(each, text(f"tryout.role.{each}")) for each in ("reference", "other")]
        self._device.clear()
        with self._device:
            self._choices("role", text("tryout.device"), roles)
            self._light = self._select("carried", text("tryout.carried"), self._carried)
            self._draw_name()
        self._show_device()

    def _draw_name(self) -> None:
        with ui.element("div").classes("field") as self._name:
            label = element("label", text("tryout.name"), "label")
            typed = element("input", None, type="text", autocomplete="off", maxlength=40)
            typed.props.update({
                "id": f"name-{typed.id}", "placeholder": text("tryout.name.hint"),
                "value": self._asked["name"],
            })  # fmt: skip
            label.props["for"] = f"name-{typed.id}"
            keep_typed(typed)
            typed.on("input", self._take("name"), js_handler=_GIVEN)

    def _show_device(self) -> None:
        own = self._asked["role"] == "rig"
        self._light.set_visibility(own and bool(self._carried))
        self._name.set_visibility(not own)

    def _draw_people(self) -> None:
        self._person.clear()
        with self._person:
            people = [("", text("tryout.person.new")), *((each, each) for each in self._people)]
            self._select("person", text("tryout.person.label"), people)

    def _choices(self, what: str, legend: str, choices: list[tuple[str, str]]) -> None:
        with ui.element("fieldset") as group:
            element("legend", legend, "unseen")
            for value, words in choices:
                with element("label", None, "choice"):
                    chosen = element("input", None, type="radio", value=value)
                    chosen.props["name"] = f"{what}-{group.id}"
                    chosen.props[f"data-{what}"] = value
                    if value == self._asked[what]:
                        chosen.props["checked"] = True
                    chosen.on("change", self._take(what), js_handler=_GIVEN)
                    element("span", words)

    def _select(self, what: str, label: str, choices: Any) -> Element:
        with ui.element("div").classes("field") as box:
            words = element("label", label, "label")
            chosen = ui.element("select")
            chosen.props.update({"id": f"select-{chosen.id}", "data-select": what})
            words.props["for"] = f"select-{chosen.id}"
            with chosen:
                for choice in choices:
                    value, shown = (choice, choice) if isinstance(choice, str) else choice
                    option = element("option", shown, value=value)
                    if value == self._asked[what]:
                        option.props["selected"] = True
            chosen.on("change", self._take(what), js_handler=_GIVEN)
        return box

    def _take(self, what: str) -> Any:
        def take(event: Any) -> None:
            self._asked[what] = str(event.args)
            if what == "task" and not self._carried:
                self._draw_device()  # whether the rig itself can do it
            self._show_device()
            self._point()

        return take

    def _point(self) -> None:
        """Let the link lead to the page as it was asked for, once there is a live process."""
        url = self._live.link.url
        self._waits.set_visibility(not url)
        asked = {key: value for key, value in self._asked.items() if value.strip()}
        asked.pop("carried" if asked["role"] != "rig" else "name", None)
        lead_to(self._open, f"{url}try?{urlencode(asked)}" if url else "")

    async def _look(self) -> None:
        """Show the sittings, whenever there are others than before."""
        files = [(file.name, file.stat().st_mtime_ns) for file in trial_files(self._place.file)]
        if files == self._seen:
            return
        self._seen = files
        sittings, findings = await slowly(kept_sittings, self._place.file)
        people = list(dict.fromkeys(each.participant for each in sittings))
        if people != self._people:
            self._people = people
            self._draw_people()
        self._kept.clear()
        with self._kept:
            _draw_sittings(sittings, findings)
            if sittings and "results" in stages():
                with ui.element("p"):
                    link(text("tryout.results"), f"/rig/{self._place.name}/results", "button")


def _draw_sittings(sittings: list[KeptSitting], findings: list[Finding]) -> None:
    if not sittings:
        element("p", text("tryout.kept.none"))
    else:
        heads = ("device", "role", "who", "done", "figures", "basis", "file")
        table(
            [text(f"tryout.kept.{each}") for each in heads],
            [_row(each) for each in sittings],
            text("tryout.kept"),
        )
    findings_list(findings)


def _row(one: KeptSitting) -> list[object]:
    figures = [
        text(
            "tryout.figure",
            name=each.name.replace("-", " "),
            statistic=each.statistic,
            value=number(each.value),
            unit=each.unit,
        )
        for each in one.figures
    ]
    kinds = ", ".join(text(f"tryout.kept.kind.{kind}") for kind in one.kinds)
    return [
        one.device_name,
        text(f"tryout.kept.as.{one.role}"),
        one.participant,
        kinds,
        "; ".join(figures),
        text(f"tryout.basis.{one.basis}"),
        one.file,
    ]
