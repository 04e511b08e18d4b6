"""A projector's beam and warm surfaces.

SOURCE: IEC 62471, blue-light limits of its risk groups (10 000 W·m⁻²·sr⁻¹ at 100 s, 4·10⁶ at
0.25 s, 100 beyond 10 000 s), from memory; IEC 60115-1, film resistors rated at 70 °C and derated
to nothing at 155 °C, from memory; ISO 13732-1, burn thresholds of 51, 48 and 43 °C for 1 min,
10 min and 8 h whatever the material, from memory; solid angle of a cube's face, 4π/6, exact.
"""

import numpy as np
import pytest

from rushlight.physics import projector_light as beam
from rushlight.physics import touch_heat


@pytest.mark.parametrize(("limit", "duration_s"), [(10_000, 100), (4e6, 0.25)])
def test_blue_light_groups_from_memory(limit, duration_s):
    assert beam.blue_time_limit(limit) == pytest.approx(duration_s)
    assert beam.blue_time_limit(100.0) == np.inf
    assert beam.blue_time_limit(100.0 * 1.0001) == pytest.approx(10_000, rel=1e-3)


def test_face_of_a_cube():
    assert beam.beam_solid_angle(2.0, 2.0, 1.0) == pytest.approx(4 * np.pi / 6, rel=1e-12)


def test_resistor_at_its_derating_line_from_memory():
    assert touch_heat.resistor_temperature(0.25, 0.25, 70.0) == pytest.approx(155)
    assert touch_heat.resistor_temperature(0.0, 0.25, 155.0) == pytest.approx(155)


@pytest.mark.parametrize(
    ("temperature_c", "words"),
    [(43, "bears for hours"), (45, "bears for hours"), (49, "ten minutes"), (52, "burn")],
)
def test_burn_thresholds_from_memory(temperature_c, words):
    assert words in touch_heat.touch_words(temperature_c)
