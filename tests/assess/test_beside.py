"""Beside a plan and beside a reference: ratios, their intervals, and how they are read."""

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from rushlight.assess.intervals import LEVEL, builds_interval, rms_interval
from rushlight.assess.joining import compare, same_scope
from rushlight.assess.reference import beside_reference
from rushlight.assess.units import in_unit
from rushlight.errors import RushlightError
from rushlight.jobs.demo_words import measured as measured_words
from rushlight.jobs.load import load_rig
from rushlight.records.figure import Figure, Scope

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"
RIG = Scope(rig="barn-wall")


def figure(name, value, unit, basis="simulated", statistic="rms", cause="all", scope=RIG, **more):
    return Figure(
        name=name, cause=cause, statistic=statistic, scope=scope, value=value, unit=unit,
        basis=basis, **more,
    )  # fmt: skip


def spread(low, high):
    return {"low": low, "high": high, "level": 0.95}


def test_units():
    assert in_unit(2.5, "mm", "m") == pytest.approx(0.0025)
    assert in_unit(0.97, "1", "%") == pytest.approx(97.0)
    assert in_unit(97.0, "%", "") == pytest.approx(0.97)
    assert in_unit(0.03, "s", "ms") == pytest.approx(30.0)
    with pytest.raises(RushlightError, match=r'"mm" does not measure the same as "ms"'):
        in_unit(1.0, "mm", "ms")


@pytest.mark.parametrize(
    ("predicted", "reading"),
    [
        (2.0, "the prediction lies within the simulated interval"),
        (1.0, "the prediction lies below the simulated interval: too hopeful"),
        (9.0, "the prediction lies above the simulated interval: too cautious"),
    ],
)
def test_a_prediction_beside_its_measurement(predicted, reading):
    measured = figure("error", 2.2, "mm", **spread(1.8, 2.8))
    (row,) = compare([figure("error", predicted * 1e-3, "m", "predicted")], [measured])
    assert row.predicted == pytest.approx(predicted)
    assert row.ratio == pytest.approx(predicted / 2.2)
    assert (row.ratio_low, row.ratio_high) == pytest.approx((predicted / 2.8, predicted / 1.8))
    assert row.reading == reading and row.basis == "simulated"


@pytest.mark.parametrize(("low", "where"), [(-0.1, "within"), (0.01, "beyond")])
def test_of_nought_there_is_no_ratio_but_a_reading(low, where):
    measured = figure("length-error", 0.03, "mm", statistic="mean", **spread(low, 0.06))
    predicted = figure("length-error", 0.0, "mm", "predicted", statistic="mean")
    predicted = predicted.model_copy(
        update={"low": -0.05, "high": 0.05} if where == "within" else {"low": 0.05, "high": 0.1}
    )
    (row,) = compare([predicted], [measured])
    assert (row.ratio, row.ratio_low, row.ratio_high) == (None, None, None)
    assert where in row.reading


@pytest.mark.parametrize(
    ("told", "ending"), [(2.2, ": too hopeful"), (3.0, " shows little"), (None, ")")]
)
def test_a_demo_tells_how_its_prediction_fared(told, ending):
    """The same words as the assessment's own, whatever kind of rig."""
    seen = figure("error", 4.6, "mm", **spread(2.6, 6.0))
    of_one = figure("error", 9.9, "mm", scope=Scope(rig="barn-wall", carried="a"))
    expected = [] if told is None else [figure("error", told, "mm", "predicted")]
    assessed = SimpleNamespace(basis="simulated", compared=compare(expected, [of_one, seen]))
    words = measured_words(assessed, seen)
    assert words.startswith("4.6 mm rms [2.6 to 6.0 at 95 %] (simulated: shows")
    assert words.endswith(ending)


def test_more_is_hopeful_where_more_is_better():
    measured = figure("coverage", 80.0, "%", statistic="share", cause=None, **spread(70.0, 88.0))
    predicted = figure("coverage", 95.0, "%", "predicted", "share", None)
    assert compare([predicted], [measured])[0].reading.endswith("too hopeful")


def test_what_does_not_join():
    measured = figure("error", 2.2, "mm")
    for other in (
        figure("error", 2.0, "mm", "predicted", cause="lens"),
        figure("error", 2.0, "mm", "predicted", statistic="p95"),
        figure("trueness", 2.0, "mm", "predicted"),
        figure("error", 2.0, "mm", "predicted", scope=Scope(rig="attic")),
        figure("error", 2.0, "mm", "predicted", scope=Scope(rig="barn-wall", carried="a")),
        figure("error", None, "mm", "predicted"),
    ):
        assert compare([other], [measured]) == []
    assert same_scope(Scope(), RIG) and same_scope(RIG, Scope(rig="barn-wall", camera="beam"))


