"""Least coefficients of retro-reflection of white sheet, and what the built-in shelf says of it.

SOURCE: ASTM D4956 (2001), minimum coefficients of retro-reflection, white, cd/(lx m²), seen
second-hand at an entrance angle of −4°; the values at 30° and the type labels from memory.
"""

import numpy as np
import pytest

from rushlight.physics.light import irradiance_at_lens
from rushlight.physics.retro import coefficient_at, returned_intensity
from rushlight.shelf.catalogue import built_in_shelf

# type: ((0.2°, 4°), (0.2°, 30°)), ((0.5°, 4°), (0.5°, 30°))
PRINTED = {
    "sheet-type-1": ((70, 30), (30, 15)),
    "sheet-type-2": ((140, 60), (50, 28)),
    "sheet-type-3": ((250, 150), (95, 65)),
}


@pytest.mark.parametrize("part", PRINTED)
def test_the_shelf_holds_the_printed_values_and_the_physics_gives_them_back(part):
    graded = built_in_shelf().sheet(part).graded_cd_lx_m2
    assert np.array_equal(graded, PRINTED[part])
    for observation, row in zip((0.2, 0.5), PRINTED[part], strict=True):
        for entrance, value in zip((4.0, 30.0), row, strict=True):
            found = coefficient_at(graded, np.radians(observation), np.radians(entrance))
            assert found == pytest.approx(value, abs=0.5)


def test_worked_marker_computed_here():
    """.48 W/sr beside the lens, a 10 mm disc of R_A 250 at 2 m, as in the textbook chain."""
    returned = returned_intensity(0.48, 1.0, 0.0, 2.0, 250.0, np.pi * 0.005**2)
    assert returned == pytest.approx(2.356e-3, abs=0.5e-6)
    assert irradiance_at_lens(returned, 2.0) == pytest.approx(0.589e-3, abs=0.5e-6)


def test_twenty_millimetres_at_two_metres_computed_here():
    assert np.degrees(np.arctan2(0.020, 2.0)) == pytest.approx(0.573, abs=0.5e-3)
