"""The compiled fit of one pose finds what the batched one finds."""

import numpy as np
import pytest

from rushlight.physics.geometry import rig_from_camera_looking_at
from rushlight.physics.geometry.pose_fit import Looks, belief_of_facing, fit_pose
from rushlight.physics.geometry.rotation import pose_matrix, pose_moved, rotation_of_facing
from rushlight.physics.geometry.sight import sight_of
from rushlight.track.space_kernel import fit_one, fold_limits


@pytest.mark.parametrize("lights", [2, 3, 5])
@pytest.mark.parametrize("cameras", [1, 2])
def test_it_finds_what_the_batched_fit_finds(lights, cameras):
    draw = np.random.default_rng(10 * lights + cameras)
    k = np.array([-0.12, 0.04, 1e-3, -5e-4, 0.0])
    K = np.array([[700.0, 0.0, 320.0], [0.0, 705.0, 240.0], [0.0, 0.0, 1.0]])
    for _ in range(20):
        places = draw.uniform(-0.1, 0.1, (lights, 3))
        stands = [
            rig_from_camera_looking_at(draw.uniform(-0.3, 0.3, 3) - [0, 0, 1], np.zeros(3))
            for _ in range(cameras)
        ]
        true = pose_matrix(
            rotation_of_facing(*draw.uniform(-0.3, 0.3, 3)), draw.uniform(-0.1, 0.1, 3)
        )
        stand = np.repeat(stands, lights, axis=0)
        own = np.tile(places, (cameras, 1))
        px = sight_of(np.matvec(true[:3, :3], own) + true[:3, 3], K, k, stand).px
        px = px + draw.normal(0.0, 0.2, px.shape)
        covs = np.tile(np.array([[0.04, 0.01], [0.01, 0.06]]), (len(px), 1, 1))
        start = pose_moved(true, draw.normal(0.0, 0.03, 6))
        belief = belief_of_facing([0.35, 0.2, 0.15])
        many = np.tile(K, (len(px), 1, 1)), np.tile(k, (len(px), 1))
        ours = fit_one(own, px, covs, (*many, fold_limits(many[1]), stand), start, belief)
        theirs = fit_pose(own, px, covs, Looks(*many, stand), start, belief)
        assert ours.pose == pytest.approx(theirs.pose, abs=1e-7)
        assert ours.cov == pytest.approx(theirs.cov, rel=1e-5, abs=1e-12)
        scale = np.abs(theirs.gain).max()
        assert ours.gain == pytest.approx(theirs.gain, abs=1e-5 * scale)
        assert ours.misfit == pytest.approx(theirs.misfit, rel=1e-6)
        assert ours.dots_used == theirs.dots_used


def test_what_is_behind_the_camera_gives_no_pose():
    many = np.eye(3)[None] * [[[500.0], [500.0], [1.0]]], np.zeros((1, 5))
    found = fit_one(
        np.zeros((1, 3)),
        np.zeros((1, 2)),
        np.eye(2)[None],
        (*many, np.array([np.inf]), np.eye(4)[None]),
        pose_matrix(np.eye(3), [0.0, 0.0, -1.0]),
        belief_of_facing([0.1, 0.1, 0.1]),
    )
    assert np.isnan(found.pose).all() and np.isinf(found.misfit)
