"""What a rig costs, and what is said where a price is not known."""

import pytest

from rushlight.jobs.load import load_rig
from rushlight.shelf.cost import cost_figure, cost_lines


def test_the_example_costs_about_fifty(barn):
    rig, shelf = load_rig(barn)
    lines = {line.what: (line.kind, line.count, line.amount) for line in cost_lines(rig, shelf)}
    assert lines["aa-alkaline"] == ("cell", 4, pytest.approx(2.4))
    assert lines["ir850-5mm-17"] == ("emitter", 2, pytest.approx(0.8))
    assert lines["beam-clamp"] == (None, 1, pytest.approx(3.0))
    figure = cost_figure(rig, shelf)
    assert (figure.value, figure.unit, figure.basis) == (54.2, "EUR", "invented")
    assert figure.method == "sum of 8 priced lines; prices of 2026-03"


def test_an_unknown_price_is_said_and_not_taken_as_nothing(edit):
    price = (
        'aa-alkaline = { amount = 0.60, currency = "EUR", date = "2026-03", basis = "invented" }'
    )
    rig, shelf = load_rig(edit(price, ""))
    (cell,) = [line for line in cost_lines(rig, shelf) if line.what == "aa-alkaline"]
    assert (cell.price, cell.amount) == (None, None)
    figure = cost_figure(rig, shelf)
    assert figure.value == 51.8
    assert figure.method == (
        "sum of 7 priced lines; price not known, not counted: aa-alkaline; prices of 2026-03"
    )


def test_currencies_are_not_added_up(edit):
    rig, shelf = load_rig(
        edit('amount = 3.00, currency = "EUR"', 'amount = 3.00, currency = "CHF"')
    )
    figure = cost_figure(rig, shelf)
    assert (figure.value, figure.unit) == (None, "")
    assert "not added up across CHF and EUR" in figure.method


def test_the_basis_is_that_of_the_weakest_price(edit):
    folder = edit("[prices]", "[prices]\n# one by one")
    path = folder / "rig.toml"
    head, prices = path.read_text("utf-8").split("# one by one")
    path.write_text(head + prices.replace('basis = "invented"', 'basis = "measured"'), "utf-8")
    assert cost_figure(*load_rig(folder)).basis == "measured"
    one = prices.replace('basis = "invented"', 'basis = "measured"')
    path.write_text(head + one.replace('"measured"', '"published"', 1), "utf-8")
    assert cost_figure(*load_rig(folder)).basis == "published"


def test_no_price_at_all(edit):
    folder = edit("[prices]", "[prices]\n# one by one")
    path = folder / "rig.toml"
    path.write_text(path.read_text("utf-8").split("# one by one")[0], "utf-8")
    figure = cost_figure(*load_rig(folder))
    assert figure.value is None
    assert figure.n == 0
