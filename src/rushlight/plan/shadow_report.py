"""The shadow as figures, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from rushlight.errors import Finding
from rushlight.plan.evaluate import Evaluation
from rushlight.plan.figures import Names
from rushlight.plan.shadow import GREATEST_SHADOW, SCENES, ShadowField
from rushlight.records.figure import Figure, Scope
from rushlight.records.plan import Plan

TOGETHER = "everyone at work"
ALONE = "with the holder alone"
LIT = f"where bodies hide the light in at most {100 * GREATEST_SHADOW:g} % of the scenes"
"""Conditions of the figures."""

_METHOD = (
    f"share of {SCENES} equally likely scenes in which trunk, head, arm or hand hides the light "
    "from every camera"
)
_CAMERAS = "from the camera that is hidden least"


def shadow_figures(shadow: ShadowField, evaluation: Evaluation, names: Names) -> list[Figure]:
    """Mean and worst shadow over the surface, and the coverage that it leaves."""
    alone = shadow.alone.min(axis=1)
    kept = evaluation.covered[0] & ~(shadow.everywhere > GREATEST_SHADOW)
    scopes: list[tuple[Scope, slice]] = [(Scope(rig=names.rig), slice(None))]
    scopes += [
        (Scope(rig=names.rig, carried=carried), slice(index, index + 1))
        for index, carried in _first_of_each(names.carried)
    ]
    figures = []
    for scope, which in scopes:
        for condition, values, method in (
            (TOGETHER, shadow.everywhere[which], _METHOD),
            (ALONE, alone[which], f"{_METHOD}; {_CAMERAS}"),
        ):
            there = scope.model_copy(update={"condition": condition})
            known = bool(np.isfinite(values).all())
            figures += [
                _figure("shadow", "mean", there, values.mean() if known else None, values, method),
                _figure("shadow", "max", there, values.max() if known else None, values, method),
            ]
        known = bool(np.isfinite(shadow.everywhere[which]).all())
        figures.append(
            _figure(
                "coverage",
                "share",
                scope.model_copy(update={"condition": LIT}),
                kept[which].mean() if known else None,
                kept[which],
                "places that are covered and keep the shadow within that share",
            )
        )
    if len(names.carried) > 1 and np.isfinite(shadow.everywhere).all():
        figures.append(_at_once(shadow, evaluation, names))
    return figures


def _at_once(shadow: ShadowField, evaluation: Evaluation, names: Names) -> Figure:
    """How often every light is seen at once, each touching some place that its holder reaches."""
    there = evaluation.reached[0]
    seen = np.where(there, evaluation.covered[0] * (1.0 - shadow.everywhere), 0.0)
    each = seen.sum(axis=1) / np.maximum(there.sum(axis=1), 1)
    return _figure(
        "coverage",
        "share",
        Scope(rig=names.rig, condition=Plan.AT_ONCE),
        np.prod(each),
        seen,
        "chance that no light is lost while everyone touches some place within reach, each drawn "
        "for itself: covered, and not hidden by anybody's body, arm or hand",
    )


def _first_of_each(carried: Sequence[str]) -> list[tuple[int, str]]:
    """Each carried thing once: a thing with several lights is told of by its first."""
    return [(index, one) for index, one in enumerate(carried) if one not in carried[:index]]


def _figure(
    name: Any, statistic: Any, scope: Scope, share: Any, values: Any, method: str
) -> Figure:
    return Figure(
        name=name,
        statistic=statistic,
        scope=scope,
        unit="%",
        value=None if share is None else 100.0 * float(share),
        n=values.size,
        method=method,
        basis="predicted",
    )


def shadow_findings(shadow: ShadowField, names: Names, file: str) -> list[Finding]:
    """A warning for each carried thing whose light is mostly hidden at some places."""
    one = len(names.cameras) == 1
    second = "or add a second camera on the other side" if one else "or set the cameras wider apart"
    found = []
    for index, carried in enumerate(names.carried):
        lost = float((shadow.everywhere[index] > GREATEST_SHADOW).mean())
        if lost == 0.0:
            continue
        own = float((shadow.alone[index].min(axis=0) > GREATEST_SHADOW).mean())
        whose = (
            "bodies, arms or hands, the holder's own"
            if own > 0.5 * lost
            else "bodies, arms or hands, mostly other people's"
        )
        found.append(
            Finding(
                "warning",
                "shadow-likely",
                f"{file}: {carried}",
                "",
                f"is hidden from {'the camera' if one else 'all cameras'} at {100.0 * lost:.0f} % "
                f"of the places in more than {100 * GREATEST_SHADOW:g} % of the scenes by {whose} "
                "(an estimate; the plan's coverage does not count it)",
                "hang the camera higher or nearer to the surface, move it to the other side, "
                f"{second}",
            )
        )
    return found
