"""Everything that was found of a rig; and what it costs beside its reference, with its doubt."""

from __future__ import annotations

import csv
import io
import json

import numpy as np
import pytest
from scipy import stats
from typer.testing import CliRunner

from rushlight.assess.reference import beside_reference
from rushlight.cli import app
from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.jobs.results import result_pictures, results, results_csv


def codes(found):
    return {each.code for each in found.findings}


def test_what_lies_there_is_told_and_what_does_not_is_named(barn, assessed):
    assert codes(results(barn)) == {"results-no-sessions", "results-no-trials"}
    assessed.write(barn / "assessment" / "assessment.json")
    found = results(barn)
    assert found.sessions.figures == assessed.figures
    assert codes(found) == {"results-no-prediction", "results-no-trials"}
    bare = assessed.model_copy(update={"figures": []}).stamped("simulated")
    bare.write(barn / "assessment" / "assessment.json")
    assert codes(results(barn)) == {"results-no-error", "results-no-trials"}
    other = assessed.model_copy(update={"rig": "0" * 64}).stamped("simulated")
    other.write(barn / "assessment" / "assessment.json")
    assert "results-stale" in codes(results(barn))


def test_the_command_tells_the_same(barn, assessed):
    assessed.write(barn / "assessment" / "assessment.json")
    done = CliRunner().invoke(app, ["assess", str(barn), "--json"])
    assert json.loads(done.stdout) == results(barn).as_dict()
    refused = CliRunner().invoke(app, ["assess", str(barn), "--plan", "x"])
    assert "belongs to sessions, and a rig was named" in str(refused.exception)
    with pytest.raises(RushlightError, match="holds no session"):
        results(barn, anew=True)


def test_the_table_holds_every_figure_with_its_basis(barn, assessed):
    assessed.write(barn / "assessment" / "assessment.json")
    rows = list(csv.DictReader(io.StringIO(results_csv(barn).decode())))
    assert [(r["name"], float(r["value"]), r["unit"], r["basis"]) for r in rows] == [
        (each.name, each.value, each.unit, each.basis) for each in assessed.figures
    ]


def spread(rig, share):
    """The rig with a spread of that share at every price."""

    def told(price):
        return price.model_copy(update={"std": share * price.amount})

    return rig.model_copy(
        update={
            "prices": {name: told(price) for name, price in rig.prices.items()},
            "reference": rig.reference.model_copy(update={"price": told(rig.reference.price)}),
        }
    )


def test_relative_cost_has_the_interval_that_draws_of_prices_have(barn):
    rig, shelf = load_rig(barn)
    cost = beside_reference(spread(rig, 0.08), shelf, [], []).cost
    random = np.random.default_rng(5)
    lines = beside_reference(rig, shelf, [], []).cost
    assert lines.low is None and "Fieller" not in lines.method
    from rushlight.shelf.cost import cost_lines

    ours = sum(
        stats.norm(each.amount, 0.08 * each.amount).rvs(200_000, random_state=random)
        for each in cost_lines(rig, shelf)
        if each.amount
    )
    amount = rig.reference.price.amount
    theirs = stats.norm(amount, 0.08 * amount).rvs(200_000, random_state=random)
    low, high = np.quantile(ours / theirs, [0.025, 0.975])
    # 200 000 draws tell these quantiles to a part in a thousand; Fieller's interval is exact.
    assert (cost.low, cost.high) == pytest.approx((low, high), rel=0.005)
    assert cost.low < cost.ratio < cost.high
    assert "Fieller" in cost.method


def test_one_price_without_a_spread_leaves_the_interval_unknown(barn):
    rig, shelf = load_rig(barn)
    some = spread(rig, 0.1)
    name = "vga-global-120"
    some = some.model_copy(update={"prices": {**some.prices, name: rig.prices[name]}})
    assert beside_reference(some, shelf, [], []).cost.low is None


def test_a_rig_that_tells_no_spread_is_the_same_rig_as_before(barn):
    rig, _ = load_rig(barn)
    assert "std" not in rig.model_dump(mode="json")["prices"]["beam-clamp"]
    assert spread(rig, 0.1).content_hash() != rig.content_hash()


def test_the_rig_over_its_reference_is_drawn_with_what_is_known(barn, assessed):
    from rushlight.records.assessment import RelativePerformanceRow

    row = RelativePerformanceRow(
        name="error", statistic="rms", unit="mm", rig_value=2.0, rig_basis="simulated",
        reference_value=1.0, reference_basis="invented", reference_source="made up",
        lower_is_better=True, ratio=0.5, low=0.4, high=0.6, level=0.95, log_std=0.1, reading="",
    )  # fmt: skip
    rows = [row, row.model_copy(update={"name": "delay", "low": None, "high": None})]
    told = {"reference": "a wall", "relative": rows}
    assessed.model_copy(update=told).write(barn / "assessment" / "assessment.json")
    (drawn,) = [each for each in result_pictures(barn) if each.name == "relative.svg"]
    assert drawn.basis == "simulated"
    assert b"interval not known" in drawn.svg
    assert b"simulated over invented" in drawn.svg
