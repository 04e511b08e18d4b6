"""Resistors, cells and heat: properties and refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.physics import power


@given(st.floats(0.05, 9e6), st.sampled_from(["E12", "E24"]))
def test_preferred_value_is_the_next_at_or_above(resistance, series):
    chosen = float(power.preferred_resistor(resistance, series))
    assert chosen >= resistance * (1 - 1e-9)
    assert chosen <= resistance * 1.251  # the widest step of E12 is from 1.2 to 1.5
    assert power.preferred_resistor(chosen, series) == chosen


@pytest.mark.parametrize("decade", [-1, 0, 1, 2, 5])
def test_every_preferred_value_stands_for_itself(decade):
    values = np.array(power.SERIES_TENTHS["E24"]) * 10.0**decade / 10
    assert power.preferred_resistor(values) == pytest.approx(values, rel=1e-12)


@pytest.mark.parametrize("resistance", [0.0, -5.0, np.nan, np.inf])
def test_resistance_out_of_range_is_refused(resistance):
    with pytest.raises(ValueError, match="resistance_ohm"):
        power.preferred_resistor([100.0, resistance])


def test_unknown_series_is_refused():
    with pytest.raises(ValueError, match="series"):
        power.preferred_resistor(100.0, "E7")


@given(st.floats(3.0, 12.0), st.floats(1.0, 2.0), st.floats(0.005, 0.1))
def test_current_never_exceeds_its_target_and_energy_is_kept(supply, forward, target):
    chosen = power.led_resistor(supply, forward, target)
    assert chosen.current_a <= target * (1 + 1e-9)
    assert chosen.dissipation_w == pytest.approx((supply - forward) * chosen.current_a)
    assert chosen.rating_w == pytest.approx(2 * chosen.dissipation_w)


def test_circuits_that_cannot_work_are_refused():
    with pytest.raises(ValueError, match="exceed"):
        power.led_resistor(1.2, 1.35, 0.02)
    with pytest.raises(ValueError, match="current_a"):
        power.led_resistor(5.0, 1.35, 0.0)


def test_running_time_without_load_has_no_end():
    assert np.isinf(power.runtime_h(1.0, 0.0))


def test_capacity_lies_between_its_neighbours_and_is_unknown_beyond():
    loads = np.geomspace(0.01, 1.0, 30)
    found = power.capacity_at_load(loads, [0.05, 0.1, 0.5], [2.3, 2.1, 1.3])
    known = found[np.isfinite(found)]
    assert np.all(np.diff(known) <= 0) and known[0] == 2.3
    assert np.all(np.isnan(found[loads > 0.5]))
    middle = power.capacity_at_load(np.sqrt(0.1 * 0.5), [0.1, 0.5], [2.1, 1.3])
    assert middle == pytest.approx(1.7)


@pytest.mark.parametrize(
    ("loads", "capacities"),
    [([0.1, 0.5], [1.0]), ([0.5, 0.1], [1.0, 2.0]), ([0.0], [1.0]), ([], [])],
)
def test_capacity_tables_that_make_no_sense_are_refused(loads, capacities):
    with pytest.raises(ValueError, match="data_"):
        power.capacity_at_load(0.2, loads, capacities)


def test_unknown_current_is_not_called_possible():
    assert not power.can_supply(np.nan, 0.001, 0.003, 0.015)


def test_derating_ends_at_zero_and_at_the_printed_limit():
    found = power.derated_power([-20.0, 25.0, 120.0], 100.0, 300.0, 0.160)
    assert found.tolist() == pytest.approx([0.160, 0.160, 0.0])
