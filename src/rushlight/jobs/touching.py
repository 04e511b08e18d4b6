"""Who can touch beacons and marks, and how many beacons a registration asks for."""

from __future__ import annotations

from rushlight.plan.beacons import BEACONS
from rushlight.records.rig import Rig
from rushlight.shelf.resolve import lit_emitters

__all__ = ["BEACONS", "styli_of"]


def styli_of(rig: Rig) -> list[str]:
    """Ids of the carried things that bear a light which can touch, each once, as in the rig."""
    return list(dict.fromkeys(lit.id for lit, _ in lit_emitters(rig)))
