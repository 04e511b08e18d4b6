"""How good each candidate of a search is: the one door to whatever evaluates rigs."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.plan.beacons import evaluate_registered
from rushlight.plan.candidates import Candidates
from rushlight.plan.delay import delay_budget
from rushlight.plan.grid import Standing, places_of_grid
from rushlight.plan.shadow import SCENES, Scenes, scenes_of
from rushlight.plan.shadow_lattice import ShadowLattice, hidden_share, shadow_lattice
from rushlight.plan.swift import LOSSES, processors, swift_evaluate
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig

Array = NDArray[Any]

NOWHERE = -1
"""Stands for the place of a camera that stands in none."""
MOST_NODES = 240
"""Nodes of the lattice on which a place's shadow is tabulated, about, at most."""
SPACING_M = 0.25
"""Least distance of these nodes."""
_NO_COVER = 255 & ~LOSSES["out of reach"]


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
        past bodies, arms and hands; and with one upright body alone.
    delay_s
        (R,) mean [s].
    in_view
        (R,) share of the places in view.
    registerable
        (R,) whether at least six beacons are seen.
    doubtful
        (R,) whether the swift evaluation knows the error roughly only.
    """

    exposure_s: Array
    error_rms_m: Array
    error_worst_m: Array
    coverage: Array
    coverage_clear: Array
    delay_s: Array
    in_view: Array
    registerable: Array
    doubtful: Array


@dataclass(frozen=True, eq=False)
class SearchRoom:
    """What is the same for every candidate of a room: the grid, its people and their shadows.

    Attributes
    ----------
    scenes, shadows
        The scenes in which people stand, and the shadow they make, tabulated over each place for
        cameras; None and empty where a body's sizes are not known.
    """

    columns: int
    rows: int
    standing: Standing
    scenes: Scenes | None
    shadows: tuple[ShadowLattice, ...]

    def lit(self, place: Array, lenses_m: Array) -> Array:
        """How often (R, E, G) lights are seen from lenses (R, 3) [m] in places (R,)."""
        if self.scenes is None:
            return np.ones(())
        shape = self.scenes.light_m.shape
        lit = np.ones((len(place), shape[0], shape[2]))
        for number in np.unique(place):
            at = np.flatnonzero(place == number)
            hidden = (
                hidden_share(self.scenes, lenses_m[at])
                if number == NOWHERE
                else self.shadows[number].at(lenses_m[at])
            )
            lit[at] = 1.0 - hidden
        return lit


def room_of(
    rig: Rig, resolved: ResolvedRig, boxes_m: Array, grid: tuple[int, int], scenes: int = SCENES
) -> SearchRoom:
    """Everything about a rig's room that is worked out once for all its candidates.

    Parameters
    ----------
    rig, resolved
        The rig, and the same as numbers.
    boxes_m
        (N, 2, 3) lesser and greater corner of each place for cameras [m].
    grid
        Columns and rows of places on the surface.
    scenes
        In which people stand, equally likely.
    """
    places = places_of_grid(resolved.surface.size_m, *grid)[0]
    standing = Standing.of_rig(rig)
    try:
        drawn = scenes_of(rig, resolved, places, scenes)
    except ValueError:  # a body's sizes are not known
        return SearchRoom(*grid, standing, None, ())

    def lattice(box: Array) -> ShadowLattice:
        sides = np.maximum(box[1] - box[0], 1e-3)
        spacing = max(SPACING_M, float(np.prod(sides[sides > SPACING_M]) / MOST_NODES) ** (1 / 3))
        return shadow_lattice(drawn, box[0], box[1], spacing)

    with ThreadPoolExecutor(processors()) as pool:
        shadows = tuple(pool.map(lattice, boxes_m))
    return SearchRoom(*grid, standing, drawn, shadows)


def ranking(
    room: SearchRoom, rows: ResolvedRig, row: Sequence[int] | Array, poses: Array, place: Array
) -> Judged:
    """How good is each candidate that stands in a room?

    Each is registered by nine beacons where its camera sees them; one candidate does not change
    what is found of another.

    Parameters
    ----------
    rows
        Combinations of parts (M).
    row, poses, place
        (R,) which row, (R, 4, 4) where the camera stands, (R,) number of its place or `NOWHERE`.
    """
    candidates = Candidates.placed(rows, row, poses)
    found = swift_evaluate(candidates, columns=room.columns, rows=room.rows, standing=room.standing)
    covered = (found.lost & _NO_COVER) == 0
    return Judged(
        exposure_s=found.exposure_s,
        error_rms_m=found.error_rms_m,
        error_worst_m=found.worst_m,
        coverage=(covered * room.lit(place, poses[:, :3, 3])).mean(axis=(1, 2)),
        coverage_clear=found.coverage,
        delay_s=found.delay_s,
        in_view=1.0 - ((found.lost & LOSSES["out of view"]) > 0).mean(axis=(1, 2)),
        registerable=found.registerable,
        doubtful=found.doubtful,
    )


def full_ranking(room: SearchRoom, rigs: ResolvedRig) -> Judged:
    """The same of rigs (R) by the full evaluation, with beacons chosen as in the plan, and by the
    scenes themselves: far slower."""
    found = evaluate_registered(rigs, room.columns, room.rows, room.standing)
    lenses = rigs.cameras.rig_from_camera[:, 0, :3, 3]
    lit = room.lit(np.full(len(rigs), NOWHERE), lenses)
    error = np.where(found.in_view & np.isfinite(found.error_m["all"]), found.error_m["all"], -1.0)
    worst = error.max(axis=(1, 2))
    return Judged(
        exposure_s=found.exposure_s[:, 0],
        error_rms_m=found.overall_error_m(),
        error_worst_m=np.where(worst >= 0.0, worst, np.nan),
        coverage=(found.covered * lit).mean(axis=(1, 2)),
        coverage_clear=found.coverage,
        delay_s=delay_budget(rigs, found.exposure_s[:, 0]).total_mean_s,
        in_view=found.in_view.mean(axis=(1, 2)),
        registerable=found.registerable,
        doubtful=np.zeros(len(rigs), bool),
    )