def test_the_planned_spread_over_builds_covers_as_it_says():
    # Builds whose mean square follows χ² of 8 degrees, and a plan that knows that spread.
    rng = np.random.default_rng(4)
    ends = np.sqrt(stats.chi2.ppf([0.05, 0.95], 8) / 8)
    plan = figure("error", 3.0, "mm", "predicted", low=3 * ends[0], high=3 * ends[1], level=0.9)
    builds = 3.0 * np.sqrt(stats.chi2.rvs(8, size=4000, random_state=rng) / 8)
    found = [builds_interval(value, plan, "all", 1) for value in builds]
    covered = np.mean([each.low <= 3.0 <= each.high for each in found])
    # Stretched from 90 to 95 % on the logarithm, which is near but not the χ² law itself.
    assert covered == pytest.approx(LEVEL, abs=0.015)


def test_without_a_plan_a_shared_cause_follows_chi_square():
    rng = np.random.default_rng(5)
    draws = 3
    builds = np.sqrt(stats.chi2.rvs(8 * draws, size=4000, random_state=rng) / (8 * draws))
    found = [builds_interval(value, None, "registration", draws) for value in builds]
    covered = sum(each.low <= 1.0 <= each.high for each in found)
    low, high = stats.binom.ppf([0.0005, 0.9995], 4000, LEVEL)
    assert low <= covered <= high
    assert "supposed" in found[0].method


def test_the_wider_of_places_and_builds_is_taken():
    values = np.array([1.0, 1.1, 0.9, 1.05, 0.95, 1.02])
    alone = rms_interval(values, "centre", None, 1)
    shared = rms_interval(values, "lens", None, 1)
    assert shared.low < alone.low < 1.0 < alone.high < shared.high
    assert rms_interval(values[:3], "centre", None, 1).low is None


@pytest.fixture(scope="module")
def barn_wall():
    return load_rig(BARN_WALL)


MEASURED = [
    figure("error", 4.0, "mm", "measured", **spread(3.2, 5.0)),
    figure("error", 9.0, "mm", "measured", cause="lens"),
    figure("coverage", 80.0, "%", "measured", "share", None, **spread(70.0, 88.0)),
    figure("delay", 1.0, "ms", "measured", "mean", None),
]
PREDICTED = [figure("delay", 50.0, "ms", "predicted", "mean")]


def test_beside_the_reference(barn_wall):
    rig, shelf = barn_wall
    found = beside_reference(rig, shelf, MEASURED, PREDICTED)
    rows = {row.name: row for row in found.rows}
    assert rows["error"].ratio == pytest.approx(0.5)
    assert rows["error"].low < 0.5 < rows["error"].high
    assert rows["coverage"].ratio == pytest.approx(0.8)
    assert "no sampling variance: no test of equivalence" in rows["coverage"].reading
    # A session cannot measure the whole delay, so the plan's stands in, and is called so.
    assert rows["delay"].ratio == pytest.approx(1.2) and rows["delay"].rig_basis == "predicted"
    assert "predicted, not measured" in rows["delay"].reading and rows["delay"].low is None


def test_overall_by_the_rigs_weights_with_its_sensitivity(barn_wall):
    rig, shelf = barn_wall
    found = beside_reference(rig, shelf, MEASURED, PREDICTED).overall
    expected = (0.5**2 * 1.2 * 0.8) ** 0.25
    assert found.value == pytest.approx(expected)
    assert found.low is None, "the delay has no spread, so neither has the whole"
    error = next(each for each in found.weights if each.name == "error")
    assert error.if_lower > found.value > error.if_higher


def test_no_overall_without_weights_or_with_a_gap(barn_wall):
    rig, shelf = barn_wall
    bare = rig.model_copy(update={"weights": None})
    assert beside_reference(bare, shelf, MEASURED, PREDICTED).overall is None
    found = beside_reference(rig, shelf, MEASURED, [])
    assert found.overall is None
    assert {"criterion-unknown", "overall-incomplete"} <= {each.code for each in found.findings}


def test_relative_cost(barn_wall):
    rig, shelf = barn_wall
    cost = beside_reference(rig, shelf, MEASURED, PREDICTED).cost
    assert cost.ratio == pytest.approx(cost.rig_cost / 2600.0) and cost.basis == "invented"
    price = rig.reference.price.model_copy(update={"currency": "SEK"})
    dear = rig.model_copy(update={"reference": rig.reference.model_copy(update={"price": price})})
    found = beside_reference(dear, shelf, MEASURED, PREDICTED)
    assert found.cost is None
    assert any("is not the rig's EUR" in str(finding) for finding in found.findings)


def test_zero_gives_no_ratio(barn_wall):
    rig, shelf = barn_wall
    none = [figure("coverage", 0.0, "%", "measured", "share", None)]
    found = beside_reference(rig, shelf, none, [])
    assert any(finding.code == "criterion-zero" for finding in found.findings)
