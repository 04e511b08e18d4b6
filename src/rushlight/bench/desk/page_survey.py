"""Survey: the displayed picture's true shape from a few readings, drawn as they are typed."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from nicegui import ui
from nicegui.element import Element

from rushlight.bench.desk.frame import button, element, findings_list, panel
from rushlight.bench.desk.show import number
from rushlight.bench.desk.survey_drawing import display_svg, picture_svg
from rushlight.bench.desk.survey_show import ShowMarks
from rushlight.bench.desk.survey_told import draw_told
from rushlight.bench.desk.worker import quickly, slowly
from rushlight.bench.texts import text
from rushlight.errors import RushlightError
from rushlight.jobs.edit import CHANGED_ELSEWHERE
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.load import load_rig
from rushlight.jobs.survey import SurveyResult, survey
from rushlight.jobs.survey_form import Form, Line, form_of, keep, kept_text, text_of
from rushlight.jobs.survey_marks import with_inner_marks
from rushlight.jobs.survey_sketch import (
    SurveySketch,
    as_the_rig_says,
    form_sketch,
    marks_of,
    surface_of,
)
from rushlight.jobs.survey_touches import TOUCHED, USUAL_MARKS, touched

_GIVEN = "(e) => emit(e.target.value)"
_KINDS = ("lengths", "places", "gaps")


def twin(place: RigPlace) -> Any:
    """As ``rushlight survey RIG --json``."""
    return survey(place.file, write=False).as_dict()


async def draw(place: RigPlace) -> None:
    """Draw the page into the frame."""
    if not load_rig(place.file)[0].surfaces:
        element("h1", text("survey.title"))
        element("p", text("survey.space"), "lead")
        return
    await SurveyPage(place).draw()


class SurveyPage:
    """The page of one tab."""

    def __init__(self, place: RigPlace) -> None:
        self._place = place
        self._read_as = kept_text(place.file)
        self._kept = self._form = form_of(place.file, self._read_as)
        self._latest = 0
        self._touches = _first_touches(place)
        self._looking = asyncio.Lock()

    @property
    def _key(self) -> str:
        return f"rushlight-readings:{self._place.file.resolve()}"

    async def draw(self) -> None:
        """Draw everything, then take up what the tab kept, and look."""
        self._page = ui.context.client
        element("h1", text("survey.title"))
        element("p", text("survey.lead"), "lead")
        element("p", text("survey.care"), "notice")
        with ui.element("div").classes("columns even survey"):
            with ui.element("div").classes("stack"):
                with panel(text("survey.drawing")):
                    self._drawing = ui.html("", sanitize=False)
                    element("p", text("survey.drawing.legend"), "soft small")
                with panel(text("survey.found"), "after"):
                    self._found = ui.element("div")
                    self._found.props["role"] = "status"
            with ui.element("div").classes("stack"):
                with panel(text("survey.lengths")):
                    element("p", text("survey.show"), "soft small")
                    ShowMarks(self._place, self._typed).draw()
                    self._fields = ui.element("div")
                self._told = ui.element("div").classes("stack after")
        with ui.element("div").classes("savebar row"):
            self._keep = button(text("survey.keep"), self._keep_it, first=True)
            self._undo = button(text("survey.again"), self._back)
            self._state = element("span", "", "soft")
            self._state.props["role"] = "status"
        self._draw_fields()
        await ui.context.client.connected(timeout=60.0)
        await self._take_from_browser()
        await self._look()

    # Fields.

    def _draw_fields(self) -> None:
        self._fields.clear()
        with self._fields:
            for kind in _KINDS:
                box = ui.element("div")
                if kind != "lengths":
                    box = ui.element("details")
                    if any(line.kind == kind for line in self._form.lines):
                        box.props["open"] = True
                with box:
                    if kind != "lengths":
                        element("summary", text(f"survey.{kind}"))
                        element("p", text(f"survey.{kind}.lead"), "soft small")
                    for index, line in enumerate(self._form.lines):
                        if line.kind == kind:
                            self._draw_line(index, line)
                    self._draw_add(kind)
            with ui.element("details") as box:
                if self._form.by_registration:
                    box.props["open"] = True
                element("summary", text("survey.touches"))
                self._draw_touches()
            with ui.element("details") as box:
                if any((*self._form.first_px, *self._form.size_px, *self._form.marks)):
                    box.props["open"] = True
                element("summary", text("survey.picture"))
                self._draw_picture()

    def _draw_line(self, index: int, line: Line) -> None:
        shown = index + 1
        key = {"lengths": "length", "places": "place", "gaps": "gap"}[line.kind]
        words = text(f"survey.{key}", number=shown, one=line.one, other=line.other, at=line.at)
        if line.kind == "lengths":
            says = as_the_rig_says(line, marks_of(self._form, self._surface))
            if says is not None:
                words = f"{words} ({text('survey.says', value=number(says, 'mm', 4))})"
        with ui.element("div").classes("survey-line"):
            element("span", words, "label")
            first = (
                text("survey.place.right", number=shown)
                if key == "place"
                else text(f"survey.{key}.read", number=shown)
            )
            self._input(line.read, first, self._line_set(index, "read"), f"read-{index}")
            if key == "place":
                aside = text("survey.place.up", number=shown)
                self._input(line.up, aside, self._line_set(index, "up"), f"up-{index}")
            doubt = text("survey.doubt.of", number=shown)
            self._input(line.doubt, doubt, self._line_set(index, "doubt"), f"doubt-{index}", "±")
            remove = element("button", "×", "button", type="button")
            remove.props["aria-label"] = text("survey.remove", number=shown)
            remove.on("click", lambda index=index: self._remove_line(index))

    def _draw_add(self, kind: str) -> None:
        chosen = {"one": "upper-left", "other": "lower-right", "at": "centre"}
        asked = {"lengths": ("from", "to"), "places": ("mark",), "gaps": ("from", "to", "at")}
        named = {"from": "one", "to": "other", "mark": "one", "at": "at"}
        with ui.element("div").classes("survey-add"):
            for each in asked[kind]:
                self._select(text(f"survey.{each}"), self._form.names, chosen, named[each])

            async def add() -> None:
                line = Line(kind, chosen["one"])
                if kind != "places":
                    line = replace(line, other=chosen["other"])
                if kind == "gaps":
                    line = replace(line, at=chosen["at"])
                await self._use(replace(self._form, lines=(*self._form.lines, line)))

            button(text(f"survey.add.{kind}"), add)

    def _draw_touches(self) -> None:
        element("p", text("survey.touches.lead"), "soft small")
        element("p", text("survey.touches.order", marks=", ".join(USUAL_MARKS)), "small")

        def named(given: str) -> None:
            self._touches = given

        self._field("survey.touches.from", self._touches, named)
        button(text("survey.touches.read"), self._read_touches)
        if self._form.by_registration:
            basis = "simulated" if self._form.simulated else "measured"
            element("p", text(f"survey.touches.{basis}"), "notice")

    def _draw_picture(self) -> None:
        form, surface = self._form, self._surface
        pixels = " × ".join(map(str, surface.pixels))
        element("p", text("survey.first"), "soft small")
        with ui.element("div").classes("survey-pair"):
            for i, axis in enumerate("xy"):
                self._field(f"survey.first.{axis}", form.first_px[i], self._pair_set("first_px", i))
        element("p", f"{text('survey.size')} ({text('survey.own', value=pixels)})", "soft small")
        with ui.element("div").classes("survey-pair"):
            for i, axis in enumerate("xy"):
                self._field(f"survey.size.{axis}", form.size_px[i], self._pair_set("size_px", i))
        element("p", text("survey.picture.lead"), "soft small")
        with ui.element("div").classes("row"):
            button(
                text("survey.inner"),
                lambda: self._use(with_inner_marks(self._form, self._surface)),
            )
        for index, (name, x, y) in enumerate(form.marks):
            with ui.element("div").classes("row"):
                element("span", text("survey.mark.own", name=name, x=x, y=y))
                remove = element("button", "×", "button", type="button")
                remove.props["aria-label"] = text("survey.mark.remove", name=name)
                remove.on("click", lambda index=index: self._remove_mark(index))
        new = {"name": "", "x": "", "y": ""}
        with ui.element("div").classes("survey-pair three"):
            for each in new:
                self._field(
                    f"survey.mark.{each}", "", lambda given, each=each: new.update({each: given})
                )
        button(
            text("survey.mark.add"),
            lambda: (
                self._use(
                    replace(
                        self._form, marks=(*self._form.marks, (new["name"], new["x"], new["y"]))
                    )
                )
                if new["name"].strip()
                else None
            ),
        )
        element("p", "", "soft small")
        self._field("survey.ruler", form.ruler_doubt, self._form_set("ruler_doubt"))
        self._field("survey.gap_doubt", form.gap_doubt, self._form_set("gap_doubt"))

    def _input(
        self, value: str, label: str, on: Callable[[str], Any], name: str, hint: str = ""
    ) -> None:
        typed = _typing(value)
        typed.props.update({"spellcheck": "false", "dir": "ltr", "aria-label": label})
        typed.props.update({"data-reading": name, "placeholder": hint})
        _hear(typed, on)

    def _field(self, key: str, value: str, on: Callable[[str], Any]) -> None:
        with ui.element("div").classes("field"):
            label = element("label", text(key), "label")
            typed = _typing(value)
            typed.props.update({"id": f"field-{typed.id}", "dir": "ltr", "data-field": key})
            label.props["for"] = f"field-{typed.id}"
            _hear(typed, on)

    def _select(
        self, label: str, names: tuple[str, ...], chosen: dict[str, str], what: str
    ) -> None:
        with ui.element("div").classes("field"):
            words = element("label", label, "label")
            box = ui.element("select")
            box.props["id"] = f"select-{box.id}"
            words.props["for"] = f"select-{box.id}"
            with box:
                for name in names:
                    option = element("option", name, value=name)
                    if name == chosen[what]:
                        option.props["selected"] = True
            box.on("change", lambda event: chosen.update({what: event.args}), js_handler=_GIVEN)

    @property
    def _surface(self) -> Any:
        return surface_of(self._place.file, self._form.surface)

    def _typed(self) -> str:
        """What is typed and not kept, for the display; empty where all is kept."""
        return text_of(self._form, blank_lines=True) if self._form != self._kept else ""

    # What the user does.

    def _line_set(self, index: int, what: str) -> Callable[[str], Any]:
        async def given(value: str) -> None:
            lines = list(self._form.lines)
            lines[index] = replace(lines[index], **{what: value})
            self._form = replace(self._form, lines=tuple(lines))
            await self._look()

        return given

    def _pair_set(self, what: str, index: int) -> Callable[[str], Any]:
        async def given(value: str) -> None:
            pair = list(getattr(self._form, what))
            pair[index] = value
            self._form = replace(self._form, **{what: (pair[0], pair[1])})
            await self._look()

        return given

    def _form_set(self, what: str) -> Callable[[str], Any]:
        async def given(value: str) -> None:
            self._form = replace(self._form, **{what: value})
            await self._look()

        return given

    async def _remove_line(self, index: int) -> None:
        lines = self._form.lines
        await self._use(replace(self._form, lines=lines[:index] + lines[index + 1 :]))

    async def _remove_mark(self, index: int) -> None:
        marks = self._form.marks
        await self._use(replace(self._form, marks=marks[:index] + marks[index + 1 :]))

    async def _use(self, form: Form) -> None:
        self._form = form
        self._draw_fields()
        await self._look()

    async def _read_touches(self) -> None:
        self._say(text("survey.touches.busy"))
        path = self._place.folder / self._touches.strip()
        try:
            told = await slowly(
                touched, self._place.file, path, None, USUAL_MARKS, None, self._form
            )
        except RushlightError as error:
            self._show_findings(error)
            return
        with self._found:  # the button that was pressed is drawn anew, and its place with it
            await self._use(told.form)
        if told.findings:
            with self._told, panel(text("survey.touches.findings")):
                findings_list(told.findings)

    async def _back(self) -> None:
        self._read_as = kept_text(self._place.file)
        self._kept = form_of(self._place.file, self._read_as)
        await self._use(self._kept)

    async def _keep_it(self) -> None:
        form = self._form
        try:
            await slowly(keep, self._place.file, form, self._read_as)
            self._read_as = kept_text(self._place.file)
        except RushlightError as error:
            self._show_findings(error)
            if any(each.code == CHANGED_ELSEWHERE for each in error.findings):
                self._offer_overwrite()
            return
        self._kept = form
        await self._look()
        self._say(text("survey.kept"))

    def _offer_overwrite(self) -> None:
        with self._found:
            button(text("survey.overwrite"), self._overwrite)
        self._kept = form_of(
            self._place.file
        )  # what is kept is another's: the way back leads there
        self._keep_in_browser()
        self._say(text("survey.unkept"))

    async def _overwrite(self) -> None:
        self._read_as = kept_text(self._place.file)
        with self._keep:  # the button that was pressed goes
            await self._keep_it()

    # What is shown.

    async def _look(self) -> None:
        """Survey by what is typed; of changes that come meanwhile the newest counts."""
        self._latest += 1
        mine, form = self._latest, self._form
        marks, size = marks_of(form, self._surface), self._surface
        self._drawing.set_content(
            display_svg((size.width.value, size.height.value), marks, form.lines)
        )
        self._keep_in_browser()
        filled = any(line.filled for line in form.lines)
        self._say(text("survey.busy") if filled else "")
        if not filled:
            self._found.clear()
            self._told.clear()
            with self._found:
                element("p", text("survey.waiting"), "soft")
            return
        async with self._looking:
            if mine != self._latest:
                return
            try:
                found, sketch = await quickly(form_sketch, self._place.file, form)
            except RushlightError as error:
                self._show_findings(error)
                return
        if mine == self._latest:
            self._show(found, sketch)
            self._say(text("survey.unkept") if form != self._kept else "")

    def _show_findings(self, error: RushlightError) -> None:
        self._say(text("survey.unkept"))
        self._found.clear()
        self._told.clear()
        with self._found:
            findings_list(error.findings)

    def _show(self, found: SurveyResult, sketch: SurveySketch) -> None:
        told = found.as_dict()
        self._found.clear()
        with self._found:
            element("p", text(f"survey.verdict.{'good' if told['vouched'] else 'bad'}"), "big")
            for reason in told["reasons"]:
                element("p", reason)
            element("h3", text("survey.magnified", times=sketch.times))
            ui.html(picture_svg(sketch, magnified=True), sanitize=False)
            element("h3", text("survey.to_scale"))
            ui.html(picture_svg(sketch, magnified=False), sanitize=False)
            element("p", text("survey.legend"), "soft small")
        self._told.clear()
        with self._told:
            draw_told(told, sketch)
            if sketch.findings:
                with panel(text("survey.findings")):
                    findings_list(sketch.findings)

    def _say(self, words: str) -> None:
        changed = self._form != self._kept
        self._undo.props["disabled"] = not changed
        self._undo.update()
        self._keep.props["disabled"] = not any(line.filled for line in self._form.lines)
        self._keep.update()
        self._state.clear()
        with self._state:
            element("span", words)

    # The tab keeps what is not kept yet, so that a server started anew does not lose it.

    def _keep_in_browser(self) -> None:
        now = {"text": text_of(self._form, blank_lines=True), "read_as": self._read_as}
        kept = json.dumps(json.dumps(now))
        with self._page:  # the button that led here may have been drawn anew since
            if self._form != self._kept:
                ui.run_javascript(f"sessionStorage.setItem({json.dumps(self._key)}, {kept})")
            else:
                ui.run_javascript(f"sessionStorage.removeItem({json.dumps(self._key)})")

    async def _take_from_browser(self) -> None:
        wanted = f"sessionStorage.getItem({json.dumps(self._key)})"
        found = await ui.run_javascript(wanted, timeout=10.0)
        if found:
            kept: dict[str, str] = json.loads(found)
            self._form = form_of(self._place.file, kept["text"])
            self._read_as = kept["read_as"]
            self._draw_fields()


def _first_touches(place: RigPlace) -> str:
    """What footage of touches is usually called, or the newest session that a run kept."""
    kept = sorted(place.folder.glob("*.sqlite"), key=lambda path: path.stat().st_mtime)
    return kept[-1].name if kept else TOUCHED


def _typing(value: str) -> Element:
    """A field in which somebody types.

    Its value is an attribute: as a property it would be set anew whenever anything on the page
    changes, and take away what is being typed.
    """
    typed = element("input", None, type="text", autocomplete="off")
    typed.props["^value"] = value
    return typed


def _hear(typed: Element, on: Callable[[str], Any]) -> None:
    """Take what is typed; the field keeps it when it is drawn anew."""

    def given(event: Any) -> Any:
        typed.props["^value"] = event.args
        return on(event.args)

    typed.on("change", given, js_handler=_GIVEN)
