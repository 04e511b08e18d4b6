"""Trials of tapping from a session, and what they say of pointing with the rig.

Follows the guidance of ISO/TS 9241-411:2012 and of Soukoreff & MacKenzie 2004; no conformity is
claimed. A target counts as selected at the moment the switch goes down, at the place of the
first fix from then on. Movement time runs from one such moment to the next. A move's axis runs
from the centre of the target before to the centre of the target, so the first tap of a sequence
only starts it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.assess.intervals import LEVEL
from rushlight.assess.presses import Press, presses_of
from rushlight.assess.recording import Recording
from rushlight.errors import Finding
from rushlight.physics.pointing import (
    DistanceForm,
    error_rate,
    mean_of_means,
    tapping_throughput,
)
from rushlight.physics.uncertainty import t_interval
from rushlight.records.arrays import Array
from rushlight.records.assessment import TappingBlock
from rushlight.records.figure import Figure, FigureName, Scope, Statistic
from rushlight.records.session import ShownGoal

AE_FORM: DistanceForm = "nominal"
DDOF = 1
FEWEST_TRIALS = 3


@dataclass(frozen=True, eq=False)
class Tap:
    """One shown target and what was selected; moment −1 and place NaN where nothing was.

    Attributes
    ----------
    goal
        The target.
    down_ns
        When the switch went down.
    place_m
        (2,) where [m].
    misnamed
        Whether it bore another one's name.
    """

    goal: ShownGoal
    down_ns: int
    place_m: Array
    misnamed: bool

    @property
    def known(self) -> bool:
        """Whether there is a selection with a place."""
        return self.down_ns >= 0 and bool(np.isfinite(self.place_m).all())


def taps_of(recording: Recording) -> dict[tuple[str, str], list[Tap]]:
    """Carried thing and block to the taps of that sequence, in order.

    A press falls to the target nearest to it among those that stood at its moment, whatever
    name it bears; of several presses the first counts.
    """
    goals = sorted(
        (goal for goal in recording.goals if goal.width_m is not None),
        key=lambda goal: goal.from_ns,
    )
    chosen: dict[int, Press] = {}
    for press in presses_of(recording):
        standing = [
            index
            for index, goal in enumerate(goals)
            if goal.from_ns <= press.down_ns <= goal.until_ns
        ]
        if standing and np.isfinite(press.place_m).all():
            nearest = min(
                standing, key=lambda index: math.dist(goals[index].place_m, press.place_m)
            )
            chosen.setdefault(nearest, press)
    sequences: dict[tuple[str, str], list[Tap]] = {}
    for index, goal in enumerate(goals):
        tap = _tap(goal, chosen.get(index))
        sequences.setdefault((goal.carried, goal.block), []).append(tap)
    return sequences


def _tap(goal: ShownGoal, press: Press | None) -> Tap:
    if press is None:
        return Tap(goal, -1, np.full(2, np.nan), False)
    return Tap(goal, press.down_ns, press.place_m, press.carried != goal.carried)


def tapping_blocks(
    recording: Recording, people: Mapping[str, str]
) -> tuple[list[TappingBlock], list[Finding]]:
    """Every sequence of a session, with its throughput where it has one.

    Parameters
    ----------
    recording
        With goals that have a width.
    people
        Carried thing to who holds it, as the rig says.
    """
    blocks, findings = [], []
    for (carried, block), taps in taps_of(recording).items():
        row, found = _block(recording.name, people.get(carried, carried), carried, block, taps)
        blocks.append(row)
        findings += found
    return blocks, findings


def _block(
    session: str, participant: str, carried: str, block: str, taps: Sequence[Tap]
) -> tuple[TappingBlock, list[Finding]]:
    places = np.array([tap.goal.place_m for tap in taps])
    widths = np.array([tap.goal.width_m for tap in taps])
    moves = np.linalg.norm(np.diff(places, axis=0), axis=1)
    trials = [
        (before, tap)
        for before, tap in itertools.pairwise(taps)
        if before.known and tap.known and before.goal.place_m != tap.goal.place_m
    ]
    distance = float(moves.mean()) if len(moves) else float("nan")
    width = float(widths.mean())
    base = {
        "session": session,
        "participant": participant,
        "carried": carried,
        "block": block,
        "condition": f"{distance * 1e3:.0f} mm away, {width * 1e3:.0f} mm wide",
        "distance_m": distance,
        "width_m": width,
        "n": len(trials),
        "left_out": max(len(taps) - 1, 0) - len(trials),
        "misnamed": sum(tap.misnamed for tap in taps),
        "ae_form": AE_FORM,
        "ddof": DDOF,
    }
    where = f"{session}: {block}"
    measured, findings = _measured(trials, where)
    if base["misnamed"]:
        findings.append(
            Finding(
                "warning", "tap-misnamed", f"{where}: taps", f"{base['misnamed']} of {len(taps)}",
                "bear the name of another carried thing and count by the target they lie at",
                "begin with the things apart, or one after the other",
            )
        )  # fmt: skip
    return TappingBlock.model_validate({**base, **measured}), findings


def _measured(
    trials: Sequence[tuple[Tap, Tap]], where: str
) -> tuple[dict[str, float], list[Finding]]:
    """The numbers of one sequence, NaN where it has none, and why."""
    unknown = dict.fromkeys(
        ("error_rate", "movement_time_s", "effective_width_m", "effective_distance_m",
         "effective_difficulty_bit", "throughput_bit_s"),
        float("nan"),
    )  # fmt: skip
    if len(trials) < FEWEST_TRIALS:
        return unknown, [
            Finding(
                "warning", "sequence-short", where, f"{len(trials)} trials",
                f"are too few of the {FEWEST_TRIALS} that a throughput needs at least",
                "tap a whole ring, 15 to 25 trials a condition",
            )
        ]  # fmt: skip
    start = np.array([before.goal.place_m for before, _ in trials])
    target = np.array([tap.goal.place_m for _, tap in trials])
    selected = np.array([tap.place_m for _, tap in trials])
    time_s = np.array([(tap.down_ns - before.down_ns) * 1e-9 for before, tap in trials])
    widths = np.array([tap.goal.width_m for _, tap in trials])
    counted = {
        "error_rate": float(error_rate(selected, target, widths)),
        "movement_time_s": float(time_s.mean()),
    }
    try:
        found = tapping_throughput(start, target, selected, time_s, AE_FORM, DDOF)
    except ValueError as error:
        return unknown | counted, [
            Finding(
                "warning", "throughput-unknown", where, "",
                f"has no throughput: {error}", "look at the taps of this sequence",
            )
        ]  # fmt: skip
    return counted | {
        "movement_time_s": float(found.movement_time_s),
        "effective_width_m": float(found.effective_width_m),
        "effective_distance_m": float(found.effective_distance_m),
        "effective_difficulty_bit": float(found.effective_difficulty_bit),
        "throughput_bit_s": float(found.throughput_bit_s),
    }, []


_MEASURES: tuple[tuple[str, FigureName, Statistic, str, float], ...] = (
    ("throughput_bit_s", "throughput", "mean", "bit/s", 1.0),
    ("movement_time_s", "movement-time", "mean", "ms", 1e3),
    ("error_rate", "task-error-rate", "share", "%", 100.0),
    ("effective_width_m", "effective-width", "mean", "mm", 1e3),
)


def tapping_figures(
    blocks: Sequence[TappingBlock], scope: Scope, simulated: bool
) -> tuple[list[Figure], list[Finding]]:
    """Means over people, over all conditions and for each condition.

    Parameters
    ----------
    blocks
        Of one rig.
    scope
        What they speak of.
    simulated
        Whether the hands were invented.
    """
    figures = []
    for attribute, name, statistic, unit, factor in _MEASURES:
        for condition in [None, *sorted({block.condition for block in blocks})]:
            some = [block for block in blocks if condition in (None, block.condition)]
            figure = _mean_over_people(some, attribute, factor)
            if figure is None or (condition is None and name == "effective-width"):
                continue
            value, low, high, n, method = figure
            figures.append(
                Figure(
                    name=name,
                    statistic=statistic,
                    scope=scope.model_copy(update={"condition": condition}),
                    value=value,
                    unit=unit,
                    low=low,
                    high=high,
                    level=None if low is None else LEVEL,
                    n=n,
                    method=method,
                    basis="simulated" if simulated else "measured",
                )
            )
    return figures, _tapping_findings(blocks, simulated)


def _mean_over_people(
    blocks: Sequence[TappingBlock], attribute: str, factor: float
) -> tuple[float, float | None, float | None, int, str] | None:
    """Mean of each one's conditions, then over people: value, interval, people, method."""
    table: dict[str, dict[str, list[float]]] = {}
    for block in blocks:
        value = getattr(block, attribute) * factor
        if np.isfinite(value):
            table.setdefault(block.participant, {}).setdefault(block.condition, []).append(value)
    if not table:
        return None
    own = [
        [float(np.mean(values)) for _, values in sorted(conditions.items())]
        for conditions in table.values()
    ]
    form = f"Ae = mean(a + dx) ({AE_FORM}), SDx with n − {DDOF}; " if "through" in attribute else ""
    if len(own) == 1:
        return float(np.mean(own[0])), None, None, 1, f"{form}mean over conditions, one person"
    means = [float(np.mean(row)) for row in own]
    if len({len(row) for row in own}) == 1:
        found = mean_of_means(own, LEVEL)
    else:
        found = t_interval(means, LEVEL)
    method = f"{form}mean of means over {found.n} people"
    if found.low < 0 or found.low == found.high:
        return found.value, None, None, found.n, f"{method}; too few of them for an interval"
    return found.value, found.low, found.high, found.n, f"{method}, {found.method}"


def _tapping_findings(blocks: Sequence[TappingBlock], simulated: bool) -> list[Finding]:
    where = "tapping"
    findings = [
        Finding(
            "note", "tapping-guidance", where, "",
            "follows the guidance of ISO/TS 9241-411:2012 and claims no conformity with it", "",
        )
    ]  # fmt: skip
    if simulated:
        findings.append(
            Finding(
                "warning", "hands-invented", where, "",
                "was done by invented hands, so that throughput, time and error rate say nothing "
                "of people", "let people tap on the built rig",
            )
        )  # fmt: skip
    people = {block.participant for block in blocks}
    if len(people) == 1:
        findings.append(
            Finding(
                "note", "one-person", where, "",
                f"was done by one person alone ({next(iter(people))}), so that there is no "
                "interval over people",
                "let others tap too",
            )
        )  # fmt: skip
    return findings
