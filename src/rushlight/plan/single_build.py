"""What one build of a rig reaches: its registration is one draw, and stays.

A plan's error is root-mean-square over many builds. Who builds once gets one registration, one
lens and one wall: at every place their shares are one displacement that does not change from
touch to touch, and may be smaller or larger than that. Whether a target is met is a question
about one build, so it is asked of drawn ones.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.surface_model import FLATNESS, LENS
from rushlight.plan.error import ErrorField
from rushlight.plan.evaluate import Evaluation

Array = NDArray[Any]

_UNDETERMINED = slice(LENS.start, FLATNESS.stop)  # parameters known beforehand to some extent
_FROM_TOUCH_TO_TOUCH = ("centre", "tip", "pixel")
_ROUNDING_M2 = 1e-18


def luck_count(ev: Evaluation) -> int:
    """How many independent normal variates the luck of one build takes."""
    one = ev.views[0].error
    each = 2 * one.touch_cov_m2.shape[1] + _UNDETERMINED.stop - _UNDETERMINED.start
    return len(ev.views) * each


def build_errors_m(
    ev: Evaluation, luck: Array, touches: int | None = None, rng: np.random.Generator | None = None
) -> Array:
    """Error of single builds at every place.

    Parameters
    ----------
    ev
        R rigs, with each camera's own share of the evaluation.
    luck
        (R, B, K) variates of mean 0 and deviation 1, B builds of each rig; K as `luck_count`.
    touches
        How many touches of each place an assessment has, ≥ 1; very many when left out.
    rng
        Draws these touches.

    Returns
    -------
    (R, B, E, G) [m], root-mean-square over the touches of each place with that build; NaN where
    nothing registers.
    """
    views = len(ev.views)
    shares = luck.reshape(*luck.shape[:2], views, -1)
    squares = np.stack(
        [
            _squares_m2(view.error, shares[:, :, index], touches, rng)
            for index, view in enumerate(ev.views)
        ]
    )
    chosen = np.broadcast_to(ev.camera[None, :, None], (1, *squares.shape[1:]))
    return np.asarray(np.sqrt(np.take_along_axis(squares, chosen, axis=0)[0]))


def _squares_m2(
    error: ErrorField, luck: Array, touches: int | None, rng: np.random.Generator | None
) -> Array:
    """Mean square (R, B, E, G) [m²] of one camera's builds."""
    fixed = _displacements_m(error, luck)[:, :, None] + error.bias_m[:, None]
    cov = np.asarray(sum(error.cov_m2[one] for one in _FROM_TOUCH_TO_TOUCH))
    if touches is None:
        total = np.sum(fixed**2, axis=-1) + (cov[..., 0, 0] + cov[..., 1, 1])[:, None]
    else:
        rng = np.random.default_rng() if rng is None else rng
        spread = np.linalg.cholesky(np.nan_to_num(cov) + _ROUNDING_M2 * np.eye(2))
        each = np.einsum(
            "regij,rbegtj->rbegti", spread, rng.standard_normal((*fixed.shape[:-1], touches, 2))
        )
        total = np.mean(np.sum((fixed[..., None, :] + each) ** 2, axis=-1), axis=-1)
    known = np.isfinite(error.variance_m2["registration"])
    return np.where(known[:, None], total, np.nan)


def _displacements_m(error: ErrorField, luck: Array) -> Array:
    """What registration, lens and wall displace (R, B, G, 2) [m], one draw a build.

    The estimate misses the truth by gain · noise − posterior · prior precision · truth: the same
    estimator, and so the same covariance over builds, as the budget's.
    """
    touches = error.touch_cov_m2.shape[1]
    noise = luck[..., : 2 * touches].reshape(*luck.shape[:2], touches, 2)
    truth = luck[..., 2 * touches :]
    cov = error.touch_cov_m2 + _ROUNDING_M2 * np.eye(2)
    touch = np.einsum("rtij,rbtj->rbti", np.linalg.cholesky(cov), noise)
    solved = error.solved
    missed = np.einsum("rpti,rbti->rbp", solved.gain, touch)
    precision = solved.prior_precision[..., _UNDETERMINED]
    with np.errstate(divide="ignore"):
        true = np.where(precision > 0.0, truth.swapaxes(0, 1) / np.sqrt(precision), 0.0)
    response = solved.posterior_cov[..., _UNDETERMINED] * precision[:, None, :]
    missed = missed - np.einsum("rpq,brq->rbp", response, true)
    return np.asarray(np.einsum("rgip,rbp->rbgi", error.design_at, missed))
