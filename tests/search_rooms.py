"""Invented rooms to search in, made of the demo rig: for tests and benchmarks alike."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from rushlight.records.document import validate
from rushlight.records.rig import Rig

BARN_WALL = Path(__file__).resolve().parents[1] / "src/rushlight/jobs/scenarios/barn-wall/rig.toml"
PRICES = {
    "vga-global-60": 24.0,
    "narrow-vga-global-120": 34.0,
    "wide-vga-global-60": 29.0,
    "mono-global-720p": 46.0,
    "hd-rolling-30": 15.0,
    "long-pass-720": 3.0,
    "ir850-5mm-60": 0.5,
}
"""Invented, in EUR."""


def place(
    name: str, kind: str, corner: tuple[float, ...], opposite: tuple[float, ...] | None = None
) -> dict[str, Any]:
    """A place for a camera between two corners [m]; a point where only one is given."""
    written = {
        key: [f"{step:g} m" for step in at]
        for key, at in (("corner", corner), ("opposite", opposite or corner))
    }
    return {"id": name, "kind": kind, **written}


BOXES = [
    place("beam", "ceiling", (0.4, 1.5, 2.4), (2.0, 1.7, 3.2)),
    place("tripod", "tripod", (-0.5, 0.5, 1.5), (2.9, 1.2, 4.0)),
    place("post", "shelf", (-0.6, 0.8, 1.0), (-0.5, 0.8, 2.5)),
]
POINTS = [
    place("middle", "ceiling", (1.2, 1.6, 2.85)),
    place("left", "ceiling", (0.5, 1.65, 2.6)),
    place("low", "tripod", (1.2, 0.6, 3.2)),
    place("far", "shelf", (1.8, 1.7, 3.6)),
]


def room_data(places: list[dict[str, Any]], **settings: Any) -> dict[str, Any]:
    """The demo rig's plain data with places for its camera and settings of a search."""
    data = tomllib.loads(BARN_WALL.read_text(encoding="utf-8"))
    data["room"]["places"] = places
    prices = {
        part: {"amount": amount, "currency": "EUR", "date": "2026-03", "basis": "invented"}
        for part, amount in PRICES.items()
    }
    data["search"] = {"prices": prices, **settings}
    return data


def room(places: list[dict[str, Any]], **settings: Any) -> Rig:
    """The same as a rig."""
    return validate(Rig, room_data(places, **settings), "rig.toml")
