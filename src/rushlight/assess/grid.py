"""Figures of accuracy from holds at known places, in the terms of ISO 5725-1.

Trueness is the systematic part, what stays when a place is touched for long; precision the
random part. Under which conditions the spread was found is named beside every figure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from rushlight.assess.holds import Hold
from rushlight.assess.intervals import LEVEL, Spread, builds_interval, places_interval, rms_interval
from rushlight.errors import Finding
from rushlight.physics.uncertainty import rms
from rushlight.records.arrays import Array
from rushlight.records.figure import Figure, FigureName, Scope, Statistic, find_figure
from rushlight.records.rig import Rig

GREATEST_DROPOUT = 0.05
"""Share of frames without a fix above which a place is not covered; no source."""
OVER_PLACES = "root-mean-square of each place in this build"
"""Condition of a figure that is a statistic of the places' own root-mean-squares; a plan knows
only what they are over many builds, which is another number."""
BETWEEN_HOLDS = "between holds"
CONDITIONS = (
    "within a hold: repeatability conditions in the sense of ISO 5725-1; between holds the way of "
    "holding differs; another build, room or person (reproducibility) is not shown"
)
_MM = 1e3


def grid_figures(
    holds: Sequence[Hold], scope: Scope, rig: Rig | None, predicted: Sequence[Figure]
) -> list[Figure]:
    """Error, trueness, precision, jitter, dropouts and coverage.

    Parameters
    ----------
    holds
        One or more, of sessions in which the same causes acted; every place weighs the same.
    scope
        What they speak of.
    rig
        For the target error, or None: no coverage then.
    predicted
        Figures of a plan, for the spread over builds; may be empty.

    Returns
    -------
    list of Figure
        Lengths in mm, shares in %.
    """
    seen = [hold for hold in holds if hold.seen]
    figures = [_dropouts(holds, scope)] if any(hold.lit for hold in holds) else []
    if rig is not None and holds[0].recording.cause == "all":
        figures.append(_coverage(holds, scope, rig.targets.worst_error.value))
    if not seen:
        return figures
    make = _Maker(seen, scope)
    same = [each for each in predicted if each.scope == scope]
    expected = {
        statistic: find_figure(same, "error", make.cause, statistic) if make.cause else None
        for statistic in ("rms", "median", "p95")
    }
    draws = shared_draws(seen)
    return [
        *figures,
        *_errors(seen, make, expected, draws),
        *_trueness(seen, make, expected["rms"], draws),
        *_steadiness(seen, make),
    ]


def _errors(
    seen: Sequence[Hold], make: _Maker, expected: Mapping[str, Figure | None], draws: int
) -> list[Figure]:
    """Of single frames over all places, and of the places' own root-mean-squares."""
    own = np.array([hold.rms_m for hold in seen])
    how = "distance of the pointer of single frames from the truth"
    ends = rms_interval(own, make.cause, expected["rms"], draws)
    figures = [make("error", "rms", float(rms(own)), ends, how)]
    distance = np.concatenate([np.linalg.norm(hold.pointer_m, axis=1) for hold in seen])
    weight = np.concatenate([np.full(hold.n, 1.0 / hold.n) for hold in seen])
    none = Spread(None, None, "no interval of a greatest value")
    shares: tuple[tuple[Statistic, float], ...] = (("median", 0.5), ("p95", 0.95))
    for statistic, share in shares:
        value = float(np.quantile(distance, share, weights=weight, method="inverted_cdf"))
        ends = builds_interval(value, expected[statistic], make.cause, draws)
        figures.append(make("error", statistic, value, ends, how))
    figures.append(make("error", "max", float(distance.max()), none, how))
    how = "root-mean-square distance of the pointer from the truth at each place"
    over: tuple[tuple[Statistic, float, Spread], ...] = (
        ("median", float(np.median(own)), places_interval(own, np.median)),
        ("p95", float(_p95(own)), places_interval(own, _p95)),
        ("max", float(own.max()), Spread(None, None, "no interval of a greatest value")),
    )
    return figures + [make("error", *each, how, OVER_PLACES) for each in over]


def _p95(values: Array, axis: int | None = None) -> Array:
    return np.asarray(np.quantile(values, 0.95, axis=axis))


def _trueness(
    seen: Sequence[Hold], make: _Maker, expected: Figure | None, draws: int
) -> list[Figure]:
    bias = np.array([np.linalg.norm(hold.bias_m) for hold in seen])
    how = "systematic part: distance of a hold's mean pointer from the truth"
    ends = rms_interval(bias, make.cause, expected, draws)
    none = Spread(None, None, "no interval of a greatest value")
    return [
        make("trueness", "rms", float(rms(bias)), ends, how),
        make("trueness", "max", float(bias.max()), none, how),
    ]


