"""Does a registration still hold: two touches, chosen where a turned camera would show most.

What two touches miss their beacons by has a covariance that is known beforehand: the map's own
doubt, which both share, and the scatter of either touch. So the misses are judged together, and how
often a good registration is called bad is chosen, not found out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.physics.surface_map import camera_of_plane_map, map_px
from rushlight.physics.surface_model import map_design
from rushlight.records.arrays import Array
from rushlight.records.registration import Registration

FALSE_ALARM = 0.01
"""How often registrations that still hold are called no-go by their touches (our own choice).

Over registrations: one that is by chance further off than most is so every morning, and is called
no-go more often; it is also the one that best is made anew."""

SHOWN_WITH = 0.9
"""Chance with which the turn that is told would be noticed (our own choice)."""

_NUDGE_RAD = 1e-5


@dataclass(frozen=True, eq=False)
class Checked:
    """What check touches say.

    Attributes
    ----------
    missed_m
        (T, 2) where the map puts each touch less its beacon [m].
    expected_m
        (T,) root-mean-square of that miss if the registration holds [m].
    misfit, freedom
        The misses in units of their covariance, squared (the squared Mahalanobis distance), and
        its degrees of freedom: chi-square if all is as supposed.
    chance
        Of a misfit so great or greater, if the registration holds.
    """

    missed_m: Array
    expected_m: Array
    misfit: float
    freedom: int
    chance: float

    @property
    def holds(self) -> bool:
        """Whether the registration may still be relied on."""
        return self.chance >= FALSE_ALARM


def design_of_registration(registration: Registration, places_m: Array) -> Array:
    """How the mapped place of a light moves with each parameter: (N, 2, 20) [m].

    Parameters
    ----------
    registration
        With its priors.
    places_m
        (N, 2) [m].

    Raises
    ------
    ValueError
        When the registration does not tell its priors.
    """
    if registration.lens_std is None or registration.flatness_rms_m is None:
        raise ValueError("expected a registration with lens_std and flatness_rms_m")
    size_m, one = np.array(registration.valid_for.surface_size_m), registration.maps[0]
    return map_design(
        places_m,
        size_m,
        one.camera_matrix,
        one.distortion,
        registration.lens_std,
        camera_of_plane_map(one.surface_from_normalised, size_m),
        registration.flatness_rms_m,
        k_corr=0.0 if registration.lens_corr is None else registration.lens_corr,
    )


def turn_design(registration: Registration, places_m: Array) -> Array:
    """By how much mapped places move when the camera turns about each of its axes.

    Parameters
    ----------
    registration
        Tells where the camera is.
    places_m
        (N, 2) [m].

    Returns
    -------
    (N, 2, 3) [m/rad]
    """
    size_m = np.array(registration.valid_for.surface_size_m)
    pose = camera_of_plane_map(registration.maps[0].surface_from_normalised, size_m)
    eye = pose[:3, 3]
    ray = np.concatenate([places_m, np.zeros((len(places_m), 1))], axis=1) - eye
    columns = []
    for axis in pose[:3, :3].T:
        turned = ray + _NUDGE_RAD * np.cross(axis, ray)
        met = eye + turned * (-eye[2] / turned[:, 2:])
        columns.append((met[:, :2] - places_m) / _NUDGE_RAD)
    return np.stack(columns, axis=-1)


def placed(registration: Registration, px: Array, px_cov: Array) -> tuple[Array, Array]:
    """Where a registration puts dots on the surface, and how far their own doubt reaches there.

    Parameters
    ----------
    registration
        Of one camera.
    px, px_cov
        (N, 2) [px] and (N, 2, 2) [px²] of the dots.

    Returns
    -------
    places_m
        (N, 2) [m]; NaN where the map does not reach.
    cov_m2
        (N, 2, 2) [m²], without the registration's own doubt.
    """
    one = registration.maps[0]
    return map_px(
        px,
        px_cov,
        np.array(one.camera_matrix),
        np.array(one.distortion),
        np.array(one.surface_from_normalised),
        np.array(registration.flatness_m),
        np.array(registration.valid_for.surface_size_m),
        np.array(one.camera_position_m),
    )


def miss_cov(registration: Registration, places_m: Array, scatter_m: Array) -> Array:
    """Covariance of the misses of touches at places, all together: (2 N, 2 N) [m²].

    Parameters
    ----------
    registration
        With its priors.
    places_m
        (N, 2) [m].
    scatter_m
        (N,) how far a touch lies from its beacon along each axis [m].
    """
    rows = design_of_registration(registration, places_m).reshape(-1, len(registration.parameters))
    shared = rows @ np.array(registration.cov, float) @ rows.T
    return np.asarray(shared + np.diag(np.repeat(scatter_m**2, 2)))


def check_places(
    registration: Registration, places_m: Array, scatter_m: Array
) -> tuple[tuple[int, int], float]:
    """Which two places to touch, so that a turned camera shows most against what is expected?

    Parameters
    ----------
    registration
        With its priors.
    places_m
        (M, 2) places that can be touched [m], M ≥ 2.
    scatter_m
        (M,) as of `miss_cov`.

    Returns
    -------
    pair
        Indices; the misses there tell most about the three angles together (D-optimality).
    turn_rad
        The turn, about whichever axis shows it least, that would be noticed there with a chance
        of `SHOWN_WITH` [rad].
    """
    turn = turn_design(registration, places_m)
    cov = miss_cov(registration, places_m, scatter_m)
    first, second = np.triu_indices(len(places_m), 1)
    at = np.stack([2 * first, 2 * first + 1, 2 * second, 2 * second + 1], axis=1)
    own = cov[at[:, :, None], at[:, None, :]]
    rows = np.concatenate([turn[first], turn[second]], axis=1)
    told = np.swapaxes(rows, 1, 2) @ np.linalg.solve(own, rows)
    best = int(np.argmax(np.linalg.slogdet(told)[1]))
    least = float(np.linalg.eigvalsh(told[best])[0])
    return (int(first[best]), int(second[best])), float(np.sqrt(_noticed(4) / least))


def check(
    registration: Registration,
    goal_m: Array,
    px: Array,
    px_cov: Array,
    scatter_m: Array,
    aside_m: Array,
) -> Checked:
    """Do touches lie where the registration says?

    Parameters
    ----------
    registration
        With its priors.
    goal_m, px, px_cov
        (T, 2) beacons [m], (T, 2) and (T, 2, 2) where the light was seen [px].
    scatter_m
        (T,) as of `miss_cov`.
    aside_m
        (2,) where this stylus's touches lie on average, from those that the map serves [m].
    """
    from scipy import stats

    place, own = placed(registration, px, px_cov)
    missed = place - goal_m - aside_m
    cov = miss_cov(registration, goal_m, scatter_m)
    for index in range(len(goal_m)):
        span = slice(2 * index, 2 * index + 2)
        cov[span, span] += own[index]
    flat = missed.reshape(-1)
    # Where the map does not reach there is no miss to judge, and nothing holds.
    misfit = float(flat @ np.linalg.solve(cov, flat)) if np.all(np.isfinite(flat)) else np.inf
    spread = np.diag(cov).reshape(-1, 2).sum(axis=1)
    return Checked(
        missed, np.sqrt(spread), misfit, len(flat), float(stats.chi2.sf(misfit, len(flat)))
    )


def _noticed(freedom: int) -> float:
    """How far off, squared and in units of the covariance, is noticed with `SHOWN_WITH`."""
    from scipy import stats
    from scipy.optimize import brentq

    level = stats.chi2.isf(FALSE_ALARM, freedom)
    return float(brentq(lambda far: stats.ncx2.sf(level, freedom, far) - SHOWN_WITH, 1e-3, 1e3))
