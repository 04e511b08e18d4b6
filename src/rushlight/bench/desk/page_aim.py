"""Aim: a light held at named places tells where the camera stands, and what to do about it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from nicegui import ui
from nicegui.element import Element

from rushlight.bench.desk.aim_drawing import ABOVE, SIDE, places_svg, room_svg
from rushlight.bench.desk.frame import button, element, panel, table, words_html
from rushlight.bench.desk.live_panel import Findings, LivePanel, Words
from rushlight.bench.desk.show import number, percent
from rushlight.bench.desk.worker import quickly
from rushlight.bench.texts import text
from rushlight.errors import RushlightError
from rushlight.jobs.aim import aim_sketch, kept_aim
from rushlight.jobs.folder import RigPlace

Told = Mapping[str, Any]


def twin(place: RigPlace) -> Any:
    """As ``rushlight aim RIG --json``."""
    return kept_aim(place.file).as_dict()


async def draw(place: RigPlace) -> None:
    """Draw the page into the frame."""
    element("h1", text("aim.title"))
    if "surface" not in place.kinds:
        element("p", text("aim.space"), "lead")
        return
    element("p", text("aim.lead"), "lead")
    waiting = element("p", text("aim.waiting"), "soft")
    # The answer is sent first: the quick process may be busy with another page's map.
    await ui.context.client.connected(timeout=60.0)
    sketch = await quickly(aim_sketch, place.file)
    waiting.delete()
    AimPage(place, sketch).draw()


class AimPage:
    """The page of one tab."""

    def __init__(self, place: RigPlace, sketch: dict[str, Any]) -> None:
        self._place, self._sketch = place, sketch
        self._askew = True
        self._drawn: Any = None
        self._asking: list[Element] = []

    def draw(self) -> None:
        """Draw everything, and what is kept."""
        with ui.element("div").classes("columns aim-columns"):
            with ui.element("div").classes("stack"):
                self._live = LivePanel(
                    self._place,
                    "aim",
                    pages=("picture",),
                    options=lambda: {"linger": True, "askew": self._askew},
                    heard=self._heard,
                    ended=lambda _: self._show_kept(),
                )
                self._live.draw()
                self._draw_askew()
            with ui.element("div").classes("stack"):
                with panel(text("aim.hold")) as box:
                    box.props["data-aim"] = "hold"
                    self._do = Words("big", role="status")
                    self._meter = ui.html("", sanitize=False)
                    self._places = ui.html("", sanitize=False)
                    self._draw_asking()
                with panel(text("aim.told")) as box:
                    box.props["aria-live"] = "polite"
                    self._told = ui.element("div")
                with panel(text("aim.room")), ui.element("div").classes("aim-room"):
                    with ui.element("div"):
                        element("h3", text("aim.view.above"))
                        self._above = ui.html("", sanitize=False)
                    with ui.element("div"):
                        element("h3", text("aim.view.side"))
                        self._side = ui.html("", sanitize=False)
                with panel(text("aim.light")):
                    self._light = ui.element("div")
        self._show_kept()

    def _draw_asking(self) -> None:
        """What may be said while it goes on."""
        with ui.element("div").classes("row"):
            for name in ("skip", "moved", "finish"):
                self._asking.append(
                    button(text(f"aim.ask.{name}"), self._say({name: True}), disabled=True)
                )
        element("p", text("aim.ask.words"), "soft small")
        with ui.element("details"):
            element("summary", text("aim.ask.hold"))
            with ui.element("div").classes("row"):
                for each in self._sketch["places"]:
                    words = text(f"aim.place.{each['name']}")
                    say = self._say({"hold": each["name"]})
                    self._asking.append(button(words, say, disabled=True))

    def _draw_askew(self) -> None:
        with panel(), element("label", None, "choice"):
            box = element("input", None, type="checkbox", checked=True)
            box.on("change", self._take_askew, js_handler="(e) => emit(e.target.checked)")
            element("span", text("aim.askew"))

    def _take_askew(self, event: Any) -> None:
        self._askew = bool(event.args)

    def _say(self, message: dict[str, Any]) -> Any:
        async def say() -> None:
            await self._live.say(message)

        return say

    def _heard(self, state: Told) -> None:
        told = state.get("aim") or {}
        going = state.get("stage") == "running" and bool(told)
        for each in self._asking:
            if each.props.get("disabled") is going:
                each.props["disabled"] = not going
                each.update()
        if not going:
            self._do.say(text("aim.do.idle"))
            self._meter.set_content("")
            return
        place = told["place"]
        key = told["stage"] if place or told["stage"] != "holding" else "judging"
        name = text(f"aim.place.{place}") if place else ""
        done = {"done": told["done"], "of": told["of"]}
        self._do.say(text(f"aim.do.{key}", place=name, carried=told["carried"] or "", **done))
        self._places.set_content(
            places_svg(self._sketch["places"], told["states"], place, told["held_share"])
        )
        self._meter.set_content(_meter_html(told))
        if told["result"]:
            self._show(told["result"])

    def _show_kept(self) -> None:
        try:
            kept = kept_aim(self._place.file).as_dict()
        except RushlightError as error:
            self._do.say(text("aim.do.idle"))
            self._places.set_content(places_svg(self._sketch["places"], {}, None, 0.0))
            self._draw_room(None)
            for box, none in ((self._told, "aim.none"), (self._light, "aim.light.none")):
                box.clear()
                with box:
                    element("p", text(none), "soft")
            with self._told:
                if error.findings[0].code != "aim-missing":
                    Findings().show(error.findings)
            return
        states = {each["name"]: each["state"] for each in kept["places"]}
        self._do.say(text("aim.do.idle"))
        self._places.set_content(places_svg(self._sketch["places"], states, None, 0.0))
        self._show(kept)

    def _draw_room(self, told: Told | None) -> None:
        self._above.set_content(room_svg(self._sketch, told, ABOVE))
        self._side.set_content(room_svg(self._sketch, told, SIDE))

    def _show(self, told: Told) -> None:
        """What is found, and what to do about it; drawn anew only when it has changed."""
        if told == self._drawn:
            return
        self._drawn = told
        self._draw_room(told)
        self._told.clear()
        with self._told:
            _draw_advice(told)
        self._light.clear()
        with self._light:
            _draw_light(told)


def _draw_advice(told: Told) -> None:
    coverage = told["coverage"]
    good = "good" if told["reached"] else "bad"
    element("p", text(f"aim.advice.{told['advice']}"), f"verdict {good}")
    steps = [each for each in told["steps"] if each["told"]]
    if steps:
        with ui.element("ol").classes("aim-steps"):
            for each in steps:
                with ui.element("li"):
                    unit = each["unit"] if each["unit"] == "°" else f" {each['unit']}"
                    said = text(
                        f"aim.step.{each['kind']}.{each['way']}", amount=f"{each['amount']}{unit}"
                    )
                    element("span", said, "big")
                    element("span", f"± {each['std']}{unit}", "soft")
        element("p", text("aim.step.words"), "soft small")
        element("p", text("aim.caution"), "small")
    shares = {key: percent(coverage[key]) for key in ("now", "low", "high", "wanted", "then")}
    element("p", text("aim.coverage", **shares))
    if told["steps"]:
        element("p", text("aim.coverage.then", **shares))
    for each in told["corners"]:
        if not each["inside"]:
            element("p", text("aim.corner", place=text(f"aim.place.{each['name']}")), "notice")
    found = told["found"]
    doubt = {f"{axis}": number(found[f"{axis}_std_cm"]) for axis in "xyz"}
    element("p", text("aim.doubt", **doubt), "soft small")
    basis = text(f"basis.{told['basis']}")
    element("p", text("aim.basis", basis=basis), "soft small")
    if told["findings"]:
        Findings().show(told["findings"])


def _draw_light(told: Told) -> None:
    light = told["light"]
    element(
        "p",
        text(
            "aim.room_light",
            now=percent(light["room_share"]),
            planned=percent(light["room_planned_share"]),
            noise=number(light["room_noise"]),
        ),
    )
    rows = [
        [
            text(f"aim.place.{each['name']}"),
            percent(each["full_share"]),
            percent(each["expected_share"]),
            number(each["over_noise"]),
        ]
        for each in told["places"]
        if each["state"] == "held"
    ]
    columns = [text(f"aim.light.{each}") for each in ("place", "full", "expected", "noise")]
    table(columns, rows, text("aim.light"))


def _meter_html(told: Told) -> str:
    """The brightest light of now against full scale, in a bar and in words."""
    level = told["level_share"]
    words = (
        text("aim.meter.none")
        if level is None
        else text("aim.meter", share=percent(level), noise=number(told["over_noise"]))
    )
    share = 0.0 if level is None else min(float(level), 1.0)
    kind = "full" if told["level_full"] else ""
    limit = f"--fullest:{100 * told['level_limit']:.0f}%"
    return (
        f'<div class="aim-meter {kind}" style="{limit}">'
        f'<i style="width:{100 * share:.0f}%"></i></div>'
        f'<p class="small">{words_html(words)}</p>'
    )
