"""Which dots of a frame could be lights."""

from __future__ import annotations

import numpy as np

from rushlight.records.dots import REASONS, Dots

DOUBTFUL_SHARE = 0.3
"""Share of the dimmest light's peak that a doubtful dot must have to count; no source."""

_HOT = REASONS.index("hot pixel")


def likely_lights(found: Dots, least_dn: float) -> Dots:
    """The dots that could be lights: the good ones, and doubtful ones as bright as lights.

    A light that meets another, or the picture's edge, makes a doubtful dot, and its trail needs
    that dot. Noise makes doubtful dots too, and would lead trails astray. Hot pixels never count.

    Parameters
    ----------
    found
        All dots of a frame.
    least_dn
        Least peak of a doubtful dot [grey levels]; infinite to take good dots only.
    """
    bright = (found.peak >= least_dn) & (found.reason != _HOT)
    kept = (found.reason == 0) | bright
    if np.all(kept):
        return found
    return found.replace(
        xy=found.xy[kept],
        cov=found.cov[kept],
        flux=found.flux[kept],
        width=found.width[kept],
        peak=found.peak[kept],
        saturated=found.saturated[kept],
        quality=found.quality[kept],
        reason=found.reason[kept],
    )
