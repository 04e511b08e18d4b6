"""The swift evaluation: what can be expected of thousands of candidate rigs a second.

It answers what `rushlight.plan.evaluate` answers, for rigs with one camera, by the same model in a
few closed forms (`swift_fit`, `swift_kernel`), for searching; a plan of one rig stays with the full
evaluation. Both are predictions, and their agreement proves nothing about a real rig.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.mixture import GREATEST_MISFIT
from rushlight.plan.beacons import candidate_places, evaluate_registered
from rushlight.plan.candidates import Candidates
from rushlight.plan.delay import delay_budget
from rushlight.plan.error import LEAST_BEACONS, UNSEEN_VARIANCE_M2
from rushlight.plan.evaluate import MOST_PARTED, evaluate
from rushlight.plan.grid import Standing, inset_ring
from rushlight.plan.light import EDGE_SIGMAS, FAINTEST_PEAK, FULLEST_PEAK, GREATEST_STREAM_PX
from rushlight.plan.shadow_lattice import ShadowLattice
from rushlight.plan.swift_fit import weight_table
from rushlight.plan.swift_kernel import judge
from rushlight.plan.swift_rows import Found, Limits, Rows, rows_of, spare_of
from rushlight.plan.swift_sum import Sums, shade_of, sum_up
from rushlight.records.figure import ERROR_CAUSES

Array = NDArray[Any]

LOSSES = {
    "out of view": 1,
    "saturated": 2,
    "weak": 4,
    "hidden": 8,
    "parted": 16,
    "inaccurate": 32,
    "out of reach": 64,
    "no registration": 128,
}
"""Why a place is lost to a light, as bits. Hidden: by the holder's own column, as in `evaluate`."""
PORTIONS = 8
"""Portions of a batch a processor takes, one after another, as some are done sooner than others."""


@dataclass(frozen=True, eq=False)
class SwiftEvaluation:
    """What can be expected of R candidates with E emitters at G places of a grid.

    Attributes
    ----------
    columns, rows
        Of the grid; places run row by row from below.
    error_rms_m, worst_m
        (R,) root-mean-square and greatest error over emitters and places in view [m]; NaN where
        there is no registration.
    cause_rms_m
        Cause to (R,) its part in the former [m].
    error_m
        (R, E, G) root-mean-square error, all causes [m]; NaN out of view.
    coverage
        (R,) share of places covered, mean over the emitters, as in `evaluate`.
    coverage_lit
        (R,) the same, each place counting by the probability that nobody stands in the way; equal
        to `coverage` where no lattice was given.
    delay_s
        (R,) mean delay [s].
    exposure_s
        (R,) chosen or as given [s].
    lost
        (R, E, G) of uint8, bits of `LOSSES`.
    registerable
        (R,) whether enough beacons are seen.
    doubtful
        (R,) where dots part or are wide for the fit's window, or light changes fast over the
        surface: the error is then known to some 10 % only, exposure and coverage may be off by
        more. See `SwiftEvaluator`.
    full
        (R,) which candidates were handed to the full evaluation.
    """

    columns: int
    rows: int
    error_rms_m: Array
    worst_m: Array
    cause_rms_m: dict[str, Array]
    error_m: Array
    coverage: Array
    coverage_lit: Array
    delay_s: Array
    exposure_s: Array
    lost: Array
    registerable: Array
    doubtful: Array
    full: Array

    @property
    def reasons(self) -> Array:
        """(R,) of uint8: every reason for which the candidate loses any place."""
        return np.asarray(np.bitwise_or.reduce(self.lost, axis=(1, 2)))


