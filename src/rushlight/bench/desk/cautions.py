"""Cautions as pages show them: whole, open, and before anything that can hurt."""

from __future__ import annotations

import re
from collections.abc import Sequence

from nicegui import ui

from rushlight.bench.desk.frame import element, link, words_html
from rushlight.bench.texts import text


def draw_cautions(cautions: Sequence[str]) -> None:
    """Every caution of a rig.

    Parameters
    ----------
    cautions
        Whole; the first defers to local codes, each other begins with its title and a full stop.
    """
    if not cautions:
        return
    with ui.element("section").classes("panel cautions"):
        element("h2", text("cautions.title"))
        element("p", cautions[0])
        with ui.element("ul"):
            for caution in cautions[1:]:
                title, _, rest = caution.partition(". ")
                with ui.element("li") as item:
                    item.props["id"] = _anchor(title)
                    ui.html(
                        f"<strong>{words_html(title)}.</strong> {words_html(rest)}",
                        sanitize=False,
                        tag="span",
                    )


def draw_named_cautions(cautions: Sequence[str]) -> None:
    """The same beside a step: by title, each leading to the whole text above."""
    if not cautions:
        return
    with element("p", None, "caution"):
        element("strong", text("cautions.first"))
        for caution in cautions:
            title = caution.partition(". ")[0]
            link(title, f"#{_anchor(title)}")


def _anchor(title: str) -> str:
    return "caution-" + re.sub(r"[^a-z]+", "-", title.lower()).strip("-")
