"""What is left of the coverage when the sun comes round: the plan's own rig, brighter lit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.plan.evaluate import Evaluation, evaluate
from rushlight.plan.grid import Standing, with_fields
from rushlight.records.resolved import ResolvedRig

Array = NDArray[Any]

PATCH = 1.5
"""From which ratio of its brightest to its dimmest place the surface counts as part in the sun,
part in shade, each at its mean (our own choice)."""


def covered_in_sun(
    resolved: ResolvedRig,
    evaluation: Evaluation,
    standing: Standing,
    registering: Sequence[int],
    added_w_m2: Array,
) -> Array:
    """Which places (E, G) stay covered with so much more light (G,) [W/m²] on the surface.

    Exposure and beacons are kept as planned: a rig is not set up anew when the sun comes round.
    """
    used = resolved.surface.ambient_w_m2[0]
    light = used + added_w_m2
    middle = (light.min() + light.max()) / 2.0
    patch = (light > middle) & (light.max() > PATCH * light.min())
    covered = np.zeros(evaluation.covered.shape[1:], bool)
    for part in (patch, ~patch):
        if not part.any():
            continue
        lit = with_fields(
            resolved,
            surface={
                "ambient_w_m2": np.full_like(resolved.surface.ambient_w_m2, light[part].mean())
            },
            cameras={"exposure_s": evaluation.exposure_s},
        )
        there = evaluate(
            lit,
            evaluation.columns,
            evaluation.rows,
            evaluation.beacons_m[0],
            standing,
            registering,
        )
        covered[:, part] = there.covered[0][:, part]
    return covered
