"""The lens part of the page Register: the target to print, guided views, and what was kept."""

from __future__ import annotations

import base64
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from nicegui import ui

from rushlight.bench.desk.frame import button, element, findings_list, panel, table
from rushlight.bench.desk.live_panel import Findings, LivePanel, Words
from rushlight.bench.desk.live_sight import LiveSight
from rushlight.bench.desk.show import moment, number
from rushlight.bench.texts import text
from rushlight.errors import RushlightError
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.lens_target import write_target
from rushlight.jobs.load import load_rig
from rushlight.jobs.told import newest_told

_GIVEN = "(e) => emit(e.target.value)"
_TICKED = "(e) => emit(e.target.checked)"
_PAPERS = ("a4", "letter")


class LensPart:
    """Calibrate the lens with guidance; folded away until it is wanted."""

    def __init__(self, place: RigPlace) -> None:
        self._place = place
        self._cameras = [each.id for each in load_rig(place.file)[0].cameras]
        self._asked: dict[str, Any] = {"check_line": "", "check_line_up": "", "camera": ""}

    def draw(self) -> None:
        """Draw it."""
        with panel(classes="lens"), ui.element("details") as box:
            box.props["data-lens"] = True
            element("summary", text("lens.title"))
            element("p", text("lens.lead"))
            with ui.element("div").classes("columns even"):
                with ui.element("div").classes("stack"):
                    self._draw_print()
                    self._draw_measured()
                    self._live = LivePanel(
                        self._place,
                        "calibrate",
                        options=self._options,
                        heard=self._heard,
                        ended=lambda _: self._show_kept(),
                    )
                    self._live.draw()
                with ui.element("div").classes("stack"):
                    with panel(text("lens.views"), level=3):
                        self._next = Words("notice", role="status")
                        element("p", text("lens.views.lead"), "soft small")
                        self._sight = LiveSight("see")
                    with panel(text("lens.kept"), level=3):
                        self._kept = ui.element("div")
        self._show_kept()

    def _draw_print(self) -> None:
        with panel(text("lens.print"), level=3):
            element("p", text("lens.print.lead"))
            with ui.element("div").classes("row"):
                for paper in _PAPERS:
                    button(text(f"lens.print.{paper}"), self._print(paper))
            self._printed = ui.element("div")
            self._printed.props["role"] = "status"

    def _print(self, paper: str) -> Callable[[], None]:
        def make() -> None:
            self._printed.clear()
            path = self._place.folder / f"lens-target-{paper}.pdf"
            with self._printed:
                try:
                    made = write_target(path, paper).as_dict()
                except RushlightError as error:
                    findings_list(error.findings)
                    return
                element(
                    "p", text("lens.print.made", path=path, line=f"{made['check_line_mm']:g} mm")
                )
            ui.download.file(path)

        return make

    def _draw_measured(self) -> None:
        with panel(text("lens.measured"), level=3):
            element("p", text("lens.measured.lead"), "soft small")
            for name in ("check_line", "check_line_up"):
                with ui.element("div").classes("field"):
                    label = element("label", text(f"lens.{name}"), "label")
                    typed = element("input", None, type="text", autocomplete="off", dir="ltr")
                    typed.props.update({"id": f"lens-{typed.id}", "data-lens": name})
                    label.props["for"] = f"lens-{typed.id}"
                    typed.on("input", self._take(name), js_handler=_GIVEN)
            if len(self._cameras) > 1:
                with ui.element("div").classes("field"):
                    label = element("label", text("lens.camera"), "label")
                    chosen = ui.element("select")
                    chosen.props["id"] = f"lens-{chosen.id}"
                    label.props["for"] = f"lens-{chosen.id}"
                    with chosen:
                        for each in self._cameras:
                            element("option", each, value=each)
                    chosen.on("change", self._take("camera"), js_handler=_GIVEN)
                self._asked["camera"] = self._cameras[0]

    def _take(self, name: str) -> Callable[[Any], None]:
        def take(event: Any) -> None:
            self._asked[name] = str(event.args).strip()

        return take

    def _options(self) -> dict[str, Any]:
        given = {name: value for name, value in self._asked.items() if value}
        return given if "check_line" in given else {**given, "not_to_scale": True}

    def _heard(self, state: Mapping[str, Any]) -> None:
        told = state.get("calibrate") or {}
        going = state.get("stage") == "running"
        self._next.say(told.get("words", "") if going else "")
        if going:
            self._sight.listen(self._live.link.url)
        elif not self._live.goes_on:
            self._sight.rest()

    def _show_kept(self) -> None:
        self._kept.clear()
        with self._kept:
            kept = newest_told("calibrate", self._place.folder)
            if kept is None:
                element("p", text("lens.kept.none"), "soft")
                return
            told = kept.values
            good = "good" if told["vouched"] else "bad"
            element("p", text(f"lens.{good}"), f"verdict {good}")
            basis = text(f"basis.{told['basis']}")
            element("p", text("lens.when", when=moment(kept), basis=basis), "soft")
            with ui.element("ul").classes("plain-list"):
                for reason in told["reasons"]:
                    element("li", reason)
            table([], _rows(told), text("lens.kept"))
            if told["next"]:
                element("p", text("lens.next", next=told["next"]))
            _picture(kept.path.with_name(Path(told["picture"]).name))
            Findings().show(told["findings"])


def _rows(told: Mapping[str, Any]) -> list[tuple[str, str]]:
    used = sum(bool(view["used"]) for view in told["views"])
    return [
        (text("lens.row.camera"), told["camera"]),
        (text("lens.row.views"), text("lens.row.views.value", used=used, all=len(told["views"]))),
        (text("lens.row.covered"), f"{told['covered_percent']} %"),
        (text("lens.row.rms"), number(told["rms_px"], "px")),
        (text("lens.row.held_out"), number(told["held_out_rms_px"], "px")),
        (text("lens.row.doubt"), number(told["doubt_worst_px"], "px")),
    ]


def _picture(path: Path) -> None:
    try:
        drawn = base64.b64encode(path.read_bytes()).decode()
    except OSError:
        return
    ui.html(
        f'<img class="drawn" alt="{text("lens.picture")}" src="data:image/png;base64,{drawn}">',
        sanitize=False,
    )
