"""The tables that show a plan in space: words and rounding only."""

from __future__ import annotations

import math

from rushlight.cli import plan_tables_eyes
from rushlight.cli.rounding import number, quantity
from rushlight.records.figure import CAUSE_WORDS, SPACE_CAUSES, Figure, find_figure
from rushlight.records.space_plan import SpacePlan

Table = tuple[str, list[str], list[list[object]]]

_WORDS = {True: "met", False: "not met", None: "not known"}
_ERRORS = {
    "error": "place",
    "range-error": "range",
    "turn-error": "angle",
    "picture-error": "picture",
}
_METHODS = {
    "looks": "looks past marks",
    "placings": "placings on marks",
    "swing": "a swing of the scale bar",
    "mounting": "measured mounting alone",
}
_LIGHT = (
    ("exposure", "value", "exposure"),
    ("grey-peak", "max", "brightest pixel, share of full scale"),
    ("electrons", "min", "weakest dot"),
    ("dot-width", "median", "width of a dot, one standard deviation"),
    ("dot-separation", "min", "least distance between two dots"),
    ("depth-of-field-near", "value", "sharp from"),
    ("depth-of-field-far", "value", "sharp to"),
)


def tables(plan: SpacePlan) -> list[Table]:
    """Every table of a plan in space, in the order of showing."""
    found = [
        _targets(plan),
        _causes(plan),
        _reasons(plan),
        _registration(plan),
        _marks(plan),
        _advice(plan),
        _baselines(plan),
        *_constellations(plan),
        _light(plan),
        _reach(plan),
        _delay(plan),
        _circuits(plan),
        *plan_tables_eyes.tables(plan.eyes, []),
        _costs(plan),
    ]
    return [each for each in found if each[2]]


def in_short(plan: SpacePlan) -> list[str]:
    """What rules the error, and the most worthwhile change."""
    rules = CAUSE_WORDS.get(plan.dominant, "not known, since nothing can be followed")
    lines = [f"What dominates the error: {rules}."]
    helpful = next((each for each in plan.advice if each.helps), None)
    if helpful is None:
        return [*lines, "None of the changes that were tried would help by much."]
    before, after = quantity(helpful.error_before_mm, "mm"), quantity(helpful.error_after_mm, "mm")
    return [
        *lines,
        f"What would help most ({helpful.cost}): {helpful.change}; error {before or 'not known'} "
        f"→ {after or 'not known'}, coverage {number(helpful.coverage_before)} → "
        f"{number(helpful.coverage_after)} %.",
    ]


def _targets(plan: SpacePlan) -> Table:
    rows: list[list[object]] = [
        [t.what, quantity(t.wanted, t.unit), quantity(t.predicted, t.unit), _WORDS[t.met]]
        for t in plan.targets
    ]
    return "Targets", ["target", "wanted", "predicted", "expected to be"], rows


def _causes(plan: SpacePlan) -> Table:
    """A row for each cause, a column for each kind of error of each thing."""
    columns: dict[tuple[str, str, str], dict[str, Figure]] = {}
    for figure in plan.figures:
        ours = figure.name in _ERRORS and figure.statistic == "rms" and figure.unit != "px"
        if ours and figure.scope.carried is not None:
            key = (figure.name, figure.scope.carried, figure.scope.condition or "")
            columns.setdefault(key, {})[figure.cause or ""] = figure
    first = next(iter(columns.values()), {})

    def size(cause: str) -> float:
        return -(first[cause].value or 0.0) if cause in first else 0.0

    causes = [*sorted(SPACE_CAUSES, key=size), "all"]
    several = len({key[1] for key in columns}) > 1
    heads = []
    for (name, carried, condition), own in columns.items():
        unit = next(iter(own.values())).unit
        who = f"{carried} " if several else ""
        heads.append(f"{who}{_ERRORS[name]}{' ' + condition if condition else ''} [{unit}]")
    rows: list[list[object]] = []
    for cause in causes:
        found = [own.get(cause) for own in columns.values()]
        rows.append([CAUSE_WORDS[cause], *(number(f.value) if f else None for f in found)])
    if any("two-eyes" in own for own in columns.values()):
        eyes = [own.get("two-eyes") for own in columns.values()]
        words = f"{CAUSE_WORDS['two-eyes']} (not added)"
        rows.append([words, *(number(f.value) if f else None for f in eyes)])
    for row, statistic, words in (("px", "rms", "all, in display pixels [px]"),):
        cells: list[object] = []
        for name, carried, condition in columns:
            pixels = [
                f
                for f in plan.figures
                if f.name == name
                and f.unit == row
                and f.statistic == statistic
                and f.scope.carried == carried
                and (f.scope.condition or "").startswith(condition or "?")
            ]
            cells.append(number(pixels[0].value) if pixels else None)
        if any(cells):
            rows.append([words.replace(" [px]", ""), *cells])
    title = "Root-mean-square error over the zone by cause, the dominant first"
    return title, ["cause", *heads], rows


