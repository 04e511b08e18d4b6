"""Can things that move in one space be told from one another?"""

from __future__ import annotations

from itertools import combinations
from typing import NamedTuple

import numpy as np

from rushlight.physics.geometry.likeness import matches
from rushlight.records.arrays import Array
from rushlight.records.rig import Carried, Rig
from rushlight.records.space import SPARE_M, SPARE_SHARE
from rushlight.shelf.optics import camera_pose
from rushlight.shelf.report import Report


class Moving(NamedTuple):
    """A thing that moves.

    Fields
    ------
    number : its place among the carried things
    carried : as the rig has it
    lights_m : (L, 3) in its own frame [m]
    """

    number: int
    carried: Carried
    lights_m: Array


def check_names(rig: Rig, moving: list[Moving], report: Report) -> None:
    """Warn of two things that look alike where both may be.

    It is no error: their places are as good as any, and only which is which stays open; fixes
    then tell less than the whole weight. A scale bar is swung alone and is left out.
    """
    things = [
        each
        for each in moving
        if each.carried.kind != "scale-bar" and each.carried.zone is not None and len(each.lights_m)
    ]
    for one, other in combinations(things, 2):
        if not _alike(rig, one, other):
            continue
        count = len(one.lights_m)
        look = "a single light each" if count == 1 else f"{count} lights in one pattern each"
        where = "the same zone" if _zone(one) == _zone(other) else "zones that overlap"
        report.warning(
            "things-alike",
            f"carried[{other.number}].emitters",
            [one.carried.id, other.carried.id],
            f"look alike: {look}, no codes that differ, and {where}, so that one may be taken for "
            "the other",
            "give their lights codes that differ"
            + (", or each thing a light more in another pattern" if count == 1 else "")
            + (", or set the lights of one in another pattern" if count > 1 else "")
            + ", or keep their zones farther apart",
        )


def _alike(rig: Rig, one: Moving, other: Moving) -> bool:
    codes = [
        [(each.code, each.code_bit.value if each.code_bit else None) for each in thing.emitters]
        for thing in (one.carried, other.carried)
    ]
    scale, stand = 1.0, np.zeros(3)
    if len(rig.cameras) == 1 and min(len(one.lights_m), len(other.lights_m)) > 1:
        # One camera does not tell a small thing from a large one that is farther away.
        scale = _size_m(other.lights_m) / max(_size_m(one.lights_m), 1e-9)
        try:
            stand = camera_pose(rig.cameras[0])[:3, 3]
        except ValueError:
            scale = 1.0  # told elsewhere
    if not scale > 0.0:
        return False  # told elsewhere
    orders = [match.order for match in matches(one.lights_m, other.lights_m / scale)]
    if not any(all(codes[0][i] == codes[1][j] for i, j in enumerate(order)) for order in orders):
        return False
    low, high = (stand + (corner - stand) * scale for corner in _box_m(one))
    other_low, other_high = _box_m(other)
    return bool(np.all(low <= other_high) and np.all(other_low <= high))


def _zone(thing: Moving) -> tuple[float, ...]:
    zone = thing.carried.zone
    return () if zone is None else tuple(step.value for step in (*zone.low, *zone.high))


def _box_m(thing: Moving) -> tuple[Array, Array]:
    """Corners of where a thing is looked for: some way beyond its zone."""
    low, high = np.array(_zone(thing)).reshape(2, 3)
    spare = SPARE_SHARE * (high - low) + SPARE_M
    return low - spare, high + spare


def _size_m(lights_m: Array) -> float:
    return float(np.linalg.norm(lights_m - lights_m.mean(axis=0)))
