"""Series resistor of an emitter, from preferred values.

SOURCE: IEC 60063, preferred number series E12 and E24; the circuits below are computed here by
Ohm's law. Rating twice the heat carried: common practice, no source.
"""

import pytest

from rushlight.physics import power

E12 = [1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2]
E24 = sorted([*E12, 1.1, 1.3, 1.6, 2.0, 2.4, 3.0, 3.6, 4.3, 5.1, 6.2, 7.5, 9.1])


@pytest.mark.parametrize(("series", "values"), [("E12", E12), ("E24", E24)])
def test_series_as_printed(series, values):
    found = [float(power.preferred_resistor(value, series)) for value in values]
    assert found == pytest.approx(values, abs=1e-9)
    # Anything just above one value takes the next, so that nothing else is in the table.
    above = [float(power.preferred_resistor(value + 0.01, series)) for value in values]
    assert above == pytest.approx([*values[1:], 10.0], abs=1e-9)


def test_five_volts_computed_here():
    """5 V, 1.35 V, 100 mA: 36.5 Ω."""
    twelve = power.led_resistor(5.0, 1.35, 0.100, "E12")
    assert twelve.resistor_ohm == 39
    assert twelve.current_a == pytest.approx(93.6e-3, abs=0.05e-3)
    assert twelve.dissipation_w == pytest.approx(0.342, abs=0.5e-3)
    assert twelve.dissipation_w > 0.25  # a quarter-watt part fails
    # 36 Ω of E24 lies nearer but would let 101 mA through.
    assert power.led_resistor(5.0, 1.35, 0.100, "E24").resistor_ohm == 39
    through_36_ohm = (5.0 - 1.35) / 36
    assert through_36_ohm == pytest.approx(0.101, abs=0.5e-3)


def test_two_cells_computed_here():
    """3.0 V, 1.3 V, 50 mA: 34 Ω."""
    found = power.led_resistor(3.0, 1.3, 0.050, "E24")
    assert found.resistor_ohm == 36
    assert found.current_a == pytest.approx(47.2e-3, abs=0.05e-3)
    assert found.dissipation_w == pytest.approx(80e-3, abs=0.5e-3)
