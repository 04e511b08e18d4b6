"""How cells empty, and how diodes take their current.

SOURCE: data sheets of common parts (generic, no maker named): AA alkaline 2.13 to 2.20 A h at
100 mA; an 850 nm emitter of 1.50 V at 50 mA; about 1.4 V at 20 mA from memory. The linear cell on
a resistor has a closed form, computed here: t = C R ln(V0/V1)/(V0 − V1).
"""

import numpy as np
import pytest

from rushlight.physics.diode import forward_voltage
from rushlight.physics.discharge import discharge


@pytest.mark.parametrize(("charge_ah", "hours"), [(2.13, 21.3), (2.20, 22.0)])
def test_constant_current_gives_the_charge_of_the_data_sheet(charge_ah, hours):
    found = discharge([0, 0.5, 1], [1.6, 1.25, 0.9], 1, charge_ah, lambda v: np.full_like(v, 0.1))
    assert found.runtime_h == pytest.approx(hours, abs=0.05)


@pytest.mark.parametrize(("first_v", "last_v", "ohm"), [(1.6, 0.9, 10.0), (4.2, 3.0, 47.0)])
def test_linear_cell_on_a_resistor_computed_here(first_v, last_v, ohm):
    found = discharge([0, 1], [first_v, last_v], 1, 2.0, lambda volts: volts / ohm)
    exact = 2.0 * ohm * np.log(first_v / last_v) / (first_v - last_v)
    assert found.runtime_h == pytest.approx(exact, rel=1e-5)


def test_forward_voltage_of_the_data_sheet():
    assert forward_voltage(0.05, 0.05, 1.50, 1.8) == pytest.approx(1.50, abs=0.005)
    # "About 1.4 V": half of its last digit.
    assert forward_voltage(0.02, 0.05, 1.50, 1.8) == pytest.approx(1.4, abs=0.05)
