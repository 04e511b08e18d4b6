"""What a little more money would buy, of candidates made up here."""

import pytest

from rushlight.plan.search_choice import more_money
from rushlight.records.search import SearchCandidate

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
