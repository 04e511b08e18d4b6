"""What a little more money would buy, of candidates made up here."""

import pytest
from tests.search_rooms import POINTS, room, room_data

from rushlight.cli.search_tables import tables
from rushlight.plan import search, searching
from rushlight.plan.search_choice import IN_TABLE, in_table, more_money, unpriced_words, why_chosen
from rushlight.plan.search_page import search_page
from rushlight.plan.searching import begin, search_rig
from rushlight.records.document import validate
from rushlight.records.rig import Rig
from rushlight.records.search import SearchCandidate
from rushlight.shelf.catalogue import built_in_shelf

CHOSEN = SearchCandidate(
    number=1, place="beam", position_m=(0.7, 1.7, 2.7), look_at_m=(1.0, 1.0, 0.0),
    camera="vga-global-60", filter=None, emitter="ir850-5mm-60", current_a=0.01,
    frame_rate_hz=60.0, exposure_s=1e-3, cost=46.2, error_rms_m=2.6e-3, error_worst_m=4e-3,
    coverage=0.8, coverage_clear=0.97, delay_s=0.066, battery_s=4e6, build_s=6000.0, missed=[],
)  # fmt: skip


def another(number, cost, **better):
    return CHOSEN.model_copy(update={"number": number, "cost": cost, **better})


def test_the_most_worth_within_each_sum_is_told_once_with_what_it_costs():
    quicker = another(2, 54.2, delay_s=0.050)
    wider = another(3, 68.2, coverage=0.9, error_rms_m=2.5e-3)
    found = more_money(CHOSEN, [CHOSEN, quicker, wider], "EUR")
    assert [(one.number, one.spent) for one in found] == [(2, 8.0), (3, 22.0)]
    assert found[0].amount >= 8.0 and found[1].amount >= 22.0
    assert "16 ms less delay" in found[0].words
    assert "10 % of the surface more" in found[1].words


def test_what_is_dearer_and_no_better_buys_nothing():
    assert more_money(CHOSEN, [CHOSEN, another(2, 50.0, coverage=0.7)], "EUR") == []


@pytest.mark.parametrize("cost", [46.1, 500.0])
def test_what_costs_less_or_far_more_is_no_answer(cost):
    assert more_money(CHOSEN, [another(2, cost, coverage=0.95)], "EUR") == []


def test_what_is_given_up_is_told_too():
    found = more_money(CHOSEN, [another(2, 50.0, coverage=0.9, delay_s=0.09)], "EUR")
    assert "; but the chosen one has 24 ms less delay" in found[0].words


def test_what_lies_beyond_the_budget_has_no_number_and_says_so():
    dear = another(0, 54.2, delay_s=0.050)
    (one,) = more_money(CHOSEN, [CHOSEN], "EUR", [dear])
    assert one.number is None and one.spent == 8.0
    assert "16 ms less delay" in one.words and "more than may be spent" in one.words
    # What may be spent and is as good is told in its stead.
    (one,) = more_money(CHOSEN, [CHOSEN, another(2, 54.0, delay_s=0.050)], "EUR", [dear])
    assert one.number == 2 and "more than may be spent" not in one.words


@pytest.mark.parametrize("budget", [50, 90])
def test_a_budget_just_above_the_choice_hides_nothing(budget, monkeypatch):
    """The camera of 120 Hz costs 8 more than the chosen one, and shows things sooner."""
    monkeypatch.setattr(searching, "GRID", (3, 2))
    monkeypatch.setattr(search, "ROUNDS", 1)
    monkeypatch.setattr(search, "ROUND_SHARE", 2)
    rig = room(
        POINTS, aim="middle", cameras=["vga-global-60", "vga-global-120"],
        filters=["long-pass-850"], emitters=["ir850-5mm-17"], currents=["20 mA"], population=8,
        budget={"amount": budget, "currency": "EUR"},
    )  # fmt: skip
    result = search_rig(*begin(rig, built_in_shelf(), None, 2, "rig.toml"))
    chosen = result.candidate(result.chosen)
    assert chosen.cost == pytest.approx(46.2) and chosen.camera == "vga-global-60"
    assert all(one.cost <= budget for one in result.candidates)
    first = result.more[0]
    assert first.spent == pytest.approx(8.0) and "less delay, with vga-global-120" in first.words
    assert (first.number is None) == ("more than may be spent" in first.words) == (budget == 50)


