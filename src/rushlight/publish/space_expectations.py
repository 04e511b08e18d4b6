"""What a rig of space will do, and how sure that is; and what a rebuild should reach."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rushlight.publish.expectations import Row, wanted_words
from rushlight.publish.wording import Statement, stated
from rushlight.records.assessment import Assessment
from rushlight.records.figure import CAUSE_WORDS, SPACE_CAUSES, Figure
from rushlight.records.kit import Tolerance
from rushlight.records.rig import Rig
from rushlight.records.space import ResolvedSpace
from rushlight.records.space_plan import SpacePlan

WORDS = {
    "causes": "Where the error of the point that counts comes from, root-mean-square over the zone",
    "late": "things move on meanwhile, and it is never added to the error; worst is the slowest "
    "moment, with typical parts",
    "whole": "Figure, over the whole zone",
}
FIGURE_WORDS = {
    ("error", "rms"): "error of the point that counts, root-mean-square",
    ("jitter", "rms"): "trembling at rest",
    ("coverage", "share"): "part of the zone that works",
    ("delay", "mean"): "delay from motion to picture, mean",
}
"""Name and statistic of a figure, in a reader's words."""
FREEDOM = 3
"""How many amounts that one build shares over its zone are supposed to rule its error (a
supposition of ours, no source): so much may one build's root-mean-square lie above all builds'."""
LEVEL = 0.95  # at which a rebuild's figure is held against its bound (our choice)


@dataclass(frozen=True)
class _Asked:
    what: str
    means: str
    name: str
    statistic: str
    condition: str | None = None
    target: str = ""


_OF_THINGS = (
    _Asked("Error", "distance of what is told from where it is, all causes together, "
           "root-mean-square over zone and ways of turning", "error", "rms"),
    _Asked("Error at the worst place", "the largest root-mean-square of any place", "error", "max",
           "root-mean-square at each place", "largest error at a place"),
    _Asked("Error along the camera's sight", "part of the error", "range-error", "rms"),
    _Asked("Error of the angle", "how it is turned, root-mean-square", "turn-error", "rms"),
    _Asked("Error of the angle at the worst place", "", "turn-error", "max",
           "root-mean-square at each place", "largest error of the angle at a place"),
    _Asked("Picture off, content before the screen", "on the screen, by the eye's error",
           "picture-error", "rms", "before"),
    _Asked("Picture off, content behind the screen", "on the screen, by the eye's error",
           "picture-error", "rms", "behind"),
    _Asked("Picture off at the worst place", "content behind the screen", "picture-error", "max",
           "behind, root-mean-square at each place", "largest error of the picture at a place"),
    _Asked("Picture off, as an angle at the eye", "nearest and farthest content alike",
           "view-angle", "rms"),
    _Asked("Trueness", "systematic part of the error", "trueness", "rms"),
    _Asked("Trembling at rest", "jitter of single fixes", "jitter", "rms"),
    _Asked("Wandering at rest", "drift", "drift", "value"),
    _Asked("Dots from where they should be", "reprojection over all cameras", "reprojection",
           "rms"),
    _Asked("Part of the zone that works", "places and ways of turning in view, bright enough, and "
           "by their root-mean-square within the wanted errors", "coverage", "share",
           "root-mean-square at each place", "coverage"),
    _Asked("Single fixes within the wanted errors", "over places, ways of turning and builds; "
           "those that are not found are not within", "coverage", "share"),
)  # fmt: skip

_OF_THE_RIG = (
    _Asked("Delay", "from motion to light from the display, on average", "delay", "mean", None,
           "mean delay"),
    _Asked("Delay at worst", "at the slowest moment; where it is predicted, with typical parts",
           "delay", "max"),
    _Asked("View task: error", "angle between a near and a far mark that an invented viewer holds "
           "in line", "view-angle", "rms", "view task: near mark held in line with a far one"),
    _Asked("View task: time", "of the same invented viewer", "movement-time", "mean",
           "view task: near mark held in line with a far one"),
    _Asked("Cost", "of the priced lines in the parts table", "cost", "value"),
    _Asked("Share of the reference's price", "", "relative-cost", "value"),
)  # fmt: skip


def figure_of(
    figures: Sequence[Figure],
    name: str,
    statistic: str,
    carried: str | None,
    cause: str | None = "all",
    condition: str | None = None,
) -> Figure | None:
    """The figure of a thing, or of the whole rig; cause "all" and no cause are taken as one."""
    causes = (cause, None) if cause == "all" else (cause,)
    return next(
        (
            figure
            for figure in figures
            if (figure.name, figure.statistic) == (name, statistic)
            and figure.cause in causes
            and figure.scope.carried == carried
            and figure.scope.condition == condition
            and figure.unit != "px" * (name == "picture-error")
        ),
        None,
    )