class SwiftEvaluator:
    """Judges batches of candidates of the same rows of parts; sets up once.

    Parameters
    ----------
    candidates
        Any of the candidates: their rows are what counts. One camera.
    columns, rows, standing, registering
        As in `rushlight.plan.evaluate.evaluate`.
    beacons_m
        (B, 2) or (M, B, 2) [m], touched wherever they are. When left out, nine are placed for each
        candidate: three by three, set in from the edges, but some moved to places that a plan
        chooses from (`rushlight.plan.swift_spots`). Beacons of candidates that are handed to the
        full evaluation are then chosen as in the plan.
    lattice
        The room's shadow at the places of the same grid, if wanted.
    fall_back
        Whether doubtful candidates are handed to the full evaluation, some hundred to a thousand
        times slower. Rigs of several cameras, and candidates beside whose view the lens model
        ends, always are.

    Raises
    ------
    ValueError
        For a grid without places, or a lattice of other emitters or places.
    """

    def __init__(
        self,
        candidates: Candidates,
        lattice: ShadowLattice | None = None,
        columns: int = 9,
        rows: int = 6,
        beacons_m: Array | None = None,
        standing: Standing | None = None,
        registering: Sequence[int] | None = None,
        fall_back: bool = False,
    ) -> None:
        parts = candidates.rows
        if columns < 1 or rows < 1:
            raise ValueError(f"a grid needs columns and rows of 1 or more, not {columns} × {rows}")
        self.lattice, self.columns, self.rows = lattice, columns, rows
        self._parts, self._fall = parts, fall_back
        self._standing = standing or Standing.unknown(parts)
        emitters = range(parts.emitters.duty.shape[1])
        self._registering = tuple(emitters if registering is None else registering)
        self._chosen = beacons_m is None
        beacons = inset_ring(parts.surface.size_m) if beacons_m is None else np.asarray(beacons_m)
        self._beacons = np.broadcast_to(beacons, (len(parts), *beacons.shape[-2:]))
        spare = candidate_places(parts) if self._chosen else np.empty((len(parts), 0, 2))
        self._told: Rows | None = None
        if parts.cameras.size_px.shape[1] == 1:
            self._told = rows_of(
                parts, columns, rows, self._beacons, self._standing, self._registering
            )
        self._spare = spare_of(parts, self._beacons, spare, self._standing)
        if lattice is not None and lattice.hidden.shape[3:] != (len(emitters), columns * rows):
            raise ValueError(
                f"expected a lattice for {len(emitters)} emitters at {columns * rows} places, "
                f"got {lattice.hidden.shape[3:]}"
            )
        self._shade = shade_of(lattice, len(emitters), columns * rows)

    def __call__(self, candidates: Candidates) -> SwiftEvaluation:
        """Judge candidates of the rows that were set up.

        Raises
        ------
        ValueError
            When they are of other rows.
        """
        if candidates.rows is not self._parts:
            raise ValueError("the candidates are made of other rows than the evaluator's")
        found = self._empty(candidates)
        full = np.ones(len(candidates), bool)
        if self._told is not None:
            self._compute(candidates, found)
            full = (found.state == 1) | (self._fall & (found.state == 3))
        doubtful = (found.state == 3) & ~full
        if full.any():
            self._fall_back(candidates, np.flatnonzero(full), found)
        return self._gathered(candidates, found, doubtful, full)

    def _empty(self, candidates: Candidates) -> Found:
        count, shape = len(candidates), (candidates.drive.shape[1], self.columns * self.rows)
        return Found(
            np.zeros((count, *shape), np.uint8),
            np.full((count, *shape), np.nan),
            np.full((count, len(ERROR_CAUSES)), np.nan),
            np.full(count, np.nan),
            np.zeros(count, np.uint8),
        )

    def _compute(self, candidates: Candidates, found: Found) -> None:
        """Let the kernel judge, a share of the candidates on each processor."""
        # Copies, as arrays that may not be written to would have the kernels compiled once more.
        given = (
            np.array(candidates.row, np.int64),
            np.array(candidates.rig_from_camera[:, 0], float, order="C"),
            np.array(candidates.exposure_s[:, 0], float, order="C"),
            np.array(candidates.drive, float, order="C"),
        )
        limits = Limits(
            FULLEST_PEAK,
            FAINTEST_PEAK,
            GREATEST_STREAM_PX,
            EDGE_SIGMAS,
            LEAST_BEACONS,
            UNSEEN_VARIANCE_M2,
            GREATEST_MISFIT,
            MOST_PARTED,
        )

        def part(begin: int, end: int) -> None:
            judge(
                begin,
                end,
                *given,
                self._told,
                _table(),
                limits,
                self._spare,
                self.columns * self.rows,
                found,
            )

        _in_portions(part, len(candidates))

    def _fall_back(self, candidates: Candidates, which: Array, found: Found) -> None:
        """Hand some candidates to the full evaluation."""
        some = candidates.take(which)
        rigs, grid = some.resolved(), (self.columns, self.rows)
        if self._chosen:
            ev = evaluate_registered(rigs, *grid, self._standing, self._registering)
        else:
            beacons = self._beacons[some.row]
            ev = evaluate(rigs, *grid, beacons, self._standing, self._registering)
        goal = self._parts.targets.worst_error_m[some.row][:, None, None]
        lost = np.zeros(ev.in_view.shape, np.uint8)
        with np.errstate(invalid="ignore"):
            for name, mask in (
                ("out of view", ~ev.in_view),
                ("saturated", ev.saturated),
                ("weak", ev.weak),
                ("hidden", ev.hidden & ev.in_view),
                ("parted", ev.parted),
                ("inaccurate", ev.in_view & (ev.error_m["all"] > goal)),
                ("out of reach", ~ev.reached),
                ("no registration", ~np.broadcast_to(ev.registerable[:, None, None], lost.shape)),
            ):
                lost |= np.where(mask, LOSSES[name], 0).astype(np.uint8)
        found.lost[which] = lost
        found.error_m[which] = np.where(ev.in_view, ev.error_m["all"], np.nan)
        for index, cause in enumerate(ERROR_CAUSES):
            found.cause_m[which, index] = _root_mean_square(
                np.where(ev.in_view, ev.error_m[cause], np.nan)
            )
        found.exposure_s[which] = ev.exposure_s.max(axis=1)
        found.state[which] = np.where(ev.registerable, 0, 2)

    def _gathered(
        self, candidates: Candidates, found: Found, doubtful: Array, full: Array
    ) -> SwiftEvaluation:
        count = len(candidates)
        places = math.prod(found.lost.shape[1:])
        sums = Sums(*(np.empty(count) for _ in Sums._fields))
        cameras = np.array(candidates.rig_from_camera[:, 0, :3, 3], float, order="C")

        def part(begin: int, end: int) -> None:
            sum_up(begin, end, cameras, self._shade, found.lost, found.error_m, sums)

        _in_portions(part, count)
        return SwiftEvaluation(
            columns=self.columns,
            rows=self.rows,
            error_rms_m=sums.error_rms_m,
            worst_m=sums.worst_m,
            cause_rms_m={name: found.cause_m[:, i] for i, name in enumerate(ERROR_CAUSES)},
            error_m=found.error_m,
            coverage=sums.covered / places,
            coverage_lit=(sums.covered if self.lattice is None else sums.lit) / places,
            delay_s=self._delay_s(candidates, found.exposure_s),
            exposure_s=found.exposure_s,
            lost=found.lost,
            registerable=found.state != 2,
            doubtful=doubtful,
            full=full,
        )

    def _delay_s(self, candidates: Candidates, exposure_s: Array) -> Array:
        """Mean delay (R,) [s]: it grows by half of the exposure, all else is the row's."""
        fixed = delay_budget(self._parts, np.zeros(len(self._parts))).total_mean_s
        return np.asarray(fixed[candidates.row] + exposure_s / 2.0)


def swift_evaluate(
    candidates: Candidates, lattice: ShadowLattice | None = None, **told: Any
) -> SwiftEvaluation:
    """What can be expected of one batch of candidates; `told` as `SwiftEvaluator` takes it."""
    return SwiftEvaluator(candidates, lattice, **told)(candidates)


def processors() -> int:
    """How many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _in_portions(part: Callable[[int, int], None], count: int) -> None:
    """Let all processors work on portions of a batch, each from a first to before a last."""
    workers = min(processors(), max(count, 1))
    if workers == 1:
        part(0, count)
        return
    edges = np.linspace(0, count, min(workers * PORTIONS, count) + 1).astype(int).tolist()
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(part, edges[:-1], edges[1:]))


@cache
def _table() -> Array:
    return weight_table()


def _root_mean_square(values: Array) -> Array:
    """Over all but the first axis of (R, ...), NaN left out; NaN where nothing is known."""
    flat = values.reshape(len(values), -1)
    known = np.isfinite(flat)
    count = known.sum(axis=1)
    total = np.where(known, flat, 0.0)
    square = np.einsum("rg,rg->r", total, total)
    return np.asarray(np.sqrt(np.where(count > 0, square / np.maximum(count, 1), np.nan)))
