"""The delay budget: from the hand's motion to light on the display, stage by stage."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.records.resolved import ResolvedCameras, ResolvedRig

Array = NDArray[Any]

COMPUTING_S = 0.002
"""Assumed until it is measured on the computer at hand (an assumption of ours, no source)."""

TYPICAL = (
    "camera's and display's own delays are taken as typical, at worst too: worst is the slowest "
    "moment, which waits a whole frame of each, not the slowest parts"
)
"""What a plan assumes of its delay."""

STAGES = ("exposure", "readout", "camera", "computing", "frame-wait", "display")


@dataclass(frozen=True)
class DelayBudget:
    """Stage to (R,) [s]: mean, and worst as of the slowest moment; each stage of `STAGES`.

    Either way camera, computing and display take as long as is typical of them.
    """

    mean_s: dict[str, Array]
    worst_s: dict[str, Array]

    @property
    def total_mean_s(self) -> Array:
        """(R,) [s]"""
        return np.sum(list(self.mean_s.values()), axis=0)

    @property
    def total_worst_s(self) -> Array:
        """(R,) [s]"""
        return np.sum(list(self.worst_s.values()), axis=0)


def delay_budget(resolved: ResolvedRig, exposure_s: Array, camera: int = 0) -> DelayBudget:
    """How long the display lags behind the hand.

    Parameters
    ----------
    resolved
        The rigs (R).
    exposure_s
        (R,) of that camera [s].
    camera
        Which camera; of several the slowest rules.

    Returns
    -------
    DelayBudget
        A fix speaks of the middle of the exposure. The mean waits half a frame of the camera
        and half of the display, the worst a whole one each. A rolling shutter's frame is
        complete half its rows later than its middle row on average over the picture, and all
        its rows later at worst.
    """
    s = resolved.surface
    return budget_of(resolved.cameras, exposure_s, camera, s.delay_s, s.refresh_hz)


def budget_of(
    cameras: ResolvedCameras, exposure_s: Array, camera: int, display_s: Array, refresh_hz: Array
) -> DelayBudget:
    """The same for any display.

    Parameters
    ----------
    cameras, exposure_s, camera
        As for `delay_budget`.
    display_s, refresh_hz
        (R,) of the display [s], [Hz]; 0 and infinite where there is none.
    """
    c = cameras
    rows_s = c.row_time_s[:, camera] * c.size_px[:, camera, 1]
    periods = 1.0 / c.frame_rate_hz[:, camera] + 1.0 / refresh_hz
    same = {
        "exposure": np.asarray(exposure_s, float) / 2.0,
        "camera": c.delay_s[:, camera],
        "computing": np.full(len(rows_s), COMPUTING_S),
        "display": display_s,
    }
    mean = same | {"readout": rows_s / 2.0, "frame-wait": periods / 2.0}
    worst = same | {"readout": rows_s, "frame-wait": periods}
    return DelayBudget({k: mean[k] for k in STAGES}, {k: worst[k] for k in STAGES})
