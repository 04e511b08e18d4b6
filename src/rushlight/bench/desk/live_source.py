"""Where the frames of live work come from: the rig's own camera, another, or a rehearsal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
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
    """What was chosen for a rig last, for all its pages."""

    kind: str
    other: str = ""
    seed: str = _FIRST_SEED


_chosen: dict[Path, _Chosen] = {}


class SourceChoice:
    """The choice as a group of fields; draws into the present place.

    Parameters
    ----------
    place
        The rig. What is chosen here is chosen for its other pages too.
    """

    def __init__(self, place: RigPlace) -> None:
        rig = load_rig(place.file)[0]
        self._on_surface = "surface" in rig.kinds
        self._rehearses = self._on_surface or len(rig.cameras) == 1
        self._several = not self._on_surface and len(rig.cameras) > 1
        own = [each.source for each in rig.cameras if each.source]
        kind = _OWN
        if not own:
            kind = _REHEARSAL if self._rehearses and rig.basis == "invented" else _OTHER
        self._now = _chosen.setdefault(place.file.resolve(), _Chosen(kind))
        names = ", ".join(own) or text("panel.source.own.none")
        self._lines: dict[str, Element] = {}
        with ui.element("details") as box:
            if not own:
                box.props["open"] = True
            element("summary", text("panel.source"))
            with ui.element("fieldset") as group:
                element("legend", text("panel.source"), "unseen")
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
            setattr(self._now, name, str(event.args))
            self._show_lines()

        return take
