"""Register a rig in space: step by step before live cameras, or from footage, or as mounted."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from nicegui import ui

from rushlight.bench.desk.frame import button, element, panel
from rushlight.bench.desk.live_panel import Findings, LivePanel, Words
from rushlight.bench.desk.register_kept import draw_kept
from rushlight.bench.desk.worker import slowly
from rushlight.bench.texts import text
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.register import register
from rushlight.jobs.register_space_telling import steps_ahead

_GIVEN = "(e) => emit(e.target.value)"
_WORDS = ("begin", "back", "skip", "finish")
"""What a user may say, as the job knows it; one button each."""


class SpaceSteps:
    """The page of one tab."""

    def __init__(self, place: RigPlace) -> None:
        self._place = place
        self._footage = ""
        self._told: list[Any] = []
        self._ahead: dict[str, Any] = {"method": "mounting", "steps": 0}
        self._refused: tuple[Finding, ...] = ()
        try:
            self._ahead = steps_ahead(place.file)
        except RushlightError as error:
            self._refused = error.findings

    def draw(self) -> None:
        """Draw everything; a registration that goes on is shown as it stands."""
        with ui.element("div").classes("columns narrow-wide"):
            with ui.element("div").classes("stack"):
                if self._ahead["steps"]:
                    self._draw_live()
                else:
                    self._draw_recorded()
            with ui.element("div").classes("stack"):
                if self._ahead["steps"]:
                    with panel(text("register.steps")):
                        self._draw_now()
                with panel(text("register.kept")):
                    if self._refused:
                        Findings().show(self._refused)
                    self._kept = ui.element("div")
                if self._ahead["steps"]:
                    self._draw_recorded()
        self._show_kept()

    def _draw_live(self) -> None:
        marked = self._ahead["method"] != "swing"
        self._live = LivePanel(
            self._place,
            "register",
            pages=("steps", "picture") if marked else ("picture",),
            options=lambda: {"loop": True},
            heard=self._heard,
            ended=lambda _: self._show_kept(),
        )
        self._live.draw()

    def _draw_now(self) -> None:
        method = self._ahead["method"]
        element("p", text(f"register.steps.{method}", count=self._ahead["steps"]), "soft")
        self._stands = Words("notice", role="status")
        self._came = Words(role="status")
        self._buttons = {}
        with ui.element("div").classes("row"):
            for word in _WORDS:
                shown = button(
                    text(f"register.steps.{word}"),
                    self._say(word),
                    first=word == "begin",
                    data_word=word,
                )
                self._buttons[word] = shown
        element("p", text("register.steps.keep"), "soft small")
        element("p", text("register.steps.caution"), "caution")
        if method == "looks":
            element("p", text("register.steps.beads"), "caution")
        self._list = ui.element("div")
        self._enable(None)

    def _say(self, word: str) -> Callable[[], Any]:
        return lambda: self._live.say({"word": word})

    def _enable(self, told: Mapping[str, Any] | None) -> None:
        """What may be said now; nothing while no step is told."""
        stage = (told or {}).get("stage")
        on = dict.fromkeys(_WORDS, stage in ("told", "held"))
        on["begin"] = stage == "told"
        for word, shown in self._buttons.items():
            shown.props["disabled"] = not on[word]
            shown.update()

    def _heard(self, state: Mapping[str, Any]) -> None:
        going = state.get("stage") == "running"
        told = state.get("register") or {}
        now = [told, going]
        if now == self._told:
            return
        self._told = now
        self._stands.say(_step_words(told) if going else "")
        last = told.get("last") if going else None
        self._came.say("" if last is None else _came_words(last))
        self._enable(told if going else None)
        self._list.clear()
        with self._list:
            _draw_steps(told.get("steps") or [])

    def _draw_recorded(self) -> None:
        with panel(text("register.space")):
            with ui.element("div").classes("field"):
                label = element("label", text("register.space.footage"), "label")
                typed = element("input", None, type="text", autocomplete="off", dir="ltr")
                typed.props["id"] = f"footage-{typed.id}"
                label.props["for"] = f"footage-{typed.id}"
                typed.on("input", self._take, js_handler=_GIVEN)
                element("p", text("register.space.hint"), "soft small")
            button(text("register.space.begin"), self._register, first=not self._ahead["steps"])
            self._busy = Words(role="status")
            self._faults = Findings()

    def _take(self, event: Any) -> None:
        self._footage = str(event.args).strip()

    async def _register(self) -> None:
        self._faults.show([])
        self._busy.say(text("register.space.busy"))
        folder = self._place.folder
        footage = folder / self._footage if self._footage else None
        try:
            await slowly(register, footage, self._place.file, folder / "registration.json")
        except RushlightError as error:
            self._faults.show(error.findings)
        self._busy.say("")
        self._show_kept()

    def _show_kept(self) -> None:
        self._kept.clear()
        with self._kept:
            draw_kept(self._place)


def _step_words(told: Mapping[str, Any]) -> str:
    """What is to be done now."""
    step = told.get("step")
    if step is None:
        return text("register.steps.finding" if told.get("stage") == "finding" else "panel.running")
    kind, stage = step["kind"], told["stage"]
    if stage == "held":
        if kind == "swing":
            return text("register.step.swung", seconds=told["left_s"])
        return text("register.step.held", seconds=f"{step['lasts_s']:g}", **_numbers(step))
    if kind == "swing":
        return text("register.step.swing", **_numbers(step))
    if kind == "placing":
        return text("register.step.placing", at=_place(step["near_m"]), **_numbers(step))
    return text(
        "register.step.look",
        near=_place(step["near_m"]),
        far=_place(step["far_m"]),
        before=f"{step['bead_mm']:g}",
        how=step["how"],
        **_numbers(step),
    )


def _numbers(step: Mapping[str, Any]) -> dict[str, Any]:
    return {name: step[name] for name in ("number", "of", "carried", "point")}


def _place(point_m: Sequence[float]) -> str:
    x, y, z = (f"{value + 0.0:.3f}".replace("-", "−") for value in point_m)
    return text("register.step.place", x=x, y=y, z=z)


def _came_words(came: Mapping[str, Any]) -> str:
    """What came of one step."""
    dots = ", ".join(str(each) for each in came["dots"])
    return text(
        f"register.came.{came['came']}", number=came["number"], dots=dots, why=came["why_not"]
    )


def _draw_steps(steps: Sequence[Mapping[str, Any]]) -> None:
    if not steps:
        return
    element("h3", text("register.steps.made"))
    with ui.element("ul").classes("plain-list"):
        for each in steps:
            element("li", _came_words(each), data_came=each["came"], data_step=each["number"])