def _reasons(plan: SpacePlan) -> Table:
    rows: list[list[object]] = [
        [
            one.carried,
            f"dots are {one.why}",
            number(one.share),
        ]
        for one in plan.reasons
    ]
    return "Where it does not work, and why", ["thing", "why", "places and turns [%]"], rows


def _registration(plan: SpacePlan) -> Table:
    own = plan.registration
    rows: list[list[object]] = [
        [
            one.camera,
            f"{1e3 * one.place_before_m:.1f} → {1e3 * one.place_after_m:.1f}",
            f"{math.degrees(one.turn_before_rad):.2f} → {math.degrees(one.turn_after_rad):.2f}",
            f"{100 * one.focal_before:.2f} → {100 * one.focal_after:.2f}",
        ]
        for one in own.cameras
    ]
    words = _METHODS[own.method]
    if own.method in ("looks", "placings"):
        words = f"{len(own.marks)} {words}"
    columns = ["camera", "place [mm]", "angles [deg]", "focal length [%]"]
    return f"Doubt of the cameras before and after registration by {words}", columns, rows


def _marks(plan: SpacePlan) -> Table:
    def place(point: tuple[float, float, float] | None) -> str | None:
        return None if point is None else ", ".join(f"{v + 0.0:.3f}" for v in point)

    rows: list[list[object]] = [
        [i, place(one.from_m), place(one.to_m)]
        for i, one in enumerate(plan.registration.marks, start=1)
    ]
    own = plan.registration
    if own.method == "looks":
        columns = ["look [1]", "near mark: x, y, z [m]", "far mark: x, y, z [m]"]
        return "Marks to look past, the eye behind the near one", columns, rows
    columns = ["placing [1]", "mark: x, y, z [m]"]
    return "Marks to place on", columns, [row[:2] for row in rows]


def _advice(plan: SpacePlan) -> Table:
    rows: list[list[object]] = [
        [
            one.change,
            one.cost,
            f"{number(one.error_before_mm) or '–'} → {number(one.error_after_mm) or '–'}",
            f"{one.coverage_before:.0f} → {one.coverage_after:.0f}",
        ]
        for one in plan.advice
        if one.helps
    ]
    columns = ["change", "costs", "error [mm]", "coverage [%]"]
    return "What would help, the most worth while first (each tried alone)", columns, rows


def _baselines(plan: SpacePlan) -> Table:
    rows: list[list[object]] = [
        [
            f"{one.baseline_m:.2f}" + (" (now)" if one.now else ""),
            number(None if one.error_m is None else 1e3 * one.error_m),
            number(None if one.dots_m is None else 1e3 * one.dots_m),
            f"{one.coverage:.0f}",
        ]
        for one in plan.baselines
    ]
    columns = ["baseline, m", "error [mm]", "by dots alone [mm]", "coverage [%]"]
    return "Distance between the first two cameras, aimed at the zone", columns, rows


def _constellations(plan: SpacePlan) -> list[Table]:
    found: list[Table] = []
    for one in plan.constellations:
        rows: list[list[object]] = [
            ["size, root-mean-square from the middle", quantity(1e3 * one.size_m, "mm"), None],
            ["depth, from the plane that fits best", quantity(1e3 * one.depth_m, "mm"), None],
            [
                "misfit of the nearest exchange of names",
                quantity(1e3 * one.nearest_twin_m, "mm"),
                None,
            ],
            [
                "error of the angle in the zone's middle",
                quantity(_degrees(one.turn_error_rad), "deg"),
                quantity(_degrees(one.better_turn_error_rad), "deg"),
            ],
            [
                "error of the place there",
                quantity(_mm(one.place_error_m), "mm"),
                quantity(_mm(one.better_place_error_m), "mm"),
            ],
        ]
        for light in one.better:
            rows.append([f"{light.light}: x, y, z", _place(light.now_m), _place(light.better_m)])
        title = f"Lights of {one.carried}: how well they tell its pose, cameras taken as known"
        found.append((title, ["what", "now", "better"], rows))
    return found


