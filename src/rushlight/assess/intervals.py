"""How far a measured figure may be from what more places, or another build, would show.

The places of one session share one registration, one lens and one wall. Resampling the places
says nothing about those, so an interval of what they cause is widened: by the spread over
builds that a plan expects, or for want of one by a χ² law with supposed degrees of freedom.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from rushlight.physics.uncertainty import bootstrap_interval, coverage_factor, rms
from rushlight.records.arrays import Array
from rushlight.records.figure import Figure

LEVEL = 0.95
FEWEST_PLACES = 5
ROUNDING = 1e-9
"""Relative differences below this come from arithmetic, not from the places."""
SHARED_AMOUNTS: Mapping[str, int] = {"registration": 8, "lens": 1, "flatness": 3}
"""How many independent amounts one draw of a shared cause has, for the χ² law: the eight of a
plane map; the one radial coefficient that rules the lens; of the wall's seven bends the few that
a plane map cannot follow. A supposition of ours, no source."""
SPACE_SHARED_AMOUNTS: Mapping[str, int] = {
    "registration": 6, "lens": 4, "build": 6, "point": 3, "all": 3,
}  # fmt: skip
"""The same in space: six of a camera's place; focal length, centre and radial coefficient; six of
some lights; three of a point; and of all together the three of whichever cause dominates. A
supposition of ours, no source."""


@dataclass(frozen=True)
class Spread:
    """An interval and how it was found; None where there is none."""

    low: float | None
    high: float | None
    method: str


def places_interval(values: Array, statistic: Callable[..., Array]) -> Spread:
    """Interval of a statistic over places, by resampling the places.

    Parameters
    ----------
    values
        (N,) one value a place.
    statistic
        Takes an ``axis``.
    """
    from scipy import stats

    if len(values) < FEWEST_PLACES:
        return Spread(None, None, f"no interval from {len(values)} places")
    if np.ptp(values) <= ROUNDING * np.max(np.abs(values)):
        return Spread(None, None, "no interval, the places do not differ")
    # A statistic that hardly moves when one place is left out ends in 0/0 and so in NaN.
    with warnings.catch_warnings(), np.errstate(invalid="ignore", divide="ignore"):
        warnings.simplefilter("ignore", stats.DegenerateDataWarning)
        found = bootstrap_interval(values, statistic, LEVEL, resamples=2000)
    if not (np.isfinite(found.low) and np.isfinite(found.high)):
        return Spread(None, None, "no interval, the places hardly differ")
    return Spread(found.low, found.high, "BCa bootstrap over the places")


def builds_interval(
    value: float,
    expected: Figure | None,
    cause: str | None,
    draws: int,
    amounts: Mapping[str, int] = SHARED_AMOUNTS,
) -> Spread:
    """Interval of a root-mean-square error by how it differs from build to build.

    Parameters
    ----------
    value
        Measured.
    expected
        The plan's figure with its spread over builds, or None.
    cause
        As in `Figure`.
    draws
        How many independent registrations, lenses or walls were measured.
    amounts
        How many independent amounts one draw of a cause has.

    Returns
    -------
    Spread
        With a plan, the ratio of measured to long-run value is taken to spread as the plan
        expects of its own value, narrower by √draws on a logarithmic scale.
    """
    from scipy import stats

    shared = f"{draws} shared draw{'s' if draws > 1 else ''} of registration, lens or wall"
    if (
        expected is not None
        and expected.level is not None
        and expected.value
        and expected.low
        and expected.high
    ):
        power = coverage_factor(LEVEL) / coverage_factor(expected.level) / np.sqrt(draws)
        low = value * (expected.value / expected.high) ** power
        high = value * (expected.value / expected.low) ** power
        return Spread(float(low), float(high), f"spread over builds as planned, {shared}")
    if cause is None or cause not in amounts:
        alone = f"{shared}: others would differ more" if cause == "all" else ""
        return Spread(None, None, alone)
    freedom = amounts[cause] * draws
    tail = (1.0 - LEVEL) / 2.0
    low, high = np.sqrt(freedom / stats.chi2.ppf([1.0 - tail, tail], freedom))
    return Spread(
        value * float(low),
        value * float(high),
        f"χ² with {freedom} degrees of freedom, supposed, for {shared}",
    )


def rms_interval(
    values: Array,
    cause: str | None,
    expected: Figure | None,
    draws: int,
    amounts: Mapping[str, int] = SHARED_AMOUNTS,
) -> Spread:
    """Interval of the root-mean-square error over places: the wider of places and builds.

    Parameters
    ----------
    values
        (N,) root-mean-square error at each place.
    cause, expected, draws, amounts
        As in `builds_interval`.
    """
    places = places_interval(values, rms)
    builds = builds_interval(float(rms(values)), expected, cause, draws, amounts)
    method = "; ".join(each for each in (places.method, builds.method) if each)
    lows = [each.low for each in (places, builds) if each.low is not None]
    highs = [each.high for each in (places, builds) if each.high is not None]
    if not lows or not highs:
        return Spread(None, None, method)
    wider = "the wider of " if len(lows) > 1 else ""
    return Spread(min(lows), max(highs), wider + method)
