"""The question before an act begins that would end another one."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from nicegui import ui

from rushlight.bench.desk.frame import button, element
from rushlight.bench.desk.live_link import Going
from rushlight.bench.texts import has_text, text

_CLOSE = "(e) => e.target.closest('dialog').close()"
_CLOSE_AND_TELL = "(e) => { e.target.closest('dialog').close(); emit(); }"
_STAY = """(e) => {
  if (e.key !== "Tab") return;
  const all = [...e.currentTarget.querySelectorAll("button")];
  const [from, to] = e.shiftKey ? [all[0], all.at(-1)] : [all.at(-1), all[0]];
  if (document.activeElement === from) { e.preventDefault(); to.focus(); }
}"""


def act_words(act: str) -> str:
    """An act in the words of the pages."""
    return text(f"panel.act.{act}") if has_text(f"panel.act.{act}") else act


class EndsOther:
    """A dialog that names what goes on, and ends it only when it is told to.

    It is the browser's own: Escape leaves all as it is, what stands behind it can be reached by
    neither keys nor pointers, and the focus returns to where it was. That nothing is ended needs
    no word to the desk.

    Parameters
    ----------
    agreed
        Called with what was named, once the user has said to end it.
    """

    def __init__(self, agreed: Callable[[Going], Awaitable[None]]) -> None:
        self._agreed = agreed
        self._named: Going | None = None

    def draw(self) -> None:
        """Draw it into the present place, shut."""
        with ui.element("dialog").classes("ask") as self._dialog:
            title = element("h2", text("panel.ask.title"))
            self._words = element("p", None)
            for name, of in (("labelledby", title), ("describedby", self._words)):
                of.props["id"] = f"ask-{of.id}"
                self._dialog.props[f"aria-{name}"] = of.props["id"]
            with ui.element("div").classes("row"):
                # The first has the focus: who presses Enter without reading ends nothing.
                leave = button(text("panel.ask.leave"), first=True, autofocus=True)
                end = button(text("panel.ask.end"))
        self._dialog.props["id"] = f"ask-{self._dialog.id}"
        self._dialog.on("keydown", js_handler=_STAY)
        leave.on("click", js_handler=_CLOSE)
        end.on("click", self._end, js_handler=_CLOSE_AND_TELL)

    def ask(self, going: Going, rig: str) -> None:
        """Open it over what goes on, whose rig is called so."""
        self._named = going
        self._words.clear()
        with self._words:
            element("span", text("panel.ask.words", act=act_words(going.act), rig=rig))
        shown = f"document.getElementById('{self._dialog.props['id']}')"
        ui.run_javascript(f"{shown}.open || {shown}.showModal()")

    async def _end(self) -> None:
        if self._named is not None:
            await self._agreed(self._named)
