"""Reach, shadow and sight lines against sampling and plain geometry."""

import numpy as np
import pytest

from rushlight.physics import people


def test_reach_is_a_disc_stretched_along_the_walk():
    x, y = np.meshgrid(np.linspace(-1, 4, 101), np.linspace(-1, 2, 61))
    points = np.stack([x, y], -1)
    mask = people.reach_mask(points, -0.8, 1.4, 0.8, 0.5, 2.5, 0.4)
    # The sphere cuts the wall in a disc of this radius, 0.6 m above the display's lower edge.
    radius = np.sqrt(0.8**2 - 0.4**2)
    area = mask.sum() * 0.05**2
    assert area == pytest.approx(np.pi * radius**2 + 2 * radius * 2.0, rel=0.03)
    assert mask[np.abs(x - 1.5) + np.abs(y - 0.6) < 1e-9].all()


def test_reach_broadcasts_over_people_and_is_false_for_the_unknown():
    points = np.array([[1.0, 0.5], [1.0, 1.5], [np.nan, 0.5]])
    shoulders = np.array([[1.2], [1.5]])
    mask = people.reach_mask(points, -0.8, shoulders, 0.9, 0.0, 2.0, 0.3)
    assert mask.tolist() == [[True, False, False], [True, True, False]]
    assert not people.reach_mask([1.0, 0.6], -0.8, 1.4, 0.3, 0.0, 2.0, 0.4)
    with pytest.raises(ValueError, match="beyond"):
        people.reach_mask([1.0, 0.6], -0.8, 1.4, 0.8, 2.0, 0.0, 0.4)


def sampled(camera, point, body, floor_y):
    """Nearest approach of sight line and column by brute force."""
    x, z, radius, height = body
    share = np.linspace(0, 1, 2001)[:, None]
    line = camera + share * (point - camera)
    foot = np.clip(line[:, 1], floor_y, floor_y + height - radius)
    gap = np.sqrt((line[:, 0] - x) ** 2 + (line[:, 1] - foot) ** 2 + (line[:, 2] - z) ** 2)
    return gap.min() - radius


def test_blocked_agrees_with_sampling():
    rng = np.random.default_rng(1)
    camera = rng.uniform([-1, -1, 0], [3, 3, 4], (1500, 3))
    point = rng.uniform([-1, -0.5, 0], [3, 2, 1], (1500, 3))
    # Level, upright and pointless sight lines among them.
    point[:40, 1] = camera[:40, 1]
    point[40:80, 0], point[40:80, 2] = camera[40:80, 0], camera[40:80, 2]
    point[80:100] = camera[80:100]
    body = rng.uniform([0, 0.2, 0.1, 0.7], [2, 2, 0.7, 2.5], (1500, 4))
    body[:10, 3] = body[:10, 2]
    floor = rng.uniform(-1.5, 0, 1500)
    found = people.blocked_by_body(camera, point, body, floor)
    clearance = np.array([sampled(*row) for row in zip(camera, point, body, floor, strict=True)])
    clear = np.abs(clearance) > 1e-4
    np.testing.assert_array_equal(found[clear], clearance[clear] < 0)
    assert clear.sum() > 1400 and found.sum() > 100


def test_blocked_broadcasts_cameras_points_and_people():
    camera = np.array([[0.0, 1.5, 3.0], [2.0, 1.5, 3.0]])[:, None, None]
    point = np.array([[0.0, 1.0, 0.0], [1.0, 1.0, 0.0], [2.0, 1.0, 0.0]])[None, :, None]
    body = np.array([[0.0, 1.5, 0.2, 1.7], [2.0, 1.5, 0.2, 1.0]])
    blocked = people.blocked_by_body(camera, point, body)
    assert blocked.shape == (2, 3, 2)
    assert blocked[0, 0].tolist() == [True, False]
    # The second person is a child: the camera looks over the head.
    assert blocked[1, 2].tolist() == [False, False]
    with pytest.raises(ValueError, match="radius"):
        people.blocked_by_body([0, 0, 0], [1, 1, 1], [0, 0, 0.3, 0.2])


def test_shadow_meets_the_sight_line():
    # A thin column's shadow edge is where the sight line from the projector just touches it.
    width = people.shadow_width(0.4, 2.0, 0.5)
    inside, outside = width / 2 - 0.01, width / 2 + 0.02
    edge = [[inside, 1.0, 0.0], [outside, 1.0, 0.0]]
    # The column's silhouette is wider than its diameter by 1/cos of the half angle, 0.9 %.
    blocked = people.blocked_by_body([0.0, 1.0, 2.0], edge, [0.0, 0.5, 0.2, 1.8])
    assert blocked.tolist() == [True, False]
    with pytest.raises(ValueError, match="between"):
        people.shadow_width(0.4, 2.0, 2.0)


def test_tables_refuse_what_they_do_not_hold():
    with pytest.raises(ValueError, match="percentile"):
        people.body_dimension("stature", "women", 99)
    with pytest.raises(ValueError, match="groups"):
        people.body_dimension("stature", "children")
    with pytest.raises(ValueError, match="deep"):
        people.ada_reach_band("side", 0.7)
    with pytest.raises(ValueError, match="approach"):
        people.ada_reach_band("above")
    with pytest.raises(ValueError, match="ages"):
        people.ada_children_reach_band(2)
    with pytest.raises(ValueError, match="share"):
        people.farthest_viewer(1.0, 3.5)
