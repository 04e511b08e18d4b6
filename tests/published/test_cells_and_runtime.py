"""Cells, running time and heat of ordinary parts.

SOURCE: data sheets of common cells and emitters (generic parts, no maker named): AA alkaline
2.13 to 2.20 A h at 100 mA and 1.30 at 500 mA; coin cell of 235 mA h, 3 mA steady, 15 mA pulsed
(weak source); 940 nm emitter of 160 mW, 300 K/W, junction 100 °C. Running times and derated
powers are computed here.
"""

import pytest

from rushlight.physics import power


def test_capacity_at_the_points_of_the_data_sheet():
    found = power.capacity_at_load([0.1, 0.5], [0.1, 0.5], [2.13, 1.30])
    assert found.tolist() == [2.13, 1.30]


def test_coin_cell_cannot_drive_an_emitter():
    peak = [0.020, 0.050]
    assert not power.can_supply(peak, 0.001, 0.003, 0.015).any()
    assert power.can_supply(0.003, 0.003, 0.003, 0.015)


def test_running_time_computed_here():
    assert power.runtime_h(1.0, 0.047) == pytest.approx(21, abs=0.5)
    pulsed = 60 * 1e-3
    assert power.mean_current(0.100, pulsed) == pytest.approx(6e-3, abs=0.5e-3)
    assert power.runtime_h(1.0, 0.100, pulsed) == pytest.approx(167, abs=0.5)


@pytest.mark.parametrize(("ambient_c", "power_mw"), [(60.0, 133), (85.0, 50)])
def test_derating_computed_here(ambient_c, power_mw):
    found = power.derated_power(ambient_c, 100.0, 300.0, 0.160)
    assert found * 1e3 == pytest.approx(power_mw, abs=0.5)
