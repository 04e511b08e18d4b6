"""Which constellations look alike, and how one stands that is taken for another."""

import numpy as np
import pytest

from rushlight.physics.geometry.likeness import ALIKE_SHARE, matches
from rushlight.physics.geometry.rotation import matrix_from_rotation_vector

LIGHTS = np.array([[0.0, 95, 32], [-38, 25, 40], [8, -12, 95], [36, -60, 36], [-20, -92, 46]]) / 1e3


def moved(lights, order):
    """The same lights in another frame, counted otherwise: light i is the other's order[i]."""
    turned = lights @ matrix_from_rotation_vector([0.4, -1.1, 0.7]).T + [0.3, -0.2, 1.0]
    other = np.empty_like(turned)
    other[list(order)] = turned
    return other


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
def test_a_turned_and_renamed_constellation_is_recognised(count):
    order = tuple(np.random.default_rng(count).permutation(count).tolist())
    lights = LIGHTS[:count]
    other = moved(lights, order)
    found = matches(lights, other)
    [match] = [each for each in found if each.order == order]
    assert match.misfit_m < 1e-9
    back = other[list(order)] @ match.rotation.T + match.step_m
    assert back == pytest.approx(lights, abs=1e-9)
    assert np.linalg.det(match.rotation) == pytest.approx(1.0)


def test_mirrored_and_larger_constellations_and_other_counts_are_not():
    assert matches(LIGHTS, LIGHTS * [-1.0, 1.0, 1.0]) == []
    assert matches(LIGHTS, LIGHTS * (1.0 + 2.0 * ALIKE_SHARE)) == []
    assert matches(LIGHTS, LIGHTS[:4]) == []
    assert matches(LIGHTS[:2], np.zeros((2, 3))) == [] and matches(LIGHTS[:0], LIGHTS[:0]) == []
    assert matches(LIGHTS[:2], LIGHTS[:2] * (1.0 + 2.0 * ALIKE_SHARE)) == []
    assert matches(LIGHTS[:2], LIGHTS[:2] * (1.0 + 0.5 * ALIKE_SHARE)) != []


def test_what_is_a_little_different_is_alike_by_its_misfit():
    other = np.array(LIGHTS)
    other[0] += [0.0, 4e-3, 0.0]
    best = matches(LIGHTS, other)[0]
    assert best.order == tuple(range(5)) and 1e-3 < best.misfit_m < 2e-3
    straight = matches([[0, 0, 0], [0.1, 0, 0]], [[0.1, 0, 0], [0, 0, 0]])
    assert [each.order for each in straight] == [(0, 1), (1, 0)]
    assert np.allclose(straight[1].rotation, np.eye(3))
    assert np.allclose(straight[0].rotation @ [1.0, 0.0, 0.0], [-1.0, 0.0, 0.0])
