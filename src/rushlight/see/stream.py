"""How low a dot may be in a compressed stream, whose noise is no longer that of the sensor.

A lossy coder smooths most of the noise away and leaves blocks and ripples in its place, which
hang together over several pixels and come in few heights. A threshold made from the pixels' own
noise lets some of them pass for dots, and so does one made from the blocks' usual scatter: it is
the rare ripple that passes. The floor is therefore measured on what does pass.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from rushlight.see.detect import Detector, Picture

MARGIN = 1.5
"""Floor over the highest ripple seen: ten pictures do not show the highest of the next thousand
(chosen by trial on pictures coded by ITU-T T.81)."""


def contrast_floor_dn(frames: Iterable[Picture]) -> float:
    """The `least_contrast_dn` that keeps a compressed stream's ripples from passing for dots.

    Parameters
    ----------
    frames
        (H, W) pictures of the scene without the lights, of one size; ten or more tell it better.

    Returns
    -------
    float
        Least peak of a good dot [DN]; 0 where nothing in the pictures passes for one.

    Raises
    ------
    ValueError
        When there is no frame.
    """
    detector: Detector | None = None
    highest_dn = 0.0
    for frame in frames:
        if detector is None:
            detector = Detector(frame.shape[1], frame.shape[0])
        good = detector(frame).good()
        highest_dn = max(highest_dn, float(np.max(good.peak, initial=0.0)))
    if detector is None:
        raise ValueError("expected one picture at least, got none")
    return MARGIN * highest_dn
