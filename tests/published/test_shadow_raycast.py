"""Shares of hidden lines of sight against an independent ray caster on triangle meshes.

SOURCE: trimesh 5.2.0 with rtree 1.4.1 (`RayMeshIntersector` of `trimesh.ray.ray_triangle`).

The bodies are ours and the same for both; what is compared is whether a line of sight meets
them. Capsules become meshes of 20 sections, which lie a little within them: shares may differ
by 0.02, and no line by more than the mesh's own sag.
"""

from __future__ import annotations

import numpy as np
import trimesh

from rushlight.physics.shadow import body_capsules, hidden_by, segment_gap

SECTIONS = 20
SCENES = 120
CAMERAS = np.array([[1.2, 1.6, 2.85], [-0.4, 1.9, 1.6], [2.6, 0.9, 2.2], [1.2, 0.7, 1.5]])


def mesh_of(capsules):
    """The capsules of one scene as one mesh."""
    parts = []
    for row in capsules:
        ends, radius = row[:6].reshape(2, 3), row[6]
        way = ends[1] - ends[0]
        part = trimesh.creation.capsule(
            height=np.linalg.norm(way), radius=radius, count=[SECTIONS, SECTIONS]
        )
        turn = trimesh.geometry.align_vectors([0.0, 0.0, 1.0], way)
        # The library's capsule runs from its origin or about it, by version: set its middle.
        part.apply_translation(-part.bounds.mean(axis=0))
        part.apply_transform(turn)
        part.apply_translation(ends.mean(axis=0))
        parts.append(part)
    return trimesh.util.concatenate(parts)


def scenes(people):
    """Random scenes: lights (S, 3), capsules (S, people × 8, 7)."""
    rng = np.random.default_rng(7)
    place = rng.uniform([0.0, 0.0], [2.4, 1.5], (SCENES, 2))
    light = np.concatenate([place, np.full((SCENES, 1), 0.012)], axis=1)
    bodies = []
    for person in range(people):
        touched = place if person == 0 else rng.uniform([0.0, 0.0], [2.4, 1.5], (SCENES, 2))
        lean = rng.uniform(-0.1, 0.1, (SCENES, 2))
        grip = np.concatenate([touched + lean, rng.uniform(0.1, 0.25, (SCENES, 1))], axis=1)
        hand = rng.choice([-1.0, 1.0], SCENES)
        foot = np.stack(
            [touched[:, 0] - hand * rng.uniform(0.0, 0.5, SCENES), rng.uniform(0.3, 0.6, SCENES)],
            axis=1,
        )
        stature = rng.uniform(1.2, 1.9, SCENES)
        bodies.append(
            body_capsules(
                grip,
                foot,
                -0.75,
                stature,
                0.82 * stature,
                0.28 * stature,
                hand,
                rng.normal(0, 0.4, SCENES),
            )
        )
    return light, np.concatenate(bodies, axis=1)


def test_shares_of_hidden_scenes_with_two_people() -> None:
    light, capsules = scenes(people=2)
    ours = hidden_by(light, CAMERAS[:, None], capsules)
    cast = np.empty_like(ours)
    for scene in range(SCENES):
        caster = trimesh.ray.ray_triangle.RayMeshIntersector(mesh_of(capsules[scene]))
        way = CAMERAS - light[scene]
        where, ray, _ = caster.intersects_location(np.tile(light[scene], (len(way), 1)), way)
        where = np.reshape(where, (-1, 3))  # the library returns (0,) for none
        along = np.einsum("ij,ij->i", where - light[scene], way[ray])
        met = along <= np.sum(way[ray] ** 2, axis=1)
        cast[:, scene] = np.isin(np.arange(len(way)), ray[met])
    assert np.all((ours.mean(axis=1) > 0.05) & (ours.mean(axis=1) < 0.95))
    np.testing.assert_allclose(ours.mean(axis=1), cast.mean(axis=1), atol=0.02)
    # Where the two disagree, the line grazes a capsule within the mesh's sag, r(1 − cos(π/n)).
    for camera, scene in np.argwhere(ours != cast):
        rows = capsules[scene]
        gap = segment_gap(light[scene], CAMERAS[camera], rows[:, :3], rows[:, 3:6]) - rows[:, 6]
        sag = rows[:, 6] * 2.0 * (1.0 - np.cos(np.pi / SECTIONS))
        assert np.any(np.abs(gap) <= sag)


def test_share_of_a_picture_in_shadow() -> None:
    """Lines from a projector's lens to a grid of its picture, past whoever touches it."""
    _, capsules = scenes(people=1)
    lens = np.array([1.2, 1.95, 1.2])
    x, y = np.meshgrid((np.arange(12) + 0.5) * 0.2, (np.arange(8) + 0.5) * 1.5 / 8)
    picture = np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=-1)
    some = capsules[::8]
    ours = hidden_by(picture, lens, some[:, None])
    cast = np.zeros_like(ours)
    for scene, rows in enumerate(some):
        caster = trimesh.ray.ray_triangle.RayMeshIntersector(mesh_of(rows))
        way = picture - lens
        where, ray, _ = caster.intersects_location(np.tile(lens, (len(way), 1)), way)
        where = np.reshape(where, (-1, 3))
        met = np.einsum("ij,ij->i", where - lens, way[ray]) <= np.sum(way[ray] ** 2, axis=1)
        cast[scene] = np.isin(np.arange(len(way)), ray[met])
    assert 0.02 < ours.mean() < 0.5
    np.testing.assert_allclose(ours.mean(axis=1), cast.mean(axis=1), atol=0.02)
