"""What the camera sees and where lights are, drawn in the browser from the live process itself."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from nicegui import ui

from rushlight.bench.desk.frame import element
from rushlight.bench.texts import forms, text

_WORDS = {
    "see": ("none", "ended"),
    "places": ("none", "place", "switching", "unnamed"),
}
_KINDS = ("switch-down", "switch-up", "lost", "found")


class LiveSight:
    """Draws one of the two into the present place; it listens once `listen` has an address.

    Parameters
    ----------
    what
        ``"see"``, the camera's picture with dots and trails; or ``"places"``, the surface with
        spots, their trails, and switchings.
    named
        Whether the picture comes with what each dot is followed as; in space it does not, where
        dots are named only once all cameras' are known.
    """

    def __init__(self, what: str, named: bool = True) -> None:
        self._what, self._named = what, named
        self._url = ""
        ui.add_head_html('<script type="module" src="/desk/watching.js"></script>')
        with ui.element("div").classes("sight"):
            canvas = element("canvas", None, "sight-shown", role="img", width=640, height=320)
            canvas.props["aria-label"] = text(f"sight.{what}.label")
            self._id = f"sight-{canvas.id}"
            canvas.props["id"] = self._id
            if what == "see":
                mark = element("span", text("sight.simulated"), "mark", hidden=True)
                mark.props["data-mark"] = True
                element("p", text("sight.see.none"), "soft small", data_told=True)
                with element("label", None, "choice"):
                    element("input", None, type="checkbox", data_bright=True)
                    element("span", text("sight.bright"))
            else:
                element("p", text("sight.places.none"), "soft small", data_places=True)
                element("h3", text("sight.switchings"))
                element("ol", None, "switchings", data_switchings=True)

    def listen(self, url: str) -> None:
        """Listen to the live process at an address; at the same one, go on."""
        if not url or url == self._url:
            return
        self._url = url
        name = "rushlightSee" if self._what == "see" else "rushlightPlaces"
        words: Mapping[str, Any] = {
            each: text(f"sight.{self._what}.{each}") for each in _WORDS[self._what]
        } | {
            "kinds": {each: text(f"sight.kind.{each}") for each in _KINDS},
            "dots": forms("sight.see.dots" if self._named else "sight.see.alone"),
        }
        self._call(name, url, words)

    def rest(self) -> None:
        """Hang up until `listen` is called again, and show nothing more as if it were so now."""
        if self._url:
            self._url = ""
            self._call("rushlightRest")

    def _call(self, name: str, *values: Any) -> None:
        """Call a function of the browser's module, which comes later than what is sent first."""
        told = ", ".join(json.dumps(each) for each in (self._id, *values))
        ui.run_javascript(
            f"const draw = () => window.{name}"
            f" ? window.{name}({told})"
            f" : setTimeout(draw, 30); draw()"
        )
