"""The shadow tabulated over camera places, against the scenes themselves."""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.jobs.load import load_rig
from rushlight.physics.geometry import rig_from_camera_looking_at
from rushlight.plan.candidates import Candidates
from rushlight.plan.grid import places_of_grid
from rushlight.plan.search_judge import NOWHERE, room_of
from rushlight.plan.shadow import SCENES, scenes_of, shadow_field
from rushlight.plan.shadow_lattice import hidden_share, shadow_lattice
from rushlight.plan.swift import swift_evaluate
from rushlight.shelf.resolve import resolve

LOW_M, HIGH_M = np.array([0.6, 1.4, 2.2]), np.array([1.8, 2.0, 3.0])


@pytest.fixture(scope="module")
def barn(examples):
    rig, shelf = load_rig(examples / "barn-wall")
    resolved = resolve(rig, shelf)
    places = places_of_grid(resolved.surface.size_m, 9, 6)[0]
    scenes = scenes_of(rig, resolved, places)
    return resolved, scenes, shadow_lattice(scenes, LOW_M, HIGH_M)


def test_the_share_is_that_of_the_shadow_field(barn) -> None:
    _, scenes, _ = barn
    cameras = np.array([[1.2, 1.6, 2.85], [0.3, 1.9, 2.0]])
    field = shadow_field(scenes, cameras)
    np.testing.assert_array_equal(hidden_share(scenes, cameras), np.moveaxis(field.together, 1, 0))


def test_nodes_hold_the_scenes_themselves(barn) -> None:
    _, scenes, lattice = barn
    at = lattice.low_m + lattice.step_m * [1, 2, 1]
    np.testing.assert_allclose(lattice.doubt(scenes, at), 0.0, atol=1e-12)


def test_between_nodes_it_errs_less_than_the_scenes_do(barn) -> None:
    """The doubt of a share p of so many scenes is √(p(1 − p)/count)."""
    _, scenes, lattice = barn
    cameras = np.random.default_rng(4).uniform(LOW_M, HIGH_M, (20, 3))
    apart, share = lattice.doubt(scenes, cameras), hidden_share(scenes, cameras)
    by_chance = np.sqrt(np.mean(share * (1.0 - share)) / SCENES)
    assert np.sqrt(np.mean(apart**2)) < by_chance
    assert np.max(np.abs(apart)) < 0.06
    assert np.mean(np.abs(apart) > 0.02) < 0.05
    assert np.max(np.abs(apart.mean(axis=-1))) < 0.005  # of the mean over the surface


def test_what_a_search_tabulates_errs_as_the_how_to_says(examples) -> None:
    """In the demo's largest place, and in a box of 4.7 × 1.2 × 4.5 m; as `docs/how-to-search.md`
    tells: the mean over the surface to about 0.01, one place of it much worse."""
    rig, shelf = load_rig(examples / "barn-wall")
    resolved = resolve(rig, shelf)
    boxes = np.array([[[0.2, 0.6, 2.6], [2.2, 1.1, 3.6]], [[-1.2, 0.5, 0.5], [3.5, 1.7, 5.0]]])
    room = room_of(rig, resolved, boxes, (9, 6))
    bounds = ((0.1, 0.1, 0.005), (0.25, 0.2, 0.015))
    for box, lattice, (most, beyond, mean) in zip(boxes, room.shadows, bounds, strict=True):
        assert lattice.hidden[0, 0, 0].size == 2 * 54 and lattice.hidden[..., 0, 0].size < 500
        cameras = np.random.default_rng(4).uniform(*box, (20, 3))
        apart, share = lattice.doubt(room.scenes, cameras), hidden_share(room.scenes, cameras)
        by_chance = np.sqrt(np.mean(share * (1.0 - share)) / SCENES)
        assert np.sqrt(np.mean(apart**2)) < by_chance
        assert np.max(np.abs(apart)) < most
        assert np.mean(np.abs(apart) > 0.02) < beyond
        assert np.max(np.abs(apart.mean(axis=-1))) < mean
        # The one to take is judged by the scenes themselves.
        nowhere = np.full(len(cameras), NOWHERE)
        np.testing.assert_array_equal(room.lit(nowhere, cameras), 1.0 - share)


def test_beyond_its_box_it_stays_as_at_the_face(barn) -> None:
    _, _, lattice = barn
    far, face = np.array([9.0, 1.7, 2.5]), np.array([HIGH_M[0], 1.7, 2.5])
    np.testing.assert_allclose(lattice.at(far), lattice.at(face))


def test_coverage_lit_weighs_places_by_the_light_that_is_left(barn) -> None:
    resolved, _, lattice = barn
    poses = np.stack(
        [rig_from_camera_looking_at([x, 1.7, 2.6], [1.2, 0.75, 0.0]) for x in (0.7, 1.2, 1.7)]
    )
    candidates = Candidates.placed(resolved, np.zeros(3, int), poses)
    plain, lit = swift_evaluate(candidates), swift_evaluate(candidates, lattice)
    covered = (plain.lost & ~np.uint8(64)) == 0
    left = 1.0 - lattice.at(poses[:, :3, 3])
    np.testing.assert_allclose(lit.coverage_lit, (covered * left).mean(axis=(1, 2)))
    np.testing.assert_array_equal(lit.coverage, plain.coverage)
    np.testing.assert_array_equal(plain.coverage_lit, plain.coverage)
    assert np.all(lit.coverage_lit < lit.coverage)


def test_a_flat_box_and_wrong_boxes(barn) -> None:
    resolved, scenes, lattice = barn
    level = shadow_lattice(scenes, [0.6, 1.6, 2.6], [1.8, 1.6, 2.6], 0.6)
    assert level.hidden.shape[:3] == (3, 2, 2)
    exact = hidden_share(scenes, [1.2, 1.6, 2.6])
    np.testing.assert_allclose(level.at([1.2, 1.6, 2.6]), exact, atol=0.011)
    with pytest.raises(ValueError, match="box"):
        shadow_lattice(scenes, HIGH_M, LOW_M)
    with pytest.raises(ValueError, match="lattice for"):
        swift_evaluate(Candidates.of(resolved), lattice, columns=3, rows=2)
