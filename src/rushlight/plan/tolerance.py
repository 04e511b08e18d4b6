"""How sure a plan is: every doubt of parts and room, to first order and by random draws.

The exposure is chosen for the rig as planned and then held, as a builder would set it; so are
the beacons. Neither is chosen anew for each draw.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, get_args

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from rushlight.plan.beacons import choose_beacons
from rushlight.plan.delay import delay_budget
from rushlight.plan.doubts import Doubt, doubts_of
from rushlight.plan.evaluate import CHUNK_RIGS, Evaluation, evaluate
from rushlight.plan.figures import finite
from rushlight.plan.grid import Standing
from rushlight.plan.power import power_lines
from rushlight.plan.variance import LEVEL, Study, study, variance_left
from rushlight.plan.verdict import COARSE
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.records.tolerance import (
    MEASURE_WORDS,
    Decides,
    MeasureName,
    Tolerance,
    ToleranceCause,
    ToleranceMeasure,
    ToleranceTarget,
)
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve import resolve

Array = NDArray[Any]
Progress = Callable[[str, float], None]

DRAWS = 400
_HELD_DRAWS = 64
"""Draws with one cause held, at most (our own choice: their noise against the time they take)."""

MEASURES: tuple[MeasureName, ...] = get_args(MeasureName)
UNITS: dict[MeasureName, str] = {
    "rms-error": "mm",
    "worst-error": "mm",
    "coverage": "%",
    "delay": "ms",
}
ASSUMPTIONS = (
    "the exposure is chosen for the rig as planned and then held; so are the beacons",
    "the doubts are independent of one another",
    "what the error budget holds as doubt (distortion, flatness, holding, touching) is within "
    "each error and not drawn a second time",
    "where dots are clipped, weak or parted a small error is not known, and does not count as met",
    "the running time is as planned, and not varied",
    "predicted by the same formulas as the plan: nothing here was tried on hardware",
)


class RigModel:
    """Variates of every doubt to what the rig then reaches.

    Columns of the values: the measures in their order, then whether dots are doubted (0 or 1).
    """

    def __init__(
        self,
        resolved: ResolvedRig,
        doubts: Sequence[Doubt],
        judge: Callable[[ResolvedRig], Evaluation],
        progress: Callable[[int], None] = lambda _rigs: None,
    ) -> None:
        self.resolved = resolved
        self.doubts = doubts
        self._judge = judge
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
        """Values (N, 5)."""
        pieces = [variates[at : at + CHUNK_RIGS] for at in range(0, len(variates), CHUNK_RIGS)]
        parts = []
        with ThreadPoolExecutor(os.cpu_count()) as pool:  # numpy works outside Python's own lock
            for part in pool.map(self._piece, pieces):
                parts.append(part)
                self._progress(len(part))
        return np.concatenate(parts)

    def _piece(self, variates: Array) -> Array:
        batch = self.rigs(variates)
        return _values(batch, self._judge(batch))

    def delays(self, variates: Array, values: Array) -> Array:
        """The values (N, 5) with the delay alone reckoned anew."""
        out = values.copy()
        out[:, MEASURES.index("delay")] = _delay_ms(self.rigs(variates))
        return out


def _values(batch: ResolvedRig, ev: Evaluation) -> Array:
    error = np.where(ev.in_view, ev.error_m["all"], np.nan).reshape(len(batch), -1)
    known = np.isfinite(error).any(axis=1)
    worst = np.where(known, np.max(np.nan_to_num(error, nan=-1.0), axis=1), np.nan)
    doubted = (ev.saturated | ev.weak | ev.parted).any(axis=(1, 2))
    return np.stack(
        [
            1e3 * ev.overall_error_m(),
            1e3 * worst,
            100.0 * ev.coverage,
            _delay_ms(batch),
            doubted.astype(float),
        ],
        axis=-1,
    )


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

    What each cause leaves of the variance when held: of the measures (k, 4), and of whether all
    targets are met (k,).
    """

    study: Study
    planned: Array
    left: Array
    met_left: Array
    held_draws: int


