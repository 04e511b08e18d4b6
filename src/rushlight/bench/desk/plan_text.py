"""The whole rig as text, in a box that is typed in."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable
from typing import Any

from nicegui import ui

from rushlight.bench.desk.draft import Draft
from rushlight.bench.desk.frame import button, element
from rushlight.bench.texts import text


class PlanText:
    """The text of what is not saved yet; what is typed in it counts when it is put to use.

    Until then it stays, whatever is changed in the fields, and the browser keeps it for its tab.
    """

    def __init__(self, draft: Draft, use: Callable[[str], Awaitable[None]]) -> None:
        self._draft, self._use = draft, use
        self._typed = False
        self._key = json.dumps(f"rushlight-typed:{draft.place.file.resolve()}")
        self._details = ui.element("details")
        with self._details:
            element("summary", text("plan.text"))
            with element("label", None, "field"):
                element("span", text("plan.text.label"), "label")
                self._box = element("textarea", None, rows=18, value=draft.text)
                self._box.props.update({"spellcheck": "false", "dir": "ltr"})
                self._box.style("font-family: ui-monospace, monospace; font-size: 14px")
            self._note = ui.element("div")
            self._note.props["role"] = "status"
            with ui.element("div").classes("row"):
                take = button(text("plan.text.use"))
                take.on("click", self._take, js_handler=f"() => emit({self._of_box('value')})")
                self._drop = button(text("plan.text.drop"), self._leave, disabled=True)
        # The browser's side puts back the value that the server sent last whenever it draws
        # anything anew (NiceGUI 3.x), so that what is typed is told to it too.
        self._box.on(
            "input",
            self._mark,
            js_handler=f"(e) => {{ mounted_app.elements[{self._box.id}].props.value = "
            f"e.target.value; sessionStorage.setItem({self._key}, e.target.value); emit() }}",
        )

    def show(self) -> None:
        """Show the rig as it is now, unless something was typed that is not in use."""
        if not self._typed:
            self._box.props["value"] = self._draft.text
            self._box.update()

    async def take_from_browser(self) -> None:
        """Take up what was typed in this tab and not put to use."""
        found = await ui.run_javascript(f"sessionStorage.getItem({self._key})", timeout=10.0)
        if found is not None and found != self._draft.text and not self._typed:
            self._box.props["value"] = found
            self._box.update()
            self._details.props["open"] = True
            self._details.update()
            self._mark()

    def _of_box(self, name: str) -> str:
        return f"document.getElementById('c{self._box.id}').{name}"

    def _mark(self) -> None:
        if not self._typed:
            self._say(True)

    def _say(self, typed: bool) -> None:
        self._typed = typed
        self._drop.props["disabled"] = not typed
        self._drop.update()
        self._note.clear()
        if typed:
            with self._note:
                element("p", text("plan.text.unused"), "soft small")

    async def _take(self, event: Any) -> None:
        self._forget()
        await self._use(event.args)

    def _leave(self) -> None:
        self._forget()
        self.show()

    def _forget(self) -> None:
        ui.run_javascript(f"sessionStorage.removeItem({self._key})")
        self._say(False)
