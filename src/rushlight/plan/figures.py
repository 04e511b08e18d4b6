"""The plan's numbers as `Figure` records, ready to be joined with what is measured later."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.comparison import relative_cost
from rushlight.physics.motion import delay_displacement
from rushlight.plan.delay import STAGES, DelayBudget
from rushlight.plan.evaluate import Evaluation
from rushlight.plan.eyes import LONG
from rushlight.plan.power import PowerLine
from rushlight.plan.sight import sharp_between, view_left
from rushlight.plan.spread import LEVEL, distances, quantile_spread, rms_spread
from rushlight.records.circuit import PlanCircuit
from rushlight.records.figure import ERROR_CAUSES, Figure, FigureName, Scope
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.records.safety import EyeLine

Array = NDArray[Any]

AT_EACH_PLACE = "root-mean-square at each place"
HIDDEN = "hidden by the holder's own body"
_BUILDS = (
    "first-order budget; interval: most builds to this plan, by draws of lens, wall, touches and "
    "fixes; tolerances of the parts are not varied"
)
_SINGLE = "distances of single fixes over many builds drawn from the budget; interval: most builds"
_PLACES = "over the places of the grid in view"


@dataclass(frozen=True)
class Names:
    """What the axes of an evaluation are called.

    Attributes
    ----------
    rig
        Name of the rig.
    cameras
        Ids along C.
    carried
        Id of the carried thing for every emitter along E.
    """

    rig: str
    cameras: tuple[str, ...]
    carried: tuple[str, ...]


_predicted = functools.partial(Figure, basis="predicted")


def finite(value: Any) -> float | None:
    """The number, or None where it is not known."""
    number = float(value)
    return number if math.isfinite(number) else None


def error_figures(evaluation: Evaluation, names: Names) -> list[Figure]:
    """Error by cause, over the whole rig and for each carried thing."""
    causes = (*ERROR_CAUSES, "all")
    drawn = {cause: distances(evaluation, cause) for cause in causes}
    scopes: list[tuple[Scope, slice]] = [(Scope(rig=names.rig), slice(None))]
    scopes += [
        (Scope(rig=names.rig, carried=carried), slice(index, index + 1))
        for index, carried in enumerate(names.carried)
    ]
    figures = []
    for scope, which in scopes:
        seen = evaluation.in_view[0, which] & evaluation.registerable[0]
        for cause in causes:
            at_places = np.where(seen, evaluation.error_m[cause][0, which], np.nan)
            own = drawn[cause][:, which]
            figures += _error_lines(at_places, own, scope, cause)
        figures.append(
            _rms_line(
                np.where(seen, evaluation.error_m["centre"][0, which], np.nan),
                drawn["centre"][:, which],
                scope,
                None,
                "jitter",
            )
        )
    return figures


def _rms_line(at_places: Array, own: Array, scope: Scope, cause: Any, name: Any) -> Figure:
    count = int(np.isfinite(at_places).sum())
    if count == 0:
        return _predicted(
            name=name,
            cause=cause,
            statistic="rms",
            scope=scope,
            value=None,
            unit="mm",
            n=0,
            method="no place can be seen and registered",
        )
    spread = rms_spread(own, float(np.sqrt(np.nanmean(at_places**2))))
    return _predicted(
        name=name,
        cause=cause,
        statistic="rms",
        scope=scope,
        value=1e3 * spread.value,
        low=1e3 * spread.low,
        high=1e3 * spread.high,
        level=LEVEL,
        unit="mm",
        n=count,
        method=_BUILDS,
    )


def _error_lines(at_places: Array, own: Array, scope: Scope, cause: Any) -> list[Figure]:
    lines = [_rms_line(at_places, own, scope, cause, "error")]
    count = int(np.isfinite(at_places).sum())
    if count == 0:
        return lines
    there = scope.model_copy(update={"condition": AT_EACH_PLACE})
    for statistic, value in (
        ("median", np.nanmedian(at_places)),
        ("max", np.nanmax(at_places)),
        ("p95", np.nanquantile(at_places, 0.95)),
    ):
        lines.append(
            _predicted(
                name="error",
                cause=cause,
                statistic=statistic,
                scope=there,
                value=1e3 * float(value),
                unit="mm",
                n=count,
                method=f"first-order budget; point prediction {_PLACES}",
            )
        )
    if cause == "all":
        for statistic, share in (("median", 0.5), ("p95", 0.95)):
            spread = quantile_spread(own, share)
            lines.append(
                _predicted(
                    name="error",
                    cause=cause,
                    statistic=statistic,
                    scope=scope,
                    value=1e3 * spread.value,
                    low=1e3 * spread.low,
                    high=1e3 * spread.high,
                    level=LEVEL,
                    unit="mm",
                    n=count,
                    method=_SINGLE,
                )
            )
    return lines


def place_figures(evaluation: Evaluation, resolved: ResolvedRig, names: Names) -> list[Figure]:
    """Coverage, shadow, light and geometry."""
    rig = Scope(rig=names.rig)
    seen = evaluation.in_view[0]

    def stated(name: Any, values: Array, unit: str, *statistics: str) -> list[Figure]:
        known = values[seen & np.isfinite(values)]
        ways = {"mean": np.mean, "max": np.max, "min": np.min, "median": np.median}
        return [
            _predicted(
                name=name,
                statistic=statistic,
                scope=rig,
                unit=unit,
                value=float(ways[statistic](known)) if known.size else None,
                n=int(known.size),
                method=f"point prediction {_PLACES}",
            )
            for statistic in statistics
        ]

    figures = _shares(evaluation, names)
    figures += stated(
        "millimetres-a-pixel", evaluation.mm_per_px[0, ..., 0], "mm/px", "median", "max"
    )
    figures += stated("incidence", np.degrees(evaluation.incidence_rad[0]), "deg", "max")
    figures += stated("dot-width", evaluation.sigma_px[0], "px", "median", "max", "min")
    figures += stated("electrons", evaluation.electrons[0], "e-", "mean")
    figures += stated("electrons", evaluation.electrons_least[0], "e-", "min")
    figures += stated("electrons", evaluation.electrons_most[0], "e-", "max")
    figures += stated("grey-peak", 100.0 * evaluation.grey_peak[0], "%", "max", "min")
    for index, camera in enumerate(names.cameras):
        near, far = sharp_between(resolved, index)
        scope = Scope(rig=names.rig, camera=camera)
        for name, value, unit, how in (
            ("exposure", 1e3 * evaluation.exposure_s[0, index], "ms", "as planned or as given"),
            ("view-left", 100.0 * view_left(resolved, index)[0], "%", "share of the picture"),
            ("depth-of-field-near", near[0], "m", "blur circle of one pixel, thin lens"),
            ("depth-of-field-far", far[0], "m", "blur circle of one pixel; none: no far limit"),
        ):
            figures.append(
                _predicted(
                    name=name,
                    statistic="share" if name == "view-left" else "value",
                    scope=scope,
                    value=finite(value),
                    unit=unit,
                    method=how,
                )
            )
    return figures


def _shares(evaluation: Evaluation, names: Names) -> list[Figure]:
    covered, hidden = evaluation.covered[0], evaluation.hidden[0]
    scopes: list[tuple[Scope, slice]] = [(Scope(rig=names.rig), slice(None))]
    scopes += [
        (Scope(rig=names.rig, carried=carried), slice(i, i + 1))
        for i, carried in enumerate(names.carried)
    ]
    figures = []
    for scope, which in scopes:
        figures.append(
            _predicted(
                name="coverage",
                statistic="share",
                scope=scope,
                unit="%",
                value=100.0 * float(covered[which].mean()),
                n=covered[which].size,
                method="places in view, not hidden by the holder's body, neither too bright nor "
                "too weak, tip and glow as one dot, within the error wanted",
            )
        )
        figures.append(
            _predicted(
                name="dropouts",
                statistic="share",
                scope=scope.model_copy(update={"condition": HIDDEN}),
                unit="%",
                value=100.0 * float(hidden[which].mean()),
                n=hidden[which].size,
                method="an upright column stands for the body, beside the hand; arms are left out",
            )
        )
    return figures


def delay_figures(budget: DelayBudget, speed_m_s: float, names: Names) -> list[Figure]:
    """Delay by stage, and how far a moving light is ahead of the display."""
    rig = Scope(rig=names.rig)
    figures = []
    for statistic, stages, total in (
        ("mean", budget.mean_s, budget.total_mean_s),
        ("max", budget.worst_s, budget.total_worst_s),
    ):
        for stage in (*STAGES, "all"):
            value = total[0] if stage == "all" else stages[stage][0]
            figures.append(
                _predicted(
                    name="delay",
                    cause=stage,
                    statistic=statistic,
                    scope=rig,
                    value=1e3 * float(value),
                    unit="ms",
                    method="sum of stages; computing time assumed until measured",
                )
            )
        figures.append(
            _predicted(
                name="delay-displacement",
                statistic=statistic,
                unit="mm",
                scope=rig.model_copy(update={"condition": f"at {speed_m_s:g} m/s"}),
                value=1e3 * float(delay_displacement(speed_m_s, total[0])),
                method="delay × speed: along the motion, never added to the error",
            )
        )
    return figures


def power_figures(
    lines: list[PowerLine], circuits: list[PlanCircuit], names: Names
) -> list[Figure]:
    """Resistor, current, heat, running time and fading of everything carried."""
    figures = []
    for line in lines:
        scope = Scope(rig=names.rig, carried=line.carried)
        for name, value, unit, how in (
            ("resistor", line.resistor_ohm, "ohm", "next value of series E24 (IEC 60063) above"),
            ("current", 1e3 * line.current_a, "mA", "with that resistor at the nominal voltage"),
            ("resistor-power", 1e3 * line.resistor_w, "mW", "when fresh; buy twice this rating"),
            ("runtime", line.runtime_h, "h", "integrated over the cell's discharge"),
        ):
            figures.append(
                _predicted(
                    name=name,
                    statistic="value",
                    scope=scope,
                    value=finite(value),
                    unit=unit,
                    method=how,
                )
            )
    for circuit in circuits:
        if circuit.kind == "carried" and circuit.light_left is not None:
            scope = Scope(rig=names.rig, carried=circuit.name, condition="cells spent")
            figures.append(
                _predicted(
                    name="light-left",
                    statistic="share",
                    scope=scope,
                    value=100.0 * circuit.light_left,
                    unit="%",
                    method="light over that of fresh cells, in proportion to the current",
                )
            )
    return figures


_EYE_NAMES: dict[str, FigureName] = {
    "cornea": "eye-irradiance-share",
    "lens": "eye-lens-share",
    "retina": "eye-radiance-share",
}


def eye_figures(lines: list[EyeLine], names: Names) -> list[Figure]:
    """How near each light comes to published limits: estimates, in bands."""
    figures = []
    for line in lines:
        short = "" if line.look == LONG else f", {line.look}"
        carried = line.light if line.light in names.carried else None
        region = None if carried else line.light
        figures.append(
            _predicted(
                name=_EYE_NAMES[line.eye],
                statistic="share",
                scope=Scope(
                    rig=names.rig, carried=carried, region=region, condition=line.where + short
                ),
                value=None if line.ratio is None else 100.0 * line.ratio,
                unit="%",
                n=line.diodes,
                method=f"{line.words}; {line.method}",
            )
        )
    return figures


def relative_cost_figure(rig: Rig, cost: Figure) -> Figure | None:
    """What the rig costs as a share of the reference, where both are known in one currency."""
    price = rig.reference.price if rig.reference else None
    if price is None or cost.value is None or cost.unit != price.currency or price.amount <= 0:
        return None
    return Figure(
        name="relative-cost",
        statistic="value",
        scope=Scope(rig=rig.name),
        unit="%",
        value=100.0 * float(relative_cost(cost.value, price.amount)),
        n=cost.n,
        method=f"{cost.method}; over {rig.reference.name if rig.reference else ''} "
        f"({price.amount:g} {price.currency}, {price.date}, {price.basis})",
        basis=cost.basis,
    )
