"""Budgets of a plan: every row stands in the plan, what rules first, doubt beside each."""

import dataclasses

import pytest

from rushlight.bench.desk.budget_view import rows_html
from rushlight.jobs.budget_rows import budgets
from rushlight.jobs.plan import planned_rig
from rushlight.jobs.plan_space import planned_space
from rushlight.records.safety import EyeLine


@pytest.fixture(scope="module")
def plans(tmp_path_factory):
    from tests.bench.conftest import SCENARIOS

    return {
        "barn-wall": planned_rig(SCENARIOS / "barn-wall", (2, 2)).plan,
        "choir-baton": planned_space(SCENARIOS / "choir-baton", cells=(2, 2, 2)).plan,
    }


@pytest.fixture(params=["barn-wall", "choir-baton"])
def plan(request, plans):
    return plans[request.param]


def by_name(plan):
    return {each.name: each for each in budgets(plan)}


def test_what_rules_stands_first_in_every_budget(plan):
    found = by_name(plan)
    assert set(found) == {"error", "delay", "current", "runtime", "eyes", "cost"}
    for each in found.values():
        known = [row.value for row in each.rows if row.value is not None]
        assert known == sorted(known, reverse=each.name != "runtime"), each.name
        assert [row.value is None for row in each.rows] == sorted(
            row.value is None for row in each.rows
        )
        assert each.whole >= max(known)


def test_error_and_delay_are_the_plans_own_with_their_intervals(plan):
    found = by_name(plan)
    assert "all" not in [row.what for row in found["error"].rows]
    figures = [
        each
        for each in plan.figures
        if each.name in ("error", "delay") and each.statistic in ("rms", "mean")
        if each.scope.carried is None and each.cause != "all" and each.value
    ]
    told = [
        (row.value, row.low, row.high) for name in ("error", "delay") for row in found[name].rows
    ]
    assert sorted(told, key=str) == sorted([(f.value, f.low, f.high) for f in figures], key=str)
    worst = {each.value for each in plan.figures if (each.name, each.statistic) == ("delay", "max")}
    assert all(row.worst in worst for row in found["delay"].rows)


def test_power_eyes_and_cost_are_what_the_plan_tells(plan):
    found = by_name(plan)
    assert sorted(row.value for row in found["runtime"].rows) == sorted(
        each.runtime_h for each in plan.circuits
    )
    assert sum(row.value for row in found["current"].rows) == pytest.approx(
        1e3 * sum(each.mean_a for each in plan.circuits)
    )
    ratios = [each.ratio for each in [*plan.eyes, *getattr(plan, "beams", [])]]
    assert found["eyes"].rows[0].value == pytest.approx(100 * max(ratios))
    assert found["eyes"].whole == 100.0
    priced = [each.amount for each in plan.costs if each.amount is not None]
    assert sum(row.value or 0 for row in found["cost"].rows) == pytest.approx(sum(priced))
    assert found["cost"].total.value == pytest.approx(sum(priced))


def test_an_estimate_for_the_eye_that_is_missing_is_not_hidden_behind_a_small_one(plans):
    plan = plans["barn-wall"]
    line = plan.eyes[-1]
    gone = EyeLine(**{**line.model_dump(), "ratio": None, "value": None, "words": "not known"})
    rows = by_name(plan.model_copy(update={"eyes": [*plan.eyes, gone]}))["eyes"].rows
    assert [row.note for row in rows if row.value is None] == ["not known"]
    assert rows[-1].value is None


def test_every_row_tells_its_doubt_or_that_it_is_not_known(plans):
    budget = by_name(plans["barn-wall"])["error"]
    page = rows_html(budget)
    assert page.count("90\u00a0% of builds: ") == len(budget.rows) + 1  # and all together
    assert page.count("<b ") == len(budget.rows)
    bare = [dataclasses.replace(row, low=None, high=None, level=None) for row in budget.rows]
    page = rows_html(dataclasses.replace(budget, rows=bare, total=None))
    assert page.count("interval not known") == len(bare) and "<b " not in page
