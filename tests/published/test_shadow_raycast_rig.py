"""The shadow that is told of a rig, place by place, against an independent ray caster.

SOURCE: trimesh 5.2.0 with rtree 1.4.1 (`RayMeshIntersector` of `trimesh.ray.ray_triangle`).

The scenes are the rig's own, as `scenes_of` draws them, and so is the sum over them
(`shadow_field`); the ray caster is asked of every one of them. One scene of 200 is 0.005.
"""

from __future__ import annotations

import numpy as np
import trimesh
from tests.published.test_shadow_raycast import mesh_of
from tests.search_rooms import BARN_WALL

from rushlight.jobs.load import load_rig
from rushlight.plan.grid import places_of_grid
from rushlight.plan.search_judge import NOWHERE, SearchRoom
from rushlight.plan.shadow import SCENES, scenes_of, shadow_field
from rushlight.plan.shadow_lattice import hidden_share
from rushlight.shelf.resolve import resolve


def near(capsules, light, cameras):
    """Those capsules (N, 7) whose bounding ball a line of sight comes near: the others' meshes
    cannot be met."""
    middle = (capsules[:, :3] + capsules[:, 3:6]) / 2.0
    size = np.linalg.norm(capsules[:, 3:6] - capsules[:, :3], axis=1) / 2.0 + capsules[:, 6]
    way = cameras - light
    along = np.einsum("nk,ck->nc", middle - light, way) / np.sum(way**2, axis=1)
    foot = light + np.clip(along, 0.0, 1.0)[..., None] * way
    apart = np.linalg.norm(foot - middle[:, None], axis=-1)
    return capsules[np.any(apart <= size[:, None] + 1e-6, axis=1)]


def met(capsules, light, cameras):
    """Whether (C,) the line from a light to each camera meets the mesh of capsules."""
    some = near(capsules, light, cameras)
    if not len(some):
        return np.zeros(len(cameras), bool)
    caster = trimesh.ray.ray_triangle.RayMeshIntersector(mesh_of(some))
    way = cameras - light
    where, ray, _ = caster.intersects_location(np.tile(light, (len(way), 1)), way)
    where = np.reshape(where, (-1, 3))
    along = np.einsum("ij,ij->i", where - light, way[ray])
    return np.isin(np.arange(len(way)), ray[along <= np.sum(way[ray] ** 2, axis=1)])


def test_the_shadow_of_the_rigs_own_scenes_at_each_place() -> None:
    rig, shelf = load_rig(BARN_WALL)
    resolved = resolve(rig, shelf)
    places = places_of_grid(resolved.surface.size_m, 3, 2)[0]
    scenes = scenes_of(rig, resolved, places)
    cameras = np.stack([resolved.cameras.rig_from_camera[0, 0, :3, 3], [2.6, 0.9, 2.2]])
    cast = np.zeros((len(cameras), SCENES, len(places)), bool)
    people = np.concatenate([scenes.own_m[0], scenes.others_m[0]], axis=-2)
    for scene in range(SCENES):
        for place in range(len(places)):
            light = scenes.light_m[0, scene, place]
            cast[:, scene, place] = met(people[scene, place], light, cameras)
    told = shadow_field(scenes, cameras)
    share = cast.mean(axis=1)
    assert np.ptp(share) > 0.3
    np.testing.assert_allclose(told.together[0], share, atol=0.02)
    np.testing.assert_allclose(told.everywhere[0], cast.all(axis=0).mean(axis=0), atol=0.02)
    # What a search tabulates, and what it judges the one to take by, are these very shares.
    np.testing.assert_array_equal(hidden_share(scenes, cameras)[:, 0], told.together[0])
    room = SearchRoom(3, 2, None, scenes, ())
    lit = room.lit(np.full(len(cameras), NOWHERE), cameras)
    np.testing.assert_allclose(lit[:, 0], 1.0 - share, atol=0.02)
