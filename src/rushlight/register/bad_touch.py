"""Which touch is bad: one that its fellows, the lens and the wall cannot explain.

Each touch is left out in turn; the misfit then falls by a chi-square of two degrees of freedom
if all is as supposed. The greatest fall is judged against a level shared among the touches
(Bonferroni), so that a good registration loses a touch once in a hundred times, however many
touches it has. With five touches two degrees of freedom are left, and leaving out any one of
them explains everything: such a registration shows that a touch is bad, but not which.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from scipy import special

from rushlight.physics.geometry import apply_homography, fit_homography, undistort_px
from rushlight.records.arrays import Array
from rushlight.register.solve import Lens, MapFit, Touches, Wall, own_misfit, solve_map

FALSE_ALARM = 0.01
"""Chance that a registration whose touches are all good loses one (our own choice)."""

FEWEST_TELLING = 6
"""Fewest touches by one stylus of which a bad one can be told."""

MOST_BAD = 0.25
"""If more than this part of the touches disagree, it is not they that are bad (our choice)."""

_SUSPECTS = 4


def fewest_telling(touches: Touches) -> int:
    """Fewest touches of which a bad one can be told; each further stylus costs one touch."""
    return FEWEST_TELLING - 1 + touches.styli()[1]


def sift(touches: Touches, lens: Lens, wall: Wall) -> tuple[MapFit, Array]:
    """Which map do the good touches tell, and which touches are good?

    Parameters
    ----------
    touches
        At least four.
    lens, wall
        As known beforehand.

    Returns
    -------
    fit : MapFit
        By the touches that are used.
    used : (T,) bool
        Bad touches are left out one by one, the worst first, while six or more are in use and
        at most a quarter of them is bad.

    Raises
    ------
    ValueError
        When the touches leave the plane undetermined.

    Notes
    -----
    Source: deletion of one observation, Cook & Weisberg, "Residuals and Influence in
    Regression", 1982, section 2.2 (from memory); the level shared by Bonferroni's inequality.
    """
    used = np.arange(len(touches))
    whole = fit = _fit_or_none(touches, lens, wall)
    fewest = max(fewest_telling(touches) - 1, int(np.ceil(len(touches) * (1.0 - MOST_BAD))))
    while fit is None or np.nanmax(own_misfit(fit)) >= _greatest_fall(len(used)):
        if len(used) <= fewest:
            # So many bad touches are no bad touches: what is supposed of all of them is wrong.
            used, fit = np.arange(len(touches)), whole
            break
        worst, without = _worst(touches.take(used), fit, lens, wall)
        used, fit = np.delete(used, worst), without
    if fit is None:
        fit = solve_map(touches.take(used), lens, wall)
    return fit, np.isin(np.arange(len(touches)), used)


def _worst(
    touches: Touches, fit: MapFit | None, lens: Lens, wall: Wall
) -> tuple[int, MapFit | None]:
    """Index of the touch that fits worst, and the fit without it.

    First order names the suspects; which of them it is, only fits without them tell: a touch
    at the wrong beacon bends the map too far for first order. Where no map fits at all, it is
    the touch farthest off the plane on which most agree.
    """
    everyone = np.arange(len(touches))
    if fit is None:
        worst = int(np.argmax(_off_the_common_plane(touches, lens)))
        return worst, _fit_or_none(touches.take(everyone != worst), lens, wall)
    suspects = np.argsort(-np.nan_to_num(own_misfit(fit)))[:_SUSPECTS]
    fits = [(int(i), _fit_or_none(touches.take(everyone != i), lens, wall)) for i in suspects]
    return min(fits, key=lambda pair: np.inf if pair[1] is None else pair[1].misfit)


def _off_the_common_plane(touches: Touches, lens: Lens) -> Array:
    """Distance (T,) [m] of each touch by the plane map of four of them that most agree with.

    Source: least median of squares, Rousseeuw, J. American Statistical Association 79, 1984,
    871 (from memory); over all choices of four.
    """
    normalised = undistort_px(touches.px, lens.K, lens.k)
    best = np.full(len(touches), np.inf)
    for four in combinations(range(len(touches)), 4):
        chosen = list(four)
        try:
            H = fit_homography(normalised[chosen], touches.goal_m[chosen])
        except ValueError:
            continue
        off = np.linalg.norm(apply_homography(H, normalised) - touches.goal_m, axis=-1)
        if np.median(off) < np.median(best):
            best = off
    return best


def _greatest_fall(touches: int) -> float:
    """What the misfit falls by at most, leaving out the worst of so many good touches."""
    return float(special.chdtri(2, FALSE_ALARM / touches))


def _fit_or_none(touches: Touches, lens: Lens, wall: Wall) -> MapFit | None:
    try:
        return solve_map(touches, lens, wall)
    except ValueError:
        return None
