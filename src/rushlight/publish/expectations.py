"""What a rig will do, and how sure that is: predictions beside what was found, each marked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rushlight.publish.wording import NOT_KNOWN, Statement, metres, significant, stated, with_unit
from rushlight.records.assessment import Assessment
from rushlight.records.figure import CAUSE_WORDS, ERROR_CAUSES, Figure
from rushlight.records.plan import Plan
from rushlight.records.rig import Rig
from rushlight.records.space_plan import SpacePlan

DELAY_STAGES = ("exposure", "readout", "camera", "computing", "frame-wait", "display", "all")


@dataclass(frozen=True)
class Row:
    """One line of a table of figures.

    Attributes
    ----------
    what, means
        Its name, and what that means in plain words.
    predicted, found
        By the plan, and by the assessment; None where there is none.
    wanted
        The rig's own target, or empty.
    """

    what: str
    means: str
    predicted: Statement | None
    found: Statement | None
    wanted: str = ""


@dataclass(frozen=True)
class _Asked:
    what: str
    means: str
    name: str
    cause: str | None
    statistic: str
    condition: str | None = None
    target: str = ""


_HEADLINES = (
    _Asked(
        "Pointing error",
        "how far the pointer stands from the tip, all causes together, root-mean-square over the "
        "surface",
        "error",
        "all",
        "rms",
    ),
    _Asked(
        "19 of 20 fixes are nearer than",
        "the 95th percentile of that distance",
        "error",
        "all",
        "p95",
    ),
    _Asked(
        "Error at the worst place",
        "the largest root-mean-square error of any place that was looked at",
        "error",
        "all",
        "max",
        "root-mean-square at each place",
        "largest error at a place in view",
    ),
    _Asked("Trembling of a light at rest", "jitter of single fixes", "jitter", None, "rms"),
    _Asked(
        "Part of the surface that works",
        "places in view, not hidden, bright enough, and within the wanted error",
        "coverage",
        None,
        "share",
        None,
        "coverage",
    ),
    _Asked(
        "Hidden by the user's own body",
        "share of the places; a crude estimate",
        "dropouts",
        None,
        "share",
        "hidden by the holder's own body",
    ),
    _Asked(
        "Delay from hand to picture",
        "on average; the pointer trails a moving hand by so much time",
        "delay",
        "all",
        "mean",
        None,
        "mean delay",
    ),
    _Asked(
        "Delay at worst",
        "at the slowest moment; where it is predicted, with typical parts",
        "delay",
        "all",
        "max",
    ),
    _Asked("Cost", "of the priced lines in the parts table", "cost", None, "value"),
    _Asked("Share of the reference's price", "", "relative-cost", None, "value"),
)


def headline_rows(rig: Rig, plan: Plan, assessment: Assessment | None) -> list[Row]:
    """The figures that a reader asks for first; those that nobody knows are left out."""
    rows = [_row(asked, plan, assessment) for asked in _HEADLINES]
    runtimes = [f for f in plan.figures if f.name == "runtime" and f.value is not None]
    if runtimes:
        least = min(runtimes, key=lambda figure: figure.value or 0.0)
        means = "of the light that empties its cells first, at the share of time lit in rig.toml"
        rows.insert(-2, Row("Running time on one set of cells", means, stated(least), None,
                            wanted_words("runtime", plan)))  # fmt: skip
    rows[-2:-2] = _tapping_rows(assessment)
    return [row for row in rows if row.predicted or row.found]


def _tapping_rows(assessment: Assessment | None) -> list[Row]:
    """Throughput of pointing, one row for every condition of the tapping trials."""
    figures = assessment.figures if assessment else []
    rows = []
    for figure in figures:
        scope = figure.scope
        if figure.name != "throughput" or scope.carried or scope.person:
            continue
        means = (
            f"in tapping trials, {scope.condition}" if scope.condition else "in all tapping trials"
        )
        if figure.basis == "simulated":
            means += "; tapped by invented hands, so it says nothing of people"
        rows.append(Row("Throughput of pointing", means, None, stated(figure)))
    return rows


def _row(asked: _Asked, plan: Plan | SpacePlan, assessment: Assessment | None) -> Row:
    predicted = whole_rig(plan.figures, asked.name, asked.cause, asked.statistic, asked.condition)
    found = assessment and whole_rig(
        assessment.figures, asked.name, asked.cause, asked.statistic, asked.condition
    )
    return Row(
        asked.what,
        asked.means,
        stated(predicted) if predicted else None,
        stated(found) if found else None,
        wanted_words(asked.target, plan),
    )


def wanted_words(target: str, plan: Plan | SpacePlan) -> str:
    """A target in words, and whether the plan expects it to be met."""
    verdict = next((each for each in plan.targets if each.what == target), None)
    if verdict is None:
        return ""
    bound = "at least" if target in ("coverage", "runtime") else "at most"
    met = {True: "expected to be met", False: "NOT expected to be met", None: "cannot be told"}
    return f"{bound} {verdict.wanted:g} {verdict.unit}: {met[verdict.met]}"


def whole_rig(
    figures: Sequence[Figure],
    name: str,
    cause: str | None,
    statistic: str,
    condition: str | None = None,
) -> Figure | None:
    """The figure that speaks of the whole rig; cause "all" and no cause are taken as one."""
    causes = {cause, "all" if cause is None else None if cause == "all" else cause}
    return next(
        (
            figure
            for figure in figures
            if figure.name == name
            and figure.cause in causes
            and figure.statistic == statistic
            and figure.scope.carried is None
            and figure.scope.person is None
            and figure.scope.region is None
            and figure.scope.condition == condition
        ),
        None,
    )


def cause_rows(plan: Plan, assessment: Assessment | None) -> list[Row]:
    """The error by cause, the largest first, and all together last."""

    def found(figures: Sequence[Figure], cause: str) -> Statement | None:
        figure = whole_rig(figures, "error", cause, "rms")
        return stated(figure) if figure else None

    def size(cause: str) -> float:
        figure = whole_rig(plan.figures, "error", cause, "rms")
        return -(figure.value or 0.0) if figure else 0.0

    others = assessment.figures if assessment else []
    causes = [*sorted(ERROR_CAUSES, key=size), "all"]
    return [
        Row(CAUSE_WORDS[cause], _MEANS[cause], found(plan.figures, cause), found(others, cause))
        for cause in causes
    ]


_MEANS = {
    "centre": "noise of the camera in finding the middle of the dot",
    "registration": "the hand's scatter on the beacons, carried into the map",
    "lens": "what the lens bends beyond what was allowed for",
    "flatness": "what the surface departs from a plane beyond what was allowed for",
    "tip": "the light stands behind the tip, and people tilt the stylus",
    "pixel": "the pointer is drawn on whole pixels",
    "all": "root of the sum of squares",
}


def delay_rows(plan: Plan | SpacePlan) -> list[tuple[str, str, str]]:
    """Stages of the delay, mean and at the slowest moment of typical parts, as text."""

    def one(stage: str, statistic: str) -> str:
        figure = whole_rig(plan.figures, "delay", stage, statistic)
        return stated(figure).text if figure else ""

    words = CAUSE_WORDS | {"all": "all stages together"}
    rows = [(words[s], one(s, "mean"), one(s, "max")) for s in DELAY_STAGES]
    return [row for row in rows if row[1] or row[2]]


def eye_rows(plan: Plan | SpacePlan) -> list[tuple[str, str, str, str]]:
    """From where and how long, and how near cornea, lens and retina come to their limits.

    Of several lights the one that comes nearest to its limit stands for all.
    """
    wheres = dict.fromkeys((line.where, line.look) for line in plan.eyes)
    return [
        (
            f"{where}, {look}",
            *(_nearest(plan, where, look, e) for e in ("cornea", "lens", "retina")),
        )
        for where, look in wheres
    ]


def _nearest(plan: Plan | SpacePlan, where: str, look: str, eye: str) -> str:
    found = [line for line in plan.eyes if (line.where, line.look, line.eye) == (where, look, eye)]
    if not found or any(line.ratio is None for line in found):
        return NOT_KNOWN  # one light of which nothing is known could be the strongest
    return max(found, key=lambda line: line.ratio or 0.0).words


def beam_rows(plan: Plan) -> list[tuple[str, str, str, str]]:
    """Who, how near to the lens, how bright it may look, and after how long a look is too much."""
    return [
        (
            line.person + (" (a child)" if line.child else ""),
            metres(line.distance_m),
            with_unit(f"{line.luminance_cd_m2 / 1e6:.2g} million", "cd/m²"),
            "no limit" if line.time_limit_s is None else _two_digits(line.time_limit_s),
        )
        for line in plan.beams
    ]


def _two_digits(time_s: float) -> str:
    return with_unit(f"{float(f'{time_s:.2g}'):g}", "s")


def circuit_rows(plan: Plan | SpacePlan) -> tuple[list[str], list[list[str]]] | None:
    """Heads and rows of the table of circuits, a row each light; None where none is planned."""
    heads = [
        "Light",
        "Current fresh",
        "as planned",
        "spent",
        "Hottest spot of the resistor",
        "Hours",
        "Hours to half the light",
    ]
    rows = [
        [
            circuit.name if circuit.name == branch.light else f"{circuit.name}, {branch.light}",
            _milliamperes(branch.fresh_a),
            _milliamperes(branch.nominal_a),
            _milliamperes(branch.spent_a),
            with_unit(significant(branch.resistor_c), "°C") if branch.resistor_c else NOT_KNOWN,
            with_unit(significant(circuit.runtime_h), "h") if circuit.runtime_h else NOT_KNOWN,
            with_unit(significant(circuit.half_light_h), "h") if circuit.half_light_h else "never",
        ]
        for circuit in plan.circuits
        for branch in circuit.branches
        if branch.resistor_ohm is not None
    ]
    return (heads, rows) if rows else None


def _milliamperes(current_a: float | None) -> str:
    return NOT_KNOWN if current_a is None else with_unit(significant(1e3 * current_a), "mA")
