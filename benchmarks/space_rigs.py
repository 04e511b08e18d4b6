"""Random rigs that follow things in space, around the three invented ones."""

from __future__ import annotations

import copy
import dataclasses
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

import rushlight.jobs as jobs
from rushlight.errors import RushlightError
from rushlight.plan.space_design import Design, design_of
from rushlight.plan.space_evaluate import exposures_of
from rushlight.records.document import validate
from rushlight.records.rig import Rig
from rushlight.records.space import ResolvedSpace
from rushlight.shelf.catalogue import load_shelf
from rushlight.shelf.resolve_space import resolve_space

SCENARIOS = Path(jobs.__file__).parent / "scenarios"
_THIRD = 0.3  # share of the volume rigs that have a third camera
KINDS = {"viewpoint": "paper-theatre", "body": "ferry-model", "volume": "choir-baton"}


def random_rigs(kind: str, seed: int) -> Iterator[tuple[ResolvedSpace, Design]]:
    """Rigs of one kind with their registrations, as many as are wanted.

    What cannot work is refused by the rig's own check, and drawn anew.
    """
    draw = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(len(kind),)))
    text = (SCENARIOS / KINDS[kind] / "rig.toml").read_text()
    plain = tomllib.loads(text)
    change = {"viewpoint": _viewpoint, "body": _body, "volume": _volume}[kind]
    while True:
        data = copy.deepcopy(plain)
        change(data, draw)
        try:
            space = resolve_space(validate(Rig, data, "random"), load_shelf(SCENARIOS))
        except RushlightError:
            continue
        cameras = space.cameras.replace(exposure_s=exposures_of(space)[None])
        space = dataclasses.replace(space, cameras=cameras)
        design = design_of(space)
        if design.method == "mounting":
            continue
        yield space, design


def _metres(*values: float) -> list[str]:
    return [f"{value:.4f} m" for value in values]


def _between(draw: np.random.Generator, low: float, high: float) -> float:
    return float(draw.uniform(low, high))


def _doubts(data: dict[str, Any], draw: np.random.Generator, least_m: float, most_m: float) -> None:
    for camera in data["cameras"]:
        camera["placed_within"] = f"{_between(draw, least_m, most_m) * 1e3:.2f} mm"
        camera["turned_within"] = f"{_between(draw, 0.4, 2.0):.2f} deg"


def _viewpoint(data: dict[str, Any], draw: np.random.Generator) -> None:
    camera, cap = data["cameras"][0], data["carried"][0]
    camera["position"] = _metres(
        _between(draw, 0.15, 0.45), _between(draw, 0.36, 0.5), _between(draw, 0.0, 0.06)
    )
    _doubts(data, draw, 2e-3, 8e-3)
    half = _between(draw, 0.06, 0.1)
    for light, side in zip(cap["emitters"], (-half, half), strict=True):
        light["position"] = _metres(side, 0.0, 0.0)
    _more_lights(cap, draw)
    cap["placed_within"] = f"{_between(draw, 0.2, 1.0):.2f} mm"
    eye = cap["points"][0]
    eye["position"] = _metres(0.0, -_between(draw, 0.04, 0.07), _between(draw, 0.05, 0.09))
    eye["std"] = f"{_between(draw, 2.0, 7.0):.1f} mm"
    near = _between(draw, 0.6, 0.8)
    cap["zone"]["low"] = _metres(0.05, 0.07, near)
    cap["zone"]["high"] = _metres(0.55, 0.37, near + _between(draw, 0.3, 0.7))
    cap["zone"]["turn"] = f"{_between(draw, 6.0, 20.0):.1f} deg"
    cap["zone"]["nod"] = f"{_between(draw, 5.0, 12.0):.1f} deg"


def _more_lights(cap: dict[str, Any], draw: np.random.Generator) -> None:
    """Half of the caps have a third light, or a third and a fourth, by which they are poses."""
    count = int(draw.choice([2, 2, 3, 4]))
    for name, place in (("top", (0.0, 0.06, -0.05)), ("back", (0.03, 0.02, -0.09)))[: count - 2]:
        at = np.array(place) + draw.uniform(-0.01, 0.01, 3)
        cap["emitters"].append(cap["emitters"][0] | {"id": name, "position": _metres(*at)})
    if count > 2:
        cap["solved_as"] = "pose"


def _body(data: dict[str, Any], draw: np.random.Generator) -> None:
    camera, ferry = data["cameras"][0], data["carried"][0]
    camera["position"] = _metres(
        _between(draw, 0.35, 0.6), _between(draw, 0.0, 0.2), _between(draw, 1.05, 1.3)
    )
    _doubts(data, draw, 2e-3, 8e-3)
    ferry["placed_within"] = f"{_between(draw, 0.2, 0.6):.2f} mm"
    for light in ferry["emitters"]:
        given = np.array([float(each.split()[0]) for each in light["position"]])
        moved = given * draw.uniform(0.85, 1.2, 3) + draw.uniform(-6.0, 6.0, 3)
        light["position"] = [f"{each:.1f} mm" for each in moved]
    ferry["points"][0]["std"] = f"{_between(draw, 0.1, 0.6):.2f} mm"
    ferry["zone"]["turn"] = f"{_between(draw, 5.0, 15.0):.1f} deg"
    ferry["zone"]["nod"] = f"{_between(draw, 5.0, 15.0):.1f} deg"
    ferry["zone"]["lean"] = f"{_between(draw, 40.0, 180.0):.0f} deg"


def _volume(data: dict[str, Any], draw: np.random.Generator) -> None:
    half, back = _between(draw, 0.4, 0.9), _between(draw, 1.0, 1.4)
    sides = [-1.0, 1.0]
    if draw.uniform() < _THIRD:
        sides.append(0.0)
        data["cameras"].append(copy.deepcopy(data["cameras"][0]) | {"id": "middle"})
    for camera, side in zip(data["cameras"], sides, strict=True):
        # The small sensor keeps the pictures of a whole swing quick to draw.
        camera["part"] = "vga-global-120"
        camera["frame_rate"] = "30 Hz"
        camera["position"] = _metres(side * half, _between(draw, 1.0, 1.6), -back)
        camera["look_at"] = _metres(0.0, 1.35, 0.45)
    _doubts(data, draw, 5e-3, 30e-3)
    baton, rod = data["carried"]
    baton["placed_within"] = f"{_between(draw, 0.3, 1.0):.2f} mm"
    baton["points"][0]["std"] = f"{_between(draw, 0.1, 1.0):.2f} mm"
    length = _between(draw, 0.15, 0.3)
    for light, place in zip(rod["emitters"], (-length, length), strict=True):
        light["position"] = _metres(place, 0.0, 0.0)
    rod["placed_within"] = f"{_between(draw, 0.2, 0.6):.2f} mm"
