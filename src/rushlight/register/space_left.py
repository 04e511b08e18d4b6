"""What the dots of a registration in space leave over, and what they should."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from rushlight.records.arrays import Array
from rushlight.register.space_solve import Linear, Solved


class LeftOver(NamedTuple):
    """Root-mean-square distances of dots from where the fit has them.

    Fields
    ------
    used : (I,) which of all rows the fit rests on
    rms_px, expected_px : one a used row [px]
    whole_px, whole_expected_px : over all of them [px]
    """

    used: Array
    rms_px: Array
    expected_px: Array
    whole_px: float
    whole_expected_px: float

    def of(self, row: int) -> dict[str, float]:
        """The two fields of a row among all; NaN where it is left out."""
        if not self.used[row]:
            return {"rms_px": float("nan"), "expected_px": float("nan")}
        at = int(np.count_nonzero(self.used[:row]))
        return {"rms_px": float(self.rms_px[at]), "expected_px": float(self.expected_px[at])}


def left_over(solved: Solved[Array], used: Array, px_cov: Array) -> LeftOver:
    """What is left over at the dots.

    Parameters
    ----------
    solved
        By the used rows.
    used
        (I,) which of all rows those are.
    px_cov
        (I, D, 2, 2) covariance of every row's dots in the order of the lines [px²]; NaN where
        there is none.
    """
    cov = px_cov[used]
    dots = cov.shape[1]
    seen = np.isfinite(cov).all(axis=(-2, -1)) & solved.linear.lines[:, : 2 * dots : 2]
    root = np.zeros(cov.shape)
    root[seen] = np.linalg.cholesky(cov[seen])
    missed = solved.linear.residual[:, : 2 * dots].reshape(-1, dots, 2)
    square = np.sum((root @ missed[..., None])[..., 0] ** 2, axis=-1)
    remains = _remains(solved.linear, solved.unit_cov, 2 * dots)
    expected = np.einsum("idab,idbc,idac->id", root, remains, root)
    many = np.maximum(seen.sum(axis=1), 1)
    total = max(int(seen.sum()), 1)
    return LeftOver(
        used,
        np.sqrt(square.sum(axis=1) / many),
        np.sqrt(np.maximum(expected.sum(axis=1), 0.0) / many),
        float(np.sqrt(square.sum() / total)),
        float(np.sqrt(max(float(expected.sum()), 0.0) / total)),
    )


def _remains(linear: Linear, unit_cov: Array, lines: int) -> Array:
    """Covariance of each dot's residual in units of its own deviation: (I, D, 2, 2), 1 − leverage.

    Of the leverage, one part is by the row's own numbers, the other by the shared ones.
    """
    own, shared = linear.by_own, linear.by_shared
    normal = np.einsum("ira,irb->iab", own, own)
    normal = normal + 1e-13 * np.maximum(np.einsum("iaa->ia", normal), 1e-12)[..., None] * np.eye(6)
    gain = np.linalg.solve(normal, np.swapaxes(own, -1, -2))
    left = shared - own @ (gain @ shared)
    own, left, gain = own[:, :lines], left[:, :lines], gain[..., :lines]
    by_dot = (len(own), lines // 2, 2, -1)
    own_part = np.einsum(
        "idap,idpb->idab",
        own.reshape(by_dot),
        np.swapaxes(np.swapaxes(gain, 1, 2).reshape(by_dot), -1, -2),
    )
    left = left.reshape(by_dot)
    shared_part = np.einsum("idas,st,idbt->idab", left, unit_cov, left, optimize=True)
    return np.asarray(np.eye(2) - own_part - shared_part)
