"""The linear estimator behind a registration: what touches tell, and where to touch next.

A registration estimates parameters θ (of the plane map, the lens, the flatness) from touches:
``touch error = design · θ + noise``. The planner predicts with it, the registration fits with
it, so a plan and its outcome are about the same estimator.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.geometry.shapes import FloatArray, trailing

# Below this smallest eigenvalue of 1 − h a touch is fitted whatever its error.
_NO_FREEDOM = 1e-9
_EXCHANGE_PASSES = 100


@dataclass(frozen=True)
class LinearRegistration:
    """A linear-Gaussian (maximum a posteriori) estimator, solved for one set of touches.

    Parameters
    ----------
    posterior_cov : ndarray, shape (..., P, P)
        Covariance of the estimated parameters, if noise and prior are as supposed.
    gain : ndarray, shape (..., P, T, 2)
        Estimate = sum over touches of ``gain · touch error``.
    information : ndarray, shape (..., P, P)
        Inverse of `posterior_cov`.
    leverage : ndarray, shape (..., T, 2, 2)
        Diagonal blocks of the hat matrix: share of a touch's own error in its fitted value.
    prior_precision : ndarray, shape (..., P)
        As given: inverse variance of each parameter beforehand; 0 for a flat prior.
    """

    posterior_cov: FloatArray
    gain: FloatArray
    information: FloatArray
    leverage: FloatArray
    prior_precision: FloatArray

    def estimate(self, touch_errors: ArrayLike) -> FloatArray:
        """Which parameters do the touches tell?

        Parameters
        ----------
        touch_errors : array_like, shape (..., T, 2)
            Seen less expected position of each touch [m].

        Returns
        -------
        ndarray, shape (..., P)
            Estimated parameters.
        """
        errors = trailing(touch_errors, (self.gain.shape[-2], 2), "touch_errors")
        return np.asarray(np.einsum("...pti,...ti->...p", self.gain, errors))

    def transferred_cov(self, design_at: ArrayLike) -> FloatArray:
        """How uncertain is the registration at other points, all causes together?

        Parameters
        ----------
        design_at : array_like, shape (..., G, 2, P)
            Design of those points.

        Returns
        -------
        ndarray, shape (..., G, 2, 2)
            Covariance of the transferred points [m²].
        """
        at = trailing(design_at, (None, 2, self.gain.shape[-3]), "design_at")
        return _sandwich(at, self.posterior_cov)

    def noise_part(self, design_at: ArrayLike, touch_cov: ArrayLike) -> FloatArray:
        """What does one cause of touch noise contribute at other points?

        Contributions of independent causes add; with the whole of the supposed noise this and
        `prior_part` over all parameters add up to `transferred_cov`.

        Parameters
        ----------
        design_at : array_like, shape (..., G, 2, P)
            Design of those points.
        touch_cov : array_like, shape (..., T, 2, 2)
            Covariance of that cause's error at each touch, independent between touches [m²].

        Returns
        -------
        ndarray, shape (..., G, 2, 2)
            Covariance of the transferred points by this cause alone [m²].
        """
        at = trailing(design_at, (None, 2, self.gain.shape[-3]), "design_at")
        noise = trailing(touch_cov, (2, 2), "touch_cov")
        spread = np.einsum("...pti,...tij,...qtj->...pq", self.gain, noise, self.gain)
        return _sandwich(at, spread)

    def prior_part(
        self,
        design_at: ArrayLike,
        block: slice | NDArray[np.intp],
        variance: ArrayLike | None = None,
    ) -> FloatArray:
        """What does a block of parameters, left partly undetermined, contribute?

        Parameters
        ----------
        design_at : array_like, shape (..., G, 2, P)
            Design of those points.
        block : slice or ndarray of int
            Which parameters.
        variance : array_like, shape (..., B), optional
            True variance of those parameters; by default the inverse of their prior
            precision. Parameters of flat prior contribute nothing.

        Returns
        -------
        ndarray, shape (..., G, 2, 2)
            Covariance of the transferred points by these parameters alone [m²].
        """
        at = trailing(design_at, (None, 2, self.gain.shape[-3]), "design_at")
        precision = self.prior_precision[..., block]
        # gain · design − 1 = −posterior_cov · diag(prior_precision)
        response = self.posterior_cov[..., block] * precision[..., None, :]
        if variance is None:
            weight = self.posterior_cov[..., block]
            spread = response @ np.swapaxes(weight, -1, -2)
        else:
            true = np.broadcast_to(np.asarray(variance, dtype=np.float64), precision.shape)
            spread = (response * true[..., None, :]) @ np.swapaxes(response, -1, -2)
        return _sandwich(at, spread)

    def transferred_error(self, design_at: ArrayLike, touch_errors: ArrayLike) -> FloatArray:
        """By how much do given errors of the touches displace other points?

        For errors that are common to all touches, or that the model does not hold, and which
        `noise_part` with its independence between touches would get wrong.

        Parameters
        ----------
        design_at : array_like, shape (..., G, 2, P)
            Design of those points.
        touch_errors : array_like, shape (..., T, 2)
            Error of each touch [m].

        Returns
        -------
        ndarray, shape (..., G, 2)
            Error of the transferred points [m].
        """
        at = trailing(design_at, (None, 2, self.gain.shape[-3]), "design_at")
        return np.asarray(np.einsum("...gip,...p->...gi", at, self.estimate(touch_errors)))


def linear_registration(
    design: ArrayLike, prior_precision: ArrayLike, touch_cov: ArrayLike
) -> LinearRegistration:
    """What do touches of given design and noise tell about the parameters?

    Parameters
    ----------
    design : array_like, shape (..., T, 2, P)
        d(touch position)/d(parameters), for example `plane_tangent` beside
        `flatness_modes` times the shift they cause; parameters scaled to like size.
    prior_precision : array_like, shape (..., P)
        Inverse variance of each parameter beforehand, 0 or above; 0 for a flat prior.
    touch_cov : array_like, shape (..., T, 2, 2)
        Noise covariance of each touch [m²], positive definite.

    Returns
    -------
    LinearRegistration
        The solved estimator.

    Raises
    ------
    ValueError
        If shapes disagree, a precision is negative, a covariance is not positive definite, or
        touches and prior together leave some parameters undetermined.

    Notes
    -----
    Source: Rao, "Linear Statistical Inference and Its Applications", 2nd ed., 1973, chapter 4
    (from memory): weighted least squares, the prior as further observations.

    Examples
    --------
    >>> import numpy as np
    >>> from rushlight.physics.geometry.plane import plane_tangent
    >>> corners = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    >>> solved = linear_registration(plane_tangent(corners), np.zeros(8), 1e-6 * np.eye(2))
    >>> cov_m2 = solved.transferred_cov(plane_tangent([[1.0, 0.0]]))[0]
    >>> (cov_m2 / 1e-6).round(9).tolist()
    [[0.5, 0.0], [0.0, 0.75]]
    """
    rows = trailing(design, (None, 2, None), "design")
    touches, _, parameters = rows.shape[-3:]
    prior = trailing(prior_precision, (parameters,), "prior_precision")
    noise = trailing(touch_cov, (2, 2), "touch_cov")
    if np.any(prior < 0.0):
        raise ValueError("prior_precision must not be negative; 0 stands for a flat prior")
    try:
        np.linalg.cholesky(noise)
    except np.linalg.LinAlgError as error:
        raise ValueError("touch_cov holds a matrix that is not positive definite") from error
    weight = np.linalg.inv(noise)
    shape = np.broadcast_shapes(
        rows.shape[:-3], prior.shape[:-1], np.broadcast_shapes(noise.shape[:-2], (touches,))[:-1]
    )
    weighted = np.einsum(
        "...tij,...tjp->...tip", np.broadcast_to(weight, (*shape, touches, 2, 2)), rows
    )
    information = np.einsum("...tip,...tiq->...pq", weighted, rows)
    information = information + prior[..., None] * np.eye(parameters)
    posterior = _inverse(information)
    gain = np.einsum("...pq,...tiq->...pti", posterior, weighted)
    leverage = np.einsum("...tip,...ptj->...tij", rows, gain)
    return LinearRegistration(
        posterior, gain, information, leverage, np.broadcast_to(prior, (*shape, parameters))
    )


def leave_one_out(residuals: ArrayLike, leverage: ArrayLike) -> FloatArray:
    """By how much would each touch have been missed by a fit that did not use it?

    Parameters
    ----------
    residuals : array_like, shape (..., T, 2)
        Seen less fitted position of each touch [m].
    leverage : array_like, shape (..., T, 2, 2)
        `LinearRegistration.leverage` of the same fit.

    Returns
    -------
    ndarray, shape (..., T, 2)
        Leave-one-out residual [m]; NaN where the fit follows the touch whatever its error (as
        with four touches of a free plane map), so that nothing can be said.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Notes
    -----
    e/(1 − h), for both coordinates of a touch at once; exact for a linear fit. Source: Cook &
    Weisberg, "Residuals and Influence in Regression", 1982, section 2.2 (from memory).

    Examples
    --------
    >>> leave_one_out([[0.001, 0.0]], [[[0.5, 0.0], [0.0, 0.5]]]).tolist()
    [[0.002, 0.0]]
    """
    left = trailing(residuals, (None, 2), "residuals")
    freedom = np.eye(2) - trailing(leverage, (None, 2, 2), "leverage")
    smallest = np.min(np.abs(np.linalg.eigvals(freedom)), axis=-1)
    known = (smallest > _NO_FREEDOM)[..., None]
    solvable = np.where(known[..., None], freedom, np.eye(2))
    return np.where(known, np.linalg.solve(solvable, left[..., None])[..., 0], np.nan)


def d_optimal_touches(
    candidates_design: ArrayLike,
    prior_precision: ArrayLike,
    touch_cov: ArrayLike,
    count: int,
    start: ArrayLike | None = None,
) -> NDArray[np.intp]:
    """Which touches tell most about all the parameters together?

    Parameters
    ----------
    candidates_design : array_like, shape (M, 2, P)
        Design of each place that may be touched.
    prior_precision : array_like, shape (P,)
        As in `linear_registration`.
    touch_cov : array_like, shape (M, 2, 2)
        Noise covariance of a touch at each place [m²].
    count : int
        How many touches in all, those of `start` included; at most M.
    start : array_like of int, optional
        Places touched already (or demanded): they stay, and come first in the answer.

    Returns
    -------
    ndarray of int, shape (count,)
        Indices of the chosen places, none twice; the added ones in rising order. The same
        question always has the same answer.

    Raises
    ------
    ValueError
        If shapes disagree, `count` is out of range, `start` repeats or exceeds the places, or
        even all the places together leave some parameters undetermined.

    Notes
    -----
    Greedy choice, then exchanges while they raise the determinant of the information: a local
    optimum. Source: Fedorov, "Theory of Optimal Experiments", 1972 (from memory).

    Examples
    --------
    >>> import numpy as np
    >>> from rushlight.physics.geometry.plane import plane_tangent
    >>> grid = np.array([[x, y] for y in (-1.0, 0.0, 1.0) for x in (-1.0, 0.0, 1.0)])
    >>> d_optimal_touches(plane_tangent(grid), np.zeros(8), np.eye(2), 4).tolist()
    [0, 2, 6, 8]
    """
    rows = trailing(candidates_design, (None, 2, None), "candidates_design")
    if rows.ndim != 3:
        raise ValueError(f"candidates_design must have shape (M, 2, P), not {rows.shape}")
    kept = np.asarray([] if start is None else start, dtype=np.intp)
    _refuse_choice(kept, count, len(rows))
    everything = linear_registration(rows, prior_precision, touch_cov)
    # In coordinates where all places together tell one unit of each parameter, the ridge that
    # lets the first greedy choices be compared is small whatever the units.
    whitener = np.linalg.cholesky(everything.posterior_cov)
    noise = np.broadcast_to(trailing(touch_cov, (2, 2), "touch_cov"), (len(rows), 2, 2))
    white = np.linalg.solve(np.linalg.cholesky(noise), rows @ whitener)
    prior = (whitener.T * everything.prior_precision) @ whitener + 1e-9 * np.eye(rows.shape[-1])
    chosen = list(kept)
    information = prior + np.einsum("tip,tiq->pq", white[kept], white[kept])
    while len(chosen) < count:
        best, _ = _most_telling(information, white, chosen)
        chosen.append(best)
        information = information + white[best].T @ white[best]
    for _ in range(_EXCHANGE_PASSES):
        if not _exchange_all(chosen, len(kept), information, white):
            break
    return np.concatenate([kept, np.sort(np.asarray(chosen[len(kept) :], dtype=np.intp))])


def _exchange_all(
    chosen: list[np.intp], fixed: int, information: FloatArray, white: FloatArray
) -> bool:
    """One pass of exchanges, in place; whether any was worth while."""
    changed = False
    for place in range(fixed, len(chosen)):
        old = chosen[place]
        without = information - white[old].T @ white[old]
        others = chosen[:place] + chosen[place + 1 :]
        best, gains = _most_telling(without, white, others)
        if gains[best] > gains[old] + 1e-9:
            chosen[place] = best
            information[...] = without + white[best].T @ white[best]
            changed = True
    return changed


def _most_telling(
    information: FloatArray, white: FloatArray, taken: list[np.intp]
) -> tuple[np.intp, FloatArray]:
    """The first of the places that raise log det information most, and the gain of each."""
    spread = _sandwich(white, _inverse(information))
    gains = np.log(np.linalg.det(np.eye(2) + spread))
    gains[taken] = -np.inf
    # Places that are equal by symmetry differ by rounding only: take the first.
    return np.flatnonzero(gains >= np.max(gains) - 1e-9)[0], gains


def _refuse_choice(kept: NDArray[np.intp], count: int, places: int) -> None:
    if not len(kept) <= count <= places:
        raise ValueError(f"count must lie between {len(kept)} and {places}, not {count}")
    if len(set(kept.tolist())) != len(kept) or np.any((kept < 0) | (kept >= places)):
        raise ValueError(f"start must hold different indices from 0 to {places - 1}")


def _sandwich(design: FloatArray, spread: FloatArray) -> FloatArray:
    return np.asarray(design @ spread[..., None, :, :] @ np.swapaxes(design, -1, -2))


def _inverse(information: FloatArray) -> FloatArray:
    """Inverse of a positive definite matrix, or an error that says what is missing."""
    diagonal = np.diagonal(information, axis1=-2, axis2=-1)
    if np.any(~(diagonal > 0.0)):
        raise ValueError("some parameters are touched by no touch and no prior")
    size = 1.0 / np.sqrt(diagonal)
    scaled = information * size[..., :, None] * size[..., None, :]
    if np.any(np.linalg.eigvalsh(scaled)[..., 0] < 1e-13):
        raise ValueError(
            "touches and prior together leave some parameters undetermined: add touches, "
            "spread them wider, or give those parameters a prior"
        )
    inverse = np.linalg.inv(scaled) * size[..., :, None] * size[..., None, :]
    return np.asarray((inverse + np.swapaxes(inverse, -1, -2)) / 2)
