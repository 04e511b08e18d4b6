"""Rotation vectors, facings and small steps of a pose, against SciPy and against one another."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from rushlight.physics.geometry.rotation import (
    cross_matrix,
    matrix_from_rotation_vector,
    pose_difference,
    pose_matrix,
    pose_moved,
    rotation_of_facing,
    rotation_vector_from_matrix,
)

vectors = st.tuples(*[st.floats(-1.8, 1.8)] * 3)  # at most 3.12 rad long, below half a turn


def test_rotation_vectors_agree_with_scipy():
    rng = np.random.default_rng(4)
    given_rad = np.concatenate([rng.normal(size=(200, 3)), 1e-9 * rng.normal(size=(20, 3))])
    ours = matrix_from_rotation_vector(given_rad)
    assert np.allclose(ours, Rotation.from_rotvec(given_rad).as_matrix(), atol=1e-14)
    assert np.allclose(
        rotation_vector_from_matrix(ours), Rotation.from_matrix(ours).as_rotvec(), atol=1e-12
    )


def test_half_a_turn_comes_back():
    half = np.pi * np.array([1.0, 0.0, 0.0])
    back = rotation_vector_from_matrix(matrix_from_rotation_vector(half))
    assert np.allclose(np.abs(back), half, atol=1e-7)


@given(vectors)
def test_a_rotation_vector_comes_back(vector):
    back = rotation_vector_from_matrix(matrix_from_rotation_vector(vector))
    assert np.allclose(back, vector, atol=1e-7)


@given(vectors, vectors)
def test_the_cross_matrix_does_the_cross_product(a, b):
    assert np.allclose(cross_matrix(a) @ np.array(b), np.cross(a, b), atol=1e-12)


def test_facing_is_turn_after_nod_after_lean():
    ours = rotation_of_facing(0.3, -0.2, 0.1)
    assert np.allclose(ours, Rotation.from_euler("YXZ", [0.3, -0.2, 0.1]).as_matrix())


def test_each_angle_of_facing_does_what_its_words_say():
    front, top = [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]
    assert (rotation_of_facing(0.2) @ front)[0] < 0  # to the user's left
    assert (rotation_of_facing(0.0, 0.2) @ front)[1] > 0  # raised
    assert (rotation_of_facing(0.0, 0.0, 0.2) @ top)[0] < 0  # leaning to the left


@given(vectors, vectors, vectors)
def test_a_step_of_a_pose_comes_back(place, turn, step):
    pose = pose_matrix(matrix_from_rotation_vector(turn), place)
    six = np.concatenate([place, 0.5 * np.array(step)])
    assert np.allclose(pose_difference(pose_moved(pose, six), pose), six, atol=1e-7)


def test_wrong_shapes_are_told():
    with pytest.raises(ValueError, match=r"step must have shape \(..., 6\), not \(3,\)"):
        pose_moved(np.eye(4), np.zeros(3))
