"""Which figures a rebuild should reach to count as the same rig, and on what ground."""

from __future__ import annotations

from rushlight.publish.expectations import whole_rig
from rushlight.records.assessment import Assessment
from rushlight.records.kit import Tolerance
from rushlight.records.plan import Plan
from rushlight.records.rig import Rig

WORDS = {
    ("error", "rms"): "error, root-mean-square",
    ("error", "p95"): "error, 95th percentile",
    ("jitter", "rms"): "trembling of a light at rest",
    ("coverage", "share"): "part of the surface or zone that works",
    ("delay", "mean"): "delay from hand to picture, mean",
}
"""Name and statistic of a figure, in a reader's words."""

_FROM_BUILDS = (("error", "all", "rms"), ("error", "all", "p95"), ("jitter", None, "rms"))


def tolerances_of(rig: Rig, plan: Plan) -> list[Tolerance]:
    """Bounds for a rebuild's figures, over the whole rig.

    Errors are bounded by the upper end of the plan's interval, which says within what most
    builds to the same plan are expected to fall; delay and coverage by the rig's own targets.

    Parameters
    ----------
    rig, plan
        The rig and its plan.
    """
    bounds = []
    for name, cause, statistic in _FROM_BUILDS:
        figure = whole_rig(plan.figures, name, cause, statistic)
        if figure is None or figure.high is None or figure.level is None:
            continue
        ground = (
            f"upper end of the predicted {100 * figure.level:.0f} % interval over builds: about "
            f"{50 * (1 - figure.level):.0f} in 100 correct builds are expected to lie above it, "
            "and more where few places are tried, so that a miss may be chance"
        )
        bounds.append(
            Tolerance(figure=name, cause=cause, statistic=statistic, high=figure.high,
                      unit=figure.unit, ground=ground, basis=figure.basis)
        )  # fmt: skip
    targets = rig.targets
    own = "the rig's own target"
    bounds.append(
        Tolerance(figure="coverage", statistic="share", low=100 * targets.coverage.value, unit="%",
                  ground=own, basis=rig.basis)
    )  # fmt: skip
    bounds.append(
        Tolerance(figure="delay", cause="all", statistic="mean", high=1e3 * targets.delay.value,
                  unit="ms", ground=own, basis=rig.basis)
    )  # fmt: skip
    return bounds


def missed(tolerances: list[Tolerance], assessment: Assessment) -> list[Tolerance]:
    """Tolerances that the kit's own rig was found not to keep."""
    return [each for each in tolerances if _outside(each, own_value(each, assessment))]


def own_value(tolerance: Tolerance, assessment: Assessment | None) -> float | None:
    """The kit's own rig's figure, None where it was not found."""
    if assessment is None:
        return None
    figure = whole_rig(assessment.figures, tolerance.figure, tolerance.cause, tolerance.statistic)
    return None if figure is None else figure.value


def figure_words(tolerance: Tolerance) -> str:
    """Which figure a tolerance bounds, in a reader's words."""
    return WORDS.get(
        (tolerance.figure, tolerance.statistic), f"{tolerance.figure}, {tolerance.statistic}"
    )


def _outside(tolerance: Tolerance, value: float | None) -> bool:
    if value is None:
        return False
    below = tolerance.low is not None and value < tolerance.low
    return below or (tolerance.high is not None and value > tolerance.high)
