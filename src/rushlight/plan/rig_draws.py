"""Rigs drawn from the doubts, each built several times, and what they reach."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, get_args

import numpy as np
from numpy.typing import NDArray

from rushlight.plan.delay import delay_budget
from rushlight.plan.doubt import Doubt
from rushlight.plan.evaluate import CHUNK_RIGS, Evaluation
from rushlight.plan.single_build import build_errors_m, luck_count
from rushlight.plan.variance import Study, doubt_left, study, variance_left
from rushlight.records.resolved import ResolvedRig
from rushlight.records.tolerance import MeasureName

Array = NDArray[Any]

PAIRS = 64
"""Pairs of draws with one cause alike, at most (our own choice: their noise against the time)."""
BUILDS = 16
"""Builds drawn of each rig that is tried (our own choice)."""
MEASURES: tuple[MeasureName, ...] = get_args(MeasureName)


class RigModel:
    """Variates of every doubt to what the rig then reaches.

    Columns of the values: the measures in their order, root-mean-square over builds; whether dots
    are doubted (0 or 1); then the largest error and the coverage of each of `BUILDS` builds, over
    so many `touches` of each place, or very many. Each call draws other builds than the calls
    before it, of which `asked` are taken to have been made already.
    """

    def __init__(
        self,
        resolved: ResolvedRig,
        doubts: Sequence[Doubt],
        judge: Callable[[ResolvedRig], Evaluation],
        seed: int = 1,
        touches: int | None = None,
        progress: Callable[[int], None] = lambda _rigs: None,
        asked: int = 0,
    ) -> None:
        self.resolved = resolved
        self.doubts = doubts
        self._judge = judge
        self._seed = seed
        self._touches = touches
        self._asked = asked
        self._progress = progress

    def rigs(self, variates: Array) -> ResolvedRig:
        """The rigs (N) of the variates (N, d)."""
        batch = self.resolved.take(np.zeros(len(variates), int))
        first = 0
        for doubt in self.doubts:
            batch = doubt.moves(batch, variates[:, first : first + doubt.count])
            first += doubt.count
        return batch

    def __call__(self, variates: Array) -> Array:
        """Values (N, 5 + 2 `BUILDS`); no two calls draw the same builds."""
        self._asked += 1
        at = range(0, len(variates), CHUNK_RIGS)
        pieces = [variates[first : first + CHUNK_RIGS] for first in at]
        seeds = [[self._seed, self._asked, first] for first in at]
        parts = []
        with ThreadPoolExecutor(os.cpu_count()) as pool:  # numpy works outside Python's own lock
            for part in pool.map(self._piece, pieces, seeds):
                parts.append(part)
                self._progress(len(part))
        return np.concatenate(parts)

    def _piece(self, variates: Array, seed: list[int]) -> Array:
        batch = self.rigs(variates)
        ev = self._judge(batch)
        rng = np.random.default_rng(seed)
        luck = rng.standard_normal((len(batch), BUILDS, luck_count(ev)))
        error = build_errors_m(ev, luck, self._touches, rng)
        return np.concatenate([_values(batch, ev), *_of_builds(batch, ev, error)], axis=1)

    def delays(self, variates: Array, values: Array) -> Array:
        """The values with the delay alone reckoned anew."""
        out = values.copy()
        out[:, MEASURES.index("delay")] = _delay_ms(self.rigs(variates))
        return out


def _values(batch: ResolvedRig, ev: Evaluation) -> Array:
    doubted = (ev.saturated | ev.weak | ev.parted).any(axis=(1, 2))
    return np.stack(
        [
            1e3 * ev.overall_error_m(),
            1e3 * _largest(np.where(ev.in_view, ev.error_m["all"], np.nan)),
            100.0 * ev.coverage,
            _delay_ms(batch),
            doubted.astype(float),
        ],
        axis=-1,
    )


def _of_builds(batch: ResolvedRig, ev: Evaluation, error: Array) -> tuple[Array, Array]:
    """Largest error [mm] and coverage [%], (R, B) each, of builds of these errors (R, B, E, G)."""
    sound = ev.in_view & ~(ev.hidden | ev.saturated | ev.weak | ev.parted)
    goal = batch.targets.worst_error_m[:, None, None, None]
    with np.errstate(invalid="ignore"):
        covered = sound[:, None] & (error <= goal)
    worst = _largest(np.where(ev.in_view[:, None], error, np.nan))
    return 1e3 * worst, 100.0 * covered.mean(axis=(-1, -2))


def _largest(error: Array) -> Array:
    """Largest known error over emitters and places, the last two axes; NaN where none is."""
    known = np.isfinite(error).any(axis=(-1, -2))
    return np.where(known, np.max(np.nan_to_num(error, nan=-1.0), axis=(-1, -2)), np.nan)


def _delay_ms(batch: ResolvedRig) -> Array:
    """Mean delay (R,) [ms] of the slowest camera."""
    exposure = batch.cameras.exposure_s
    each = [
        delay_budget(batch, exposure[:, camera], camera).total_mean_s
        for camera in range(exposure.shape[1])
    ]
    return np.asarray(1e3 * np.max(each, axis=0))


@dataclass(frozen=True)
class Found:
    """A study of one rig, with the values as planned (5,).

    What knowing each cause leaves of the variance: of the measures (k, 4), and of whether all
    targets are met (k,), over pairs of draws; and what the luck of one build alone makes of that.
    """

    study: Study
    planned: Array
    left: Array
    met_left: Array
    luck: float
    pairs: int


def study_rig(model: RigModel, draws: int, seed: int) -> Found:
    """First order, draws, and pairs of draws that share one cause."""
    doubts = model.doubts
    kinds = [doubt.kind for doubt in doubts for _ in range(doubt.count)]
    owner = [index for index, doubt in enumerate(doubts) for _ in range(doubt.count)]
    found = study(model, kinds, owner, len(doubts), draws, seed)
    planned = model(np.array([[doubts[index].planned for index in owner]]))[0]
    pairs = min(draws // 2, PAIRS)
    base, apart = found.values[:pairs], found.values[pairs : 2 * pairs]
    left = np.full((len(doubts), len(MEASURES)), np.nan)
    met_left = np.full(len(doubts), np.nan)
    chance = chance_of_all(model.resolved, found.values)
    for index, doubt in enumerate(doubts):
        own = np.asarray(owner) == index
        alike = np.where(own, found.variates[:pairs], found.variates[pairs : 2 * pairs])
        values = model.delays(alike, apart) if doubt.delay_only else model(alike)
        left[index] = variance_left(values, apart, base)[: len(MEASURES)]
        met_left[index] = doubt_left(
            chance_of_all(model.resolved, values), chance[pairs : 2 * pairs], chance[:pairs]
        )
    return Found(found, planned, left, met_left, _luck(chance), pairs)


def _luck(chance: Array) -> float:
    """Share of the variance of a yes or no that chance alone makes, of its probability (N,)."""
    mean = float(chance.mean())
    # The mean of BUILDS draws makes p (1 − p) too small by one part in BUILDS.
    within = float(np.mean(chance * (1.0 - chance))) * BUILDS / (BUILDS - 1)
    total = mean * (1.0 - mean)
    return min(within / total, 1.0) if total > 0.0 else math.nan


def of_build(values: Array, build: int) -> Array:
    """Values (N, 5) with largest error and coverage of one build instead of over builds."""
    out = values[:, : len(MEASURES) + 1].copy()
    first = len(MEASURES) + 1 + build
    out[:, MEASURES.index("worst-error")] = values[:, first]
    out[:, MEASURES.index("coverage")] = values[:, first + BUILDS]
    return out


def chance_of_all(resolved: ResolvedRig, values: Array) -> Array:
    """Probability (N,) over builds that all targets that vary are known to be met."""
    met = [all_met(resolved, of_build(values, build)) for build in range(BUILDS)]
    return np.asarray(np.mean(met, axis=0))


def all_met(resolved: ResolvedRig, values: Array) -> Array:
    """Whether (N,) all targets that vary are known to be met in draws (N, 5)."""
    return np.all([met for _, _, met, _ in judged(resolved, values)], axis=0)


def judged(resolved: ResolvedRig, values: Array) -> list[tuple[str, str, Array, Array]]:
    """What, wanted, met (N,) and not known (N,) for each target that varies."""
    wanted = resolved.targets
    error = 1e3 * float(wanted.worst_error_m[0])
    share, lag = 100.0 * float(wanted.coverage[0]), 1e3 * float(wanted.delay_s[0])
    worst, covered, delay = (values[:, MEASURES.index(n)] for n in MEASURES[1:])
    small = worst <= error
    unknown = ~np.isfinite(worst) | (small & (values[:, -1] > 0))
    return [
        ("coverage", f"{share:g} %", covered >= share, np.zeros(len(values), bool)),
        ("largest error at a place in view", f"{error:g} mm", small & ~unknown, unknown),
        ("mean delay", f"{lag:g} ms", delay <= lag, np.zeros(len(values), bool)),
    ]
