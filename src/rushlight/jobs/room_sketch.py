"""What stands where in a rig's room, as plain numbers for whoever draws it."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.geometry import ray_on_plane, transform_points, undistort_px
from rushlight.records.place import Place
from rushlight.records.resolved import ResolvedCameras
from rushlight.records.rig import Rig

Array = NDArray[Any]
Point = list[float]


def room_sketch(rig: Rig, cameras: ResolvedCameras) -> dict[str, Any]:
    """Everything of a rig that has a place, in the rig frame [m].

    Parameters
    ----------
    rig
        As read.
    cameras
        Of the same rig, resolved; a batch of one.

    Returns
    -------
    dict
        ``floor_m``; ``room``, two corners or None; ``surfaces``, four corners each, counted
        from the lower left; ``cameras``, with place and the four places that the corners of
        its picture look at; ``people``, with corners of the floor where they stand and
        stature; ``zones`` and ``places`` as boxes; ``lamps``.
    """
    floor = -rig.surfaces[0].height_above_floor.value if rig.surfaces else 0.0
    return {
        "floor_m": floor,
        "room": _room(rig, floor),
        "surfaces": [
            {"id": each.id, "corners_m": _upright(each.width.value, each.height.value)}
            for each in rig.surfaces
            if each.pose is None
        ],
        "cameras": [
            camera_sketch(rig.cameras[i].id, cameras, i, view_reach(rig, cameras, i))
            for i in range(len(rig.cameras))
        ],
        "people": [
            {
                "id": each.id,
                "standing_m": [[x.value, z.value] for x, z in each.standing],
                "stature_m": each.stature.value,
            }
            for each in rig.people
        ],
        "zones": [
            {"id": each.id, "low_m": _point(each.zone.low), "high_m": _point(each.zone.high)}
            for each in rig.carried
            if each.zone is not None
        ],
        "lamps": [
            {"id": each.id, "at_m": _point(each.position)}
            for each in (rig.room.lamps if rig.room else ())
        ],
    }


def _point(place: Place) -> Point:
    return [each.value for each in place]


def _upright(width: float, height: float) -> list[Point]:
    return [[0.0, 0.0, 0.0], [width, 0.0, 0.0], [width, height, 0.0], [0.0, height, 0.0]]


def _room(rig: Rig, floor: float) -> list[Point] | None:
    room = rig.room
    if room is None or room.width is None or room.depth is None or room.height is None:
        return None
    left = room.left.value if room.left is not None else 0.0
    low = [-left, floor, 0.0]
    return [low, [low[0] + room.width.value, floor + room.height.value, room.depth.value]]


def view_reach(rig: Rig, cameras: ResolvedCameras, index: int) -> float:
    """How far along its axis a camera's view is worth drawing [m]."""
    at = cameras.rig_from_camera[0, index, :3, 3]
    aim = rig.cameras[index].look_at
    if aim is None:
        return max(float(abs(at[2])), 1.0)
    return float(np.linalg.norm(np.array(_point(aim)) - at))


def camera_sketch(
    name: str, cameras: ResolvedCameras, index: int, reach_m: float
) -> dict[str, Any]:
    """A camera, and where the corners of its picture look: on the wall, or as far as it looks."""
    width, height = cameras.size_px[0, index]
    px = np.array([[0, 0], [width, 0], [width, height], [0, height]], float) - 0.5
    rays = undistort_px(px, cameras.K[0, index], cameras.distortion[0, index])
    pose = cameras.rig_from_camera[0, index]
    flat = np.concatenate([rays, np.ones((4, 1))], axis=-1) * reach_m
    ends = transform_points(pose, flat)
    wall = ray_on_plane(rays, pose)
    if np.isfinite(wall).all() and pose[2, 3] > 0:
        on_wall = np.concatenate([wall, np.zeros((4, 1))], axis=-1)
        near = np.linalg.norm(on_wall - pose[:3, 3], axis=-1) < 3.0 * reach_m
        ends = np.where(near[:, None], on_wall, ends)
    return {
        "id": name,
        "at_m": pose[:3, 3].tolist(),
        "corners_m": np.where(np.isfinite(ends), ends, pose[:3, 3]).tolist(),
    }
