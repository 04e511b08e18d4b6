"""How sure a plan is: every doubt of parts and room, to first order and by random draws.

The exposure is chosen for the rig as planned and then held, as a builder would set it; so are
the beacons. Neither is chosen anew for each draw.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, get_args

import numpy as np
from numpy.typing import NDArray

from rushlight.plan.beacons import choose_beacons
from rushlight.plan.doubt import Doubt
from rushlight.plan.doubts import doubts_of
from rushlight.plan.evaluate import Evaluation, evaluate
from rushlight.plan.figures import finite
from rushlight.plan.grid import Standing
from rushlight.plan.power import power_lines
from rushlight.plan.rig_draws import MEASURES, PAIRS, Found, RigModel, judged, of_build, study_rig
from rushlight.plan.variance import LEVEL, draw
from rushlight.plan.verdict import COARSE
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.records.tolerance import (
    MEASURE_WORDS,
    CauseName,
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

UNITS: dict[MeasureName, str] = {
    "rms-error": "mm",
    "worst-error": "mm",
    "coverage": "%",
    "delay": "ms",
}
ASSUMPTIONS = (
    "the exposure is chosen for the rig as planned and then held; so are the beacons",
    "the doubts are independent of one another",
    "each draw is built once: its registration, lens and wall are drawn as the error budget "
    "holds them, and then stay; what differs from touch to touch is root-mean-square",
    "where dots are clipped, weak or parted a small error is not known, and does not count as met",
    f"every rig, the one as planned too, is looked at on a grid of {COARSE['columns']} by "
    f"{COARSE['rows']} places and fewer ways of holding a stylus, coarser than the plan's, so that "
    "its figures differ a little from what `plan` prints",
    "the running time is as planned, and not varied",
    "the delays of display and computing are as the plan has them, and not varied, though the "
    "display's is often the least known: where it is a guess, the delay's spread comes out too "
    "narrow, and whether its target is met is told too surely",
    "predicted by the same formulas as the plan: nothing here was tried on hardware",
)


def targets_of(
    resolved: ResolvedRig, values: Array, runtime_met: bool | None = True, runtime: str = ""
) -> list[ToleranceTarget]:
    """How probable it is that each target, and all of them, are met over draws (N, 5)."""
    rows = judged(resolved, values)
    if runtime:
        given = np.full(len(values), runtime_met is True)
        rows.append(("runtime", runtime, given, np.full(len(values), runtime_met is None)))
    every = np.all([met for _, _, met, _ in rows], axis=0)
    refused = np.any([~met & ~known for _, _, met, known in rows], axis=0)
    rows.append(("all targets", "each of these", every, ~every & ~refused))
    return [_target(*row) for row in rows]


def _target(what: str, wanted: str, met: Array, unknown: Array) -> ToleranceTarget:
    from scipy import stats

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
    said: Mapping[CauseName, float] | None = None,
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
    said
        Standard deviations that the user gave, as in `doubts_of`.

    Raises
    ------
    RushlightError
        When the rig cannot be computed.
    """
    resolved, judge = _judge_of(rig, shelf, name)
    chosen = doubts_of(rig, shelf, resolved, said) if doubts is None else list(doubts)
    exposure = judge(resolved).exposure_s
    variates = sum(doubt.count for doubt in chosen)
    expected = draws + 2 * variates + len(chosen) * min(draws // 2, PAIRS)
    done = 0

    def told(rigs: int) -> None:
        nonlocal done
        done += rigs
        progress("trying rigs", min(done / expected, 1.0))

    progress("trying rigs", 0.0)
    model = RigModel(resolved.with_exposure(exposure), chosen, judge, seed, progress=told)
    found = study_rig(model, draws, seed)
    progress("trying rigs", 1.0)
    runtime_met, runtime = _runtime(rig, shelf, resolved)
    targets = targets_of(resolved, of_build(found.study.values, 0), runtime_met, runtime)
    causes, measures = _causes(chosen, found), _measures(found)
    first, decides, left = _first(causes)
    return Tolerance(
        rig=rig.content_hash(),
        rig_name=rig.name,
        columns=COARSE["columns"],
        rows=COARSE["rows"],
        ways=(COARSE["tilts"], COARSE["leans"]),
        draws=draws,
        pairs=found.pairs,
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
            _advice(first, decides, left, found.pairs),
            *_of_luck(found.luck),
        ],
        assumptions=list(ASSUMPTIONS),
    )


def chance_of_targets(
    rig: Rig, shelf: Shelf, draws: int, seed: int = 1, name: str = "rig.toml"
) -> ToleranceTarget:
    """How probable it is that a rig meets all its targets: so much of `tolerance_of` alone.

    The draws are those of `tolerance_of`, and so is what is found, in far less time.

    Parameters
    ----------
    rig, shelf, draws, seed, name
        As in `tolerance_of`.

    Raises
    ------
    RushlightError
        When the rig cannot be computed.
    """
    resolved, judge = _judge_of(rig, shelf, name)
    doubts = doubts_of(rig, shelf, resolved, None)
    kinds = [doubt.kind for doubt in doubts for _ in range(doubt.count)]
    held = resolved.with_exposure(judge(resolved).exposure_s)
    # A study asks for the rigs about the planned one first.
    model = RigModel(held, doubts, judge, seed, asked=1)
    values = of_build(model(draw(kinds, draws, seed)), 0)
    return targets_of(resolved, values, *_runtime(rig, shelf, resolved))[-1]


def _judge_of(
    rig: Rig, shelf: Shelf, name: str
) -> tuple[ResolvedRig, Callable[[ResolvedRig], Evaluation]]:
    """A rig as numbers, and what judges rigs like it: with its beacons, touched by everyone."""
    resolved, standing = resolve(rig, shelf, name), Standing.of_rig(rig)
    everyone = tuple(range(len(standing.holder)))
    beacons, _ = choose_beacons(resolved, standing, everyone)

    def judge(batch: ResolvedRig) -> Evaluation:
        return evaluate(batch, beacons_m=beacons, standing=standing, registering=everyone, **COARSE)

    return resolved, judge


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
        f"What would reduce the doubt most: {first.measure}. With that known, {100 * left:.0f} % "
        f"of the variance {what} would be left on average ({draws} pairs of draws)."
    )


def _of_luck(luck: float) -> list[str]:
    if not math.isfinite(luck):
        return []
    return [
        f"With everything here known, the luck of one registration would still make "
        f"{100 * luck:.0f} % of the variance of whether all targets are met; touching the beacons "
        "again lessens that."
    ]


def _digits(value: float | None) -> str:
    return "unknown" if value is None else f"{value:.3g}"
