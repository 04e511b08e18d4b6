"""Drawings to scale and pictures, in the colours of the page."""

from __future__ import annotations

import base64
from collections.abc import Iterable

from nicegui import ui

from rushlight.bench.desk.frame import element, words_html
from rushlight.publish.sheet import Drawing


def draw_drawings(drawings: Iterable[Drawing]) -> None:
    """Drawings one after another, each with its title and, in words, what it shows."""
    with ui.element("div").classes("pictures"):
        for each in drawings:
            with ui.element("figure").classes("sheet"):
                box = ui.html(each.svg, sanitize=False).classes("scroll")
                box.props.update({"tabindex": "0", "role": "region", "aria-label": each.title})
                with ui.element("figcaption"):
                    element("strong", each.title)
                    element("span", each.description, "small")


def draw_picture(svg: bytes, shows: str) -> None:
    """A picture on paper of its own; as an image it can run nothing."""
    data = base64.b64encode(svg).decode()
    with ui.element("figure").classes("picture"):
        box = ui.html(
            f'<img src="data:image/svg+xml;base64,{data}" alt="{words_html(shows)}">',
            sanitize=False,
        ).classes("scroll")
        box.props.update({"tabindex": "0", "role": "region", "aria-label": shows})
        element("figcaption", shows, "small")
