"""A picture of the exposures that serve: grey level against exposure, weakest to strongest dot."""

from __future__ import annotations

from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Canvas
from numpy.typing import NDArray

from rushlight.plan.look import EMBER, INK, QUIET, REED, STYLE
from rushlight.records.light_range import LightRange, LightWindow
from rushlight.records.plan import Plan

Array = NDArray[Any]

_MARGIN = 3.0  # times, on either side of what is told


def light_window(plan: Plan) -> Canvas | None:
    """Peak grey level against exposure for each camera; None where nothing is seen."""
    light = plan.light
    if light is None:
        return None
    cameras = list(dict.fromkeys(one.camera for one in light.windows if one.weakest_e_s))
    if not cameras:
        return None
    with matplotlib.rc_context(STYLE):
        canvas = Canvas(figsize=(9.6, 4.9 * len(cameras) + 0.4), layout="constrained")
        panels = canvas.subplots(len(cameras), 1, squeeze=False)[:, 0]
        for axes, camera in zip(panels, cameras, strict=True):
            _panel(axes, light, [one for one in light.windows if one.camera == camera])
        canvas.suptitle(
            f"{plan.rig_name}: predicted exposures that serve", x=0.02, ha="left", fontweight="bold"
        )
    return canvas


def _panel(axes: Axes, light: LightRange, windows: list[LightWindow]) -> None:
    whole = windows[-1]  # the last stands for all lights together
    time_s = _times(whole)
    weak, strong = (
        100.0 * (peak or 0.0) * time_s / whole.full_scale_e
        for peak in (whole.weakest_e_s, whole.strongest_e_s)
    )
    axes.fill_between(1e3 * time_s, weak, strong, color=REED, alpha=0.35, lw=0.0)
    axes.plot(1e3 * time_s, strong, color=REED, lw=2, label="strongest dot")
    axes.plot(1e3 * time_s, weak, color=REED, lw=2, ls="--", label="weakest dot")
    noise = np.sqrt(whole.noise_floor_e**2 + (whole.background_e_s or 0.0) * time_s)
    needed = 100.0 * light.peak_over_noise * noise / whole.full_scale_e
    axes.plot(
        1e3 * time_s, needed, color=INK, lw=1.5, ls=":",
        label=f"needed: {light.peak_over_noise:g} times the noise",
    )  # fmt: skip
    axes.axhline(100.0, color=INK, lw=1.5)
    axes.axhline(100.0 * light.fullest, color=INK, lw=1.0, ls=(0, (6, 4)))
    start = 1e3 * time_s[0]
    for level, words in ((100.0, "full scale"), (100.0 * light.fullest, "aimed at")):
        axes.annotate(
            words, (start, level), xytext=(4, -4 if level < 100 else 4),
            textcoords="offset points", va="top" if level < 100 else "bottom", fontsize=10,
        )  # fmt: skip
    _usable(axes, whole)
    axes.axvline(1e3 * whole.exposure_s, color=EMBER, lw=2.5)
    axes.annotate(
        f"the rig's: {1e3 * whole.exposure_s:.3g} ms",
        (1e3 * whole.exposure_s, 0.0),
        xytext=(5, 6),
        xycoords=("data", "axes fraction"),
        textcoords="offset points",
        color=EMBER,
        fontweight="bold",
    )
    for limit, words, side in (
        (whole.shortest_s, "camera's shortest ", "right"),
        (whole.period_s, " one frame", "left"),
    ):
        axes.axvline(1e3 * limit, color=QUIET, lw=1.2, ls="-.")
        axes.text(
            1e3 * limit, 0.02, words, transform=axes.get_xaxis_transform(), ha=side,
            va="bottom", rotation=90, fontsize=10, color=INK,
        )  # fmt: skip
    axes.set(xscale="log", yscale="log", xlim=(1e3 * time_s[0], 1e3 * time_s[-1]))
    axes.set_ylim(min(0.3, float(needed.min()) / 2.0), 600.0)
    axes.xaxis.set_major_formatter(matplotlib.ticker.FormatStrFormatter("%g"))
    axes.yaxis.set_major_formatter(matplotlib.ticker.FormatStrFormatter("%g"))
    axes.set_xlabel("exposure [ms]")
    axes.set_ylabel("dot's brightest pixel [% of full scale]")
    axes.set_title(f"{whole.camera}: {_words(whole)}", fontsize=12, fontweight="normal")
    axes.legend(loc="upper left", bbox_to_anchor=(0.0, -0.16), ncols=3, frameon=False, fontsize=10)


def _times(whole: LightWindow) -> Array:
    """Exposures (n,) [s] that hold everything told, and some more."""
    told = (
        whole.least_s,
        whole.greatest_s,
        whole.exposure_s,
        whole.shortest_s,
        whole.period_s,
    )
    known = [each for each in told if each is not None and each > 0.0]
    return np.geomspace(min(known) / _MARGIN, max(known) * _MARGIN, 200)


def _usable(axes: Axes, whole: LightWindow) -> None:
    """The exposures that lights and camera both allow, as a bar along the foot."""
    if whole.usable_stops is None or whole.usable_stops < 0.0:
        return
    low = max(whole.least_s or 0.0, whole.shortest_s)
    high = min(whole.greatest_s or whole.period_s, whole.period_s)
    axes.axvspan(1e3 * low, 1e3 * high, color=EMBER, alpha=0.14, lw=0.0)


def _words(whole: LightWindow) -> str:
    if whole.usable_stops is None or whole.usable_stops < 0.0:
        return "no exposure serves every light and way of holding"
    return f"upright band: the exposures that serve, {whole.usable_stops:.1f} stops wide"
