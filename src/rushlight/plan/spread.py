"""What single fixes of single builds would show: draws from the error budget of one rig.

The budget tells the expected square at each place. Whoever builds the rig gets one lens, one
wall and one registration, and then measures distances of single fixes: these draws say how such
measurements would scatter.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.surface_model import FLATNESS, LENS
from rushlight.plan.error import ErrorField
from rushlight.plan.evaluate import Evaluation
from rushlight.records.figure import ERROR_CAUSES

Array = NDArray[Any]

DRAWS = 400
LEVEL = 0.9
_SEED = 20  # any; fixed so that one plan always reads the same


@dataclass(frozen=True)
class Spread:
    """A figure over many builds: what is expected, and between which values most builds lie."""

    value: float
    low: float
    high: float


def distances(evaluation: Evaluation, cause: str, draws: int = DRAWS) -> Array:
    """Distances (D, E, G) [m] of single fixes in D builds of the first rig, NaN where unseen.

    Parameters
    ----------
    evaluation
        Of at least one rig, with its cameras' views.
    cause
        One of the six, or "all".
    draws
        Number of builds, ≥ 1.
    """
    rng = np.random.default_rng(_SEED)
    causes = ERROR_CAUSES if cause == "all" else (cause,)
    moved = np.stack([_displacements(view.error, causes, draws, rng) for view in evaluation.views])
    index = evaluation.camera[0][None, None, :, :, None]
    chosen = np.take_along_axis(moved, index, axis=0)[0]
    seen = evaluation.in_view[0] & evaluation.registerable[0]
    return np.where(seen, np.hypot(chosen[..., 0], chosen[..., 1]), np.nan)


def _displacements(
    field: ErrorField, causes: tuple[str, ...], draws: int, rng: np.random.Generator
) -> Array:
    """Displacements (D, E, G, 2) [m] by some causes together, of the first rig."""
    solved, at, rows = field.solved, field.design_at[0], field.design_touches[0]
    emitters, places = field.bias_m.shape[1:3]
    moved = np.zeros((draws, emitters, places, 2))
    shared = np.zeros((draws, at.shape[-1]))
    if "registration" in causes:
        noise = _normal(field.touch_cov_m2[0], draws, rng)
        shared += np.einsum("pti,dti->dp", solved.gain[0], noise)
    for name, block in (("lens", LENS), ("flatness", FLATNESS)):
        if name in causes:
            # What the touches tell of the parameters, less the parameters themselves.
            truth = np.zeros_like(shared)
            truth[:, block] = rng.standard_normal((draws, block.stop - block.start))
            shared += np.einsum("pti,tiq,dq->dp", solved.gain[0], rows, truth) - truth
    moved += np.einsum("gip,dp->dgi", np.nan_to_num(at), shared)[:, None]
    for name in ("centre", "tip"):
        if name in causes:
            moved += _normal(np.nan_to_num(field.cov_m2[name][0]), draws, rng)
    if "tip" in causes:
        moved += np.nan_to_num(field.bias_m[0])
    if "pixel" in causes:
        pitch = np.sqrt(12.0 * np.diagonal(field.cov_m2["pixel"][0], axis1=-2, axis2=-1))
        moved += pitch * rng.uniform(-0.5, 0.5, moved.shape)
    return moved


def _normal(cov: Array, draws: int, rng: np.random.Generator) -> Array:
    """Normal draws (D, ..., 2) of covariances (..., 2, 2), which may be singular."""
    value, vector = np.linalg.eigh(cov)
    root = vector * np.sqrt(np.maximum(value, 0.0))[..., None, :]
    return np.asarray(np.matvec(root, rng.standard_normal((draws, *cov.shape[:-1]))))


def rms_spread(distance_m: Array, expected_m: float) -> Spread:
    """The expected root-mean-square [m] over emitters and places, and most builds' own."""
    own = np.sqrt(np.nanmean(distance_m**2, axis=(1, 2)))
    return Spread(expected_m, *np.quantile(own, _ends()))


def quantile_spread(distance_m: Array, share: float) -> Spread:
    """A quantile of the distances [m] over all builds, and most builds' own."""
    own = np.nanquantile(distance_m, share, axis=(1, 2))
    return Spread(float(np.nanquantile(distance_m, share)), *np.quantile(own, _ends()))


def _ends() -> tuple[float, float]:
    return (1.0 - LEVEL) / 2.0, (1.0 + LEVEL) / 2.0
