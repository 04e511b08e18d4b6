"""Expected electrons to grey levels: the kernels that draw a frame, compiled on first use.

The flat background takes its noise from a table of normal numbers, entered at a random place in
every row: some forty times faster than drawing each pixel anew, and held by tests against exact
Poisson statistics. Where lights fall, pixels of up to 50 electrons are drawn from the Poisson
distribution itself and brighter ones from the normal one of equal variance.
"""

from __future__ import annotations

import functools
import math

import numpy as np
from numba import njit

from rushlight.records.arrays import Array

TABLE_LENGTH = 2**20
POISSON_UP_TO_E = 50.0
_FAINTEST_E = 0.05  # light below this in a pixel is left out
_FAINT_SHARE = 0.02  # light this small beside the background changes its noise by under 1 %


@functools.cache
def noise_table() -> Array:
    """A million standard normal numbers, the same in every run."""
    table = np.random.default_rng(20260101).standard_normal(TABLE_LENGTH, dtype=np.float32)
    table.setflags(write=False)
    return table


@njit(cache=True, nogil=True, fastmath=True)
def _draw_background(level_dn, spread_dn, table, starts, top, out):  # type: ignore[no-untyped-def]
    rows, columns = level_dn.shape
    for i in range(rows):
        start = starts[i]
        for j in range(columns):
            value = level_dn[i, j] + spread_dn[i, j] * table[start + j]
            out[i, j] = out.dtype.type(min(max(value, np.float32(0.0)), top))


@njit(cache=True, nogil=True)
def _profile(centre, sigma, first, count, share):  # type: ignore[no-untyped-def]
    """Share of a Gaussian line in each of `count` pixels from `first` on."""
    scale = 1.0 / (sigma * math.sqrt(2.0))
    below = math.erf((first - 0.5 - centre) * scale)
    for index in range(count):
        above = math.erf((first + index + 0.5 - centre) * scale)
        share[index] = 0.5 * (above - below)
        below = above


@njit(cache=True, nogil=True)
def _window(centre, variance, radii, length):  # type: ignore[no-untyped-def]
    half = radii * math.sqrt(variance) + 1.0
    first = max(0, math.floor(centre - half))
    return first, min(length, math.ceil(centre + half) + 1)


@njit(cache=True, nogil=True)
def add_spot(light, x, y, cov_xx, cov_xy, cov_yy, electrons, bounds):  # type: ignore[no-untyped-def]
    """Add the expected electrons of one Gaussian light, integrated over pixels.

    The two marginals are integrated exactly; correlation enters as the ratio of correlated to
    uncorrelated density, each widened by the pixel's own variance. `bounds` receives the rows
    and columns touched: top, bottom, left, right.
    """
    rows, columns = light.shape
    wide_xx, wide_yy = cov_xx + 1.0 / 12.0, cov_yy + 1.0 / 12.0
    rho = cov_xy / math.sqrt(wide_xx * wide_yy)
    spare = 1.0 - rho * rho
    peak = electrons / (2.0 * math.pi * math.sqrt(wide_xx * wide_yy * spare))
    bounds[:] = 0
    if not peak > _FAINTEST_E:
        return
    radii = math.sqrt(2.0 * math.log(peak / _FAINTEST_E))
    left, right = _window(x, wide_xx, radii, columns)
    top, bottom = _window(y, wide_yy, radii, rows)
    if left >= right or top >= bottom:
        return
    across, down = np.empty(right - left), np.empty(bottom - top)
    _profile(x, math.sqrt(cov_xx), left, right - left, across)
    _profile(y, math.sqrt(cov_yy), top, bottom - top, down)
    per_u, per_v = 1.0 / math.sqrt(wide_xx), 1.0 / math.sqrt(wide_yy)
    scale = electrons / math.sqrt(spare)
    for i in range(top, bottom):
        if abs(rho) < 1e-9:
            for j in range(left, right):
                light[i, j] += electrons * down[i - top] * across[j - left]
            continue
        v = min(max((i - y) * per_v, -6.0), 6.0)
        for j in range(left, right):
            u = min(max((j - x) * per_u, -6.0), 6.0)
            bend = -(rho * rho * (u * u + v * v) - 2.0 * rho * u * v) / (2.0 * spare)
            light[i, j] += scale * down[i - top] * across[j - left] * math.exp(bend)
    bounds[0], bounds[1], bounds[2], bounds[3] = top, bottom, left, right


