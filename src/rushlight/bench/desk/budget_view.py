"""The budgets of a plan as bars, what rules first, each with how sure it is."""

from __future__ import annotations

from nicegui import ui

from rushlight.bench.desk.cautions import draw_named_cautions
from rushlight.bench.desk.frame import element, words_html
from rushlight.bench.desk.show import number
from rushlight.bench.texts import text
from rushlight.jobs.budget_rows import Budget, BudgetRow, budgets
from rushlight.publish.cautions import TITLES
from rushlight.records.plan import Plan
from rushlight.records.space_plan import SpacePlan


def draw_budgets(made: Plan | SpacePlan) -> None:
    """Every budget of a plan; draws into the present place."""
    for each in budgets(made):
        with ui.element("section").classes("budget-part") as part:
            part.props["data-budget"] = each.name
            element("h3", text(f"budget.{each.name}"))
            element("p", text(f"budget.{each.name}.lead"), "soft small")
            if each.name == "eyes":
                draw_named_cautions(
                    [TITLES[name] for name in ("eye", "beam") if name in made.cautions]
                )
            ui.html(rows_html(each), sanitize=False)


def rows_html(budget: Budget) -> str:
    """The bars of one budget, then all together as words where that is known."""
    rows = "".join(_row_html(row, budget.whole) for row in budget.rows)
    total = "" if budget.total is None else f'<p class="budget-all">{_words_html(budget.total)}</p>'
    return f'<ul class="budget doubted">{rows}</ul>{total}'


def _row_html(row: BudgetRow, whole: float) -> str:
    span = ""
    if row.low is not None and row.high is not None:
        span = (
            f'<b style="inset-inline-start:{_share(row.low, whole):.1f}%;'
            f'width:{_share(row.high - row.low, whole):.1f}%"></b>'
        )
    bar = f'<i style="width:{_share(row.value, whole):.1f}%"></i>{span}'
    return (
        f"<li><span>{words_html(row.what)}</span><span>{number(row.value, row.unit)}</span>"
        f'<span class="bar" aria-hidden="true">{bar}</span>'
        f'<span class="soft small doubt">{words_html(_doubt(row))}</span></li>'
    )


def _words_html(row: BudgetRow) -> str:
    return (
        f"<span>{words_html(row.what)}</span>: <strong>{number(row.value, row.unit)}</strong>; "
        f'<span class="soft small doubt">{words_html(_doubt(row))}</span>'
    )


def _share(value: float | None, whole: float) -> float:
    """Of a bar's length [%]; a scale of drawing."""
    return 0.0 if value is None or whole <= 0 else min(100.0 * value / whole, 100.0)


def _doubt(row: BudgetRow) -> str:
    """How sure it is, as far as the plan tells."""
    parts = [row.note] if row.note else []
    if row.value is not None:
        if row.worst is not None:
            parts.append(text("budget.worst", value=number(row.worst, row.unit)))
        if row.low is not None and row.high is not None and row.level is not None:
            parts.append(
                text(
                    "budget.interval",
                    level=number(100 * row.level, "%"),
                    low=number(row.low, row.unit),
                    high=number(row.high, row.unit),
                )
            )
        else:
            parts.append(text("budget.interval.none"))
    return "; ".join(parts)
