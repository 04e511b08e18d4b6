"""The pyramid of a projector's light."""

from __future__ import annotations

import numpy as np

from rushlight.physics.beam import in_beam, shadow_place
from rushlight.physics.people import shadow_width

LENS, SIZE = np.array([1.2, 1.8, 1.5]), np.array([2.4, 1.5])


def test_shadow_lies_on_the_line_from_lens_through_point() -> None:
    rng = np.random.default_rng(4)
    point = rng.uniform([0, 0, 0.05], [2.4, 1.5, 1.4], (100, 3))
    foot = shadow_place(LENS, point)
    there = np.concatenate([foot, np.zeros((100, 1))], axis=-1)
    np.testing.assert_allclose(np.cross(there - LENS, point - LENS), 0.0, atol=1e-12)


def test_what_is_behind_the_lens_or_the_wall_throws_no_shadow() -> None:
    outside = np.array([[1.2, 1.0, 1.5], [1.2, 1.0, 2.0], [1.2, 1.0, -0.1]])
    assert np.isnan(shadow_place(LENS, outside)).all()
    assert not in_beam(LENS, outside, SIZE, 0.3).any()


def test_points_drawn_between_lens_and_picture_are_in_the_beam_and_others_not() -> None:
    rng = np.random.default_rng(5)
    foot = np.concatenate([rng.uniform([-1, -1], SIZE + 1.0, (300, 2)), np.zeros((300, 1))], -1)
    share = rng.uniform(0.02, 0.98, (300, 1))
    inside = np.all((foot[:, :2] >= 0) & (foot[:, :2] <= SIZE), axis=-1)
    np.testing.assert_array_equal(in_beam(LENS, LENS + share * (foot - LENS), SIZE), inside)


def test_a_ball_beside_the_beam_reaches_in_when_it_is_large_enough() -> None:
    middle = np.array([-0.1, 0.7, 0.5])
    foot = shadow_place(LENS, middle)
    needed = -foot[0] * (LENS[2] - middle[2]) / LENS[2]
    assert not in_beam(LENS, middle, SIZE, 0.99 * needed)
    assert in_beam(LENS, middle, SIZE, 1.01 * needed)


def test_width_of_a_shadow_agrees_with_similar_triangles() -> None:
    edges = np.array([[0.9, 0.5, 0.5], [1.4, 0.5, 0.5]])
    width = np.diff(shadow_place(LENS, edges)[:, 0])[0]
    np.testing.assert_allclose(width, shadow_width(0.5, LENS[2], 0.5))
