"""Figures of accuracy from holds at known places, in the terms of ISO 5725-1.

Trueness is the systematic part, what stays when a place is touched for long; precision the
random part. Under which conditions the spread was found is named beside every figure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scipy import stats

from rushlight.assess.holds import Hold
from rushlight.assess.intervals import LEVEL, Spread, places_interval, rms_interval
from rushlight.errors import Finding
from rushlight.physics.uncertainty import rms
from rushlight.records.arrays import Array
from rushlight.records.figure import Figure, Scope, Statistic
from rushlight.records.rig import Rig

GREATEST_DROPOUT = 0.05
"""Share of frames without a fix above which a place is not covered; no source."""
_MM = 1e3


def grid_figures(
    holds: Sequence[Hold], scope: Scope, rig: Rig | None, expected: Mapping[str, float]
) -> list[Figure]:
    """Error, trueness, precision, jitter, dropouts and coverage.

    Parameters
    ----------
    holds
        Of sessions in which the same cause acted; every place weighs the same.
    scope
        What they speak of.
    rig
        For the target error, or None: no coverage then.
    expected
        Cause to predicted root-mean-square error, for the interval of all causes together.

    Returns
    -------
    list of Figure
        Lengths in mm, shares in %.
    """
    seen = [hold for hold in holds if hold.n]
    figures = [_dropouts(holds, scope)] if any(hold.lit for hold in holds) else []
    if rig is not None and holds[0].recording.cause == "all":
        figures.append(_coverage(holds, scope, rig.targets.worst_error.value))
    if not seen:
        return figures
    make = _Maker(seen, scope)
    place_rms = np.array([hold.rms_m for hold in seen])
    draws = shared_draws(seen)
    cause = make.cause
    how = "distance of the pointer of a single frame from the truth, rms at each place"
    ends = {
        "rms": rms_interval(place_rms, cause, expected, draws),
        "median": places_interval(place_rms, np.median),
        "p95": places_interval(place_rms, _p95),
        "max": Spread(None, None, "no interval of a greatest value"),
    }
    for statistic, value in _over_places(place_rms).items():
        figures.append(make("error", statistic, value, ends[statistic], how))
    bias = np.array([np.linalg.norm(hold.bias_m) for hold in seen])
    how = "systematic part: distance of the mean pointer from the truth, at each place"
    figures.append(
        make("trueness", "rms", float(rms(bias)), rms_interval(bias, cause, expected, draws), how)
    )
    figures.append(make("trueness", "max", float(bias.max()), ends["max"], how))
    return figures + _steadiness(seen, make)


def _steadiness(seen: Sequence[Hold], make: _Maker) -> list[Figure]:
    """Random parts: within holds, between holds, and of the light at rest."""
    figures = []
    within = np.array([hold.spread_m for hold in seen])
    within = within[np.isfinite(within)]
    if len(within):
        how = "random part: two-dimensional standard deviation within a hold (repeatability)"
        figures.append(
            make("precision", "rms", float(rms(within)), places_interval(within, rms), how)
        )
        rest = np.array([hold.jitter_m for hold in seen])
        rest = rest[np.isfinite(rest)]
        how = "standard deviation along one axis within a hold, before drawing on display pixels"
        figures.append(make("jitter", "rms", float(rms(rest)), places_interval(rest, rms), how))
    between, places, repeats = between_holds(seen)
    if places:
        how = (
            f"standard deviation of a place's means between {repeats} holds at {places} places, "
            "two-dimensional; holds differ in moment and in the way of holding"
        )
        none = Spread(None, None, "no interval")
        figures.append(make("precision", "rms", between, none, how, condition="between-holds"))
    return figures


def between_holds(seen: Sequence[Hold]) -> tuple[float, int, int]:
    """How far means of the same place differ from hold to hold.

    Returns
    -------
    spread_m, places, holds
        Pooled over places that one thing was held at more than once under one registration.
    """
    groups: dict[tuple[object, ...], list[Array]] = {}
    for hold in seen:
        place = tuple(round(each, 4) for each in hold.goal.place_m)
        key = (hold.recording.header.registration, hold.goal.carried, place)
        groups.setdefault(key, []).append(hold.bias_m)
    repeated = [np.array(group) for group in groups.values() if len(group) > 1]
    if not repeated:
        return float("nan"), 0, 0
    freedom = sum(len(group) - 1 for group in repeated)
    square = sum(float(np.sum((group - group.mean(axis=0)) ** 2)) for group in repeated)
    return float(np.sqrt(square / freedom)), len(repeated), sum(map(len, repeated))


def shared_draws(holds: Sequence[Hold]) -> int:
    """How many independent registrations, lenses and walls stand behind these holds.

    Registrations of one room share its lens and wall, so a cause that lies in the room counts
    rooms: simulated ones told by their seed, a real rig as one.
    """
    recordings = {id(hold.recording): hold.recording for hold in holds}.values()
    rooms = {recording.truth_seed for recording in recordings}
    if holds[0].recording.cause == "registration":
        return len({recording.header.registration for recording in recordings})
    return len(rooms)


def _p95(values: Array, axis: int | None = None) -> Array:
    return np.asarray(np.quantile(values, 0.95, axis=axis))


def _over_places(values: Array) -> dict[Statistic, float]:
    return {
        "rms": float(rms(values)),
        "median": float(np.median(values)),
        "p95": float(_p95(values)),
        "max": float(values.max()),
    }


class _Maker:
    """Makes figures of lengths that share their ground."""

    def __init__(self, seen: Sequence[Hold], scope: Scope) -> None:
        self._seen = seen
        self._scope = scope
        first = seen[0].recording
        self.cause = first.cause
        self._basis = first.basis
        self._truth = "truth" if first.truth is not None else "mark, the hand's error mixed in,"

    def __call__(
        self,
        name: str,
        statistic: Statistic,
        value_m: float,
        ends: Spread,
        how: str,
        condition: str | None = None,
    ) -> Figure:
        scope = self._scope.model_copy(update={"condition": condition or self._scope.condition})
        return Figure(
            name=name,  # type: ignore[arg-type]
            cause=self.cause,  # type: ignore[arg-type]
            statistic=statistic,
            scope=scope,
            value=value_m * _MM,
            unit="mm",
            low=None if ends.low is None else ends.low * _MM,
            high=None if ends.high is None else ends.high * _MM,
            level=None if ends.low is None else LEVEL,
            n=len(self._seen),
            method=f"{how.replace('truth', self._truth)}; over {len(self._seen)} places; "
            f"{ends.method}",
            basis=self._basis,
        )


def _dropouts(holds: Sequence[Hold], scope: Scope) -> Figure:
    lit = [hold for hold in holds if hold.lit]
    shares = np.array([hold.dropout for hold in lit])
    frames = np.array([hold.lit for hold in lit])
    return Figure(
        name="dropouts",
        cause=holds[0].recording.cause,  # type: ignore[arg-type]
        statistic="share",
        scope=scope,
        value=100.0 * float(np.average(shares, weights=frames)),
        unit="%",
        n=int(frames.sum()),
        method="frames with the light on in which it was not found under its own name, hidden "
        "ones included; no interval, neighbouring frames go together",
        basis=holds[0].recording.basis,
    )


def _coverage(holds: Sequence[Hold], scope: Scope, target_m: float) -> Figure:
    lit = [hold for hold in holds if hold.lit]
    covered = sum(
        hold.n > 0 and hold.rms_m <= target_m and hold.dropout < GREATEST_DROPOUT for hold in lit
    )
    share = covered / len(lit) if lit else None
    ends = (
        stats.binomtest(covered, len(lit)).proportion_ci(LEVEL, method="wilson") if lit else None
    )
    return Figure(
        name="coverage",
        statistic="share",
        scope=scope,
        value=None if share is None else 100.0 * share,
        unit="%",
        low=None if ends is None else 100.0 * float(ends.low),
        high=None if ends is None else 100.0 * float(ends.high),
        level=LEVEL if ends else None,
        n=len(lit),
        method=f"places with an error of at most {target_m * _MM:g} mm and fewer than "
        f"{100 * GREATEST_DROPOUT:g} % dropouts; Wilson interval, as if places were drawn at random",
        basis=holds[0].recording.basis,
    )


def conditions_of(holds: Sequence[Hold]) -> str:
    """Under which conditions the spread of these holds was found, in words."""
    recordings = list({id(hold.recording): hold.recording for hold in holds}.values())
    registrations = len({recording.header.registration for recording in recordings})
    carried = sorted({hold.goal.carried for hold in holds})
    basis = recordings[0].basis
    who = "invented hands" if basis == "simulated" else "the people who held them"
    return (
        f"{recordings[0].cause_word}: {len(holds)} holds in {_count(len(recordings), 'session')}, "
        f"{_count(registrations, 'registration')}, one rig, held by {who} ({', '.join(carried)}). "
        "Within a hold: repeatability conditions in the sense of ISO 5725-1. Between holds: "
        "intermediate, the way of holding differs. Reproducibility (another build, room or "
        "person) is not shown."
    )


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def repeat_findings(holds: Sequence[Hold]) -> list[Finding]:
    """A note where no place was held twice."""
    seen = [hold for hold in holds if hold.n]
    if not seen or between_holds(seen)[1]:
        return []
    return [
        Finding(
            "note", "held-once", holds[0].recording.name, "",
            "held each place once, so that the spread between holds is not known",
            "hold the same places again under the same registration to learn it",
        )
    ]  # fmt: skip
