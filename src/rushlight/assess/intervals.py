"""How far a measured figure may be from what more places, or another registration, would show.

The places of one session share one registration, one lens and one wall. Resampling the places
says nothing about those, so the interval of what they cause is widened by a χ² law.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from scipy import stats

from rushlight.physics.uncertainty import (
    bootstrap_interval,
    effective_degrees_of_freedom,
    rms,
)
from rushlight.records.arrays import Array

LEVEL = 0.95
FEWEST_PLACES = 5
SHARED_AMOUNTS: Mapping[str, int] = {"registration": 8, "lens": 1, "flatness": 3}
"""How many independent amounts one draw of a shared cause has, for the χ² law: the eight of a
plane map; the one radial coefficient that rules the lens; of the wall's seven bends the few that
a plane map cannot follow. A supposition of ours, no source."""


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
    if len(values) < FEWEST_PLACES:
        return Spread(None, None, f"no interval from {len(values)} places")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", stats.DegenerateDataWarning)
        found = bootstrap_interval(values, statistic, LEVEL, resamples=2000)
    if not (np.isfinite(found.low) and np.isfinite(found.high)):
        return Spread(None, None, "no interval, the places hardly differ")
    return Spread(found.low, found.high, "BCa bootstrap over the places")


def shared_freedom(cause: str | None, expected: Mapping[str, float], draws: int) -> float | None:
    """Degrees of freedom of a mean square that shared draws rule, None where none do.

    Parameters
    ----------
    cause
        As in `Figure`.
    expected
        Cause to predicted root-mean-square error, for "all": by the Welch–Satterthwaite formula.
    draws
        How many independent registrations, lenses or walls were measured.
    """
    if cause in SHARED_AMOUNTS:
        return float(SHARED_AMOUNTS[cause] * draws)
    if cause != "all" or not any(expected.get(each) for each in SHARED_AMOUNTS):
        return None
    parts = {each: value for each, value in expected.items() if value > 0}
    freedom = [SHARED_AMOUNTS.get(each, np.inf) * draws for each in parts]
    # The formula adds variances; here mean squares of the error are what adds.
    return effective_degrees_of_freedom(list(parts.values()), freedom)


def rms_interval(
    values: Array, cause: str | None, expected: Mapping[str, float], draws: int
) -> Spread:
    """Interval of the root-mean-square error over places.

    Parameters
    ----------
    values
        (N,) root-mean-square error at each place.
    cause, expected, draws
        As in `shared_freedom`.

    Returns
    -------
    Spread
        The bootstrap over places, widened to the χ² interval of the shared draws.
    """
    over_places = places_interval(values, rms)
    freedom = shared_freedom(cause, expected, draws)
    if freedom is None or not np.isfinite(freedom):
        alone = "; one registration, lens and wall: others would differ more" if cause == "all" else ""
        return Spread(over_places.low, over_places.high, over_places.method + alone)
    value = float(rms(values))
    tail = (1.0 - LEVEL) / 2.0
    low = value * float(np.sqrt(freedom / stats.chi2.ppf(1.0 - tail, freedom)))
    high = value * float(np.sqrt(freedom / stats.chi2.ppf(tail, freedom)))
    method = (
        f"χ² with about {freedom:.1f} degrees of freedom, supposed, for {draws} shared "
        f"draw{'s' if draws > 1 else ''}"
    )
    if over_places.low is None or over_places.high is None:
        return Spread(low, high, method)
    return Spread(
        min(low, over_places.low),
        max(high, over_places.high),
        f"the wider of {method} and {over_places.method}",
    )
