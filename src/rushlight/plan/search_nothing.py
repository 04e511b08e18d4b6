"""What is told where a search rules out everything: by what, and what would mend it."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.errors import RushlightError
from rushlight.physics.geometry import rig_from_camera_looking_at
from rushlight.plan.grid import with_fields
from rushlight.plan.search_limits import EYE, FRESH
from rushlight.plan.search_trial import LEAST_OF_WANTED, RULED_OUT, Parts, Trials, Tried
from rushlight.records.search import SearchReason

Array = NDArray[Any]

COVERS, ERRS = "covers-too-little", "errs-too-much"
REMEDIES = {
    "parts-do-not-fit": "list other parts",
    EYE: "use less current or other emitters",
    FRESH: "use less current, or other cells or emitters",
    "too-near-a-wall": "give other places",
    "in-the-beam": "give other places",
    "into-a-window": "give other places",
    COVERS: "give other places or lower targets.coverage",
    ERRS: "raise targets.worst_error (many places are lost only because their error is larger)",
    "over-budget": "raise search.budget",
    "takes-too-long": "give more search.minutes",
}
"""What mends each reason of `RULED_OUT`, and an error larger than wanted where that is why too
little is covered."""
_LOOKED_AT = 200
"""Candidates that are judged anew with any error allowed, at most (our own choice)."""
_ANY_ERROR_M = 1e3


def nothing_found(trials: Trials, tried: Tried, reasons: list[SearchReason]) -> RushlightError:
    """The error of a search that rules out every candidate.

    Parameters
    ----------
    trials, tried
        The search's, and what it tried.
    reasons
        Why candidates were ruled out.
    """
    why = ", or because ".join(map(_reason_words, reasons))
    return RushlightError.of(
        "rig.toml: search",
        "",
        f"finds no rig: each of the {len(tried.choices)} candidates tried is ruled out, "
        f"because {why}",
        remedy_of(trials, tried),
        "search-nothing-found",
    )


def remedy_of(trials: Trials, tried: Tried) -> str:
    """What would let candidates pass that the fewest reasons rule out.

    Where one reason alone rules some out, mending any such reason is enough; else all reasons
    of those that the fewest rule out, and are most frequent together, must be mended.
    """
    against = tried.constraints > 0.0
    nearest = against[against.sum(axis=1) == against.sum(axis=1).min()]
    groups = Counter(tuple(np.flatnonzero(row).tolist()) for row in nearest).most_common()
    codes = list(RULED_OUT)
    alone = len(groups[0][0]) == 1
    columns = [group[0] for group, _ in groups] if alone else list(groups[0][0])
    told: list[str] = []
    for code in (codes[column] for column in columns):
        if code == COVERS and _lost_by_error(trials, tried, groups):
            told.append(REMEDIES[ERRS])
        told.append(REMEDIES[code])
    return (", or " if alone else "; and ").join(dict.fromkeys(told))


def _lost_by_error(trials: Trials, tried: Tried, groups: list[Any]) -> bool:
    """Whether any that covers too little would cover enough if any error were allowed."""
    wanted = {group for group, _ in groups}
    column = list(RULED_OUT).index(COVERS)
    at = np.array(
        [
            column in (group := tuple(np.flatnonzero(row > 0.0).tolist())) and group in wanted
            for row in tried.constraints
        ]
    )
    choices = tried.choices[at][:: max(1, int(at.sum()) // _LOOKED_AT)]
    parts, position, look = trials.placed(choices)
    keep = [i for i, each in enumerate(parts) if each.resolved is not None and position[i, 2] > 0]
    if not keep:
        return False
    free: dict[Parts, Parts] = {each: _with_any_error(each) for each in parts if each.resolved}
    poses = rig_from_camera_looking_at(position[keep], look[keep])
    found = trials.judged([free[parts[i]] for i in keep], poses, choices[keep, 0].astype(int))
    least = LEAST_OF_WANTED * trials.space.rig.targets.coverage.value
    return bool(np.any(found.registerable & (found.coverage_clear >= least)))


def _with_any_error(parts: Parts) -> Parts:
    assert parts.resolved is not None
    shape = np.shape(parts.resolved.targets.worst_error_m)
    any_error = {"worst_error_m": np.full(shape, _ANY_ERROR_M)}
    return replace(parts, resolved=with_fields(parts.resolved, targets=any_error))


def _reason_words(reason: SearchReason) -> str:
    """A reason with its count, and the least that there is where a bound was too tight."""
    told = reason.examples if reason.code in ("over-budget", "takes-too-long") else []
    subject = "" if reason.words.startswith("its ") else "it "
    return f"{subject}{reason.words} ({'; '.join([f'{reason.count} of them', *told])})"
