"""What a plan holds as budgets: one list each for error, delay, cells, current, eyes and cost.

Nothing is predicted here: every number stands in the plan already.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from rushlight.records.circuit import PlanCircuit
from rushlight.records.figure import CAUSE_WORDS, Figure
from rushlight.records.plan import Plan
from rushlight.records.safety import EyeLine
from rushlight.records.space_plan import SpacePlan

BudgetName = Literal["error", "delay", "current", "runtime", "eyes", "cost"]


@dataclass(frozen=True)
class BudgetRow:
    """One part of a budget.

    Attributes
    ----------
    what
        The part, in words.
    value, unit
        None where it is not known.
    low, high, level
        Interval in the same unit, and the share of builds that lie in it [1]; None where not known.
    worst
        The greatest that the plan tells, in the same unit; None where not known.
    note
        What the plan says beside the value; empty where nothing.
    """

    what: str
    value: float | None
    unit: str
    low: float | None = None
    high: float | None = None
    level: float | None = None
    worst: float | None = None
    note: str = ""


@dataclass(frozen=True)
class Budget:
    """The parts, what rules first and what is not known last.

    Attributes
    ----------
    name
        Of what.
    rows
        The greatest first; cells by their runtime, where the first to be spent rules.
    whole
        What a bar of full length stands for; eyes: 100 % of the limit, or the greatest share.
    total
        All parts together where the plan tells it.
    """

    name: BudgetName
    rows: list[BudgetRow]
    whole: float
    total: BudgetRow | None = None


def budgets(made: Plan | SpacePlan) -> list[Budget]:
    """Every budget of a plan that has parts.

    Parameters
    ----------
    made
        Of a surface, or of space.
    """
    found = [
        _figures(made, "error", "rms", ""),
        _figures(made, "delay", "mean", "max"),
        _currents(made.circuits),
        _runtimes(made.circuits),
        _eyes(made),
        _costs(made),
    ]
    return [each for each in found if each.rows]


def _ruled(rows: Iterable[BudgetRow], least_first: bool = False) -> list[BudgetRow]:
    """What rules first; what is not known last."""
    sign = 1.0 if least_first else -1.0
    return sorted(rows, key=lambda row: (row.value is None, sign * (row.value or 0.0)))


def _budget(
    name: BudgetName, rows: list[BudgetRow], total: BudgetRow | None = None, least: float = 0.0
) -> Budget:
    known = [row.value for row in rows if row.value is not None]
    ends = [row.high for row in rows if row.high is not None]
    return Budget(name, rows, max([*known, *ends, least]), total)


def _figures(made: Plan | SpacePlan, name: BudgetName, statistic: str, worst: str) -> Budget:
    """Figures of one name by cause, over everything that is carried."""

    def of(wanted: str) -> dict[str, Figure]:
        return {
            str(one.cause): one
            for one in made.figures
            if (one.name, one.statistic) == (name, wanted)
            and one.cause is not None
            and one.scope.carried is None
            and one.scope.condition is None
        }

    ends = of(worst) if worst else {}
    rows = {
        cause: BudgetRow(
            CAUSE_WORDS.get(cause, cause),
            one.value,
            one.unit,
            one.low,
            one.high,
            one.level,
            ends[cause].value if cause in ends else None,
        )
        for cause, one in of(statistic).items()
    }
    total = rows.pop("all", None)
    parts = [row for row in rows.values() if row.value != 0.0]
    return _budget(name, _ruled(parts), total)


def _circuit(one: PlanCircuit) -> str:
    supply = f" ({one.cells} × {one.feed})" if one.feed else ""
    return {"carried": "", "illuminator": "illuminator of ", "anchor": "anchor "}[one.kind] + (
        one.name + supply
    )


def _currents(circuits: list[PlanCircuit]) -> Budget:
    """Drawn on average at the duty when fresh; the most while everything is lit."""
    rows = (
        BudgetRow(_circuit(one), _milli(one.mean_a), "mA", worst=_milli(one.peak_a))
        for one in circuits
    )
    return _budget("current", _ruled(rows))


def _runtimes(circuits: list[PlanCircuit]) -> Budget:
    """Hours until the cells are spent; those that are spent first rule."""
    rows = (
        BudgetRow(
            _circuit(one),
            one.runtime_h,
            "h",
            note=""
            if one.half_light_h is None
            else f"half as bright after {one.half_light_h:.3g} h",
        )
        for one in circuits
    )
    return _budget("runtime", _ruled(rows, least_first=True))


def _eyes(made: Plan | SpacePlan) -> Budget:
    """The worst look of each light at each part of the eye, as a share of the published limit."""
    worst: dict[tuple[str, str], EyeLine] = {}
    for line in made.eyes:
        known = worst.setdefault((line.light, line.eye), line)
        # An estimate that is missing counts as the worst: it must not hide behind a small one.
        if known.ratio is not None and (line.ratio is None or line.ratio > known.ratio):
            worst[line.light, line.eye] = line
    rows = [
        BudgetRow(
            f"{line.light}: {line.eye}, {line.where}, {line.look}",
            _percent(line.ratio),
            "%",
            note=line.words,
        )
        for line in worst.values()
    ]
    beams = made.beams if isinstance(made, Plan) else []
    rows += [
        BudgetRow(
            f"projector of {line.surface}: {line.person} glances into its lens",
            _percent(line.ratio),
            "%",
            note=line.words,
        )
        for line in beams
    ]
    return _budget("eyes", _ruled(rows), least=100.0)


def _costs(made: Plan | SpacePlan) -> Budget:
    """Each line with its price; a line without one is not known, not free."""
    rows = [
        BudgetRow(
            one.what if one.count == 1 else f"{one.count} × {one.what}",
            one.amount,
            one.currency,
            note="; ".join(filter(None, (one.basis, one.note))),
        )
        for one in made.costs
    ]
    whole = next((one for one in made.figures if one.name == "cost"), None)
    total = None
    if whole is not None:
        total = BudgetRow(
            "in all", whole.value, whole.unit, whole.low, whole.high, whole.level, note=whole.method
        )
    return _budget("cost", _ruled(rows), total)


def _milli(value: float | None) -> float | None:
    return None if value is None else 1e3 * value


def _percent(ratio: float | None) -> float | None:
    return None if ratio is None else 100.0 * ratio
