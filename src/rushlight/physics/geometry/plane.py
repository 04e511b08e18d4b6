"""Plane-to-plane maps, their small errors, and what a wall that is not flat does to them.

A homography is a (3, 3) matrix that takes (x, y, 1) to a multiple of (x', y', 1). Two
homographies are compared by the points they transfer, never by their coefficients.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from rushlight.physics.geometry.shapes import FloatArray, floats, trailing

# Ratios of singular values below which points count as lying on one line, or a system of
# equations as leaving more than one map; far above rounding, far below any touch of a hand.
_LINE_RATIO = 1e-7
_RANK_RATIO = 1e-9
_REFINE_STEPS = 50


def fit_homography(
    source: ArrayLike, target: ArrayLike, weights: ArrayLike | None = None
) -> FloatArray:
    """Which homography takes the source points nearest to the target points?

    Parameters
    ----------
    source : array_like, shape (..., N, 2)
        Points in one plane, any unit; N at least 4.
    target : array_like, shape (..., N, 2)
        The same points in the other plane, any unit.
    weights : array_like, shape (..., N), optional
        Weight of each point, 0 or above [1]; points of weight 0 do not count.

    Returns
    -------
    ndarray, shape (..., 3, 3)
        Homography of unit Frobenius norm, its sign such that the weighted mean of the source
        points has a positive third coordinate.

    Raises
    ------
    ValueError
        If shapes disagree, values are not finite, weights are negative, fewer than four points
        count, or the points leave more than one map or none (collinear or coincident).

    Notes
    -----
    The normalised direct linear transform; minimises an algebraic error, not a distance: use
    `refine_homography` after it. Source: Hartley, "In defense of the eight-point algorithm",
    IEEE PAMI 19(6), 1997; Hartley & Zisserman, "Multiple View Geometry", 2nd ed., 2004,
    algorithm 4.2 (both from memory).

    Examples
    --------
    >>> square = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]
    >>> wall = [[0.0, 0.0], [2.0, 0.0], [2.0, 3.0], [0.0, 3.0]]
    >>> apply_homography(fit_homography(square, wall), [0.5, 0.5]).round(12).tolist()
    [1.0, 1.5]
    """
    a, b, share = _pairs(source, target, weights)
    a_unit, a_from = _normalised(a, share, "source")
    b_unit, b_from = _normalised(b, share, "target")
    x, y = a_unit[..., 0], a_unit[..., 1]
    u, v = b_unit[..., 0], b_unit[..., 1]
    one, nil = np.ones_like(x), np.zeros_like(x)
    rows_u = np.stack([x, y, one, nil, nil, nil, -u * x, -u * y, -u], axis=-1)
    rows_v = np.stack([nil, nil, nil, x, y, one, -v * x, -v * y, -v], axis=-1)
    equations = np.concatenate([rows_u, rows_v], axis=-2)
    equations *= np.sqrt(np.concatenate([share, share], axis=-1))[..., None]
    _, strength, vectors = np.linalg.svd(equations, full_matrices=equations.shape[-2] < 9)
    if np.any(strength[..., 7] <= _RANK_RATIO * strength[..., 0]):
        raise ValueError(
            "the points leave more than one homography: at least four must count, "
            "no three of them on one line"
        )
    unit_map = vectors[..., 8, :].reshape(*vectors.shape[:-2], 3, 3)
    if np.any(np.abs(np.linalg.det(unit_map)) <= _RANK_RATIO):
        raise ValueError(
            "no invertible homography fits: three of the points lie on one line in one plane "
            "but not in the other"
        )
    full = np.linalg.inv(b_from) @ unit_map @ a_from
    middle = np.sum(share[..., None] * a, axis=-2) / np.sum(share, axis=-1)[..., None]
    third = np.sum(full[..., 2, :2] * middle, axis=-1) + full[..., 2, 2]
    scale = np.where(third < 0.0, -1.0, 1.0) / np.linalg.norm(full, axis=(-2, -1))
    return np.asarray(full * scale[..., None, None])


def apply_homography(H: ArrayLike, xy: ArrayLike) -> FloatArray:
    """Where does a homography take a point?

    Parameters
    ----------
    H : array_like, shape (..., 3, 3)
        Homography.
    xy : array_like, shape (..., 2)
        Points; leading axes broadcast against those of `H` (for N points a map, give
        ``H[..., None, :, :]``).

    Returns
    -------
    ndarray, shape (..., 2)
        Transferred points; NaN on the line that goes to infinity. A point beyond that line
        is transferred too: it is for the caller to know that it is out of view.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> apply_homography([[2.0, 0, 1], [0, 2, 0], [0, 0, 1]], [1.0, 1.0]).tolist()
    [3.0, 2.0]
    """
    x, y, third, _ = _transferred(H, xy)
    return np.stack([x / third, y / third], axis=-1)


def homography_jacobian(H: ArrayLike, xy: ArrayLike) -> FloatArray:
    """How does a transferred point move with the point itself?

    Parameters
    ----------
    H : array_like, shape (..., 3, 3)
        Homography.
    xy : array_like, shape (..., 2)
        Points; leading axes broadcast against those of `H`.

    Returns
    -------
    ndarray, shape (..., 2, 2)
        d(x', y')/d(x, y); NaN on the line that goes to infinity.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Examples
    --------
    >>> homography_jacobian([[2.0, 0, 1], [0, 2, 0], [0, 0, 1]], [1.0, 1.0]).tolist()
    [[2.0, 0.0], [0.0, 2.0]]
    """
    x, y, third, matrix = _transferred(H, xy)
    to = np.stack([x / third, y / third], axis=-1)
    along = matrix[..., :2, :2] - to[..., :, None] * matrix[..., None, 2, :2]
    return np.asarray(along / third[..., None, None])


def plane_tangent(xy: ArrayLike) -> FloatArray:
    """How does a point move under each of the eight small changes of a projective map?

    A map near the identity, ``I + [[a, b, c], [d, e, f], [g, h, 0]]``, moves (x, y) to first
    order by this matrix times (a, b, c, d, e, f, g, h). The caller gives coordinates centred
    and scaled to about −1…1, so that the eight parameters are of like size; the parameters
    have the unit of the displacement.

    Parameters
    ----------
    xy : array_like, shape (..., 2)
        Centred and scaled surface coordinates [1].

    Returns
    -------
    ndarray, shape (..., 2, 8)
        d(displacement)/d(parameters) [1].

    Raises
    ------
    ValueError
        If the last axis is not 2 long.

    Notes
    -----
    Source: the Jacobian used by Criminisi, Reid & Zisserman, "A Plane Measuring Device", BMVC
    1997, sections 5–6, taken at the identity. A change of any homography H can be written as
    a change near the identity that follows H, so one matrix serves every camera.

    Examples
    --------
    >>> plane_tangent([0.5, -1.0]).tolist()[0]
    [0.5, -1.0, 1.0, 0.0, 0.0, 0.0, -0.25, 0.5]
    """
    points = trailing(xy, (2,), "xy")
    x, y = points[..., 0], points[..., 1]
    one, nil = np.ones_like(x), np.zeros_like(x)
    first = np.stack([x, y, one, nil, nil, nil, -x * x, -x * y], axis=-1)
    second = np.stack([nil, nil, nil, x, y, one, -x * y, -y * y], axis=-1)
    return np.stack([first, second], axis=-2)


def refine_homography(
    source: ArrayLike,
    target: ArrayLike,
    target_cov: ArrayLike,
    centre: ArrayLike = (0.0, 0.0),
    scale: ArrayLike = 1.0,
) -> tuple[FloatArray, FloatArray]:
    """Which homography is the likeliest, and how well is it known?

    Parameters
    ----------
    source : array_like, shape (..., N, 2)
        Points in one plane, taken as exact, any unit; N at least 4.
    target : array_like, shape (..., N, 2)
        The same points in the other plane, with Gaussian errors [t].
    target_cov : array_like, shape (..., N, 2, 2)
        Covariance of each target point [t²], positive definite.
    centre : array_like, shape (..., 2)
        Middle of the coordinates in which the covariance is told [t].
    scale : array_like, shape (...)
        Half-extent of those coordinates [t], above 0.

    Returns
    -------
    H : ndarray, shape (..., 3, 3)
        Homography as in `fit_homography`.
    cov : ndarray, shape (..., 8, 8)
        Covariance [t²] of the parameters of `plane_tangent`: a point transferred to ``xy``
        has covariance ``D @ cov @ D.T`` with ``D = plane_tangent((xy - centre) / scale)``.

    Raises
    ------
    ValueError
        As `fit_homography`; if a covariance is not positive definite; or if the iteration
        does not settle.

    Notes
    -----
    Gauss–Newton with step halving. Source: Hartley & Zisserman 2004, sections 4.5 and 5.2
    (from memory); Criminisi, Reid & Zisserman 1997.

    Examples
    --------
    >>> import numpy as np
    >>> corners = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    >>> H, cov = refine_homography(corners, corners, np.eye(2))
    >>> middle = plane_tangent([0.0, 0.0])
    >>> (middle @ cov @ middle.T).round(12).tolist()
    [[0.5, 0.0], [0.0, 0.5]]
    """
    H = fit_homography(source, target)
    a, b, _ = _pairs(source, target, None)
    middle = trailing(centre, (2,), "centre")[..., None, :]
    extent = floats(scale)[..., None, None]
    spread = trailing(target_cov, (2, 2), "target_cov")
    try:
        np.linalg.cholesky(spread)
    except np.linalg.LinAlgError as error:
        raise ValueError("target_cov holds a matrix that is not positive definite") from error
    weight = np.broadcast_to(np.linalg.inv(spread), (*b.shape, 2))

    def misfit(candidate: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        transferred = apply_homography(candidate[..., None, :, :], a)
        residual = b - transferred
        cost = np.einsum("...ni,...nij,...nj->...", residual, weight, residual)
        return transferred, residual, cost

    transferred, residual, cost = misfit(H)
    for _ in range(_REFINE_STEPS):
        design = plane_tangent((transferred - middle) / extent)
        information = np.einsum("...nip,...nij,...njq->...pq", design, weight, design)
        pull = np.einsum("...nip,...nij,...nj->...p", design, weight, residual)
        step = np.linalg.solve(information, pull[..., None])[..., 0]
        # Settled: the step would change no point by a part in 1e10 of the points' own errors.
        gain = np.sum(step * pull, axis=-1)
        moving = gain > 1e-20 + 1e-15 * cost
        if not np.any(moving):
            return _unit(H, a), np.linalg.inv(information)
        step = np.where(moving[..., None], step, 0.0)
        for _ in range(20):
            candidate = _after(H, step, middle, extent)
            trial = misfit(candidate)
            worse = ~(trial[2] <= cost * (1 + 1e-12) + 1e-300)
            if not np.any(worse):
                break
            step = np.where(worse[..., None], step / 2, step)
        H, (transferred, residual, cost) = candidate, trial
    raise ValueError("the homography does not settle: check that the points are paired rightly")


def flatness_modes(uv: ArrayLike) -> FloatArray:
    """How high do the seven gentlest bends of a wall rise at a point?

    Products of Legendre polynomials of total degree 2 and 3, of degrees (2,0), (1,1), (0,2),
    (3,0), (2,1), (1,2), (0,3) in (u, v), each scaled to a root-mean-square of 1 over the
    square. Degrees 0 and 1 are left out: a shifted or tilted plane is still a plane.

    Parameters
    ----------
    uv : array_like, shape (..., 2)
        Position on the surface, −1 to 1 from edge to edge each way [1].

    Returns
    -------
    ndarray, shape (..., 7)
        Height of each mode for an amplitude of 1 m rms [m/m].

    Raises
    ------
    ValueError
        If the last axis is not 2 long.

    Notes
    -----
    The choice of modes is our own. The mean square of P_n over −1…1 is 1/(2n+1): Abramowitz &
    Stegun, "Handbook of Mathematical Functions", 1964, 22.2.10 (from memory).

    Examples
    --------
    >>> (flatness_modes([0.0, 0.0]) ** 2).round(12).tolist()
    [1.25, 0.0, 1.25, 0.0, 0.0, 0.0, 0.0]
    """
    points = trailing(uv, (2,), "uv")
    across, upward = (_legendre(points[..., axis]) for axis in (0, 1))
    degrees = [(2, 0), (1, 1), (0, 2), (3, 0), (2, 1), (1, 2), (0, 3)]
    return np.stack([across[m] * upward[n] for m, n in degrees], axis=-1)


def apparent_shift(
    xy_m: ArrayLike, height_m: ArrayLike, camera_position_m: ArrayLike
) -> FloatArray:
    """By how much does a light above the surface seem moved, to a camera that knows a plane?

    Parameters
    ----------
    xy_m : array_like, shape (..., 2)
        Foot of the light on the surface [m].
    height_m : array_like, shape (...)
        Height of the light above the plane [m]; negative in a hollow.
    camera_position_m : array_like, shape (..., 3)
        Camera centre in the surface frame [m].

    Returns
    -------
    ndarray, shape (..., 2)
        Where the ray from the camera through the light meets the plane z = 0, less `xy_m` [m];
        NaN for a light at or above the camera's own height.

    Raises
    ------
    ValueError
        If a last axis has the wrong length.

    Notes
    -----
    Similar triangles: z (xy − c_xy)/(c_z − z).

    Examples
    --------
    >>> apparent_shift([2.0, 0.0], 0.01, [0.0, 0.0, 2.01]).round(12).tolist()
    [0.01, 0.0]
    """
    foot = trailing(xy_m, (2,), "xy_m")
    camera = trailing(camera_position_m, (3,), "camera_position_m")
    height = floats(height_m)
    below = camera[..., 2] - height
    below = np.where((below > 0.0) & (camera[..., 2] > 0.0), below, np.nan)
    return (height / below)[..., None] * (foot - camera[..., :2])


def _legendre(t: FloatArray) -> list[FloatArray]:
    """Legendre polynomials of degree 0 to 3, of root-mean-square 1 over −1…1."""
    plain = (np.ones_like(t), t, (3 * t * t - 1) / 2, (5 * t * t - 3) * t / 2)
    return [np.sqrt(2.0 * degree + 1.0) * value for degree, value in enumerate(plain)]


def _transferred(
    H: ArrayLike, xy: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    matrix = trailing(H, (3, 3), "H")
    points = trailing(xy, (2,), "xy")
    x, y = points[..., 0], points[..., 1]
    first, second, third = (
        matrix[..., row, 0] * x + matrix[..., row, 1] * y + matrix[..., row, 2] for row in range(3)
    )
    return first, second, np.where(third == 0.0, np.nan, third), matrix


def _pairs(
    source: ArrayLike, target: ArrayLike, weights: ArrayLike | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    a = trailing(source, (None, 2), "source")
    b = trailing(target, (None, 2), "target")
    if a.shape[-2] != b.shape[-2]:
        raise ValueError(f"source has {a.shape[-2]} points but target has {b.shape[-2]}")
    share = (
        np.ones(a.shape[-2]) if weights is None else trailing(weights, (a.shape[-2],), "weights")
    )
    shape = np.broadcast_shapes(a.shape[:-1], b.shape[:-1], share.shape)
    a, b = np.broadcast_to(a, (*shape, 2)), np.broadcast_to(b, (*shape, 2))
    share = np.broadcast_to(share, shape)
    if not (np.all(np.isfinite(a)) and np.all(np.isfinite(b)) and np.all(np.isfinite(share))):
        raise ValueError("source, target and weights must be finite: leave unseen points out")
    if np.any(share < 0.0):
        raise ValueError("weights must not be negative")
    fewest = int(np.min(np.count_nonzero(share, axis=-1), initial=share.shape[-1]))
    if fewest < 4:
        raise ValueError(f"a homography needs at least 4 points, {fewest} given")
    return a, b, share


def _normalised(points: FloatArray, share: FloatArray, name: str) -> tuple[FloatArray, FloatArray]:
    """Points moved to their mean and scaled to rms √2, and the (3, 3) map that did it."""
    total = np.sum(share, axis=-1)[..., None]
    middle = np.sum(share[..., None] * points, axis=-2) / total
    centred = points - middle[..., None, :]
    stretch = np.linalg.svd(np.sqrt(share)[..., None] * centred, compute_uv=False)
    if np.any(stretch[..., 1] <= _LINE_RATIO * stretch[..., 0]):
        raise ValueError(f"the {name} points all lie on one line (or in one spot)")
    rms = np.sqrt(np.sum(stretch**2, axis=-1, keepdims=True) / total)
    factor = np.sqrt(2.0) / rms
    change = np.zeros((*middle.shape[:-1], 3, 3))
    change[..., 0, 0] = change[..., 1, 1] = factor[..., 0]
    change[..., :2, 2] = -factor * middle
    change[..., 2, 2] = 1.0
    return centred * factor[..., None], change


def _after(H: FloatArray, step: FloatArray, middle: FloatArray, extent: FloatArray) -> FloatArray:
    """The map H followed by the small change `step`, told in centred and scaled coordinates."""
    change = np.zeros((*step.shape[:-1], 3, 3))
    change.reshape(*step.shape[:-1], 9)[..., :8] = step / extent[..., 0]
    change += np.eye(3)
    forth = np.zeros((*np.broadcast_shapes(middle.shape[:-2], extent.shape[:-2]), 3, 3))
    forth[..., 0, 0] = forth[..., 1, 1] = 1.0 / extent[..., 0, 0]
    forth[..., :2, 2] = -middle[..., 0, :] / extent[..., 0]
    forth[..., 2, 2] = 1.0
    return np.asarray(np.linalg.inv(forth) @ change @ forth @ H)


def _unit(H: FloatArray, source: FloatArray) -> FloatArray:
    middle = np.mean(source, axis=-2)
    third = np.sum(H[..., 2, :2] * middle, axis=-1) + H[..., 2, 2]
    scale = np.where(third < 0.0, -1.0, 1.0) / np.linalg.norm(H, axis=(-2, -1))
    return np.asarray(H * scale[..., None, None])
