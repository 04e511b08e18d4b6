"""An array of emitters before the retina: every grouping, and the looks at a pulsed light.

Estimates only, as in `rushlight.physics.safety`: the standard and a qualified assessor decide.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.physics.safety import (
    retina_limit_weak_stimulus,
    retina_weight,
    smallest_subtense,
)

Array = NDArray[np.float64]

GREATEST_SUBTENSE_RAD = 0.1
"""Beyond this angle a source counts as large (IEC 62471, α_max; second-hand)."""
TRAIN_S = 0.25
"""Any group of pulses within this time counts together (IEC 62471; from memory)."""
MOST_EDGES = 48
"""Most places looked at along one axis, enough for a ring of 90; more are laid together."""


class WorstGroup(NamedTuple):
    """The grouping that comes nearest to its limit.

    Fields
    ------
    ratio : float [1], of its weighted radiance to the limit
    emitters : int, in it
    alpha_rad : float [rad], its angular subtense, mean of both sides, as the limit counts it
    radiance : float [W·m⁻²·sr⁻¹], weighted, averaged over the group
    """

    ratio: float
    emitters: int
    alpha_rad: float
    radiance: float


def ring_places(count: int, radius_m: float) -> Array:
    """Where (N, 2) [m] emitters stand that are spread evenly on a ring about a lens.

    Examples
    --------
    >>> print(np.round(ring_places(4, 0.02) + 0.0, 3).tolist())
    [[0.02, 0.0], [0.0, 0.02], [-0.02, 0.0], [-0.0, -0.02]]
    """
    turn = 2.0 * np.pi * np.arange(count) / count
    return np.asarray(radius_m * np.stack([np.cos(turn), np.sin(turn)], axis=-1))


def grid_places(columns: int, rows: int, pitch_m: float) -> Array:
    """Where (N, 2) [m] emitters stand that are set side by side in rows.

    Examples
    --------
    >>> grid_places(2, 1, 0.005).tolist()
    [[0.0, 0.0], [0.005, 0.0]]
    """
    across, up = np.meshgrid(np.arange(columns), np.arange(rows))
    return np.asarray(pitch_m * np.stack([across.ravel(), up.ravel()], axis=-1))


def worst_group(
    places_m: ArrayLike,
    intensity_w_sr: ArrayLike,
    face_m: float,
    wavelength_m: float,
    distance_m: float,
    duration_s: float = 30_000.0,
) -> WorstGroup:
    """Which grouping of an array comes nearest to the limit for the retina.

    Every rectangle of neighbours is judged as one source: its light averaged over its own
    rectangle, against the limit for its angle, which is the stricter the larger it is. Neither the
    single emitter nor the whole array need be the worst. Light is not averaged over the smallest
    angle, so that a lone chip counts with its full radiance, as makers' notes have it; that errs
    high.

    Parameters
    ----------
    places_m : (N, 2) [m], across and up, as seen by the eye
    intensity_w_sr : (N,) or scalar [W/sr], toward the eye
    face_m : [m], width of one square emitting face; the bare chip errs high
    wavelength_m : [m], 700 to 1050 nm
    distance_m : [m], > 0
    duration_s : [s], of the look, ≥ 10 µs

    Returns
    -------
    WorstGroup

    Raises
    ------
    ValueError
        When there is no emitter, or places and intensities do not fit each other.

    Notes
    -----
    Source: IEC 62471 (as quoted second-hand) and IEC 60825-1, 4.3 d, from memory: a group is
    judged by the angle α between the smallest and 100 mrad, the mean of both its sides.

    Examples
    --------
    >>> found = worst_group(grid_places(4, 1, 1e-3), 0.16, 0.3e-3, 850e-9, 0.2)
    >>> found.emitters, round(found.ratio, 2)
    (1, 1.63)
    """
    places = np.asarray(places_m, float)
    if places.ndim != 2 or places.shape[1] != 2 or not len(places):
        raise ValueError(f"places_m must be (N, 2) with N of 1 or more; got {places.shape}")
    one = np.asarray(intensity_w_sr, float)
    if one.shape not in ((), (len(places),)):
        raise ValueError(f"intensity_w_sr must be one number or (N,); got {one.shape}")
    each = np.broadcast_to(one, (len(places),))
    (x, column, wide), (y, row, high_m) = (_laid_together(places[:, axis]) for axis in (0, 1))
    left, right = np.triu_indices(len(x))
    low, high = np.triu_indices(len(y))

    def in_windows(values: Array) -> Array:
        """Sum over every window (columns left..right, rows low..high)."""
        grid = np.zeros((len(x) + 1, len(y) + 1))
        np.add.at(grid, (column + 1, row + 1), values)
        table = grid.cumsum(axis=0).cumsum(axis=1)
        ahead = table[right + 1] - table[left]
        return np.asarray(ahead[:, high + 1] - ahead[:, low])

    least = float(smallest_subtense(duration_s))
    spans = ((x[right] - x[left] + wide)[:, None], (y[high] - y[low] + high_m)[None, :])
    counted = np.ones((len(left), len(low)), bool)
    for span in spans:
        counted &= (span == 0.0) | (span + face_m <= GREATEST_SUBTENSE_RAD * distance_m)
    angles = [(span + face_m) / distance_m for span in spans]
    counting = [np.clip(angle, least, GREATEST_SUBTENSE_RAD) for angle in angles]
    alpha = (counting[0] + counting[1]) / 2.0
    light = in_windows(each) / distance_m**2
    radiance = retina_weight(wavelength_m) * light / (angles[0] * angles[1])
    ratio = radiance / retina_limit_weak_stimulus(alpha, duration_s)
    if np.isnan(ratio).any():
        return WorstGroup(float("nan"), len(places), float("nan"), float("nan"))
    at = np.unravel_index(np.argmax(np.where(counted, ratio, -1.0)), ratio.shape)
    count = round(float(in_windows(np.ones(len(places)))[at]))
    if count > 1 and len(places) > 1:
        brightest = int(np.argmax(each))
        alone = worst_group(
            places[[brightest]], each[brightest], face_m, wavelength_m, distance_m, duration_s
        )
        if alone.ratio >= ratio[at]:
            return alone
    return WorstGroup(float(ratio[at]), count, float(alpha[at]), float(radiance[at]))


def _laid_together(coordinate_m: Array) -> tuple[Array, NDArray[np.intp], float]:
    """Places along one axis, which of them each emitter counts at, and how wide a place is [m].

    Many places are laid together on a few, each as wide as the step between them: the tightest
    windows are missed then, the single emitter is not.
    """
    edges = np.unique(np.round(coordinate_m, 9))
    step = 0.0
    if len(edges) > MOST_EDGES:
        edges, step = np.linspace(edges[0], edges[-1], MOST_EDGES, endpoint=False, retstep=True)
    index = np.searchsorted(edges, np.round(coordinate_m, 9), side="right") - 1
    return edges, index, float(step)


def looks(pulse_s: float, duty: float, long_s: float = 30_000.0) -> dict[str, float]:
    """How long a look at a pulsed light lasts, counted in light: each is to be judged.

    Parameters
    ----------
    pulse_s : [s], length of one pulse
    duty : [1], share of the time lit
    long_s : [s], of a long stay, for which the time average of the light counts

    Returns
    -------
    dict
        Name of the look to seconds: "single pulse" and "pulses within 0.25 s", taken as one pulse
        of their summed length and full brightness; "long stay".

    Notes
    -----
    Source: IEC 62471: each single pulse and any group within 0.25 s, then the average; from
    memory.

    Examples
    --------
    >>> looks(0.001, 0.06)
    {'single pulse': 0.001, 'pulses within 0.25 s': 0.015, 'long stay': 30000.0}
    """
    return {
        "single pulse": pulse_s,
        f"pulses within {TRAIN_S:g} s": max(pulse_s, duty * TRAIN_S),
        "long stay": long_s,
    }
