"""Register: beacons or steps, the error map as it grows, and what was kept; the lens too."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from nicegui import ui

from rushlight.bench.desk.frame import button, element, panel
from rushlight.bench.desk.growing_map import GrowingMap
from rushlight.bench.desk.live_panel import LivePanel, Words
from rushlight.bench.desk.register_kept import draw_kept, draw_list
from rushlight.bench.desk.register_lens import LensPart
from rushlight.bench.desk.register_space import SpaceSteps
from rushlight.bench.desk.show import number
from rushlight.bench.texts import text
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.load import load_rig
from rushlight.jobs.survey import SURVEY_FILE
from rushlight.jobs.told import told_or_refused
from rushlight.jobs.touching import BEACONS, styli_of

_GIVEN = "(e) => emit(e.target.value)"
_TICKED = "(e) => emit(e.target.checked)"
_FEWEST, _MOST = 4, 25
"""Beacons that can be asked for; the verdict wants six at least."""


def twin(place: RigPlace) -> Any:
    """The kept registration, as ``rushlight register … --json`` printed it."""
    return told_or_refused("register", place.folder)


def draw(place: RigPlace) -> None:
    """Draw the page into the frame."""
    element("h1", text("register.title"))
    on_surface = "surface" in place.kinds
    element("p", text("register.lead" if on_surface else "register.lead.space"), "lead")
    if on_surface:
        RegisterPage(place).draw()
    else:
        SpaceSteps(place).draw()
    LensPart(place).draw()


class RegisterPage:
    """The page of one tab."""

    def __init__(self, place: RigPlace) -> None:
        self._place = place
        rig = load_rig(place.file)[0]
        surface = rig.surfaces[0]
        self._size_m = float(surface.width.value), float(surface.height.value)
        self._styli = styli_of(rig)
        self._touching = list(self._styli)
        self._beacons = BEACONS
        self._surveyed = (place.folder / SURVEY_FILE).is_file()
        self._told: list[Any] = []

    def draw(self) -> None:
        """Draw everything; a registration that goes on is shown as it stands."""
        with ui.element("div").classes("columns narrow-wide"):
            with ui.element("div").classes("stack"):
                self._live = LivePanel(
                    self._place,
                    "register",
                    pages=("beacons", "picture"),
                    options=self._options,
                    heard=self._heard,
                    ended=lambda _: self._show_kept(),
                )
                self._live.draw()
                self._draw_options()
            with ui.element("div").classes("stack"):
                with panel(text("register.now")):
                    self._draw_now()
                with panel(text("register.kept")):
                    self._kept = ui.element("div")
        self._show_kept()

    def _draw_options(self) -> None:
        with panel(text("register.choices")):
            with ui.element("div").classes("field"):
                label = element("label", text("register.beacons"), "label")
                chosen = ui.element("select")
                chosen.props.update({"id": f"select-{chosen.id}", "data-beacons": True})
                label.props["for"] = f"select-{chosen.id}"
                with chosen:
                    for count in range(_FEWEST, _MOST + 1):
                        one = element("option", str(count), value=count)
                        if count == self._beacons:
                            one.props["selected"] = True
                chosen.on("change", self._count, js_handler=_GIVEN)
                element("p", text("register.beacons.hint"), "soft small")
            with ui.element("fieldset"):
                element("legend", text("register.styli"))
                for name in self._styli:
                    with element("label", None, "choice"):
                        ticked = element("input", None, type="checkbox", data_stylus=name)
                        ticked.props["checked"] = True
                        ticked.on("change", self._tick(name), js_handler=_TICKED)
                        element("span", name)

            if self._surveyed:
                with element("label", None, "choice"):
                    ticked = element("input", None, type="checkbox")
                    ticked.props["checked"] = True
                    ticked.on("change", self._heed, js_handler=_TICKED)
                    element("span", text("register.survey"))

    def _heed(self, event: Any) -> None:
        self._surveyed = bool(event.args)

    def _count(self, event: Any) -> None:
        self._beacons = int(event.args)

    def _tick(self, name: str) -> Callable[[Any], None]:
        def tick(event: Any) -> None:
            on = [each for each in self._touching if each != name] + [name] * bool(event.args)
            self._touching = [each for each in self._styli if each in on]

        return tick

    def _options(self) -> dict[str, Any]:
        asked = {"beacons": self._beacons, "touched_by": self._touching, "linger": True}
        return {**asked, "survey": SURVEY_FILE} if self._surveyed else asked

    def _draw_now(self) -> None:
        self._stands = Words("notice", role="status")
        self._map = GrowingMap(self._size_m)
        self._verdict = ui.element("div")
        with ui.element("div").classes("row"):
            self._keep = button(text("register.keep"), lambda: self._live.say({"finish": True}))
            self._skip = button(text("register.skip"), lambda: self._live.say({"skip": True}))
        element("p", text("register.keep.lead"), "soft small")
        self._list = ui.element("div")
        self._enable(False, False)

    def _enable(self, going: bool, stands: bool) -> None:
        for one, on in ((self._keep, going), (self._skip, stands)):
            one.props["disabled"] = not on
            one.update()

    def _heard(self, state: Mapping[str, Any]) -> None:
        told = state.get("register") or {}
        going = state.get("stage") == "running"
        beacon = state.get("beacon") if going else None
        self._stands.say(self._words(told, beacon) if going else "")
        self._map.show(told, beacon)
        now = [told, going, beacon is not None]
        if now == self._told:
            return
        self._told = now
        self._enable(going, beacon is not None)
        self._verdict.clear()
        with self._verdict:
            _draw_verdict(told)
        self._list.clear()
        with self._list:
            self._draw_touches(told.get("touches") or [], going)

    def _words(self, told: Mapping[str, Any], beacon: Mapping[str, Any] | None) -> str:
        if told.get("stage") == "judged" and beacon is None:
            return text("register.judged")
        if beacon is None:
            return text("register.waiting")
        return text(
            "register.beacon",
            number=beacon["number"],
            of=beacon["of"],
            carried=beacon["carried"],
            x=f"{beacon['x_m']:.2f}",
            y=f"{beacon['y_m']:.2f}",
        )

    def _draw_touches(self, touches: Sequence[Mapping[str, Any]], going: bool) -> None:
        """A row each, with a button by which it is asked for again."""
        if not touches:
            return
        element("h3", text("register.touches"))
        with ui.element("ul").classes("touches"):
            for touch in touches:
                missed, kind = number(touch["missed_mm"], "mm"), "register.touch"
                if touch["missed_mm"] is None:
                    kind = "register.touch.alone"
                elif not touch["used"]:
                    kind = "register.touch.bad"
                words = text(
                    kind, number=touch["number"], carried=touch["carried"], missed=missed,
                )  # fmt: skip
                with ui.element("li"):
                    element("span", words)
                    again = button(text("register.again"), self._again(touch["number"]))
                    again.props["aria-label"] = text("register.again.which", number=touch["number"])
                    again.props["disabled"] = not going

    def _again(self, which: int) -> Callable[[], Any]:
        return lambda: self._live.say({"redo": which})

    def _show_kept(self) -> None:
        self._kept.clear()
        with self._kept:
            draw_kept(self._place)


def _draw_verdict(told: Mapping[str, Any]) -> None:
    if told.get("vouched") is None:
        return
    element("h3", text("register.vouched" if told["vouched"] else "register.not_vouched"))
    if told.get("mean_mm") is not None:
        mean, worst = number(told["mean_mm"], "mm"), number(told["worst_mm"], "mm")
        element("p", text("register.error", mean=mean, worst=worst))
    draw_list(told["reasons"])
