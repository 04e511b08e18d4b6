"""Lookout: begins the camera that finds the eye, opens the window on the display, tells the eye."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from nicegui import ui
from nicegui.element import Element

from rushlight.bench.desk.frame import button, element, panel, words_html
from rushlight.bench.desk.live_panel import LivePanel
from rushlight.bench.desk.show import number
from rushlight.bench.desk.worker import quickly
from rushlight.bench.texts import text
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.theatre import theatre

_AXES = ("x", "y", "z")
_GIVEN = "(e) => emit(e.target.value)"


def _told(file: Any) -> dict[str, Any]:
    return theatre(file).as_dict()


def twin(place: RigPlace) -> Any:
    """As ``rushlight bench FOLDER --json --lookout RIG``, and as it is sent to the display."""
    return _told(place.file)


async def draw(place: RigPlace) -> None:
    """Draw the page into the frame."""
    element("h1", text("window.title"))
    if "viewpoint" not in place.kinds:
        element("p", text("window.no_eye"), "lead")
        return
    element("p", text("window.lead"), "lead")
    await ui.context.client.connected(timeout=60.0)
    LookoutPage(place, await quickly(_told, place.file)).draw()


class LookoutPage:
    """The page of one tab."""

    def __init__(self, place: RigPlace, told: dict[str, Any]) -> None:
        self._place, self._told = place, told
        self._asked = list(told["eye"]["rest_m"])
        self._values: dict[str, Any] = {}
        self._source = ""

    def draw(self) -> None:
        """Draw everything."""
        with ui.element("div").classes("columns even"):
            with ui.element("div").classes("stack"):
                page = f"lookout?rig={quote(self._place.name)}"
                self._live = LivePanel(self._place, "run", (page,), heard=self._heard)
                self._live.draw()
            with ui.element("div").classes("stack"):
                self._draw_eye()
                self._draw_head()
                self._draw_scene()
        ui.timer(0.5, self._rest)

    def _draw_eye(self) -> None:
        with panel(text("window.eye")):
            self._who = element("p", text("window.eye.none"))
            self._who.props["role"] = "status"
            with ui.element("dl").classes("figures"):
                for axis, key in zip(_AXES, ("across", "up", "before"), strict=True):
                    with ui.element("div"):
                        element("dt", text(f"window.eye.{key}"))
                        self._values[axis] = ui.html("–", sanitize=False, tag="dd").classes("big")
                        self._values[axis].props["data-eye"] = axis
            element("p", text("window.eye.from"), "soft small")

    def _draw_head(self) -> None:
        with panel(text("window.head")) as self._head:
            element("p", text("window.head.lead"), "soft small")
            eye = self._told["eye"]
            for i, axis in enumerate(_AXES):
                with ui.element("div").classes("field"):
                    label = element("label", text(f"window.head.{axis}"), "label")
                    slider = element("input", None, type="range", step=0.001)
                    slider.props.update(min=eye["low_m"][i], max=eye["high_m"][i])
                    slider.props["^value"] = eye["rest_m"][i]
                    slider.props.update({"id": f"head-{slider.id}", "data-head": axis})
                    label.props["for"] = f"head-{slider.id}"
                    slider.on("input", self._look(i), js_handler=_GIVEN, throttle=0.1)
            button(text("window.head.wander"), self._wander)
        self._head.set_visibility(False)

    def _draw_scene(self) -> None:
        with panel(text("window.scene")):
            depth = number(100.0 * self._told["depth_m"], "cm", 2)
            count = len(self._told["pieces"])
            element("p", text("window.scene.lead", rig=self._told["rig"], count=count, depth=depth))
            if self._told["basis"] == "invented":
                element("p", text("window.scene.invented"), "soft small")
            element("p", text("window.scene.own"))
        with panel(text("window.care")):
            for words in self._told["cautions"]:
                element("p", words, "small")

    def _look(self, axis: int) -> Any:
        async def look(event: Any) -> None:
            self._asked[axis] = float(event.args)
            x_m, y_m, z_m = self._asked
            await self._live.say({"look": {"x_m": x_m, "y_m": y_m, "z_m": z_m}})

        return look

    async def _wander(self) -> None:
        await self._live.say({"wander": True})

    def _rest(self) -> None:
        """The act has ended, or another's goes on: nothing finds the eye."""
        if not self._live.goes_on:
            self._show(None, "none")

    def _heard(self, state: Any) -> None:
        lit = state.get("lit") or []
        place = lit[0][1:4] if lit and len(lit[0]) == 4 and None not in lit[0] else None
        kind = "none" if place is None else _found_by(state)
        self._show(place, kind)
        self._head.set_visibility(bool(state.get("rehearsed")) and self._live.goes_on)

    def _show(self, place: list[float] | None, kind: str) -> None:
        if kind != self._source:
            self._source = kind
            self._say(self._who, text(f"window.eye.{kind}"))
        if kind == "none" and place is None:
            self._head.set_visibility(self._live.goes_on and self._head.visible)
        for i, axis in enumerate(_AXES):
            words = "–" if place is None else f"{100.0 * place[i]:.1f} cm"
            self._values[axis].set_content(words_html(words))

    def _say(self, line: Element, words: str) -> None:
        line.clear()
        with line:
            element("span", words)


def _found_by(state: Any) -> str:
    """What finds the eye; footage that was simulated before has no head that could be asked."""
    if not state.get("simulated"):
        return "camera"
    return "rehearsed" if state.get("rehearsed") else "simulated"