def space_headlines(
    rig: Rig, plan: SpacePlan, space: ResolvedSpace, assessment: Assessment | None
) -> list[Row]:
    """The figures that a reader asks for first; those that nobody knows are left out."""
    rows = []
    for thing in space.things:
        prefix = f"{thing.id}: " if len(space.things) > 1 else ""
        for asked in _OF_THINGS:
            rows.append(_row(asked, plan, assessment, thing.id, prefix))
    if space.scale_bar is not None:
        length = _Asked("Lengths off", f"{space.scale_bar.id} measured by the rig",
                        "length-error", "rms")  # fmt: skip
        rows.append(_row(length, plan, assessment, space.scale_bar.id, ""))
    runtimes = [f for f in plan.figures if f.name == "runtime" and f.value is not None]
    if runtimes:
        least = min(runtimes, key=lambda figure: figure.value or 0.0)
        means = "of the light that empties its cells first, at the share of time lit in rig.toml"
        rows.append(Row("Running time on one set of cells", means, stated(least), None))
    rows += [_row(asked, plan, assessment, None, "") for asked in _OF_THE_RIG]
    return [row for row in rows if row.predicted or row.found]


def _row(
    asked: _Asked,
    plan: SpacePlan,
    assessment: Assessment | None,
    carried: str | None,
    prefix: str,
) -> Row:
    def told(figures: Sequence[Figure]) -> Statement | None:
        figure = figure_of(figures, asked.name, asked.statistic, carried, condition=asked.condition)
        return stated(figure) if figure else None

    return Row(
        f"{prefix}{asked.what[0].lower()}{asked.what[1:]}" if prefix else asked.what,
        asked.means,
        told(plan.figures),
        told(assessment.figures) if assessment else None,
        wanted_words(asked.target, plan),
    )


_MEANS = {
    "centre": "noise of the camera in finding the middle of each dot",
    "registration": "what registering leaves open of where the cameras stand",
    "lens": "what the lens bends beyond what was allowed for",
    "build": "lights that do not sit quite where the drawing says",
    "point": "the eye, hinge or tip is off from where it is supposed on the thing",
    "turning": "what the dots leave open of how the thing is turned",
    "all": "root of the sum of squares",
}


def space_causes(plan: SpacePlan, space: ResolvedSpace, assessment: Assessment | None) -> list[Row]:
    """The error by cause of each thing, the largest first, and all together last."""
    rows = []
    for thing in space.things:
        sizes = {
            cause: figure_of(plan.figures, "error", "rms", thing.id, cause)
            for cause in (*SPACE_CAUSES, "all")
        }
        causes = sorted(
            SPACE_CAUSES, key=lambda cause, of=sizes: -((of[cause] and of[cause].value) or 0.0)
        )
        prefix = f"{thing.id}: " if len(space.things) > 1 else ""
        for cause in (*causes, "all"):
            predicted = sizes[cause]
            found = figure_of(
                assessment.figures if assessment else [], "error", "rms", thing.id, cause
            )
            rows.append(
                Row(
                    f"{prefix}{CAUSE_WORDS[cause]}",
                    _MEANS[cause],
                    stated(predicted) if predicted else None,
                    stated(found) if found else None,
                )
            )
    return rows


def space_tolerances(rig: Rig, plan: SpacePlan, space: ResolvedSpace) -> list[Tolerance]:
    """Bounds for a rebuild's figures.

    Parameters
    ----------
    rig, plan, space
        The rig, its plan, and the same as numbers.
    """
    from scipy import stats

    factor = math.sqrt(float(stats.chi2.ppf(LEVEL, FREEDOM)) / FREEDOM)
    bounds = []
    for thing in space.things:
        for name in ("error", "turn-error"):
            figure = figure_of(plan.figures, name, "rms", thing.id)
            if figure is None or figure.value is None:
                continue
            bounds.append(
                Tolerance(
                    figure=name,
                    cause="all",
                    statistic="rms",
                    high=figure.value * factor,
                    unit=figure.unit,
                    ground=f"{thing.id}: root-mean-square over builds as predicted, times "
                    f"{factor:.2f}: were {FREEDOM} amounts drawn anew in each build to rule it, "
                    f"{100 * (1 - LEVEL):.0f} in 100 correct builds would lie above (χ² law; a "
                    "supposition)",
                    basis=figure.basis,
                )
            )
    own = "the rig's own target"
    bounds.append(
        Tolerance(figure="coverage", statistic="share", low=100 * rig.targets.coverage.value,
                  unit="%", ground=own, basis=rig.basis)
    )  # fmt: skip
    bounds.append(
        Tolerance(figure="delay", cause="all", statistic="mean", high=1e3 * rig.targets.delay.value,
                  unit="ms", ground=own, basis=rig.basis)
    )  # fmt: skip
    return bounds
