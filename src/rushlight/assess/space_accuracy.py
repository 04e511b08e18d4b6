"""Figures of accuracy of things in space from stands, in the terms of ISO 5725-1."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from rushlight.assess.grid import BETWEEN_HOLDS, GREATEST_DROPOUT
from rushlight.assess.intervals import (
    LEVEL,
    SPACE_SHARED_AMOUNTS,
    Spread,
    builds_interval,
    places_interval,
    rms_interval,
)
from rushlight.assess.space_stands import Stand, same_poses
from rushlight.physics.uncertainty import rms
from rushlight.records.arrays import Array
from rushlight.records.figure import Figure, FigureName, Scope, Statistic, find_figure

NO_ENDS = Spread(None, None, "no interval of a greatest value")
CONDITIONS = (
    "within a stand: repeatability conditions in the sense of ISO 5725-1; another build, wearer "
    "or room (reproducibility) is not shown"
)
_MM, _DEG = 1e3, math.degrees(1.0)


class Maker:
    """Makes figures that share their ground.

    Parameters
    ----------
    stands
        One or more, of sessions in which the same causes acted.
    scope
        What they speak of.
    predicted
        Figures of a plan, for the spread over builds; may be empty.
    """

    def __init__(
        self, stands: Sequence[Stand], scope: Scope, predicted: Sequence[Figure] = ()
    ) -> None:
        first = stands[0].recording
        self.cause = first.cause
        self.scope, self.n, self._basis = scope, len(stands), first.basis
        self._predicted = [each for each in predicted if each.scope.carried == scope.carried]
        self.draws = shared_draws(stands)

    def expected(self, name: str, statistic: str) -> Figure | None:
        """What a plan expects under the same cause."""
        return find_figure(self._predicted, name, self.cause, statistic) if self.cause else None

    def builds(self, name: str, statistic: str, value: float) -> Spread:
        """By how the figure differs from build to build."""
        return builds_interval(
            value, self.expected(name, statistic), self.cause, self.draws, SPACE_SHARED_AMOUNTS
        )

    def stands(self, name: str, values: Array) -> Spread:
        """Of a root-mean-square over stands: the wider of stands and builds."""
        return rms_interval(
            values, self.cause, self.expected(name, "rms"), self.draws, SPACE_SHARED_AMOUNTS
        )

    def __call__(
        self,
        name: FigureName,
        statistic: Statistic,
        value: float,
        ends: Spread,
        how: str,
        unit: tuple[float, str] = (_MM, "mm"),
        condition: str | None = None,
        surface: str | None = None,
    ) -> Figure:
        scale, word = unit
        return Figure(
            name=name,
            cause=self.cause,
            statistic=statistic,
            scope=self.scope.model_copy(update={"condition": condition, "surface": surface}),
            value=value * scale,
            unit=word,
            low=None if ends.low is None else ends.low * scale,
            high=None if ends.high is None else ends.high * scale,
            level=None if ends.low is None else LEVEL,
            n=self.n,
            method=f"{how}; {self.n} stands; {ends.method}".removesuffix("; "),
            basis=self._basis,
        )


DEGREES = (_DEG, "deg")


def shared_draws(stands: Sequence[Stand]) -> int:
    """How many independent builds or registrations stand behind these stands."""
    recordings = {id(stand.recording): stand.recording for stand in stands}.values()
    if stands[0].recording.cause == "registration":
        return len({recording.header.registration for recording in recordings})
    return len({recording.truth_seed for recording in recordings})


def accuracy_figures(
    stands: Sequence[Stand],
    scope: Scope,
    predicted: Sequence[Figure] = (),
    target_m: float | None = None,
    target_rad: float = math.nan,
    centres_m: Mapping[str, Array] | None = None,
) -> list[Figure]:
    """Error, trueness, precision, turn error, dropouts and coverage.

    Parameters
    ----------
    stands
        One or more, of sessions in which the same causes acted; every stand weighs the same.
    scope
        What they speak of.
    predicted
        Figures of a plan; may be empty.
    target_m, target_rad
        Wanted worst error and turn error; no coverage without the first, NaN for no second.
    centres_m
        Where one camera stands (3,) [m], by thing: the error along its line is told apart.

    Returns
    -------
    list of Figure
        Lengths in mm, angles in °, shares in %.
    """
    seen = [stand for stand in stands if stand.seen]
    figures = [_dropouts(stands, scope)]
    if target_m is not None and stands[0].recording.cause == "all":
        figures.append(_coverage(stands, scope, target_m, target_rad))
    if not seen:
        return figures
    make = Maker(seen, scope, predicted)
    figures += _errors(seen, make, "error", lambda stand: np.linalg.norm(stand.off_m, axis=-1))
    bias = np.array([np.linalg.norm(stand.off_m.mean(axis=0)) for stand in seen])
    how = "systematic part: distance of a stand's mean fix from the truth"
    figures.append(make("trueness", "rms", float(rms(bias)), make.stands("trueness", bias), how))
    figures += _precision(seen, make)
    if centres_m is not None:
        along = [each for each in seen if each.carried in centres_m]
        if along:
            figures += _errors(
                along, Maker(along, scope, predicted), "range-error",
                lambda stand: np.abs(_along(stand, centres_m[stand.carried])),
            )[:1]  # fmt: skip
    turned = [each for each in seen if each.poses and np.isfinite(each.turned_rad).all()]
    if turned:
        figures += _errors(
            turned, Maker(turned, scope, predicted), "turn-error",
            lambda stand: np.linalg.norm(stand.turned_rad, axis=-1), DEGREES,
        )  # fmt: skip
    return figures


def _along(stand: Stand, centre_m: Array) -> Array:
    """(n,) error along the line from a camera [m]."""
    way = stand.true_m - centre_m
    way = way / np.linalg.norm(way, axis=-1, keepdims=True)
    return np.asarray(np.sum(stand.off_m * way, axis=-1))


_WHAT = {
    "error": "distance of single fixes from the truth",
    "range-error": "distance along the camera's line of sight of single fixes from the truth",
    "turn-error": "angle between single fixes and the truth",
}


def _errors(
    seen: Sequence[Stand],
    make: Maker,
    name: FigureName,
    of: Callable[[Stand], Array],
    unit: tuple[float, str] = (_MM, "mm"),
) -> list[Figure]:
    """Root-mean-square, median, 95 % and greatest; every stand weighs the same."""
    every = [np.asarray(of(stand)) for stand in seen]
    own = np.array([rms(each) for each in every])
    figures = [
        make(name, "rms", float(rms(own)), make.stands(name, own), _WHAT[name], unit),
    ]
    values = np.concatenate(every)
    weight = np.concatenate([np.full(len(each), 1.0 / len(each)) for each in every])
    shares: tuple[tuple[Statistic, float], ...] = (("median", 0.5), ("p95", 0.95))
    for statistic, share in shares:
        value = float(np.quantile(values, share, weights=weight, method="inverted_cdf"))
        figures.append(
            make(name, statistic, value, make.builds(name, statistic, value), _WHAT[name], unit)
        )
    return [*figures, make(name, "max", float(values.max()), NO_ENDS, _WHAT[name], unit)]


def _precision(seen: Sequence[Stand], make: Maker) -> list[Figure]:
    """Random parts: within stands, and between stands in the same pose."""
    figures = []
    within = np.array([stand.spread_m for stand in seen])
    within = within[np.isfinite(within)]
    if len(within):
        how = "random part: three-dimensional standard deviation within a stand (repeatability)"
        ends = places_interval(within, rms)
        figures.append(make("precision", "rms", float(rms(within)), ends, how))
    groups = same_poses(seen)
    if groups:
        square, freedom = 0.0, 0
        for group in groups:
            means = np.array([stand.off_m.mean(axis=0) for stand in group])
            square += float(np.sum((means - means.mean(axis=0)) ** 2))
            freedom += len(group) - 1
        value = math.sqrt(square / freedom)
        ends = _chi_ends(value, 3 * freedom)
        how = (
            f"three-dimensional standard deviation of the means of {sum(map(len, groups))} stands "
            f"in {len(groups)} same poses"
        )
        figures.append(make("precision", "rms", value, ends, how, condition=BETWEEN_HOLDS))
    return figures


def _chi_ends(value: float, freedom: int) -> Spread:
    from scipy import stats

    tail = (1.0 - LEVEL) / 2.0
    low, high = np.sqrt(freedom / stats.chi2.ppf([1.0 - tail, tail], freedom))
    return Spread(value * float(low), value * float(high), f"χ² with {freedom} degrees of freedom")


def _dropouts(stands: Sequence[Stand], scope: Scope) -> Figure:
    frames = np.array([stand.frames for stand in stands])
    share = float(np.average([stand.dropout for stand in stands], weights=frames))
    return Figure(
        name="dropouts",
        cause=stands[0].recording.cause,
        statistic="share",
        scope=scope,
        value=100.0 * share,
        unit="%",
        n=int(frames.sum()),
        method="frames of stands without a fix; no interval, neighbouring frames go together",
        basis=stands[0].recording.basis,
    )


def _coverage(stands: Sequence[Stand], scope: Scope, target_m: float, target_rad: float) -> Figure:
    from scipy import stats

    def covered(stand: Stand) -> bool:
        turned = stand.turn_rms_rad <= target_rad if stand.poses else True
        return bool(
            stand.seen
            and stand.rms_m <= target_m
            and (turned or math.isnan(target_rad))
            and stand.dropout < GREATEST_DROPOUT
        )

    met = sum(covered(stand) for stand in stands)
    ends = stats.binomtest(met, len(stands)).proportion_ci(LEVEL, "wilson")
    turn = "" if math.isnan(target_rad) else f", a turn error of at most {target_rad * _DEG:.3g}°"
    return Figure(
        name="coverage",
        statistic="share",
        scope=scope,
        value=100.0 * met / len(stands),
        unit="%",
        low=100.0 * float(ends.low),
        high=100.0 * float(ends.high),
        level=LEVEL,
        n=len(stands),
        method=f"stands with an rms error of at most {target_m * _MM:g} mm{turn} and fewer than "
        f"{100 * GREATEST_DROPOUT:g} % dropouts; Wilson interval, as if stands were drawn at "
        "random",
        basis=stands[0].recording.basis,
    )
