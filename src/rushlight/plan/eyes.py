"""How near the light of each emitter comes to published limits for the eye: estimates only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.safety import ASSESSMENT_DISTANCE_M, EyeEstimate, eye_estimate
from rushlight.plan.grid import Standing
from rushlight.records.resolved import ResolvedRig

Array = NDArray[Any]

NEAREST_M = 0.05
"""Nearest distance at which the estimate is made (a choice of ours: below it the inverse-square
law fails for lensed parts)."""

CHIP_M = 0.3e-3
"""Width of the emitting chip (typical, from memory), taken where the part's own face is wider:
for the retina a small source counts as the worse one."""


@dataclass(frozen=True)
class EyeShares:
    """Estimates for every emitter, the part bare and lit without pause, on its axis.

    Attributes
    ----------
    graded
        (R, E) at the distance where lamps are graded.
    near
        (R, E) at `near_m`, the nearest that the holder's eye comes in use.
    near_m
        (R, E) [m].
    """

    graded: EyeEstimate
    near: EyeEstimate
    near_m: Array


def eye_shares(resolved: ResolvedRig, standing: Standing) -> EyeShares:
    """How near each emitter's light comes to the limits for a long stay.

    The cap is left out, as it may come off; the light is taken as lit without pause and its
    face as a bare chip. All three err high. A stylus shines away from its holder:
    what reaches the holder's eye is less.
    """
    e, people = resolved.emitters, resolved.people
    if len(standing.side):
        person = np.maximum(standing.holder, 0)
        away = people.standing_m[:, person, 1] - people.breadth_m[:, person] / 2.0
        near = np.where(standing.holder >= 0, away, ASSESSMENT_DISTANCE_M)
    else:
        near = np.full(e.duty.shape, ASSESSMENT_DISTANCE_M)
    near = np.maximum(near, NEAREST_M)
    source = (e.intensity_w_sr, 1.0, np.minimum(e.size_m, CHIP_M), e.wavelength_m)
    return EyeShares(
        eye_estimate(*source, distance_m=ASSESSMENT_DISTANCE_M),
        eye_estimate(*source, distance_m=near),
        near,
    )
