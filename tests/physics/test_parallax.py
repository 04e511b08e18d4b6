"""Where content is drawn for an eye: on the line of sight, and how that moves with the eye."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from rushlight.physics.geometry.parallax import content_beyond, drawn_place

flat = st.floats(-1.0, 1.0)
eyes = st.tuples(flat, flat, st.floats(0.3, 3.0))
heights = st.floats(-2.0, 0.2)


@given(eyes, st.tuples(flat, flat), heights)
def test_content_seen_at_a_place_is_drawn_there(eye, seen, height):
    content = content_beyond(eye, seen, height)
    assert abs(content[2] - height) < 1e-12
    np.testing.assert_allclose(drawn_place(eye, content).place_m, seen, atol=1e-9)


@given(eyes, st.tuples(flat, flat), heights)
def test_derivatives_against_differences(eye, seen, height):
    eye = np.array(eye)
    content = content_beyond(eye, seen, height)
    by_eye = drawn_place(eye, content).by_eye
    for axis in range(3):
        step = 1e-6 * np.eye(3)[axis]
        two = [drawn_place(eye + sign * step, content).place_m for sign in (1, -1)]
        np.testing.assert_allclose(by_eye[:, axis], (two[0] - two[1]) / 2e-6, atol=1e-6)


def test_content_on_the_display_does_not_move_and_beside_the_eye_is_not_told():
    assert np.all(drawn_place([0.1, 0.2, 1.0], [0.3, 0.0, 0.0]).by_eye == 0.0)
    assert np.isnan(drawn_place([0.0, 0.0, 1.0], [0.0, 0.0, 1.5]).place_m).all()
    assert np.isnan(drawn_place([0.0, 0.0, -1.0], [0.0, 0.0, -2.0]).place_m).all()