def _steadiness(seen: Sequence[Hold], make: _Maker) -> list[Figure]:
    """Random parts: within holds, of the fix at rest, and between holds."""
    figures = []
    within = np.array([hold.spread_m for hold in seen])
    rest = np.array([hold.jitter_m for hold in seen])
    parts: tuple[tuple[FigureName, Array, str], ...] = (
        ("precision", within, "of the pointer (repeatability)"),
        ("jitter", rest, "of the fix before it is drawn on display pixels"),
    )
    for name, values, what in parts:
        known = values[np.isfinite(values)]
        if len(known):
            how = f"random part: two-dimensional standard deviation within a hold {what}"
            ends = places_interval(known, rms)
            figures.append(make(name, "rms", float(rms(known)), ends, how))
    between, places, repeats = between_holds(seen)
    if places:
        how = (
            f"two-dimensional standard deviation of a place's means between {repeats} holds at "
            f"{places} places; holds differ in moment and in the way of holding"
        )
        none = Spread(None, None, "no interval")
        figures.append(make("precision", "rms", between, none, how, BETWEEN_HOLDS))
    return figures


def between_holds(seen: Sequence[Hold]) -> tuple[float, int, int]:
    """How far means of the same place differ from hold to hold.

    Parameters
    ----------
    seen
        Holds with a fix.

    Returns
    -------
    spread_m, places, holds
        Pooled over places that one thing was held at more than once under one registration;
        NaN, 0, 0 when there is none.
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
    """How many independent registrations, or lenses and walls, stand behind these holds.

    Parameters
    ----------
    holds
        One or more. Registrations of one room share its lens and wall, so a cause that lies in
        the room counts rooms: simulated ones told by their seed, a real rig as one.
    """
    recordings = {id(hold.recording): hold.recording for hold in holds}.values()
    if holds[0].recording.cause == "registration":
        return len({recording.header.registration for recording in recordings})
    return len({recording.truth_seed for recording in recordings})


class _Maker:
    """Makes figures of lengths that share their ground."""

    def __init__(self, seen: Sequence[Hold], scope: Scope) -> None:
        first = seen[0].recording
        self.cause = first.cause
        self._scope = scope
        self._places = len(seen)
        self._basis = first.basis
        self._truth = "truth" if first.truth is not None else "mark (the hand is mixed in)"

    def __call__(
        self,
        name: FigureName,
        statistic: Statistic,
        value_m: float,
        ends: Spread,
        how: str,
        condition: str | None = None,
    ) -> Figure:
        return Figure(
            name=name,
            cause=self.cause,
            statistic=statistic,
            scope=self._scope.model_copy(update={"condition": condition}),
            value=value_m * _MM,
            unit="mm",
            low=None if ends.low is None else ends.low * _MM,
            high=None if ends.high is None else ends.high * _MM,
            level=None if ends.low is None else LEVEL,
            n=self._places,
            method=f"{how.replace('truth', self._truth)}; {self._places} places; {ends.method}",
            basis=self._basis,
        )


def _dropouts(holds: Sequence[Hold], scope: Scope) -> Figure:
    lit = [hold for hold in holds if hold.lit]
    frames = np.array([hold.lit for hold in lit])
    share = float(np.average([hold.dropout for hold in lit], weights=frames))
    return Figure(
        name="dropouts",
        cause=holds[0].recording.cause,
        statistic="share",
        scope=scope,
        value=100.0 * share,
        unit="%",
        n=int(frames.sum()),
        method="frames with the light on without a fix there, under whatever name, those hidden "
        "by a body included; no interval, neighbouring frames go together",
        basis=holds[0].recording.basis,
    )


def _coverage(holds: Sequence[Hold], scope: Scope, target_m: float) -> Figure:
    from scipy import stats

    lit = [hold for hold in holds if hold.lit]
    covered = sum(
        hold.seen and hold.rms_m <= target_m and hold.dropout < GREATEST_DROPOUT for hold in lit
    )
    ends = stats.binomtest(covered, len(lit)).proportion_ci(LEVEL, "wilson") if lit else None
    return Figure(
        name="coverage",
        statistic="share",
        scope=scope,
        value=100.0 * covered / len(lit) if lit else None,
        unit="%",
        low=None if ends is None else 100.0 * float(ends.low),
        high=None if ends is None else 100.0 * float(ends.high),
        level=None if ends is None else LEVEL,
        n=len(lit),
        method=f"places with an rms error of at most {target_m * _MM:g} mm and fewer than "
        f"{100 * GREATEST_DROPOUT:g} % dropouts; Wilson interval, as if places were drawn at "
        "random",
        basis=holds[0].recording.basis,
    )


def conditions_of(holds: Sequence[Hold]) -> str:
    """Under which conditions the spread of these holds was found, in words."""
    recordings = list({id(hold.recording): hold.recording for hold in holds}.values())
    registrations = len({recording.header.registration for recording in recordings})
    carried = ", ".join(sorted({hold.goal.carried for hold in holds}))
    simulated = recordings[0].basis == "simulated"
    return (
        f"{recordings[0].cause_word}: {_count(len(holds), 'hold')} in "
        f"{_count(len(recordings), 'session')} under {_count(registrations, 'registration')} of "
        f"one rig; {carried}, {'by invented hands, simulated' if simulated else 'by hand'}"
    )


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def repeat_findings(holds: Sequence[Hold]) -> list[Finding]:
    """A note where no place was held twice."""
    seen = [hold for hold in holds if hold.seen]
    if not seen or between_holds(seen)[1]:
        return []
    return [
        Finding(
            "note", "held-once", "grid", "",
            "held each place once, so that the spread between holds is not known",
            "hold the same places again under the same registration to learn it",
        )
    ]  # fmt: skip
