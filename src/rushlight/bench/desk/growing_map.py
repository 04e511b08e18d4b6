"""The error map of a registration while it grows."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from nicegui import ui

from rushlight.bench.desk.show import number
from rushlight.bench.texts import text


class GrowingMap:
    """The map, its legend and the beacons; draws into the present place.

    Parameters
    ----------
    size_m
        Width and height of the surface [m].
    """

    def __init__(self, size_m: tuple[float, float]) -> None:
        ui.add_head_html('<script type="module" src="/desk/growing.js"></script>')
        self._size_m = size_m
        box = ui.element("div").classes("growing")
        self._id = f"growing-{box.id}"
        box.props["id"] = self._id
        self._legend = ui.html("", sanitize=False).classes("legend")
        self._shown = ""
        self.show({}, None)

    def show(self, told: Mapping[str, Any], beacon: Mapping[str, Any] | None) -> None:
        """Draw it, if it has changed.

        Parameters
        ----------
        told
            As of `rushlight.jobs.register_telling.RegisterState.as_dict`; may be empty.
        beacon
            The one that stands.
        """
        place = beacon and {"x_m": beacon["x_m"], "y_m": beacon["y_m"]}
        words = text("register.map.none")
        if told.get("map"):
            values = [each for row in told["map"]["rms_mm"] for each in row]
            low, high = number(min(values), "mm"), number(max(values), "mm")
            words = text("register.map.words", low=low, high=high)
            self._legend.set_content(
                f'<span class="ramp" aria-hidden="true"></span><span>'
                f"{text('register.map.legend', low=low, high=high)}</span>"
            )
        else:
            self._legend.set_content("")
        data = json.dumps(
            {
                "size_m": self._size_m,
                "map": told.get("map"),
                "touches": told.get("touches") or [],
                "beacon": place,
                "words": words,
            }
        )
        if data == self._shown:
            return
        self._shown = data
        ui.run_javascript(
            f"const draw = () => window.rushlightGrowing"
            f" ? window.rushlightGrowing({json.dumps(self._id)}, {data})"
            f" : setTimeout(draw, 30); draw()"
        )
