"""What a plan expects of marks that are touched by hand on the page of trials."""

from __future__ import annotations

import math
from collections.abc import Sequence

from rushlight.assess.trials_figures import BY_HAND
from rushlight.records.figure import Figure

_MM = 1e3


def by_hand_predicted(planned: Sequence[Figure], scatter_m: float) -> list[Figure]:
    """The error that is expected where people set a tip on marks.

    The page draws no pointer for the rig's lights, so nobody steers one onto the mark: the rig's
    own error and how far from the mark the hand sets the tip are independent, and add as squares.

    Parameters
    ----------
    planned
        Figures of the plan.
    scatter_m
        How far from a mark the hand sets the tip, root-mean-square along each axis [m].

    Returns
    -------
    list of Figure
        One at most, in millimetres: none where the plan tells no error of the whole rig.
    """
    return [
        each.model_copy(
            update={
                "scope": each.scope.model_copy(update={"condition": BY_HAND}),
                "value": math.hypot(each.value, scatter_m * _MM, scatter_m * _MM),
                # Of the hand no doubt is known, and so none of both together.
                "low": None,
                "high": None,
                "level": None,
                "method": "the plan's error over the whole surface, and the hand's touch_scatter "
                "of the rig along both axes, as squares",
            }
        )
        for each in planned
        if (each.name, each.cause, each.statistic, each.unit) == ("error", "all", "rms", "mm")
        and each.value is not None
        and (each.scope.carried, each.scope.region, each.scope.condition) == (None, None, None)
    ]
