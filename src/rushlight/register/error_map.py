"""How well a registration is expected to place a light, over the surface: numbers and picture."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np

from rushlight.physics.surface_map import transferred_cov
from rushlight.records.arrays import Array
from rushlight.records.registration import Registration
from rushlight.register.checking import design_of_registration

COLUMNS, ROWS = 49, 31
ARROW_SCALE = 20.0
"""Residuals are drawn so many times longer than they are."""

_PAPER, _INK, _EMBER = "#FBF7EF", "#22262B", "#B34A12"


@dataclass(frozen=True, eq=False)
class ErrorMap:
    """Expected error of the map over the surface.

    Attributes
    ----------
    x_m, y_m
        (X,) and (Y,) places, edge to edge [m].
    rms_m
        (Y, X) expected root-mean-square distance between the place that the map tells and the
        true one, by the registration alone: without the doubt of the single dot, of the way
        the light is held, and of the display's pixels [m].
    """

    x_m: Array
    y_m: Array
    rms_m: Array

    @property
    def worst_m(self) -> float:
        """The greatest of them [m]."""
        return float(np.max(self.rms_m))


def error_map(registration: Registration, columns: int = COLUMNS, rows: int = ROWS) -> ErrorMap:
    """Which error is expected of the map, place by place?

    Parameters
    ----------
    registration
        With its priors, `lens_std` and `flatness_rms_m`.
    columns, rows
        Number of places each way, at least 2.

    Raises
    ------
    ValueError
        When the registration does not tell its priors.
    """
    size = np.array(registration.valid_for.surface_size_m)
    x, y = np.linspace(0.0, size[0], columns), np.linspace(0.0, size[1], rows)
    places = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    design = design_of_registration(registration, places)
    cov = transferred_cov(design, registration.cov)
    rms = np.sqrt(np.trace(cov, axis1=-2, axis2=-1))
    return ErrorMap(x, y, rms.reshape(rows, columns))


def picture(registration: Registration, simulated: bool) -> bytes:
    """The error map with the touches and their residuals, as SVG.

    Parameters
    ----------
    registration
        As for `error_map`.
    simulated
        Whether its touches were simulated; the picture then says so.
    """
    import matplotlib
    from matplotlib.figure import Figure

    found = error_map(registration)
    style = {
        "svg.hashsalt": "rushlight",
        "font.family": "sans-serif",
        "font.size": 11,
        "text.color": _INK,
        "axes.labelcolor": _INK,
        "axes.edgecolor": _INK,
        "xtick.color": _INK,
        "ytick.color": _INK,
    }
    with matplotlib.rc_context(style):
        width, height = registration.valid_for.surface_size_m
        figure = Figure(figsize=(9.0, 2.6 + 7.0 * height / width), facecolor=_PAPER)
        axes = figure.add_subplot()
        axes.set_facecolor(_PAPER)
        shown = axes.contourf(found.x_m, found.y_m, found.rms_m * 1e3, levels=12, cmap="cividis")
        _draw_touches(axes, registration)
        axes.set_aspect("equal")
        axes.set_xlabel("x on the surface [m]")
        axes.set_ylabel("y [m]")
        axes.legend(
            loc="upper center",
            bbox_to_anchor=(0.5, -0.16),
            ncols=2,
            frameon=False,
        )
        axes.set_title(_title(registration, found, simulated), loc="left", fontsize=12)
        bar = figure.colorbar(shown, cax=axes.inset_axes([1.03, 0.0, 0.03, 1.0]))
        bar.set_label("expected error of the map, rms [mm]")
        buffer = io.BytesIO()
        figure.savefig(buffer, format="svg", metadata={"Date": None}, bbox_inches="tight")
    return buffer.getvalue()


def _title(registration: Registration, found: ErrorMap, simulated: bool) -> str:
    kind = "simulated touches" if simulated else "touches"
    vouched = "" if registration.verdict.vouched else " – NOT VOUCHED FOR"
    return (
        f"Registration: error predicted from {kind}, {found.worst_m * 1e3:.1f} mm at worst{vouched}"
    )


def _draw_touches(axes: object, registration: Registration) -> None:
    """Touches as circles (used) or crosses (left out), residuals as arrows."""
    groups = (
        ("touch, and what it misses its beacon by", True, "o"),
        ("touch left out as bad", False, "X"),
    )
    for label, used, marker in groups:
        touches = [touch for touch in registration.touches if touch.used is used]
        if not touches:
            continue
        goal = np.array([touch.goal_m for touch in touches])
        axes.scatter(  # type: ignore[attr-defined]
            *goal.T, marker=marker, s=70, facecolor=_PAPER, edgecolor=_INK, zorder=3,
            label=f"{label} (× {ARROW_SCALE:.0f})" if used else label, clip_on=False,
        )  # fmt: skip
        if used:
            missed = np.array([touch.residual_m or (np.nan, np.nan) for touch in touches])
            axes.quiver(  # type: ignore[attr-defined]
                *goal.T, *(missed * ARROW_SCALE).T, angles="xy", scale_units="xy", scale=1.0,
                color=_EMBER, edgecolor=_PAPER, linewidth=0.5, width=0.008, zorder=4,
            )  # fmt: skip
