"""How far a camera may be from where the plan has it, before anybody looked."""

from __future__ import annotations

import math
from typing import NamedTuple

from rushlight.plan.doubts import focal_shares
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf

HUNG_PLACE_M = 0.05
"""Of a camera hung by hand with a tape at hand, along each axis [m]; our own choice, no source."""

HUNG_TURN_RAD = math.radians(3.0)
"""Of one turned by eye, about each axis [rad]; our own choice, no source."""


class Hanging(NamedTuple):
    """What is doubted of a hung camera, one standard deviation each.

    Fields
    ------
    place_m
        Its place, along each axis [m].
    turn_rad
        How it is turned, about each axis [rad].
    focal_share
        Its focal length, as a share of it [1].
    """

    place_m: float
    turn_rad: float
    focal_share: float


def hanging_doubts(rig: Rig, shelf: Shelf, camera: int) -> Hanging:
    """What is doubted of one of a rig's cameras: as the rig says, or as a hand leaves it.

    Parameters
    ----------
    rig, shelf
        The rig, and the parts that it is made of.
    camera
        The camera's place in the rig.
    """
    own = rig.cameras[camera]
    return Hanging(
        HUNG_PLACE_M if own.placed_within is None else own.placed_within.value,
        HUNG_TURN_RAD if own.turned_within is None else own.turned_within.value,
        focal_shares(rig, shelf)[0][camera],
    )
