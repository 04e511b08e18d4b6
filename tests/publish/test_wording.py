"""Numbers as they stand on a page."""

from __future__ import annotations

import math

import pytest

from rushlight.publish.wording import money, significant, stated, with_unit
from rushlight.records.figure import Figure


def figure(value, low=None, high=None, unit="mm"):
    return Figure(
        name="error", cause="all", statistic="rms", value=value, low=low, high=high,
        level=None if low is None else 0.9, unit=unit, basis="predicted",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("value", "words"),
    [(3.0523, "3.05"), (0.0, "0"), (-0.5, "−0.5"), (1234567.0, "1\u202f230\u202f000"),
     (999.9, "1\u202f000"), (90.0, "90"), (None, "not known"), (math.nan, "not known")],
)  # fmt: skip
def test_three_digits_without_an_exponent(value, words):
    assert significant(value) == words


@pytest.mark.parametrize(
    ("given", "text", "doubt"),
    [
        ((3.052, 2.364, 3.856), "3.1\xa0mm", "2.4 to 3.9\xa0mm, 90\xa0% interval"),
        ((0.0466, 0.0425, 0.0507), "0.047\xa0mm", "0.043 to 0.051\xa0mm, 90\xa0% interval"),
        ((3.97, 3.0, 5.4), "4.0\xa0mm", "3.0 to 5.4\xa0mm, 90\xa0% interval"),
        ((52.0, 12.0, 92.0), "52\xa0mm", "12 to 92\xa0mm, 90\xa0% interval"),
        ((3.052,), "3.05\xa0mm", "no interval computed"),
        ((None,), "not known", ""),
    ],
)
def test_a_value_is_no_finer_than_its_doubt(given, text, doubt):
    shown = stated(figure(*given))
    assert (shown.text, shown.doubt, shown.basis) == (text, doubt, "predicted")


def test_money_has_its_cents_and_what_is_not_known_no_unit():
    assert money(54.2, "EUR") == stated(figure(54.2, unit="EUR")).text == "54.20\xa0EUR"
    assert with_unit(significant(None), "mm") == "not known"
