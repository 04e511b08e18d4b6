"""The tables of a plan's circuits: words and rounding only."""

from __future__ import annotations

from rushlight.cli.rounding import number
from rushlight.physics.touch_heat import touch_words
from rushlight.records.circuit import PlanBranch, PlanCircuit
from rushlight.records.plan import Plan

Table = tuple[str, list[str], list[list[object]]]


def _number(value: float | None, scale: float = 1.0) -> str:
    return number(None if value is None else scale * value) or "–"


def light_name(circuit: PlanCircuit, branch: PlanBranch) -> str:
    """What a light is called: its thing, and itself where the thing has several."""
    name = {"carried": "", "illuminator": "illuminator of ", "anchor": "anchor "}[circuit.kind]
    name += circuit.name
    if len(circuit.branches) > 1:
        name += f", {branch.light}"
    return name


def tables(plan: Plan) -> list[Table]:
    """Circuits, then how the cells empty, then warmth; none for plans that tell nothing of it."""
    if not plan.circuits:
        return []
    return [_circuits(plan), _supplies(plan), _warmth(plan)]


def _strings(branch: PlanBranch) -> str:
    return f"{branch.strings} × {branch.in_series}"


def _circuits(plan: Plan) -> Table:
    rows: list[list[object]] = [
        [
            light_name(circuit, branch),
            _strings(branch),
            _number(branch.resistor_ohm),
            _number(branch.rating_w),
            _number(branch.fresh_a, 1e3),
            _number(branch.nominal_a, 1e3),
            _number(branch.spent_a, 1e3),
        ]
        for circuit in plan.circuits
        for branch in circuit.branches
    ]
    return (
        "Power: a resistor for each string, and the current while lit [mA]",
        ["light", "strings × diodes", "resistor [Ω]", "rating [W]", "fresh", "nominal", "spent"],
        rows,
    )


def _supplies(plan: Plan) -> Table:
    rows: list[list[object]] = [
        [
            light_name(circuit, circuit.branches[0]).split(",")[0],
            f"{circuit.cells} × {circuit.feed}" if circuit.feed else "not told",
            f"{_number(circuit.fresh_v)} → {_number(circuit.spent_v)}",
            _number(circuit.runtime_h),
            _number(circuit.half_light_h),
            _number(circuit.light_left, 100.0),
        ]
        for circuit in plan.circuits
    ]
    return (
        "Supplies: hours integrated over the cell's discharge, and how the light falls with it",
        ["light", "supply", "fresh → spent [V]", "runs [h]", "to half light [h]", "left [%]"],
        rows,
    )


def _warmth(plan: Plan) -> Table:
    rows: list[list[object]] = [
        [
            light_name(circuit, branch),
            _number(branch.resistor_w, 1e3),
            _number(branch.resistor_c),
            "–" if branch.resistor_c is None else touch_words(branch.resistor_c),
            f"{_number(branch.diode_w, 1e3)} of {_number(branch.diode_bears_w, 1e3)}",
            _number(branch.junction_c),
        ]
        for circuit in plan.circuits
        for branch in circuit.branches
    ]
    ambient = plan.circuits[0].ambient_c
    return (
        f"Warmth in air of {ambient:g} °C, a long press of fresh cells: estimates in free air",
        ["light", "resistor [mW]", "its spot [°C]", "to the hand", "diode [mW]", "its chip [°C]"],
        rows,
    )
