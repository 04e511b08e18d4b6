"""The one light of a take: its flux and width from frame to frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.inspect.takes import Take, images, too_few
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots
from rushlight.see.detect import Detector


@dataclass(frozen=True, eq=False)
class Light:
    """The brightest dot of each frame.

    Attributes
    ----------
    frames
        Frames looked at.
    time_s
        (N,) of the frames in which a dot was seen whole.
    flux_dn
        (N,) sum over the dot's pixels above the background [DN].
    width_px
        (N,) its standard deviation along an axis [px].
    saturated
        Frames whose brightest dot holds white pixels; they are not among the N.
    """

    frames: int
    time_s: Array
    flux_dn: Array
    width_px: Array
    saturated: int

    @property
    def seen(self) -> int:
        """Frames with a dot, white ones included."""
        return len(self.time_s) + self.saturated


def light_of(take: Take, least: int = 1, most: int | None = None) -> Light:
    """The brightest dot of each frame of a take.

    Parameters
    ----------
    take
        Of one light in dark surroundings.
    least
        Fewest frames.
    most
        Frames to look at; None for all.

    Raises
    ------
    RushlightError
        When there are fewer frames than `least`.
    """
    detector: Detector | None = None
    rows: list[tuple[float, float, float]] = []
    frames = saturated = 0
    for frame, image in images(take):
        if detector is None:
            detector = Detector(image.shape[1], image.shape[0])
        frames += 1
        best = _brightest(detector(image))
        if best is not None:
            dots, index = best
            if dots.saturated[index] > 0:
                saturated += 1
            else:
                width = float(np.sqrt(0.5 * (dots.width[index, 0] + dots.width[index, 2])))
                rows.append((frame.capture_ns * 1e-9, float(dots.flux[index]), width))
        if frames == most:
            break
    if frames < least:
        raise too_few(take, frames, least)
    table = np.array(rows, float).reshape(-1, 3)
    return Light(frames, table[:, 0], table[:, 1], table[:, 2], saturated)


def _brightest(dots: Dots) -> tuple[Dots, int] | None:
    good = dots.good()
    if not len(good):
        return None
    # A white dot's flux is ill known, its presence is not.
    strength = np.where(good.saturated > 0, np.inf, np.nan_to_num(good.flux))
    return good, int(strength.argmax())