def study_rig(model: RigModel, draws: int, seed: int) -> Found:
    """First order, draws, and draws with each cause held that matters."""
    doubts = model.doubts
    kinds = [doubt.kind for doubt in doubts for _ in range(doubt.count)]
    owner = [index for index, doubt in enumerate(doubts) for _ in range(doubt.count)]
    found = study(model, kinds, owner, len(doubts), draws, seed)
    planned = model(np.array([[doubts[index].planned for index in owner]]))[0]
    few = min(draws, _HELD_DRAWS)
    left = np.full((len(doubts), len(MEASURES)), np.nan)
    met_left = np.full(len(doubts), np.nan)

    def met(values: Array) -> Array:
        return all_met(model.resolved, values).astype(float)[:, None]

    for index, doubt in enumerate(doubts):
        held = np.asarray(owner) == index
        still = np.where(held, 0.0, found.variates[:few])
        values = model.delays(still, found.values[:few]) if doubt.delay_only else model(still)
        left[index] = variance_left(values, found.values[:few])[: len(MEASURES)]
        met_left[index] = variance_left(met(values), met(found.values[:few]))[0]
    return Found(found, planned, left, met_left, few)


def targets_of(
    resolved: ResolvedRig, values: Array, runtime_met: bool | None = True, runtime: str = ""
) -> list[ToleranceTarget]:
    """How probable it is that each target, and all of them, are met over draws (N, 5)."""
    rows = _judged(resolved, values)
    if runtime:
        given = np.full(len(values), runtime_met is True)
        rows.append(("runtime", runtime, given, np.full(len(values), runtime_met is None)))
    every = np.all([met for _, _, met, _ in rows], axis=0)
    refused = np.any([~met & ~known for _, _, met, known in rows], axis=0)
    rows.append(("all targets", "each of these", every, ~every & ~refused))
    return [_target(*row) for row in rows]


def all_met(resolved: ResolvedRig, values: Array) -> Array:
    """Whether (N,) all targets that vary are known to be met in draws (N, 5)."""
    return np.all([met for _, _, met, _ in _judged(resolved, values)], axis=0)


def _judged(resolved: ResolvedRig, values: Array) -> list[tuple[str, str, Array, Array]]:
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


def _target(what: str, wanted: str, met: Array, unknown: Array) -> ToleranceTarget:
    count, draws = int(met.sum()), len(met)
    ends = stats.binomtest(count, draws).proportion_ci(LEVEL, "exact")
    return ToleranceTarget(
        what=what,
        wanted=wanted,
        probability=count / draws,
        low=float(ends.low),
        high=float(ends.high),
        met=count,
        not_known=int(unknown.sum()),
        draws=draws,
    )


def tolerance_of(
    rig: Rig,
    shelf: Shelf,
    draws: int = DRAWS,
    seed: int = 1,
    name: str = "rig.toml",
    progress: Progress = lambda _what, _share: None,
    doubts: Sequence[Doubt] | None = None,
) -> Tolerance:
    """How sure a rig's plan is.

    Parameters
    ----------
    rig, shelf
        The rig, and the parts that it is made of.
    draws
        Monte Carlo draws, ≥ 2.
    seed
        The same seed gives the same result.
    name
        Of the rig's file, to stand in the findings.
    progress
        Told how far the work is.
    doubts
        Instead of all that apply to the rig.

    Raises
    ------
    RushlightError
        When the rig cannot be computed.
    """
    resolved, standing = resolve(rig, shelf, name), Standing.of_rig(rig)
    everyone = tuple(range(len(standing.holder)))
    beacons, _ = choose_beacons(resolved, standing, everyone)

    def judge(batch: ResolvedRig) -> Evaluation:
        return evaluate(batch, beacons_m=beacons, standing=standing, registering=everyone, **COARSE)

    chosen = doubts_of(rig, shelf, resolved) if doubts is None else list(doubts)
    exposure = judge(resolved).exposure_s
    variates = sum(doubt.count for doubt in chosen)
    expected = draws + 2 * variates + len(chosen) * min(draws, _HELD_DRAWS)
    done = 0

    def told(rigs: int) -> None:
        nonlocal done
        done += rigs
        progress("trying rigs", min(done / expected, 1.0))

    progress("trying rigs", 0.0)
    found = study_rig(RigModel(resolved.with_exposure(exposure), chosen, judge, told), draws, seed)
    progress("trying rigs", 1.0)
    runtime_met, runtime = _runtime(rig, shelf, resolved)
    targets = targets_of(resolved, found.study.values, runtime_met, runtime)
    causes, measures = _causes(chosen, found), _measures(found)
    first, decides, left = _first(causes)
    return Tolerance(
        rig=rig.content_hash(),
        rig_name=rig.name,
        columns=COARSE["columns"],
        rows=COARSE["rows"],
        ways=(COARSE["tilts"], COARSE["leans"]),
        draws=draws,
        held_draws=found.held_draws,
        seed=seed,
        causes=causes,
        measures=measures,
        targets=targets,
        decides=decides,
        measure_first=first.name if first else None,
        exposures_s={
            camera.id: float(exposure[0, index]) for index, camera in enumerate(rig.cameras)
        },
        sentences=[
            *_probability(targets),
            *_bends(measures),
            _advice(first, decides, left, found.held_draws),
        ],
        assumptions=list(ASSUMPTIONS),
    )


