"""Where the frames of live work come from: the rig's own camera, another, or a rehearsal."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from nicegui import ui
from nicegui.element import Element

from rushlight.bench.desk.frame import element
from rushlight.bench.texts import text
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.load import load_rig

_GIVEN = "(e) => emit(e.target.value)"
_OWN, _OTHER, _REHEARSAL = "own", "other", "rehearsal"
_FIRST_SEED = "7"


@dataclass
class _Chosen:
    """What is chosen on one page."""

    kind: str
    other: str = ""
    seed: str = _FIRST_SEED


class SourceChoice:
    """The choice as a group of fields; draws into the present place.

    What is shown here is what begins here. The browser hands a choice on from page to page of its
    tab; no other tab hears of it, for a real camera must not begin under a page that shows a
    rehearsal.

    Parameters
    ----------
    place
        The rig.

    Attributes
    ----------
    known
        Whether what was chosen before in this tab is taken up.
    """

    def __init__(self, place: RigPlace) -> None:
        rig = load_rig(place.file)[0]
        on_surface = "surface" in rig.kinds
        self._several = not on_surface and len(rig.cameras) > 1
        self._rehearses = on_surface or len(rig.cameras) == 1
        self._own = [each.source for each in rig.cameras if each.source]
        kind = _OWN
        if not self._own:
            kind = _REHEARSAL if self._rehearses and rig.basis == "invented" else _OTHER
        self._now = _Chosen(kind)
        self._key = f"rushlight-source:{place.file.resolve()}"
        self._touched = self.known = False
        self._lines: dict[str, Element] = {}
        with ui.element("details") as self._box:
            if not self._own:
                self._box.props["open"] = True
            element("summary", text("panel.source"))
            self._group = ui.element("fieldset")
        self._draw()

    async def take_up(self) -> None:
        """Show what was chosen on the page before in this tab."""
        wanted = f"sessionStorage.getItem({json.dumps(self._key)})"
        with self._group:
            try:
                found = await ui.run_javascript(wanted, timeout=10.0)
            except TimeoutError:  # then what is shown stays
                found = None
        if found and not self._touched:
            chosen = _Chosen(**json.loads(found))
            if chosen.kind != _REHEARSAL or self._rehearses:
                self._now = chosen
                self._draw()
                self._box.props["open"] = True  # it is not what a page begins with
                self._box.update()
        self.known = True

    def _draw(self) -> None:
        group = self._group
        group.clear()
        with group:
            element("legend", text("panel.source"), "unseen")
            names = ", ".join(self._own) or text("panel.source.own.none")
            self._choice(group.id, _OWN, text("panel.source.own", source=names))
            self._choice(group.id, _OTHER, text("panel.source.other"))
            hint = "several" if self._several else "hint"
            self._line(_OTHER, "other", text(f"panel.source.other.{hint}"))
            if self._rehearses:
                self._choice(group.id, _REHEARSAL, text("panel.source.rehearsal"))
                self._line(_REHEARSAL, "seed", text("panel.source.seed.hint"))
            else:
                element("p", text("panel.source.no_rehearsal"), "soft small")
        self._show_lines()

    def asked(self) -> tuple[str | None, dict[str, Any]]:
        """The source as a live act takes it, None for the rig's own; and options of the act."""
        now = self._now
        if now.kind == _REHEARSAL:
            return f"rehearsal:{now.seed.strip()}", {}
        if now.kind == _OWN or not now.other.strip():
            return None, {}
        if self._several:
            return None, {"cameras": [each.strip() for each in now.other.split(",")]}
        return now.other.strip(), {}

    def _choice(self, group: int, kind: str, words: str) -> None:
        with element("label", None, "choice"):
            chosen = element("input", None, type="radio", value=kind, name=f"source-{group}")
            chosen.props["data-source"] = kind
            if kind == self._now.kind:
                chosen.props["checked"] = True
            chosen.on("change", self._take("kind"), js_handler=_GIVEN)
            element("span", words)

    def _show_lines(self) -> None:
        """What is typed is asked for only where it is chosen."""
        for kind, line in self._lines.items():
            line.set_visibility(kind == self._now.kind)

    def _line(self, kind: str, name: str, hint: str) -> None:
        with ui.element("div").classes("field inset") as line:
            self._lines[kind] = line
            label = element("label", text(f"panel.source.{name}.label"), "label")
            typed = element("input", None, type="text", autocomplete="off", dir="ltr")
            typed.props["value"] = getattr(self._now, name)
            typed.props.update({"id": f"source-{typed.id}", "data-source": name})
            label.props["for"] = f"source-{typed.id}"
            typed.on("input", self._take(name), js_handler=_GIVEN)
            element("p", hint, "soft small")

    def _take(self, name: str) -> Callable[[Any], None]:
        def take(event: Any) -> None:
            self._touched = True
            setattr(self._now, name, str(event.args))
            self._show_lines()
            kept = json.dumps(json.dumps(asdict(self._now)))
            ui.run_javascript(f"sessionStorage.setItem({json.dumps(self._key)}, {kept})")

        return take
