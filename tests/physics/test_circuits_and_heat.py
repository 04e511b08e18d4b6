"""Diodes, discharge and heat: properties, limits and refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.physics import diode, discharge, touch_heat

PART = (0.05, 1.5, 1.8)


@given(st.floats(1.8, 12.0), st.floats(5.0, 1e4), st.integers(1, 6))
def test_the_voltages_round_the_loop_add_up(supply_v, resistor_ohm, in_series):
    current = diode.string_current(supply_v, resistor_ohm, in_series, *PART)
    over = in_series * diode.forward_voltage(current, *PART) + resistor_ohm * current
    assert over == pytest.approx(supply_v, rel=1e-9)


def test_the_current_fades_with_the_supply_and_never_turns_round():
    volts = np.linspace(0.5, 3.2, 200)
    current = diode.string_current(volts, 82.0, 1, *PART)
    assert np.all(np.diff(current) > 0) and current[0] < 1e-6


def test_an_unknown_supply_gives_an_unknown_current():
    assert np.isnan(diode.string_current(np.nan, 82.0, 1, *PART))


@given(st.floats(1e-3, 0.2), st.floats(0.0, 0.3))
def test_parallel_diodes_carry_one_voltage(total_a, gap_v):
    more, less = diode.parallel_shares(total_a, gap_v, PART[2])
    assert more + less == pytest.approx(total_a)
    assert diode.forward_voltage(more, *PART) == pytest.approx(
        diode.forward_voltage(less, *PART) + gap_v, abs=1e-9
    )


def test_parallel_diodes_of_equal_voltage_share_alike():
    more, less = diode.parallel_shares(0.04, 0.0)
    assert more == pytest.approx(0.02) and less == pytest.approx(0.02)


CURVE = ([0.0, 0.1, 0.6, 0.9, 1.0], [1.6, 1.4, 1.2, 1.0, 0.8])


def lit(volts):
    return diode.string_current(volts, 82.0, 1, *PART)


def test_half_the_duty_lasts_twice_as_long():
    whole, half = (discharge.discharge(*CURVE, 2, 2.0, lit, duty).runtime_h for duty in (1.0, 0.5))
    assert half == pytest.approx(2 * whole)


def test_the_charge_drawn_is_the_charge_of_the_cell():
    found = discharge.discharge(*CURVE, 2, 2.0, lit, 0.3)
    drawn = np.trapezoid(0.3 * found.current_a, found.hours)
    assert drawn == pytest.approx(2.0, rel=1e-3)


def test_more_steps_hardly_change_the_time(monkeypatch):
    before = discharge.discharge(*CURVE, 2, 2.0, lit).runtime_h
    monkeypatch.setattr(discharge, "STEPS", 20 * discharge.STEPS)
    assert discharge.discharge(*CURVE, 2, 2.0, lit).runtime_h == pytest.approx(before, rel=1e-3)


def test_a_higher_end_and_a_resistance_of_its_own_end_it_sooner():
    whole = discharge.discharge(*CURVE, 2, 2.0, lit)
    early = discharge.discharge(*CURVE, 2, 2.0, lit, end_v=1.1)
    sagging = discharge.discharge(*CURVE, 2, 2.0, lit, end_v=1.1, internal_ohm=2.0)
    assert sagging.used[-1] < early.used[-1] < whole.used[-1]
    assert sagging.current_a[0] < early.current_a[0]


def test_light_falls_to_half_before_the_cell_is_spent():
    found = discharge.discharge(*CURVE, 2, 2.0, lit)
    assert 0 < found.hours_to_share(0.5) < found.runtime_h
    assert found.hours_to_share(1e-6) == np.inf


@pytest.mark.parametrize(
    ("curve", "word"),
    [
        (([0.0, 1.0], [1.0, 1.5]), "rise"),
        (([0.0, 0.9], [1.5, 1.0]), "from 0 to 1"),
        (([0.0], [1.5]), "N of 2"),
    ],
)
def test_curves_that_make_no_sense_are_refused(curve, word):
    with pytest.raises(ValueError, match=word):
        discharge.cell_voltage(0.5, *curve)


@pytest.mark.parametrize(("charge", "duty"), [(0.0, 1.0), (np.nan, 1.0), (1.0, 0.0), (1.0, 1.1)])
def test_no_charge_and_no_duty_are_refused(charge, duty):
    with pytest.raises(ValueError, match=r"capacity_ah|duty"):
        discharge.discharge(*CURVE, 2, charge, lit, duty)


def test_twice_the_rating_halves_the_rise():
    rise = touch_heat.resistor_temperature(0.1, [0.25, 0.5], 30.0) - 30.0
    assert rise[0] == pytest.approx(2 * rise[1])


def test_unknown_warmth_is_not_called_cool():
    assert touch_heat.touch_words(float("nan")) == "not known"
    words = [touch_heat.touch_words(t) for t in (43.0, 43.1, 48.1, 51.1)]
    assert len(set(words)) == 4