def _degrees(value: float | None) -> float | None:
    return None if value is None else math.degrees(value)


def _mm(value: float | None) -> float | None:
    return None if value is None else 1e3 * value


def _place(point: tuple[float, float, float]) -> str:
    return ", ".join(f"{1e3 * v:.0f}" for v in point) + " mm"


def _light(plan: SpacePlan) -> Table:
    rows: list[list[object]] = []
    for name, statistic, words in _LIGHT:
        for figure in plan.figures:
            if figure.name == name and figure.statistic == statistic:
                who = figure.scope.camera or figure.scope.carried
                endless = name == "depth-of-field-far" and figure.value is None
                value = "no limit" if endless else quantity(figure.value, figure.unit)
                rows.append([f"{words} ({who})", value])
    return "Light and view", ["what", "predicted"], rows


def _reach(plan: SpacePlan) -> Table:
    """From where to where each thing can be followed, and what ends it."""
    rows: list[list[object]] = []
    for near in plan.figures:
        if near.name != "reach-near":
            continue
        own = near.scope.carried, near.scope.camera
        far = next(
            f
            for f in plan.figures
            if f.name == "reach-far" and (f.scope.carried, f.scope.camera) == own
        )
        rows.append([*own, *(_end(near, "at the lens")), *(_end(far, "far off"))])
    columns = ["thing", "camera", "from", "nearer, dots are", "to", "farther, dots are"]
    return "How far it can be followed, toward the middle of its zone and beyond", columns, rows


def _end(figure: Figure, without: str) -> tuple[str, str]:
    if figure.value is None:
        return without, "–"
    return quantity(figure.value, "m") or "–", figure.scope.condition or "–"


def _delay(plan: SpacePlan) -> Table:
    rows: list[list[object]] = []
    for figure in plan.figures:
        if figure.name == "delay" and figure.statistic == "mean":
            worst = find_figure(plan.figures, "delay", figure.cause, "max")
            words = CAUSE_WORDS[figure.cause or "all"]
            rows.append([words, number(figure.value), number(worst.value) if worst else None])
    for figure in plan.figures:
        if figure.name == "delay-displacement" and figure.statistic == "mean":
            worst = next(
                f
                for f in plan.figures
                if f.name == figure.name and f.statistic == "max" and f.scope == figure.scope
            )
            condition = figure.scope.condition or ""
            words = f"a thing moving {condition} is ahead by [mm]"
            if condition.startswith("of the picture"):
                words = f"shift {condition} [mm]"
            rows.append([words, number(figure.value), number(worst.value)])
    return "Delay", ["stage", "mean [ms]", "worst [ms]"], rows


def _circuits(plan: SpacePlan) -> Table:
    rows: list[list[object]] = []
    for circuit in plan.circuits:
        for branch in circuit.branches:
            rows.append(
                [
                    f"{circuit.name}, {branch.light}",
                    quantity(branch.resistor_ohm, "ohm"),
                    quantity(None if branch.fresh_a is None else 1e3 * branch.fresh_a, "mA"),
                    quantity(circuit.runtime_h, "h"),
                ]
            )
    return "Circuits", ["light", "resistor", "current when fresh", "cells last"], rows


def _costs(plan: SpacePlan) -> Table:
    rows: list[list[object]] = [
        [one.what, one.count, None if one.amount is None else f"{one.amount:.2f} {one.currency}"]
        for one in plan.costs
    ]
    whole = find_figure(plan.figures, "cost")
    if whole is not None and whole.value is not None:
        rows.append(["in all", None, f"{whole.value:.2f} {whole.unit}"])
    share = find_figure(plan.figures, "relative-cost")
    if share is not None and share.value is not None:
        rows.append(["share of the reference's price", None, f"{share.value:.1f} %"])
    return "Cost", ["part", "pieces", "price"], rows
