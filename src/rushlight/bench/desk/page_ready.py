"""Ready: one button every morning, and go or no-go with the reason."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from nicegui import ui

from rushlight.bench.desk.frame import element, panel, table
from rushlight.bench.desk.live_panel import Findings, LivePanel, Words
from rushlight.bench.desk.show import moment, number, percent
from rushlight.bench.texts import text
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.load import load_rig
from rushlight.jobs.told import Told, newest_told, told_or_refused
from rushlight.jobs.touching import styli_of

_GIVEN = "(e) => emit(e.target.value)"


def twin(place: RigPlace) -> Any:
    """As ``rushlight ready --rig RIG --json`` printed it last."""
    return told_or_refused("ready", place.folder)


def draw(place: RigPlace) -> None:
    """Draw the page into the frame."""
    element("h1", text("ready.title"))
    if "surface" not in place.kinds:
        element("p", text("ready.space"), "lead")
        return
    element("p", text("ready.lead"), "lead")
    ReadyPage(place).draw()


class ReadyPage:
    """The page of one tab."""

    def __init__(self, place: RigPlace) -> None:
        self._place = place
        self._asked: dict[str, str] = {"touched_by": "", "cells_since": ""}

    def draw(self) -> None:
        """Draw everything, and what was told last."""
        with ui.element("div").classes("columns even"):
            with ui.element("div").classes("stack"):
                live = LivePanel(
                    self._place,
                    "ready",
                    pages=("beacons",),
                    options=self._options,
                    heard=self._heard,
                    ended=lambda _: self._show(),
                )
                live.draw()
                self._draw_options()
            with panel(text("ready.told")) as box:
                box.props["aria-live"] = "polite"
                self._now = Words("notice")
                self._told = ui.element("div")
        self._show()

    def _draw_options(self) -> None:
        with panel(), ui.element("details"):
            element("summary", text("ready.more"))
            with ui.element("div").classes("field"):
                label = element("label", text("ready.stylus"), "label")
                chosen = ui.element("select")
                chosen.props["id"] = f"select-{chosen.id}"
                label.props["for"] = f"select-{chosen.id}"
                with chosen:
                    element("option", text("ready.stylus.first"), value="")
                    for each in styli_of(load_rig(self._place.file)[0]):
                        element("option", each, value=each)
                chosen.on("change", self._take("touched_by"), js_handler=_GIVEN)
            with ui.element("div").classes("field"):
                label = element("label", text("ready.cells_since"), "label")
                typed = element("input", None, type="text", autocomplete="off", dir="ltr")
                typed.props["id"] = f"since-{typed.id}"
                label.props["for"] = f"since-{typed.id}"
                typed.on("input", self._take("cells_since"), js_handler=_GIVEN)

    def _take(self, name: str) -> Callable[[Any], None]:
        def take(event: Any) -> None:
            self._asked[name] = str(event.args).strip()

        return take

    def _options(self) -> dict[str, Any]:
        return {name: given for name, given in self._asked.items() if given}

    def _heard(self, state: Mapping[str, Any]) -> None:
        told = state.get("morning") or {}
        going = state.get("stage") == "running" and told
        words = text(f"ready.stage.{told['stage']}", **_counted(told)) if going else ""
        self._now.say(words)

    def _show(self) -> None:
        self._told.clear()
        with self._told:
            kept = newest_told("ready", self._place.folder)
            if kept is None:
                element("p", text("ready.none"), "soft")
            else:
                _draw_told(kept)


def _counted(told: Mapping[str, Any]) -> dict[str, int]:
    return {"number": min(int(told["done"]) + 1, int(told["of"])), "of": int(told["of"])}


def _draw_told(kept: Told) -> None:
    told = kept.values
    go = "go" if told["go"] else "no_go"
    element("p", text(f"ready.{go}"), f"verdict {'good' if told['go'] else 'bad'}")
    element(
        "p", text("ready.when", when=moment(kept), basis=text(f"basis.{told['basis']}")), "soft"
    )
    _draw_list(told["reasons"])
    if told["taken_over_from_px"]:
        was = "×".join(str(side) for side in told["taken_over_from_px"])
        element("p", text("ready.taken_over", was=was))
    if told["touches"]:
        element("h3", text("ready.touches", carried=told["carried"]))
        table(
            [text(f"ready.touch.{each}") for each in ("x", "y", "missed", "expected")],
            [
                (f"{one['x_m']:.3f}", f"{one['y_m']:.3f}", one["missed_mm"], one["expected_mm"])
                for one in told["touches"]
            ],
            text("ready.touches", carried=told["carried"]),
        )
    element("h3", text("ready.light"))
    table(
        [text(f"ready.column.{each}") for each in ("what", "now", "expected")],
        [*_light_rows(told), *_cell_rows(told)],
        text("ready.light"),
    )
    element(
        "p",
        text(
            "ready.honest",
            turn=told["turn_noticed_deg"],
            chance=percent(told["turn_noticed_chance"]),
            alarm=percent(told["false_alarm"]),
            sessions=told["sessions"],
        ),
        "soft small",
    )
    rest = [each for each in told["findings"] if each["severity"] != "error"]
    if rest:
        element("h3", text("ready.findings"))
        Findings().show(rest)


def _draw_list(sentences: Sequence[str]) -> None:
    if sentences:
        with ui.element("ul").classes("findings"):
            for sentence in sentences:
                with ui.element("li").classes("error"):
                    element("span", sentence)


def _light_rows(told: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    return [
        (text("ready.room"), percent(told["room_share"]), percent(told["room_planned_share"])),
        (text("ready.standing"), str(told["lights_standing"]), "0"),
        (
            text("ready.touch_light"),
            percent(told["touch_light_share"]),
            text("ready.touch_light.expected"),
        ),
        (
            text("ready.over_noise"),
            number(told["weakest_over_noise"]),
            text("ready.over_noise.expected"),
        ),
    ]


def _cell_rows(told: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    return [
        (
            text("ready.cells", carried=each["carried"]),
            text("ready.cells.used", hours=number(each["used_h"], "h")),
            number(each["runtime_h"], "h"),
        )
        for each in told["cells"]
    ]
