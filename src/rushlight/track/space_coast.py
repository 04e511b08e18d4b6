"""What becomes of a thing while too few of its lights are seen: where it drifts, and the doubt.

Hands and heads keep their way for a while and then forget it. Their speed is taken for an
Ornstein–Uhlenbeck process: it fades from what it was, and what it becomes instead is as great as
the thing's speeds have been lately. Whatever dots are left tell the rest, so that the doubt grows
only where they tell nothing.
"""

from __future__ import annotations

import math

import numpy as np

from rushlight.physics.geometry.pose_fit import Belief
from rushlight.physics.geometry.rotation import pose_moved
from rushlight.records.arrays import Array
from rushlight.records.space import Thing
from rushlight.track.space_pose import main_cov

WAY_S = 0.3
"""For how long hands and heads keep their way [s]; our choice, no source."""
LATELY_S = 1.0
"""Speeds are averaged over about so long [s]; our choice, no source."""
REST_M_S, REST_RAD_S = 0.1, 0.3
"""A thing that rests may begin to move like this at any time; our choice, no source."""
USELESS = 1.0
"""A coast ends once its doubt, in any direction, is so many times that of a thing which may be
anywhere in its zone: it tells nothing any more that the zone does not (our choice)."""
_LEAST_ZONE_M = 0.05  # of a zone's deviation, where it is flat (our choice)


def kept_s(since_s: float) -> float:
    """How far a thing drifts on along the way that it had, in seconds of its speed.

    Parameters
    ----------
    since_s : float [s], ≥ 0
        For how long it has coasted.

    Notes
    -----
    Source: the Ornstein–Uhlenbeck process (Uhlenbeck & Ornstein 1930; from memory); a test holds
    this and `spread_s2` against many simulated walks.
    """
    return WAY_S * -math.expm1(-since_s / WAY_S)


def spread_s2(since_s: float) -> float:
    """Variance of what is drifted beside, as a multiple of the squared lasting speed [s²].

    Parameters
    ----------
    since_s : float [s], ≥ 0
        For how long the thing has coasted.

    Notes
    -----
    Source: as of `kept_s`.
    """
    share = since_s / WAY_S
    bracket = 2.0 * share - 3.0 + 4.0 * math.exp(-share) - math.exp(-2.0 * share)
    return WAY_S**2 * max(bracket, 0.0)


class Pace:
    """How fast a thing has moved and turned lately."""

    def __init__(self) -> None:
        self._for_s = 0.0
        self._square = np.zeros(2)

    def moved(self, rate: Array, gap_s: float) -> None:
        """Take a rate (6,) [m/s, rad/s] that was kept for a while [s]."""
        self._for_s = min(self._for_s + gap_s, LATELY_S)
        now = np.sum(rate.reshape(2, 3) ** 2, axis=-1)
        self._square = self._square + gap_s / self._for_s * (now - self._square)

    def std(self, unknown: Array) -> Array:
        """(2,) deviation of speed [m/s] and turning [rad/s] along each axis.

        Parameters
        ----------
        unknown
            (2,) with what a thing is credited that was never seen to move.
        """
        square = self._square if self._for_s > 0.0 else unknown**2
        return np.sqrt(np.maximum(square / 3.0, np.array([REST_M_S, REST_RAD_S]) ** 2))


def coasting(
    thing: Thing, pose: Array, cov: Array, rate: Array | None, std: Array, since_s: float
) -> tuple[Array, Array]:
    """Where a thing is a while after it was last seen whole, as far as nothing else tells.

    Parameters
    ----------
    thing
        Its ranges bound how far it can have turned.
    pose, cov
        (4, 4) and (6, 6) when it was last seen whole.
    rate
        (6,) of its way then [m/s, rad/s], or None.
    std
        (2,) of its speed and turning along each axis.
    since_s : float [s], ≥ 0

    Returns
    -------
    pose, cov : (4, 4), (6, 6)
    """
    moved = pose if rate is None else pose_moved(pose, rate * kept_s(since_s))
    # Without a way that is known, all of the speed is open from the start.
    open_s2 = spread_s2(since_s) + (kept_s(since_s) ** 2 if rate is None else 0.0)
    grown = np.repeat(std**2 * open_s2, 3)
    # Two ways of being turned within the ranges differ by twice the variance of one at most.
    grown[3:] = np.minimum(grown[3:], 2.0 * thing.ranges_rad[[1, 0, 2]] ** 2 / 3.0)
    return moved, cov + np.diag(grown)


def as_belief(pose: Array, cov: Array) -> Belief:
    """A pose and its covariance (6, 6) as what is believed before dots are seen."""
    return Belief(pose, np.linalg.inv(cov))


def useless(thing: Thing, pose: Array, cov: Array) -> bool:
    """Whether a pose tells less, in some direction, than that the thing is in its zone.

    Parameters
    ----------
    thing
        Whose zone.
    pose, cov
        (4, 4) and (6, 6) [m, rad]; one that is not finite tells nothing.
    """
    zone_m = np.maximum((thing.high_m - thing.low_m) / math.sqrt(12.0), _LEAST_ZONE_M)
    share = main_cov(thing, pose, cov)[:3, :3] / np.outer(zone_m, zone_m)
    if not np.isfinite(share).all():
        return True
    return bool(np.linalg.eigvalsh(share)[-1] >= USELESS**2)
