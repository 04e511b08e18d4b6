"""The tables that show a plan: words and rounding only."""

from __future__ import annotations

from rushlight.cli import plan_tables_eyes, plan_tables_light, plan_tables_power, room_tables
from rushlight.cli.rounding import number, quantity
from rushlight.records.figure import CAUSE_WORDS, ERROR_CAUSES, Figure, find_figure
from rushlight.records.plan import Plan
from rushlight.records.space_plan import SpacePlan

Table = tuple[str, list[str], list[list[object]]]

_TARGETS = "Targets"
_ADVICE = "What would help, the most worth while first (each tried alone)"
_SPACE_BELOW = {
    _TARGETS: "Single values; no interval is known of them.",
    _ADVICE: "Errors and coverage here, before and after, are of fewer places and ways of turning "
    "than above, and so differ a little from those.",
}
_LIGHT = (
    ("exposure", "value", "exposure"),
    ("grey-peak", "max", "brightest pixel, share of full scale"),
    ("electrons", "min", "weakest dot"),
    ("electrons", "max", "strongest dot"),
    ("dot-width", "median", "width of a dot, one standard deviation"),
    ("millimetres-a-pixel", "max", "largest surface length of a pixel"),
    ("incidence", "max", "most oblique view"),
    ("view-left", "share", "share of the picture beside the surface"),
    ("depth-of-field-near", "value", "sharp from"),
    ("depth-of-field-far", "value", "sharp to"),
)


def tables(plan: Plan) -> list[Table]:
    """Every table of a plan, in the order of showing."""
    return [
        _targets(plan),
        _causes(plan),
        _advice(plan),
        _light(plan),
        *plan_tables_light.tables(plan),
        _shadow(plan),
        *room_tables.tables(plan),
        _delay(plan),
        *plan_tables_power.tables(plan),
        *plan_tables_eyes.tables(plan.eyes, plan.beams),
        _costs(plan),
    ]


def below(plan: Plan | SpacePlan) -> dict[str, str]:
    """What a reader must know of a table, by its title; it stands right under it."""
    if isinstance(plan, SpacePlan):
        return _SPACE_BELOW
    runtime = any(one.what == "runtime" for one in plan.targets)
    return {
        _TARGETS: "Single values, of the rig just as planned: add --tolerance to be told how "
        f"likely each is met{', but the runtime' if runtime else ''}.",
        # The tables of errors are of the plan's own grid, and so differ a little.
        _ADVICE: "Errors and coverage here, before and after, are of a coarser grid of places than "
        "above, and so differ a little from those.",
    }


def in_short(plan: Plan) -> list[str]:
    """What rules the error, and the cheapest change that helps."""
    rules = CAUSE_WORDS.get(plan.dominant, "not known, since no place can be pointed at")
    lines = [f"What dominates the error: {rules}."]
    advice = plan.cheapest_advice()
    if advice is None:
        return [*lines, "None of the changes that were tried would help by much."]
    price = f", {advice.price}" if advice.price else ""
    before, after = quantity(advice.error_before_mm, "mm"), quantity(advice.error_after_mm, "mm")
    return [
        *lines,
        f"The cheapest change that helps ({advice.cost}{price}): {advice.change}; error "
        f"{before or 'not known'} → {after or 'not known'}, coverage "
        f"{number(advice.coverage_before)} → {number(advice.coverage_after)} %, on a coarser grid "
        "than the targets below.",
    ]


def _shadow(plan: Plan) -> Table:
    """How often bodies, arms and hands hide the light."""
    title = "Shadow by bodies, arms and hands (coverage above does not count it)"
    rows: list[list[object]] = [
        [one.scope.condition, one.statistic, quantity(one.value, one.unit)]
        for one in plan.figures
        if one.name == "shadow" and one.scope.carried is None
    ]
    rows += [
        [one.scope.condition, "chance that none is lost", quantity(one.value, one.unit)]
        for one in plan.figures
        if one.name == "coverage" and one.scope.condition == plan.AT_ONCE
    ]
    return title, ["who is there", "over the places", "hidden"], rows


