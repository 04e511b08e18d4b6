"""What a search comes to: its winners in full, the one to take and why, and what to order."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.geometry import rig_from_camera_looking_at
from rushlight.plan.grid import with_fields
from rushlight.plan.search import Ledger, winners
from rushlight.plan.search_choice import money
from rushlight.plan.search_front import STEPS, front_of, spread_over
from rushlight.plan.search_judge import Judged, full_ranking
from rushlight.plan.search_space import Drive, with_parts
from rushlight.plan.search_trial import MOST_COMBINED, RULED_OUT, Parts, Trials, Tried, parts_of
from rushlight.records.resolved import ResolvedRig, stack_rigs
from rushlight.records.rig import Rig, Targets
from rushlight.records.search import SearchCandidate, SearchReason, SearchSlip
from rushlight.shelf.optics import camera_pose
from rushlight.shelf.resolve import lit_emitters

Array = NDArray[Any]

MOST_SHOWN = 60
"""Candidates of a large front that are worked out in full, spread over all of it."""
SLIP_M, SLIP_RAD = 0.02, math.radians(1.0)
"""How far a builder is taken to slip (our own choice)."""


def missed_targets(targets: Targets, one: SearchCandidate) -> list[str]:
    """Which targets of the rig a candidate misses, as the plan counts them."""
    wanted = [
        ("coverage", one.coverage_clear >= targets.coverage.value),
        ("largest error", one.error_worst_m <= targets.worst_error.value),
        ("mean delay", one.delay_s <= targets.delay.value),
    ]
    if targets.runtime is not None and math.isfinite(one.battery_s):
        wanted.append(("runtime", one.battery_s >= targets.runtime.value))
    return [what for what, met in wanted if not met]


def candidates_of(trials: Trials, choices: Array, closely: bool = False) -> list[SearchCandidate]:
    """Candidates (N, V) in full, numbered from 1, without slips.

    Parameters
    ----------
    trials, choices
        The search's, and the candidates.
    closely
        Judged by the full evaluation and the scenes themselves, as a plan does; far slower.
    """
    if not len(choices):
        return []
    parts, position, look = trials.placed(choices)
    poses = rig_from_camera_looking_at(position, look)
    if closely:
        found = full_ranking(trials.room, _stacked(parts, poses))
    else:
        found = trials.judged(parts, poses, choices[:, 0].astype(int))
    space = trials.space
    made = []
    for index, row in enumerate(choices[:, : len(space.counts)].astype(int)):
        rig = space.rig_of(tuple(row[1:]), position[index], look[index])
        made.append(
            _candidate(
                index + 1,
                space.places[row[0]].id,
                rig,
                (parts[index], found, index),
                (position[index], look[index]),
                trials.build_s(choices[index]),
            )
        )
    return made


def _stacked(parts: list[Parts], poses: Array) -> ResolvedRig:
    rigs = stack_rigs([each.resolved for each in parts if each.resolved is not None])
    return with_fields(rigs, cameras={"rig_from_camera": poses[:, None]})


def own_candidate(trials: Trials) -> SearchCandidate | None:
    """The rig as it stands, judged closely; None where it cannot be judged."""
    space = trials.space
    camera, lights = space.rig.cameras[0], lit_emitters(space.rig)
    pose = camera_pose(camera)
    forward = pose[:3, 2]
    if not lights or pose[2, 3] <= 0.0 or forward[2] >= -1e-9:
        return None
    look = pose[:3, 3] - forward * pose[2, 3] / forward[2]
    light = lights[0][1].part or ""
    rig = with_parts(
        space.rig, space.shelf, (camera.part, camera.filter), (light, Drive()), pose[:3, 3], look
    )
    parts = parts_of(rig, space.shelf)
    if parts.resolved is None:
        return None
    found = full_ranking(trials.room, _stacked([parts], pose[None]))
    if not found.registerable[0]:
        return None
    place = next((p for p in space.places if _within(pose[:3, 3], p)), None)
    build_s = space.build_s(place, camera.filter, light)
    return _candidate(
        0, place.id if place else "", rig, (parts, found, 0), (pose[:3, 3], look), build_s
    )


def _within(position: Array, place: Any) -> bool:
    corners = np.array([[step.value for step in p] for p in (place.corner, place.opposite)])
    low, high = corners.min(axis=0) - 1e-6, corners.max(axis=0) + 1e-6
    return bool(np.all((position >= low) & (position <= high)))


def _candidate(
    number: int,
    place: str,
    rig: Rig,
    judged: tuple[Parts, Judged, int],
    pose: tuple[Array, Array],
    build_s: float,
) -> SearchCandidate:
    parts, found, index = judged
    camera, (carried, emitter) = rig.cameras[0], lit_emitters(rig)[0]
    one = SearchCandidate(
        number=number,
        place=place,
        position_m=_point(pose[0]),
        look_at_m=_point(pose[1]),
        camera=camera.part,
        filter=camera.filter,
        emitter=emitter.part or "",
        current_a=emitter.current.value if emitter.current else math.nan,
        cell=carried.cell,
        cells=carried.cells if carried.cell else 0,
        frame_rate_hz=camera.frame_rate.value,
        exposure_s=float(found.exposure_s[index]),
        cost=parts.cost,
        error_rms_m=float(found.error_rms_m[index]),
        error_worst_m=float(found.error_worst_m[index]),
        coverage=float(found.coverage[index]),
        coverage_clear=float(found.coverage_clear[index]),
        delay_s=float(found.delay_s[index]),
        battery_s=parts.battery_s,
        build_s=build_s,
        rough=bool(found.doubtful[index]),
        missed=[],
    )
    missed = missed_targets(rig.targets, one)
    return one.model_copy(update={"missed": missed, "warned": parts.care.words})


def _point(metres: Array) -> tuple[float, float, float]:
    x, y, z = (round(float(step), 4) + 0.0 for step in metres)
    return x, y, z


def with_slips(
    trials: Trials, made: list[SearchCandidate], choices: Array
) -> list[SearchCandidate]:
    """The candidates with what a camera costs that is put 2 cm or turned 1° off."""
    if not made:
        return []
    parts, position, look = trials.placed(choices)
    poses = rig_from_camera_looking_at(position, look)
    moved = [step * SLIP_M * np.eye(3)[axis] for axis in range(3) for step in (-1, 1)]
    turned = [_turned(axis, step * SLIP_RAD) for axis in range(2) for step in (-1, 1)]
    slipped = []
    for shift in moved:
        off = poses.copy()
        off[:, :3, 3] += shift
        # Never into the wall, where nothing is seen.
        off[:, 2, 3] = np.maximum(off[:, 2, 3], 0.01)
        slipped.append(off)
    slipped += [poses @ turn for turn in turned]
    place = np.tile(choices[:, 0].astype(int), len(slipped))
    found = trials.judged(parts * len(slipped), np.concatenate(slipped), place)
    error = found.error_rms_m.reshape(len(slipped), -1)
    coverage = np.where(found.registerable, found.coverage, 0.0).reshape(len(slipped), -1)
    places, aims = slice(0, len(moved)), slice(len(moved), None)
    return [
        one.model_copy(
            update={
                "slips": [
                    SearchSlip(
                        what=what,  # type: ignore[arg-type]
                        by=by,
                        error_rms_m=float(error[rows, index].max()),
                        coverage=float(coverage[rows, index].min()),
                    )
                    for what, by, rows in (("place", "2 cm", places), ("aim", "1°", aims))
                ]
            }
        )
        for index, one in enumerate(made)
    ]


def _turned(axis: int, angle_rad: float) -> Array:
    """Turn of a camera about its own x (0) or y (1) axis, (4, 4)."""
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    turn = np.eye(4)
    i, j = ((1, 2), (2, 0))[axis]
    turn[i, i], turn[j, j], turn[i, j], turn[j, i] = c, c, -s, s
    return turn


def preference(one: SearchCandidate) -> tuple[Any, ...]:
    """By which the candidate to take is found: the least.

    The fewest targets missed, then the least cost, then an error that is surely known (where dots
    nearly part or clip, little has to change for worse), then the most coverage (in whole
    hundredths), then the least error (in steps of the front), then the longest-lasting cells.
    """
    cost = one.cost if math.isfinite(one.cost) else math.inf
    error = round(1e3 * one.error_rms_m / STEPS[1]) if math.isfinite(one.error_rms_m) else math.inf
    lasts = one.battery_s if math.isfinite(one.battery_s) else 0.0
    return len(one.missed), round(cost, 2), one.rough, -round(one.coverage, 2), error, -lasts


def best_in_places(trials: Trials, tried: Tried) -> list[SearchCandidate]:
    """The preferred candidate in each place, in the order of the places.

    Of what was tried in a place the front is looked at, thinned out where it is large; the
    preferred one is then judged closely.
    """
    best: list[SearchCandidate] = []
    for number in range(len(trials.space.places)):
        at = np.flatnonzero(tried.choices[:, 0] == number)
        here = Tried(tried.choices[at], tried.objectives[at], tried.constraints[at])
        front = winners(here)
        if len(front):
            shown = front[spread_over(here.objectives[front] / STEPS, MOST_SHOWN)]
            made = candidates_of(trials, here.choices[shown])
            number = min(made, key=preference).number
            best += candidates_of(trials, here.choices[shown][[number - 1]], closely=True)
    return best


def beyond_budget(trials: Trials, tried: Tried, row: Array, most: float) -> list[SearchCandidate]:
    """The best of what nothing but the budget rules out, as winners are judged; without numbers.

    What the search tried is looked at, and the chosen rig with its parts exchanged: a search that
    keeps to its budget breeds nothing beyond it.

    Parameters
    ----------
    trials, tried
        The search's, and what it tried.
    row
        (V,) of the chosen candidate.
    most
        That one may cost, in the currency of the prices.
    """
    if trials.space.settings.budget is None:
        return []
    swapped = trials.value(trials.space.whole(_with_other_parts(trials, row)))
    pairs = zip(tried.columns, swapped.columns, strict=True)
    choices, objectives, constraints = (np.concatenate(pair) for pair in pairs)
    column = list(RULED_OUT).index("over-budget")
    others = np.delete(constraints, column, axis=1)
    at = np.flatnonzero(
        (constraints[:, column] > 0.0) & np.all(others <= 0.0, axis=1) & (objectives[:, 0] <= most)
    )
    if not len(at):
        return []
    front = at[front_of(objectives[at])]
    shown = front[spread_over(objectives[front] / STEPS, MOST_SHOWN)]
    made = candidates_of(trials, choices[shown])
    return [each.model_copy(update={"number": 0}) for each in made]


def _with_other_parts(trials: Trials, row: Array) -> Array:
    """A candidate (V,) with other parts (N, V): every combination, or where these are many, one
    part exchanged at a time."""
    counts = trials.space.counts[1:]
    if math.prod(counts) <= MOST_COMBINED:
        keys = [np.array(key, float) for key in np.ndindex(*counts)]
    else:
        own = row[1 : 1 + len(counts)]
        keys = [
            np.where(np.arange(len(counts)) == axis, float(to), own)
            for axis, count in enumerate(counts)
            for to in range(count)
        ]
    rows = np.repeat(row[None], len(keys), axis=0)
    rows[:, 1 : 1 + len(counts)] = keys
    return rows


def empty_places(trials: Trials, tried: Tried) -> list[tuple[str, str]]:
    """Places in which everything tried is ruled out, each with what rules most of it out."""
    empty = []
    for number, place in enumerate(trials.space.places):
        at = tried.choices[:, 0] == number
        if at.any() and not tried.allowed[at].any():
            counts = (tried.constraints[at] > 0.0).sum(axis=0)
            empty.append((place.id, list(RULED_OUT.values())[int(np.argmax(counts))]))
    return empty


def thrown_out(trials: Trials, ledger: Ledger) -> list[SearchReason]:
    """Why parts, places and candidates were ruled out.

    A candidate counts under every reason that applies to it, so that the counts may come to more
    than all candidates; the most frequent reason comes first.
    """
    tried = ledger.distinct()
    counts = (tried.constraints > 0.0).sum(axis=0)
    reasons = list(trials.space.reasons)
    codes = list(RULED_OUT)
    for index in np.argsort(-counts, kind="stable"):
        if counts[index]:
            code = codes[index]
            reasons.append(
                SearchReason(
                    of="candidate",
                    code=code,
                    words=RULED_OUT[code],
                    count=int(counts[index]),
                    examples=_examples(trials, code),
                )
            )
    beaten = int(tried.allowed.sum()) - len(winners(tried))
    if beaten:
        words = "beaten, or equalled, in everything by another candidate"
        reasons.append(SearchReason(of="candidate", code="beaten", words=words, count=beaten))
    return reasons


def _examples(trials: Trials, code: str) -> list[str]:
    """What is told beside a reason: what was found, or the least that there is."""
    if code == "parts-do-not-fit":
        return trials.misfits()[:4]
    if code == "over-budget":
        least = trials.least_cost()
        currency = trials.space.settings.budget
        unit = currency.currency if currency else ""
        return [f"the cheapest combination of parts costs {money(least, unit)}"]
    if code == "takes-too-long":
        return [f"the quickest to build takes {trials.least_build_s() / 60.0:.0f} min"]
    return trials.forbidden(code)[:4]
