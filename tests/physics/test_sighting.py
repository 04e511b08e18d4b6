"""Lines past two marks: the eye's side, the directions across, the head that faces the marks."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.physics.sighting import look_line

place = st.tuples(*[st.floats(-1.0, 1.0)] * 3)


@given(place, place)
def test_the_frame_of_a_look(near, far):
    near, far = np.array(near), np.array(far)
    if np.linalg.norm(near - far) < 1e-3:
        return
    line = look_line(near, far)
    frame = np.vstack([line.across, line.direction])
    np.testing.assert_allclose(frame @ frame.T, np.eye(3), atol=1e-12)
    # The head's front, its −z, points from the eye to the near mark and on to the far one.
    np.testing.assert_allclose(line.facing @ [0.0, 0.0, -1.0], -line.direction, atol=1e-12)
    # Not leaned: the wearer's right stays level.
    assert abs(line.facing[1, 0]) < 1e-12


def test_a_head_straight_before_the_marks_is_not_turned():
    np.testing.assert_allclose(look_line([0.3, 0.2, 0.1], [0.3, 0.2, 0]).facing, np.eye(3))


def test_marks_at_one_place_are_refused():
    with pytest.raises(ValueError, match="one place"):
        look_line([0.0, 0.0, 0.0], [0.0, 0.0, 0.0])