def _targets(plan: Plan) -> Table:
    words = {True: "met", False: "not met", None: "not known"}
    rows: list[list[object]] = [
        [
            one.what,
            quantity(one.wanted, one.unit),
            quantity(one.predicted, one.unit),
            words[one.met],
        ]
        for one in plan.targets
    ]
    return _TARGETS, ["target", "wanted", "predicted", "expected to be"], rows


def _interval(figure: Figure) -> str | None:
    if figure.low is None or figure.high is None:
        return None
    return f"{figure.low:.2f} to {figure.high:.2f}"


def _causes(plan: Plan) -> Table:
    found = [find_figure(plan.figures, "error", cause, "rms") for cause in ERROR_CAUSES]
    known = [figure for figure in found if figure is not None and figure.value is not None]
    known.sort(key=lambda figure: -(figure.value or 0.0))
    whole = find_figure(plan.figures, "error", "all", "rms")
    rows: list[list[object]] = [
        [CAUSE_WORDS[figure.cause or "all"], f"{figure.value:.2f}", _interval(figure)]
        for figure in [*known, *([whole] if whole else [])]
        if figure.value is not None
    ]
    return (
        "Error by cause, the dominant first",
        ["cause", "root-mean-square [mm]", "90 % of builds [mm]"],
        rows,
    )


def _advice(plan: Plan) -> Table:
    rows: list[list[object]] = [
        [
            one.change,
            one.cost + (f": {one.price}" if one.price else ""),
            f"{number(one.error_before_mm) or '–'} → {number(one.error_after_mm) or '–'}",
            f"{one.coverage_before:.0f} → {one.coverage_after:.0f}",
        ]
        for one in plan.advice
        if one.helps
    ]
    columns = ["change", "costs", "error [mm]", "coverage [%]"]
    return _ADVICE, columns, rows


def _light(plan: Plan) -> Table:
    rows: list[list[object]] = []
    for name, statistic, words in _LIGHT:
        for figure in plan.figures:
            if figure.name == name and figure.statistic == statistic:
                place = f" ({figure.scope.camera})" if figure.scope.camera else ""
                endless = name == "depth-of-field-far" and figure.value is None
                known = _rough(figure.value) if name == "electrons" else figure.value
                value = "no limit" if endless else quantity(known, figure.unit)
                rows.append([words + place, value])
    return "Light and view", ["what", "predicted"], rows


def _rough(value: float | None) -> float | None:
    """Three digits of a large number too: how strongly lights shine is known to no more."""
    return None if value is None else float(f"{value:.3g}")


def _delay(plan: Plan) -> Table:
    rows: list[list[object]] = []
    for figure in plan.figures:
        if figure.name == "delay" and figure.statistic == "mean":
            worst = find_figure(plan.figures, "delay", figure.cause, "max")
            words = CAUSE_WORDS[figure.cause or "all"]
            rows.append([words, number(figure.value), number(worst.value) if worst else None])
    for figure in plan.figures:
        if figure.name == "delay-displacement" and figure.statistic == "mean":
            worst = find_figure(plan.figures, "delay-displacement", None, "max")
            rows.append(
                [
                    f"a light moving {figure.scope.condition} is ahead by [mm]",
                    number(figure.value),
                    number(worst.value) if worst else None,
                ]
            )
    # Camera, computing and display stay at what is typical of them, at worst too.
    title = "Delay, with typical parts (worst: at the slowest moment)"
    return title, ["stage", "mean [ms]", "worst [ms]"], rows


def _costs(plan: Plan) -> Table:
    rows: list[list[object]] = [
        [
            one.what,
            one.count,
            None if one.amount is None else f"{one.amount:.2f} {one.currency}",
            "; ".join(filter(None, (one.basis, one.note))),
        ]
        for one in plan.costs
    ]
    whole = find_figure(plan.figures, "cost")
    if whole is not None and whole.value is not None:
        rows.append(["in all", None, f"{whole.value:.2f} {whole.unit}", whole.method])
    share = find_figure(plan.figures, "relative-cost")
    if share is not None and share.value is not None:
        rows.append(["share of the reference's price", None, f"{share.value:.1f} %", ""])
    return "Cost", ["part", "pieces", "price", "known from"], rows