def test_the_table_leaves_most_room_to_what_meets_all_targets():
    met = [another(number, 46.2) for number in range(2, 32)]
    missed = [another(number, 40.0, missed=["coverage"]) for number in range(32, 92)]
    shown = in_table([CHOSEN, *missed, *met], 1)
    assert shown[0] is CHOSEN
    assert len(shown) <= IN_TABLE
    assert sum(not each.missed for each in shown) >= 8
    assert sum(bool(each.missed) for each in shown) == 2
    # What room those leave that meet all targets, the others fill.
    assert len(in_table([CHOSEN, met[0], *missed], 1)) > 8


def without_prices(*gone, **settings):
    """A small search in the demo's room, of whose parts some have no price."""
    data = room_data(
        POINTS, aim="middle", cameras=["vga-global-60"], filters=["long-pass-850"],
        emitters=["ir850-5mm-17"], currents=["20 mA"], population=8, **settings,
    )  # fmt: skip
    for part in gone:
        del data["prices"][part]
    rig = validate(Rig, data, "rig.toml")
    return search_rig(*begin(rig, built_in_shelf(), None, 2, "rig.toml"))


@pytest.fixture
def small(monkeypatch):
    monkeypatch.setattr(searching, "GRID", (3, 2))
    monkeypatch.setattr(search, "ROUNDS", 1)
    monkeypatch.setattr(search, "ROUND_SHARE", 2)


def test_a_cost_that_leaves_parts_out_says_which_wherever_it_stands(small):
    result = without_prices("aa-alkaline", "projector-wxga-short-throw")
    told = "for all but projector-wxga-short-throw and aa-alkaline, whose price is not known"
    (taken,) = [each for each in result.why if each.startswith("It stands")]
    (own,) = [each for each in result.why if each.startswith("The rig as it stands,")]
    assert f"EUR {told}" in taken and f"EUR {told}" in own
    winners, *_ = tables(result)
    assert f"(cost: {told}; coverage: " in winners[0]
    page = search_page(result, b"<svg></svg>").decode()
    assert page.count(f"EUR {told}") >= 1 + len(result.candidates)
    assert any("parts whose price is known" in each for each in result.assumptions)


def test_where_every_price_is_known_nothing_is_said_to_be_left_out(small):
    result = without_prices()
    winners, *_ = tables(result)
    assert not any("whose price" in each for each in (*result.why, winners[0]))


def test_the_rig_s_own_cell_is_tried_without_a_price_and_a_listed_one_is_not(small):
    """As the page and the commented file of a new rig say."""
    own = without_prices("aa-alkaline")
    assert {each.cell for each in own.candidates} == {"aa-alkaline"}
    assert [each.code for each in own.thrown_out if each.of == "cell"] == []
    listed = [{"part": "aa-alkaline", "cells": 2}, {"part": "aaa-alkaline", "cells": 2}]
    price = {"amount": 0.45, "currency": "EUR", "date": "2026-03", "basis": "invented"}
    prices = {**room_data(POINTS)["search"]["prices"], "aaa-alkaline": price}
    result = without_prices("aa-alkaline", cells=listed, prices=prices)
    assert {each.cell for each in result.candidates} == {"aaa-alkaline"}
    assert "price-unknown" in {each.code for each in result.thrown_out if each.of == "cell"}


def test_of_many_parts_without_a_price_a_few_are_named():
    assert unpriced_words([]) == ""
    assert unpriced_words(list("abcdef")) == (
        "for all but a, b, c, d and 2 more, whose price is not known"
    )


@pytest.mark.parametrize("missed", [[], ["coverage"]])
def test_winners_worked_out_are_told_apart_from_all_winners(missed):
    chosen = another(3, 46.2, missed=missed)
    some = why_chosen(chosen, [], [], None, (25, 60, 813), "EUR")[0]
    assert "of the 60 winners worked out, which are spread over all 813, meet" in some
    every = why_chosen(chosen, [], [], None, (21, 42, 42), "EUR")[0]
    assert "of the 42 winners meet" in every
