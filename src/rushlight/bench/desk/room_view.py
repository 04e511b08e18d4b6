"""The room of a rig as a page shows it: turned freely, or flat and to scale, with its map."""

from __future__ import annotations

import json
from typing import Any

from nicegui import ui
from nicegui.element import Element

from rushlight.bench.desk.frame import button, element
from rushlight.bench.desk.show import number, percent
from rushlight.bench.texts import text
from rushlight.jobs.glance import Glance

VIEWS = ("room", "above", "side", "front")
_TURNS = {"left": "←", "right": "→", "up": "↑", "down": "↓"}
_WAYS = {**_TURNS, "nearer": "+", "farther": "−"}


class RoomView:
    """The drawing, its choice of views, and its legend; draws into the present place."""

    def __init__(self) -> None:
        ui.add_head_html('<script type="module" src="/desk/room.js"></script>')
        self._buttons: dict[str, Element] = {}
        row = ui.element("div").classes("row")
        row.props["role"] = "group"
        row.props["aria-label"] = text("plan.views")
        row.style("margin-bottom: 12px")
        with row:
            for view in VIEWS:
                self._buttons[view] = button(text(f"plan.view.{view}"), lambda v=view: self.view(v))
        self._box = ui.element("div").classes("room")
        self._id = f"room-{self._box.id}"
        self._box.props["id"] = self._id
        with self._box:  # until the drawing takes its place
            element("p", text("plan.room.waiting"), "room-waiting")
        self._ways: dict[str, Element] = {}
        with ui.element("div").classes("row room-ways") as ways:
            ways.props["role"] = "group"
            ways.props["aria-label"] = text("plan.room.ways")
            for way, sign in _WAYS.items():
                self._ways[way] = self._way(way, sign)
        self._legend = ui.html("", sanitize=False).classes("legend")
        element("p", text("plan.room.keys"), "soft small")
        self._mark("room")

    def view(self, mode: str) -> None:
        """Look at it in another way."""
        self._mark(mode)
        ui.run_javascript(f"window.rushlightView({json.dumps(self._id)}, {json.dumps(mode)})")

    def show(self, shown: Glance, stamp: float = 0.0) -> None:
        """Draw what a glance shows.

        Parameters
        ----------
        shown
            Without a room, as of a rig with an error, it is told that nothing can be drawn.
        stamp
            When the user moved what led to it, by the browser's clock [ms]; 0 where nobody did.
        """
        values = [each for m in shown.maps for each in m.error_mm if each is not None]
        low, high = (min(values), max(values)) if values else (0.0, 0.0)
        data: dict[str, Any] = {
            "room": shown.room,
            "maps": [vars(each) for each in shown.maps],
            "low_mm": low,
            "high_mm": high,
            "words": text("plan.room.none") if shown.room is None else _words(shown, low, high),
        }
        # A module comes later than what the server sends first.
        ui.run_javascript(
            f"const draw = () => window.rushlightRoom"
            f" ? window.rushlightRoom({json.dumps(self._id)}, {json.dumps(data)}, {stamp})"
            f" : setTimeout(draw, 30); draw()"
        )
        flat = any(each.of == "surface" for each in shown.maps)
        self._legend.set_visibility(shown.room is not None)
        legend = text("plan.legend", low=number(low), high=number(high))
        self._legend.set_content(
            f'<span class="ramp" aria-hidden="true"></span><span>{legend}</span>'
            f"<span>{text('plan.legend.lost' if flat else 'plan.legend.lost.space')}</span>"
        )

    def _way(self, way: str, sign: str) -> Element:
        """A button for one step; the room is turned in the browser alone."""
        words = text(f"plan.room.way.{way}")
        made = button(sign, aria_label=words, title=words, data_way=way)
        told = f"{json.dumps(self._id)}, {json.dumps(way)}"
        made.on("click", js_handler=f"() => window.rushlightMove?.({told})")
        return made

    def _mark(self, mode: str) -> None:
        for way in _TURNS:  # what is flat is seen from where it is
            self._ways[way].props["disabled"] = mode != "room"
            self._ways[way].update()
        for view, shown in self._buttons.items():
            shown.props["aria-pressed"] = "true" if view == mode else "false"


def _words(shown: Glance, low: float, high: float) -> str:
    """The picture in words, for those who do not see it."""
    told = {"low": number(low), "high": number(high), "coverage": percent(shown.coverage)}
    if not any(each.of == "surface" for each in shown.maps):
        return text("plan.words.space", **told)
    why = sorted({word for each in shown.maps for cell in each.lost for word in cell})
    lost = text("plan.lost.why", why=", ".join(why)) if why else text("plan.lost.all")
    return text("plan.words.surface", lost=lost, **told)