@njit(cache=True, nogil=True)
def _draw_lights(  # type: ignore[no-untyped-def]
    background_e, spots, gain, black, read_e, top, table, starts, rng, noisy, light, out
):
    """Draw the pixels on which lights fall, and leave `light` empty again."""
    windows = np.zeros((spots.shape[0], 4), np.int64)
    for k in range(spots.shape[0]):
        if spots[k, 5] > 0.0 and math.isfinite(spots[k, 0]) and math.isfinite(spots[k, 1]):
            add_spot(
                light,
                spots[k, 0],
                spots[k, 1],
                spots[k, 2],
                spots[k, 3],
                spots[k, 4],
                spots[k, 5],
                windows[k],
            )
    for k in range(windows.shape[0]):
        for i in range(windows[k, 0], windows[k, 1]):
            start = starts[i]
            for j in range(windows[k, 2], windows[k, 3]):
                own = light[i, j]
                if own == 0.0:
                    continue  # drawn already in another window
                light[i, j] = 0.0
                mean = background_e[i, j] + own
                value = mean
                if noisy:
                    if mean > POISSON_UP_TO_E or own < _FAINT_SHARE * background_e[i, j]:
                        value += math.sqrt(mean + read_e * read_e) * table[start + j]
                    else:
                        value = rng.poisson(mean) + read_e * table[start + j]
                level = math.floor(value / gain + black + 0.5)
                out[i, j] = out.dtype.type(min(max(level, 0.0), top))


class Sensor:
    """Turns expected electrons into frames of grey levels.

    Parameters
    ----------
    background_e : (H, W) [e⁻]
        Expected electrons without any light of a stylus.
    gain_e_per_dn : float [e⁻/DN], > 0
    black_dn : float [DN]
        Grey level of darkness.
    read_noise_e : float [e⁻], ≥ 0
    levels : int, 2 to 65536
    noisy : bool
        Whether there is shot and read noise; frames are rounded to whole levels either way.
    rng : numpy Generator
    """

    def __init__(
        self,
        background_e: Array,
        gain_e_per_dn: float,
        black_dn: float,
        read_noise_e: float,
        levels: int,
        noisy: bool,
        rng: np.random.Generator,
    ) -> None:
        self._background = np.ascontiguousarray(background_e, dtype=np.float64)
        self._gain, self._black = float(gain_e_per_dn), float(black_dn)
        self._read, self._top = float(read_noise_e), float(levels - 1)
        self._noisy, self._rng = noisy, rng
        # Half a level is added beforehand, so that cutting off the fraction rounds.
        self._level = (self._background / gain_e_per_dn + black_dn + 0.5).astype(np.float32)
        spread = np.sqrt(self._background + self._read**2) / gain_e_per_dn
        self._spread = (spread if noisy else 0.0 * spread).astype(np.float32)
        self._light = np.zeros_like(self._background)
        self._table = noise_table()

    def expose(self, spots: Array) -> Array:
        """One frame.

        Parameters
        ----------
        spots : (M, 6)
            x, y [px]; xx, xy, yy [px²]; electrons [e⁻]. Lights off the picture, of no
            electrons or of unknown place leave nothing.

        Returns
        -------
        (H, W) uint8 [DN], or uint16 of more than 256 levels
        """
        rows, columns = self._level.shape
        starts = self._rng.integers(0, TABLE_LENGTH - columns, rows)
        out = np.empty((rows, columns), np.uint8 if self._top < 256 else np.uint16)
        _draw_background(self._level, self._spread, self._table, starts, np.float32(self._top), out)
        _draw_lights(
            self._background,
            np.ascontiguousarray(spots, dtype=np.float64),
            self._gain,
            self._black,
            self._read,
            self._top,
            self._table,
            starts,
            self._rng,
            self._noisy,
            self._light,
            out,
        )
        return out
