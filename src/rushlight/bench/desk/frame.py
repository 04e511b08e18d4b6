"""What every desk page has around its content, and the few elements that pages are made of."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from nicegui import ui
from nicegui.element import Element

from rushlight.bench.desk.stages import stages
from rushlight.bench.desk.theme import MARK, head_html
from rushlight.bench.texts import direction, locale, text
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.folder import RigPlace


def element(tag: str, words: str | None = None, classes: str = "", **attributes: object) -> Element:
    """A plain HTML element with text; ``for_`` and the like lose their underscore."""
    made = ui.element(tag)
    if classes:
        made.classes(classes)
    for name, value in attributes.items():
        made.props[name.rstrip("_").replace("_", "-")] = value
    if words is not None:
        with made:
            ui.html(words_html(words), sanitize=False, tag="span")
    return made


def keep_typed(field: Element) -> None:
    """Keep what is being typed when the page changes elsewhere meanwhile.

    With every change the browser's side draws all elements from what it knows of them, and would
    put back the value that the server sent last (NiceGUI 3.x).
    """
    kept = f"mounted_app.elements[{field.id}].props.value"
    field.on("input", js_handler=f"(e) => {{ {kept} = e.target.value }}")


_UNIT = re.compile(
    r"(?<=\d) (?=(?:%|°|Ω|px|[µnmckM]?m²?|[µm]?s|min|h|[kM]?Hz|[mk]?[WVA]|[A-Z]{3})(?!\w))"
)
"""The space between a number and its unit, which no line may end at."""


def words_html(words: str) -> str:
    """Text as it stands in HTML; a number and its unit stay on one line."""
    words = _UNIT.sub("\u00a0", words)
    return (
        words.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")
    )


def button(
    words: str, on_click: Any = None, *, first: bool = False, **attributes: object
) -> Element:
    """A button; the first one is what most people want next."""
    made = element(
        "button", words, "button first" if first else "button", type="button", **attributes
    )
    if on_click is not None:
        made.on("click", on_click)
    return made


def link(words: str, href: str, classes: str = "", **attributes: object) -> Element:
    """A link."""
    return element("a", words, classes, href=href, **attributes)


def lead_to(shown: Element, href: str) -> None:
    """Let a link lead somewhere, or nowhere yet: without an address no key reaches it."""
    if shown.props.get("href", "") == href and (href or "aria-disabled" in shown.props):
        return
    if href:
        shown.props["href"] = href
        for name in ("role", "aria-disabled"):
            shown.props.pop(name, None)
    else:
        shown.props.pop("href", None)
        shown.props.update({"role": "link", "aria-disabled": "true"})
    shown.update()


@contextmanager
def panel(title: str = "", classes: str = "", level: int = 2) -> Iterator[Element]:
    """One idea: a box with a heading."""
    box = ui.element("section").classes(f"panel {classes}")
    with box:
        if title:
            element(f"h{level}", title)
        yield box


def findings_list(findings: Sequence[Finding]) -> None:
    """Findings, the gravest first, each with its kind in words."""
    order = {"error": 0, "warning": 1, "note": 2}
    with ui.element("ul").classes("findings"):
        for finding in sorted(findings, key=lambda each: order[each.severity]):
            with ui.element("li").classes(finding.severity):
                kind = words_html(text(f"severity.{finding.severity}"))
                ui.html(
                    f'<span class="kind">{kind}:</span> {words_html(str(finding))}',
                    sanitize=False,
                    tag="span",
                )


def table(columns: Sequence[str], rows: Sequence[Sequence[object]], caption: str) -> None:
    """A table; columns whose name ends in "]" hold numbers and are set to the end.

    Parameters
    ----------
    columns
        Their heads; none at all makes the first cell of each row its head.
    rows
        Cells; None shows as "–".
    caption
        Told to those who do not see it; on the page a heading stands above.
    """
    numbers = [name.endswith("]") for name in columns] or [False] * max(map(len, rows), default=0)
    kinds = [' class="number"' if number else "" for number in numbers]
    cells = [f"<table><caption>{words_html(caption)}</caption>"]
    if columns:
        heads = [words_html(name.removesuffix(" [1]")) for name in columns]
        heads = [f'<th scope="col"{k}>{h}</th>' for k, h in zip(kinds, heads, strict=True)]
        cells += ["<thead><tr>", *heads, "</tr></thead>"]
    cells.append("<tbody>")
    for row in rows:
        words = [words_html("–" if cell is None else str(cell)) for cell in row]
        shown = [f"<td{k}>{w}</td>" for k, w in zip(kinds, words, strict=True)]
        if not columns:
            shown[0] = f'<th scope="row">{words[0]}</th>'
        cells += ["<tr>", *shown, "</tr>"]
    box = ui.html("".join([*cells, "</tbody></table>"]), sanitize=False).classes("scroll")
    box.props.update({"tabindex": "0", "role": "region", "aria-label": caption})


@contextmanager
def frame(title: str, place: RigPlace | None = None, stage: str = "") -> Iterator[None]:
    """The page around its content: skip link, header, stages of the rig, and a foot.

    Parameters
    ----------
    title
        Of the page, for the browser's tab.
    place, stage
        The rig that the page is of, and which of its stages is shown; None on the start page.
    """
    ui.add_head_html(head_html())
    ui.page_title(f"{title} · {text('name')}")
    _set_language()
    with ui.element("div").classes("desk"):
        element("a", text("skip"), "skip", href="#content")
        with ui.element("header"):
            _header(place)
            if place is not None:
                _stages(place, stage)
        with ui.element("div").classes("desk-main") as main:
            main.props["id"] = "content"
            main.props["tabindex"] = "-1"
            _tell_faults()
            yield
        with ui.element("footer").classes("desk-foot"):
            element("span", text("caution"))
            twin = "/start.json" if place is None else f"/rig/{place.name}/{stage}.json"
            link(text("twin"), twin)


def _tell_faults() -> None:
    """A place where the page says what went wrong while it was used, whoever was at work."""
    box = ui.element("div")
    box.props["role"] = "alert"
    shown: list[str] = []

    def show(error: Exception) -> None:
        if [str(error)] == shown:  # as a look that is taken again and again
            return
        shown[:] = [str(error)]
        box.clear()
        with box:
            if isinstance(error, RushlightError):
                findings_list(error.findings)
            else:
                element("p", text("fault.unforeseen", what=repr(error)), "notice")

    ui.on_exception(show)


def _header(place: RigPlace | None) -> None:
    with ui.element("div").classes("desk-head"):
        with ui.element("a").classes("wordmark") as home:
            home.props["href"] = "/"
            ui.html(MARK, sanitize=False, tag="span")
            element("span", text("name"))
        if place is not None:
            element("span", place.title or place.name, "rig-name")
            if place.basis == "invented":
                element("span", text("invented"), "mark")
        switch = element("button", None, "button push", type="button")
        switch.props["aria-label"] = text("theme.label")
        with switch:
            element("span", f"{text('theme.light')} / {text('theme.dark')}")
        switch.on("click", js_handler="() => window.rushlightTheme()")


def _stages(place: RigPlace, current: str) -> None:
    with ui.element("nav").classes("desk-stages") as nav:
        nav.props["aria-label"] = text("stages.label")
        with ui.element("ol"):
            for stage in stages():
                with ui.element("li"):
                    shown = link(text(f"stage.{stage}"), f"/rig/{place.name}/{stage}")
                    if stage == current:
                        shown.props["aria-current"] = "page"


def _set_language() -> None:
    """Tell the browser the language and its direction."""
    lang = "en" if locale().startswith("xx") else locale()
    ui.add_head_html(
        f'<script>document.documentElement.lang = "{lang}";'
        f'document.documentElement.dir = "{direction()}";</script>'
    )
