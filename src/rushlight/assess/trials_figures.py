"""How steadily a pointer was held, and how near to a mark, on the page of trials."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rushlight.assess.holds import Hold
from rushlight.assess.intervals import LEVEL, places_interval
from rushlight.physics.uncertainty import rms
from rushlight.records.arrays import Array
from rushlight.records.figure import Figure, FigureName, Scope

STILL = "held still on the page of trials"
BY_HAND = "marks touched by hand on the page of trials"
_MM = 1e3


def still_figures(holds: Sequence[Hold], scope: Scope) -> list[Figure]:
    """Spread of the pointer while it was held still.

    Parameters
    ----------
    holds
        Of one device; none give nothing.
    scope
        What they speak of.
    """
    spread = np.array([hold.spread_m for hold in holds])
    return _figure(
        "jitter", spread, holds, scope, STILL,
        "two-dimensional standard deviation within a hold, of the place at every display "
        "refresh; hand and device together",
    )  # fmt: skip


def grid_by_hand(holds: Sequence[Hold], scope: Scope) -> list[Figure]:
    """How far from the marks the pointer lay while they were held.

    Parameters
    ----------
    holds, scope
        As in `still_figures`.
    """
    return [
        *_figure(
            "error", np.array([hold.rms_m for hold in holds]), holds, scope, BY_HAND,
            "root-mean-square distance from the mark at each place; how well people aim is "
            "contained, and a pointer that is seen is steered onto the mark",
        ),
        *_figure(
            "trueness", np.array([np.linalg.norm(hold.bias_m) for hold in holds]), holds, scope,
            BY_HAND, "distance of a hold's mean from the mark; aim contained, as above",
        ),
    ]  # fmt: skip


def _figure(
    name: FigureName,
    values_m: Array,
    holds: Sequence[Hold],
    scope: Scope,
    condition: str,
    method: str,
) -> list[Figure]:
    known = values_m[np.isfinite(values_m)]
    if not len(known):
        return []
    ends = places_interval(known, rms)
    has = ends.low is not None
    return [
        Figure(
            name=name,
            cause="all" if name != "jitter" else None,
            statistic="rms",
            scope=scope.model_copy(update={"condition": condition}),
            value=float(rms(known)) * _MM,
            unit="mm",
            low=ends.low * _MM if ends.low is not None else None,
            high=ends.high * _MM if ends.high is not None else None,
            level=LEVEL if has else None,
            n=len(known),
            method=f"{method}; {ends.method}",
            basis=holds[0].recording.basis,
        )
    ]
