"""Where touches are in a registration's own metres, so that the picture under them is surveyed.

The registration's error is common to these touches and to all that is mapped later. Between the
camera and the display it therefore nearly cancels; what is stated here is the doubt of the metres.
"""

from __future__ import annotations

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.registration import Registration
from rushlight.register.checking import miss_cov, placed


def touched_places(
    registration: Registration, px: Array, px_cov: Array, aside_m: Array
) -> tuple[Array, Array]:
    """Where were lights held, and how far is each place doubted?

    Parameters
    ----------
    registration
        With its priors.
    px, px_cov
        (T, 2) and (T, 2, 2) where the lights were seen [px].
    aside_m
        (2,) where this stylus's touches lie on average, from those that the map serves [m].

    Returns
    -------
    places_m
        (T, 2) [m]; NaN where the map does not reach.
    std_m
        (T,) standard deviation along each axis, the root-mean-square of both [m].

    Raises
    ------
    ValueError
        When the registration does not tell its priors.
    """
    places, own = placed(registration, px, px_cov)
    places = places - aside_m
    std = np.full(len(places), np.nan)
    known = np.flatnonzero(np.all(np.isfinite(places), axis=1))
    scatter = np.full(len(known), registration.touch_std_m)
    shared = np.diag(miss_cov(registration, places[known], scatter)).reshape(-1, 2)
    std[known] = np.sqrt((shared + np.diagonal(own[known], axis1=1, axis2=2)).mean(axis=1))
    return places, std
