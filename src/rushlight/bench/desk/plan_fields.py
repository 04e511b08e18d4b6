"""Fields and sliders bound to the values of a rig, with units as typed."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from itertools import groupby

from nicegui import ui
from nicegui.element import Element

from rushlight.bench.desk.frame import element, keep_typed, words_html
from rushlight.bench.texts import has_text, text
from rushlight.errors import Finding
from rushlight.jobs.edit import Field

Change = Callable[[str, str, float], Awaitable[None]]
"""Told path, text, and when the user moved it by the browser's clock [ms]."""

_EMIT = "(e) => emit(e.target.value, e.timeStamp)"


class PlanFields:
    """All fields of a rig, group by group; call `refresh` when the text has changed elsewhere."""

    def __init__(self, fields: list[Field], on_change: Change) -> None:
        self._change = on_change
        self._typed: dict[str, Element] = {}
        self._sliders: dict[str, Element] = {}
        self._faults: dict[str, ui.html] = {}
        self._boxes: dict[str, Element] = {}
        self._marked: dict[str, list[Finding]] = {}
        for index, (group, of_group) in enumerate(groupby(fields, key=lambda each: each.group)):
            key = f"plan.group.{group}"
            with ui.element("details") as box:
                if index == 0:
                    box.props["open"] = True
                element("summary", text(key) if has_text(key) else group)
                for field in of_group:
                    self._boxes[field.path] = box
                    self._draw(field, text(key) if has_text(key) else group)

    def refresh(self, fields: list[Field]) -> None:
        """Show other values in the same fields."""
        for field in fields:
            if field.path in self._typed:
                self._typed[field.path].props["value"] = field.text
                self._typed[field.path].update()
            if field.path in self._sliders and field.slides:
                self._sliders[field.path].props["value"] = field.value
                self._sliders[field.path].update()

    def mark(self, findings: Sequence[Finding]) -> None:
        """Tell at each field what is wrong with it; what is of no field is told elsewhere."""
        for path, typed in self._typed.items():
            mine = [each for each in findings if _is_of(each, path)]
            if mine == self._marked.get(path, []):
                continue
            self._marked[path] = mine
            wrong = any(each.severity == "error" for each in mine)
            _set(typed, "aria-invalid", "true" if wrong else None)
            _set(typed, "aria-describedby", f"fault-{typed.id}" if mine else None)
            typed.update()
            words = (f"{text(f'severity.{each.severity}')}: {_brief(each)}" for each in mine)
            self._faults[path].set_content("<br>".join(map(words_html, words)))
            self._faults[path].set_visibility(bool(mine))
            if wrong and not self._boxes[path].props.get("open"):
                self._boxes[path].props["open"] = True
                self._boxes[path].update()

    def _draw(self, field: Field, group: str) -> None:
        key = f"plan.field.{field.name}"
        name = text(key) if has_text(key) else field.name
        with ui.element("div").classes("field slides" if field.slides else "field"):
            label = element("label", name, "label")
            typed = element("input", None, type="text", value=field.text, autocomplete="off")
            typed.props.update({"spellcheck": "false", "dir": "ltr", "data-path": field.path})
            typed.props["id"] = f"typed-{typed.id}"
            label.props["for"] = f"typed-{typed.id}"
            self._typed[field.path] = typed
            keep_typed(typed)
            typed.on("change", self._typed_by_hand(field), js_handler=_EMIT)
            if field.slides:
                self._draw_slider(field, name, group, typed)
            fault = ui.html("", sanitize=False, tag="p").classes("fault")
            fault.props["id"] = f"fault-{typed.id}"
            fault.set_visibility(False)
            self._faults[field.path] = fault

    def _draw_slider(self, field: Field, name: str, group: str, typed: Element) -> None:
        slider = element("input", None, type="range", value=field.value)
        slider.props.update(min=field.low, max=field.high, step=field.step)
        slider.props["aria-label"] = text("plan.slide", name=name, group=group)
        slider.props["data-slide"] = field.path
        self._sliders[field.path] = slider
        slider.on("input", self._slid(field, typed), js_handler=_EMIT)

    def _typed_by_hand(self, field: Field) -> Callable[..., Awaitable[None]]:
        async def typed(event: object) -> None:
            given, stamp = event.args  # type: ignore[attr-defined]
            self._typed[field.path].props["value"] = given
            await self._change(field.path, given, stamp)

        return typed

    def _slid(self, field: Field, typed: Element) -> Callable[..., Awaitable[None]]:
        async def slid(event: object) -> None:
            value, stamp = event.args  # type: ignore[attr-defined]
            words = field.written(float(value))
            typed.props["value"] = words
            typed.update()
            self._sliders[field.path].props["value"] = float(value)
            await self._change(field.path, words, stamp)

        return slid


def _is_of(finding: Finding, path: str) -> bool:
    """Whether it is about the value at a path, or about the whole list that the value is in."""
    about = finding.where.partition(": ")[2]
    return bool(about) and (path == about or path.rpartition("[")[0] == about)


def _brief(finding: Finding) -> str:
    """The sentence without where it is, beside which it stands."""
    return str(finding).removeprefix(finding.where).strip().removeprefix("= ")


def _set(one: Element, name: str, value: str | None) -> None:
    if value is None:
        one.props.pop(name, None)
    else:
        one.props[name] = value