def _runtime(rig: Rig, shelf: Shelf, resolved: ResolvedRig) -> tuple[bool | None, str]:
    """Whether the running time wanted is met as planned, and that time in words."""
    if rig.targets.runtime is None:
        return True, ""
    goal = rig.targets.runtime.value / 3600.0
    hours = [line.runtime_h for line in power_lines(rig, shelf, resolved)]
    met = min(hours) >= goal if all(map(math.isfinite, hours)) else None
    return met, f"{goal:g} h"


def _by_measure(values: Array) -> dict[MeasureName, float | None]:
    return {name: finite(value) for name, value in zip(MEASURES, values, strict=False)}


def _causes(doubts: Sequence[Doubt], found: Found) -> list[ToleranceCause]:
    return [
        ToleranceCause(
            name=doubt.name,
            words=doubt.words,
            spread=doubt.spread,
            source=doubt.source,
            own_choice=doubt.own_choice,
            measure=doubt.measure,
            share=_by_measure(found.study.share[index]),
            std=_by_measure(found.study.cause_std[index]),
            left=_by_measure(found.left[index]),
            met_left=finite(found.met_left[index]),
        )
        for index, doubt in enumerate(doubts)
    ]


def _measures(found: Found) -> list[ToleranceMeasure]:
    s = found.study
    low, high = s.ends()
    linear = s.linear()
    lines = []
    for index, name in enumerate(MEASURES):
        column = s.values[:, index]
        known = column[np.isfinite(column)]
        lines.append(
            ToleranceMeasure(
                name=name,
                unit=UNITS[name],
                planned=finite(found.planned[index]),
                middle=finite(s.middle[index]),
                first_std=finite(s.first_std[index]),
                mean=float(known.mean()) if known.size else None,
                std=finite(s.std[index]),
                low=finite(low[index]),
                high=finite(high[index]),
                known=int(known.size),
                linear=linear[index],
            )
        )
    return lines


def _first(causes: list[ToleranceCause]) -> tuple[ToleranceCause | None, Decides, float]:
    """The cause whose holding leaves the least, of which doubt, and how much of it.

    Of whether all targets are met, where that is in doubt among the draws with a cause held;
    else of the largest error.
    """

    def left(cause: ToleranceCause, decides: Decides) -> float | None:
        return cause.met_left if decides == "all targets" else cause.left["worst-error"]

    for decides in get_args(Decides):
        tried = [(left(cause, decides), cause) for cause in causes]
        known = [(share, cause) for share, cause in tried if share is not None]
        share, best = min(known, key=lambda one: one[0], default=(1.0, None))
        if best is not None and share < 1.0:
            return best, decides, share
    return None, "worst-error", 1.0


def _probability(targets: list[ToleranceTarget]) -> list[str]:
    every = targets[-1]
    unknown = f" In {every.not_known} it cannot be told." if every.not_known else ""
    return [
        f"All targets are met in {every.met} of {every.draws} draws: probability "
        f"{100 * every.probability:.0f} % ({100 * every.low:.0f} to {100 * every.high:.0f} %, "
        f"exact binomial interval of 95 %).{unknown}"
    ]


def _bends(measures: list[ToleranceMeasure]) -> list[str]:
    return [
        f"Not linear: {MEASURE_WORDS[one.name]} (first order ± {_digits(one.first_std)} "
        f"{one.unit}, draws ± {_digits(one.std)} {one.unit}); trust the draws."
        for one in measures
        if one.linear is False
    ]


def _advice(first: ToleranceCause | None, decides: Decides, left: float, draws: int) -> str:
    if first is None:
        return "No single measurement was found that would reduce the doubt."
    what = (
        "of whether all targets are met"
        if decides == "all targets"
        else f"of the {MEASURE_WORDS[decides]}"
    )
    return (
        f"What would reduce the doubt most: {first.measure}. With that known, and found at its "
        f"middle, {100 * left:.0f} % of the variance {what} would be left ({draws} draws)."
    )


def _digits(value: float | None) -> str:
    return "unknown" if value is None else f"{value:.3g}"
