"""Where a fit of one round spot settles on several that overlap: a light and its glow on the wall.

The sensor sees the emitter and the patches that it lights as one blob; the fit's centre is drawn
toward the patches, an error that no averaging removes. Every function broadcasts.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.sensing import (
    Array,
    in_chunks,
    noise_floor_variance,
    pixel_profiles,
)

_ITERATIONS = 8
_AT_REST = 1e-4  # px and share of sigma; the steps shrink tenfold and more as they near the end
_SMALLEST_SIGMA_PX = 0.25
_VARIANCE_FLOOR_E2 = 1e-3  # keeps weights finite where a noiseless sensor sees no light at all


GREATEST_MISFIT = 0.5
"""Part of its light that a spot's model may leave unexplained; with more, it is no single spot
(chosen by trial: a tip and its glow on the wall, as seen by a coarse camera, leave up to 0.4)."""


class MixtureFit(NamedTuple):
    """What the fit of one round spot reports.

    Fields
    ------
    centre_px : (..., 2) [px], in the coordinates of the offsets
    sigma_px : (...) [px]
    flux_e : (...) [e⁻]
    misfit : (...) [1], root of the squared light that the spot leaves unexplained over the
        squared light that it explains, in the window of a detector
    """

    centre_px: Array
    sigma_px: Array
    flux_e: Array
    misfit: Array


def _blob_pixels(offset: Array, cov: Array, half_window: int) -> Array:
    """Share of Gaussian blobs in each pixel: (..., 2), (..., 2, 2) -> (..., n, n).

    The two marginals are integrated over the pixel exactly. Correlation enters as the ratio of
    correlated to uncorrelated density, each widened by the pixel's own variance.
    """
    across = pixel_profiles(offset[..., 0], np.sqrt(cov[..., 0, 0]), half_window)[0]
    down = pixel_profiles(offset[..., 1], np.sqrt(cov[..., 1, 1]), half_window)[0]
    image = np.asarray(down[..., :, None] * across[..., None, :])
    if not np.any(cov[..., 0, 1]):
        return image
    width = np.sqrt(np.diagonal(cov, axis1=-2, axis2=-1) + 1.0 / 12.0)
    rho = (cov[..., 0, 1] / (width[..., 0] * width[..., 1]))[..., None, None]
    pixel = np.arange(-half_window, half_window + 1)
    # Beyond six radii the marginals vanish to rounding error, which the ratio must not blow up.
    u = np.clip((pixel - offset[..., 0, None]) / width[..., 0, None], -6.0, 6.0)[..., None, :]
    v = np.clip((pixel - offset[..., 1, None]) / width[..., 1, None], -6.0, 6.0)[..., :, None]
    spare = 1.0 - rho**2
    exponent = -(rho**2 * (u**2 + v**2) - 2.0 * rho * u * v) / (2.0 * spare)
    return np.asarray(image * np.exp(exponent) / np.sqrt(spare))


def _brightest(offsets: Array, covs: Array, fluxes: Array) -> tuple[NDArray[np.intp], Array]:
    """Index (B,) of the blob whose middle is brightest, and what each adds there (B, K)."""
    wide = covs + np.eye(2) / 12.0
    apart = offsets[:, :, None, :] - offsets[:, None, :, :]
    inverse = np.linalg.inv(wide)
    square = np.einsum("bkji,bjim,bkjm->bkj", apart, inverse, apart)
    height = fluxes / np.sqrt(np.linalg.det(wide))
    level = height[:, None, :] * np.exp(-0.5 * square)
    best = np.argmax(np.sum(level, axis=-1), axis=-1)
    return best, np.take_along_axis(level, best[:, None, None], axis=1)[:, 0, :]


def _window_image(
    offsets: Array, covs: Array, fluxes: Array, half_window: int
) -> tuple[Array, Array, Array]:
    """Window middle (B, 2), start weights (B, K) and light in the window (B, n, n)."""
    best, weight = _brightest(offsets, covs, fluxes)
    middle = np.rint(np.take_along_axis(offsets, best[:, None, None], axis=1)[:, 0, :])
    pixels = _blob_pixels(offsets - middle[:, None, :], covs, half_window)
    return middle, weight, np.einsum("bk,bkyx->byx", fluxes, pixels)


def _batch(
    offsets_px: ArrayLike, covs_px: ArrayLike, fluxes_e: ArrayLike, *levels: ArrayLike
) -> tuple[tuple[int, ...], tuple[Array, ...]]:
    """Check shapes, broadcast, lay the batch out in one axis, and set aside what is unknown."""
    offsets, covs = np.asarray(offsets_px, float), np.asarray(covs_px, float)
    fluxes = np.asarray(fluxes_e, float)
    if fluxes.ndim < 1 or offsets.ndim < 2 or covs.ndim < 3:
        raise ValueError(
            f"need offsets (..., K, 2), covs (..., K, 2, 2), fluxes (..., K); "
            f"got {offsets.shape}, {covs.shape}, {fluxes.shape}"
        )
    count = fluxes.shape[-1]
    if offsets.shape[-2:] != (count, 2) or covs.shape[-3:] != (count, 2, 2):
        raise ValueError(
            f"need offsets (..., {count}, 2) and covs (..., {count}, 2, 2) for fluxes "
            f"{fluxes.shape}; got {offsets.shape}, {covs.shape}"
        )
    heads = [np.asarray(level, float) for level in levels]
    shape = np.broadcast_shapes(
        offsets.shape[:-2], covs.shape[:-3], fluxes.shape[:-1], *(head.shape for head in heads)
    )
    flat = (
        np.broadcast_to(offsets, (*shape, count, 2)).reshape(-1, count, 2),
        np.broadcast_to(covs, (*shape, count, 2, 2)).reshape(-1, count, 2, 2),
        np.broadcast_to(fluxes, (*shape, count)).reshape(-1, count),
        *(np.broadcast_to(head, shape).reshape(-1) for head in heads),
    )
    return shape, flat


def _known(offsets: Array, covs: Array, fluxes: Array) -> tuple[Array, Array, Array, Array]:
    """Which items (B,) can be worked on, and all of them with harmless stand-ins elsewhere.

    A blob without light needs neither place nor width.
    """
    lit = (fluxes > 0) | np.isnan(fluxes)
    offsets = np.where(lit[..., None], offsets, 0.0)
    covs = np.where(lit[..., None, None], covs, np.eye(2))
    good = (
        np.all(np.isfinite(offsets), axis=(-2, -1))
        & np.all(np.isfinite(covs), axis=(-3, -2, -1))
        & np.all(np.isfinite(fluxes) & (fluxes >= 0), axis=-1)
        & np.any(fluxes > 0, axis=-1)
        & np.all(np.diagonal(covs, axis1=-2, axis2=-1) > 0, axis=(-2, -1))
        & np.all(np.linalg.det(np.where(np.isfinite(covs), covs, 0.0)) >= 0, axis=-1)
    )
    offsets = np.where(good[:, None, None], offsets, 0.0)
    covs = np.where(good[:, None, None, None], covs, np.eye(2))
    return good.astype(float), offsets, covs, np.where(good[:, None], fluxes, 1.0)


# Each slope of the model is a product of one profile down and one across: 0 share, 1 its slope by
# centre, 2 its slope by sigma, 3 all ones. The slope by sigma is a sum of two such products.
_DOWN = np.array([0, 1, 0, 0, 2, 3])
_ACROSS = np.array([1, 0, 0, 2, 0, 3])
_PARAMETER_OF_TERM = np.array(
    [
        [1, 0, 0, 0, 0, 0],
        [0, 1, 0, 0, 0, 0],
        [0, 0, 1, 0, 0, 0],
        [0, 0, 0, 1, 1, 0],
        [0, 0, 0, 0, 0, 1],
    ],
    float,
)


def _basis(centre: Array, sigma: Array, half_window: int) -> Array:
    """The four profiles (B, 4, n) of which every slope of the model is made."""
    share, d_centre, d_sigma = pixel_profiles(centre, sigma, half_window)
    return np.stack([share, d_centre, d_sigma, np.ones_like(share)], axis=1)


def _information(
    parameters: Array, seen: Array, floor: Array, half_window: int
) -> tuple[Array, Array]:
    """Fisher information (B, 5, 5) and gradient (B, 5) of the round spot's fit.

    Sums over the window are taken down and across in turn, several times faster than over
    whole slope images.
    """
    flux, sigma = parameters[:, 2], np.exp(parameters[:, 3])
    across = _basis(parameters[:, 0], sigma, half_window)
    down = _basis(parameters[:, 1], sigma, half_window)
    light = (flux[:, None] * down[:, 0])[:, :, None] * across[:, None, 0]
    model = light + parameters[:, 4, None, None]
    variance = floor[:, None, None] + np.maximum(model, 0.0)
    weight = 1.0 / np.maximum(variance, _VARIANCE_FLOOR_E2)
    count, side = weight.shape[0], weight.shape[1]
    down_pairs = (down[:, :, None] * down[:, None]).reshape(count, 16, side)
    across_pairs = (across[:, :, None] * across[:, None]).reshape(count, 16, side)
    sums = (down_pairs @ weight @ np.swapaxes(across_pairs, 1, 2)).reshape(count, 4, 4, 4, 4)
    terms = sums[:, _DOWN[:, None], _DOWN, _ACROSS[:, None], _ACROSS]
    pulls = (down @ (weight * (seen - model)) @ np.swapaxes(across, 1, 2))[:, _DOWN, _ACROSS]
    one = np.ones_like(flux)
    scale = np.stack([flux, flux, one, flux * sigma, one], axis=-1)
    information = _PARAMETER_OF_TERM @ terms @ _PARAMETER_OF_TERM.T
    return (
        information * scale[:, :, None] * scale[:, None, :],
        (pulls @ _PARAMETER_OF_TERM.T) * scale,
    )


def _step(parameters: Array, seen: Array, floor: Array, half_window: int) -> Array:
    """One damped step of Fisher scoring: x, y, flux, ln sigma, background (B, 5)."""
    information, gradient = _information(parameters, seen, floor, half_window)
    scale = np.sqrt(np.diagonal(information, axis1=-2, axis2=-1))
    scale = np.where(scale > 0, scale, 1.0)
    balanced = information / (scale[:, :, None] * scale[:, None, :]) + 1e-6 * np.eye(5)
    change = np.linalg.solve(balanced, (gradient / scale)[:, :, None])[:, :, 0] / scale
    moved = parameters + change
    moved[:, :2] = parameters[:, :2] + np.clip(change[:, :2], -1.0, 1.0)
    moved[:, :2] = np.clip(moved[:, :2], -half_window, half_window)
    moved[:, 2] = np.maximum(moved[:, 2], 0.2 * parameters[:, 2])
    moved[:, 3] = parameters[:, 3] + np.clip(change[:, 3], -0.5, 0.5)
    moved[:, 3] = np.clip(moved[:, 3], np.log(_SMALLEST_SIGMA_PX), np.log(2.0 * half_window))
    return moved


def _settle(parameters: Array, seen: Array, floor: Array, half_window: int) -> None:
    """Move the parameters in place until they rest; each item stops on its own."""
    moving = np.arange(parameters.shape[0])
    for _ in range(_ITERATIONS):
        before = parameters[moving]
        after = _step(before, seen[moving], floor[moving], half_window)
        parameters[moving] = after
        change = np.abs(after - before)[:, [0, 1, 3]]
        moving = moving[np.any(change > _AT_REST, axis=-1)]
        if moving.size == 0:
            return


def _misfit(parameters: Array, seen: Array) -> Array:
    """Part of the light (B,) that the fitted spot leaves unexplained near its centre."""
    half_window = seen.shape[-1] // 2
    sigma = np.exp(parameters[:, 3])
    basis = [pixel_profiles(parameters[:, axis], sigma, half_window)[0] for axis in (0, 1)]
    light = parameters[:, 2, None, None] * basis[1][:, :, None] * basis[0][:, None, :]
    pixel = np.arange(-half_window, half_window + 1)
    reach = 3.2 * sigma + 1.0  # as far as a detector's window goes
    near = np.abs(pixel - parameters[:, :2, None]) <= reach[:, None, None]
    window = near[:, 1, :, None] & near[:, 0, None, :]
    left = np.where(window, seen - light - parameters[:, 4, None, None], 0.0)
    explained = np.where(window, light, 0.0)
    total = np.sum(explained**2, axis=(1, 2))
    return np.asarray(np.sqrt(np.sum(left**2, axis=(1, 2)) / np.where(total > 0.0, total, np.nan)))


def centre_of_mixture(
    offsets_px: ArrayLike,
    covs_px: ArrayLike,
    fluxes_e: ArrayLike,
    background_e: ArrayLike,
    read_noise_e: ArrayLike,
    quantisation_e: ArrayLike,
    half_window: int = 9,
) -> MixtureFit:
    """Where one round spot settles when it is fitted to the sum of several Gaussian blobs.

    Parameters
    ----------
    offsets_px : (..., K, 2) [px], centres of the blobs; whole numbers are middles of pixels
    covs_px : (..., K, 2, 2) [px²], positive definite, without the pixel's own width
    fluxes_e : (..., K) [e⁻], ≥ 0
    background_e : (...) [e⁻/px], mean, ≥ 0
    read_noise_e : (...) [e⁻], ≥ 0
    quantisation_e : (...) [e⁻/DN], size of one digital step, ≥ 0
    half_window : int, pixels on either side of the brightest blob's pixel

    Returns
    -------
    MixtureFit
        NaN where no blob has light or an input is unknown; finite otherwise. A blob whose
        light is 0 may have unknown place and width.

    Raises
    ------
    ValueError
        When the shapes do not agree.

    Notes
    -----
    Source: computed here: noiseless blobs, eight damped steps of Fisher scoring with variance
    read² + q²/12 + mean, background free, from the blobs' mean weighted by what each adds at
    the brightest place. The window is set round that place as a detector would. Saturation is
    left out. Two lights of like brightness far apart would be two dots: ask for each alone.

    Examples
    --------
    >>> fit = centre_of_mixture([[0.0, 0.0], [2.0, 0.0]], [np.eye(2), 9 * np.eye(2)],
    ...                         [4000.0, 1000.0], 5.0, 3.0, 1.0)
    >>> print(np.abs(np.round(fit.centre_px, 2)))
    [0.05 0.  ]
    """
    shape, flat = _batch(
        offsets_px,
        covs_px,
        fluxes_e,
        background_e,
        noise_floor_variance(read_noise_e, quantisation_e),
    )

    def fit(
        offsets: Array, covs: Array, fluxes: Array, background: Array, floor: Array
    ) -> tuple[Array, ...]:
        good, offsets, covs, fluxes = _known(offsets, covs, fluxes)
        usable = (good > 0) & np.isfinite(background) & np.isfinite(floor)
        background, floor = np.where(usable, background, 0.0), np.where(usable, floor, 1.0)
        middle, weight, light = _window_image(offsets, covs, fluxes, half_window)
        share = weight / np.sum(weight, axis=-1, keepdims=True)
        place = np.einsum("bk,bki->bi", share, offsets) - middle
        square = np.einsum("bk,bk->b", share, 0.5 * np.trace(covs, axis1=-2, axis2=-1))
        sigma = np.clip(np.sqrt(square), _SMALLEST_SIGMA_PX, 2.0 * half_window)
        start = [place, np.sum(light, (1, 2))[:, None], np.log(sigma)[:, None], background[:, None]]
        parameters = np.concatenate(start, axis=-1)
        _settle(parameters, light + background[:, None, None], floor, half_window)
        centre = np.where(usable[:, None], parameters[:, :2] + middle, np.nan)
        width = np.where(usable, np.exp(parameters[:, 3]), np.nan)
        left = np.where(usable, _misfit(parameters, light + background[:, None, None]), np.nan)
        return centre, width, np.where(usable, parameters[:, 2], np.nan), left

    centre, *others = in_chunks(fit, flat, 5 * (2 * half_window + 1) ** 2)
    return MixtureFit(centre.reshape(*shape, 2), *(each.reshape(shape) for each in others))


def mixture_peak_share(
    offsets_px: ArrayLike, covs_px: ArrayLike, fluxes_e: ArrayLike, half_window: int = 9
) -> Array:
    """Which share of all the blobs' light the brightest pixel takes.

    Multiply by the summed flux and add the background to judge saturation.

    Parameters
    ----------
    offsets_px, covs_px, fluxes_e, half_window : as in `centre_of_mixture`

    Returns
    -------
    (...) [1]; NaN where no blob has light or an input is unknown

    Raises
    ------
    ValueError
        When the shapes do not agree.

    Examples
    --------
    >>> print(round(float(mixture_peak_share([[0.0, 0.0]], [np.eye(2)], [100.0])), 4))
    0.1466
    """
    shape, flat = _batch(offsets_px, covs_px, fluxes_e)

    def peak(offsets: Array, covs: Array, fluxes: Array) -> tuple[Array]:
        good, offsets, covs, fluxes = _known(offsets, covs, fluxes)
        light = _window_image(offsets, covs, fluxes, half_window)[2]
        return (np.where(good > 0, np.max(light, axis=(-2, -1)) / np.sum(fluxes, axis=-1), np.nan),)

    (share,) = in_chunks(peak, flat, (2 * half_window + 1) ** 2)
    return share.reshape(shape)
