"""How good each rig of a batch is, for a search: the one door to whatever evaluates rigs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.plan.delay import delay_budget
from rushlight.plan.evaluate import evaluate
from rushlight.plan.grid import Standing, places_of_grid
from rushlight.plan.shadow import SCENES, Scenes, scenes_of, shadow_field
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig

Array = NDArray[Any]


@dataclass(frozen=True)
class Judged:
    """What is expected of R rigs, each with one camera.

    Attributes
    ----------
    exposure_s
        (R,) chosen [s].
    error_rms_m, error_worst_m
        (R,) over the lights and the places in view [m]; NaN where the camera cannot be
        registered.
    coverage, coverage_clear
        (R,) share of the surface covered, each place counting by how often its light is seen
        past bodies, arms and hands; and without that shadow.
    delay_s
        (R,) mean [s].
    in_view
        (R,) share of the places in view.
    registerable
        (R,) whether at least six beacons are seen.
    """

    exposure_s: Array
    error_rms_m: Array
    error_worst_m: Array
    coverage: Array
    coverage_clear: Array
    delay_s: Array
    in_view: Array
    registerable: Array


@dataclass(frozen=True)
class Room:
    """What is the same for every candidate of a room: the grid, its people and their scenes."""

    columns: int
    rows: int
    standing: Standing
    scenes: Scenes | None

    @classmethod
    def of(cls, rig: Rig, resolved: ResolvedRig, grid: tuple[int, int], scenes: int) -> Room:
        """The room of a rig; without scenes where a body's sizes are not known."""
        places = places_of_grid(resolved.surface.size_m, *grid)[0]
        try:
            drawn = scenes_of(rig, resolved, places, scenes)
        except ValueError:
            drawn = None
        return cls(*grid, Standing.of_rig(rig), drawn)


def room_of(
    rig: Rig, resolved: ResolvedRig, grid: tuple[int, int] = (9, 6), scenes: int = SCENES
) -> Room:
    """Everything about a rig's room that is worked out once for all its candidates."""
    return Room.of(rig, resolved, grid, scenes)


def ranking(resolved: ResolvedRig, room: Room) -> Judged:
    """How good is each rig (R) of a batch that stands in a room?

    The beacons are three by three, set in from the edges, for every candidate; one rig does not
    change what is found of another.
    """
    found = evaluate(resolved, room.columns, room.rows, standing=room.standing, tilts=2, leans=3)
    seen = found.in_view & np.isfinite(found.error_m["all"])
    error = np.where(seen, found.error_m["all"], -np.inf).max(axis=(1, 2))
    lit = np.ones_like(found.covered, dtype=float)
    if room.scenes is not None:
        # Camera by camera, so that a large batch needs no large memory.
        for index, lens in enumerate(resolved.cameras.rig_from_camera[:, 0, :3, 3]):
            lit[index] = 1.0 - shadow_field(room.scenes, lens[None]).everywhere
    delay = delay_budget(resolved, found.exposure_s[:, 0]).total_mean_s
    return Judged(
        exposure_s=found.exposure_s[:, 0],
        error_rms_m=found.overall_error_m(),
        error_worst_m=np.where(np.isfinite(error), error, np.nan),
        coverage=(found.covered * lit).mean(axis=(1, 2)),
        coverage_clear=found.coverage,
        delay_s=delay,
        in_view=found.in_view.mean(axis=(1, 2)),
        registerable=found.registerable,
    )
