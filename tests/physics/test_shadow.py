"""A person as capsules, and lines of sight past them."""

from __future__ import annotations

import doctest

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rushlight.physics import shadow
from rushlight.physics.shadow import (
    CAPSULES,
    FOREARM_SHARE,
    HAND_SHARE,
    UPPER_ARM_SHARE,
    body_capsules,
    elbow_place,
    hidden_by,
    segment_gap,
    working_shoulder,
)

SIZES = {"floor_y_m": -0.8, "stature_m": 1.7, "shoulder_m": 1.4, "breadth_m": 0.46}
coordinate = st.floats(-2.0, 2.0).map(lambda value: round(value, 3))
point = st.tuples(coordinate, coordinate, coordinate).map(np.array)


def test_examples_hold() -> None:
    assert doctest.testmod(shadow).failed == 0


@settings(deadline=None)
@given(point, point, point, point)
def test_gap_is_no_more_than_any_sampled_and_nearly_reached(a, b, c, d) -> None:
    t = np.linspace(0.0, 1.0, 101)[:, None]
    one, other = a + t * (b - a), c + t * (d - c)
    sampled = np.linalg.norm(one[:, None] - other[None], axis=-1).min()
    gap = float(segment_gap(a, b, c, d))
    step = max(np.linalg.norm(b - a), np.linalg.norm(d - c)) / 100.0
    assert gap <= sampled + 1e-9
    assert gap >= sampled - step - 1e-9


@settings(deadline=None)
@given(point, point, point, point)
def test_gap_does_not_depend_on_order(a, b, c, d) -> None:
    gap = float(segment_gap(a, b, c, d))
    assert float(segment_gap(c, d, a, b)) == pytest.approx(gap, abs=1e-6)
    assert float(segment_gap(b, a, d, c)) == pytest.approx(gap, abs=1e-6)


def test_gap_of_points_and_of_the_unknown() -> None:
    assert float(segment_gap([0, 0, 0], [0, 0, 0], [3, 4, 0], [3, 4, 0])) == 5.0
    assert np.isnan(segment_gap([0, 0, 0], [0, 0, np.nan], [3, 4, 0], [3, 4, 1]))


def test_bones_keep_their_lengths_and_the_elbow_hangs() -> None:
    rng = np.random.default_rng(1)
    joint = rng.uniform(-0.2, 0.2, (500, 3))
    way = rng.normal(size=(500, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    grip = joint + way * rng.uniform(0.1, 0.6, (500, 1))
    elbow = elbow_place(joint, grip, 0.32, 0.34, [1.0, 0.0, 0.0])
    np.testing.assert_allclose(np.linalg.norm(elbow - joint, axis=1), 0.32, atol=1e-9)
    np.testing.assert_allclose(np.linalg.norm(elbow - grip, axis=1), 0.34, atol=1e-9)
    level = np.abs(way[:, 1]) < 0.2
    assert np.all(elbow[level, 1] < np.minimum(joint, grip)[level, 1] + 0.1)


def test_an_arm_too_short_is_stretched_straight() -> None:
    elbow = elbow_place([0, 0, 0], [2.0, 0, 0], 0.3, 0.2, [0, 0, 1])
    np.testing.assert_allclose(elbow, [1.2, 0.0, 0.0], atol=1e-6)


@pytest.mark.parametrize("hand", [1.0, -1.0])
def test_body_stands_on_the_floor_as_tall_and_broad_as_said(hand) -> None:
    body = body_capsules([1.2, 0.6, 0.2], [1.0, 0.5], hand_sign=hand, turn_rad=0.0, **SIZES)
    assert body.shape == (len(CAPSULES), 7)
    low, high = np.minimum(body[:, :3], body[:, 3:6]), np.maximum(body[:, :3], body[:, 3:6])
    top = (high + body[:, 6:])[:5].max(axis=0)
    bottom = (low - body[:, 6:])[:3].min(axis=0)
    assert top[1] == pytest.approx(-0.8 + 1.7)
    assert low[0, 1] == -0.8
    assert (high + body[:, 6:])[0, 1] == pytest.approx(-0.8 + 1.4)
    assert top[0] - bottom[0] == pytest.approx(0.46)
    assert top[2] - bottom[2] == pytest.approx(0.23)
    np.testing.assert_allclose(body[7, 3:6], [1.2, 0.6, 0.2])
    np.testing.assert_allclose(body[5, 3:6], body[6, :3])
    np.testing.assert_allclose(body[6, 3:6], body[7, :3])
    arm = sum(np.linalg.norm(body[row, 3:6] - body[row, :3]) for row in (5, 6, 7))
    share = UPPER_ARM_SHARE + FOREARM_SHARE + HAND_SHARE / 2.0
    assert arm == pytest.approx(share * 1.7)


def test_left_hand_mirrors_right_hand() -> None:
    right = body_capsules([1.2, 0.6, 0.2], [1.0, 0.5], hand_sign=1.0, turn_rad=0.3, **SIZES)
    left = body_capsules([0.8, 0.6, 0.2], [1.0, 0.5], hand_sign=-1.0, turn_rad=-0.3, **SIZES)
    mirrored = left.copy()
    mirrored[:, [0, 3]] = 2.0 - mirrored[:, [0, 3]]
    np.testing.assert_allclose(mirrored, right, atol=1e-12)


def test_turned_toward_the_right_the_right_shoulder_goes_back() -> None:
    shoulder = working_shoulder([1.0, 0.5], -0.8, 1.7, 1.4, 0.46, 1.0, 0.4)
    assert shoulder[2] > 0.5


def test_what_hides_and_what_does_not() -> None:
    body = body_capsules([1.25, 0.6, 0.25], [1.0, 0.5], hand_sign=1.0, **SIZES)
    behind, above, aside = [0.9, 0.2, 3.0], [1.2, 2.4, 0.4], [3.0, 0.6, 0.4]
    light = [[1.0, 0.2, 0.0], [1.2, 0.9, 0.0]]
    assert hidden_by(light[0], behind, body)
    assert not hidden_by(light[1], above, body)
    assert not hidden_by(light[1], aside, body)
    assert not hidden_by([np.nan, 0.0, 0.0], behind, body)
    assert hidden_by(np.array(light)[:, None], np.array([behind, above, aside]), body).shape == (
        2,
        3,
    )


def test_hand_hides_a_light_before_it() -> None:
    body = body_capsules([1.0, 0.6, 0.1], [0.8, 0.5], hand_sign=1.0, **SIZES)
    assert hidden_by([1.0, 0.6, 0.01], [1.0, 0.6, 3.0], body[7:])
    assert not hidden_by([1.0, 0.6, 0.01], [1.0, 0.6, 3.0], body[:5])


@pytest.mark.parametrize("field", ["stature_m", "shoulder_m", "breadth_m"])
def test_sizes_must_be_positive(field) -> None:
    with pytest.raises(ValueError, match="above 0"):
        body_capsules([1, 1, 0], [1, 0.5], hand_sign=1.0, **{**SIZES, field: 0.0})


def test_wrong_shapes_are_named() -> None:
    with pytest.raises(ValueError, match="capsules_m"):
        hidden_by([0, 0, 0], [1, 1, 1], np.zeros((8, 6)))
