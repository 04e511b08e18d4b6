"""How a rig of space is best registered: where to look, where to place, how to swing."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from rushlight.physics.geometry.pose_fit import LEAST_FACING_STD_RAD
from rushlight.physics.geometry.rotation import rotation_of_facing
from rushlight.physics.sighting import FACED_STD_RAD, HELD_STD_M, look_line
from rushlight.plan.space_light import space_light
from rushlight.plan.space_poses import even_points, poses_at
from rushlight.records.arrays import Array
from rushlight.records.space import ResolvedSpace, Screen, Thing
from rushlight.records.space_plan import PlannedMark, SpaceMethod

STAND_M = 0.12
"""How far the near marks of looks stand out before the display: two beads on rods (our choice)."""
HELD_S = 1.0
"""For how long a look or a placing is held (an assumption of ours, no source)."""
SWING_POSES = 150
"""Different poses of a swung bar that count (an assumption of ours: some fifteen seconds)."""
_BEADS = ((0.25, 0.5), (0.75, 0.5))  # shares of the display's width and height
_EYES = np.array(
    [[x, y, z] for z in (0.15, 0.85) for y in (0.2, 0.8) for x in (0.1, 0.9)]
    + [[0.5, 0.5, 0.5], [0.5, 0.5, 0.1]]
)
_PLACINGS = np.array([[x, y] for y in (0.1, 0.5, 0.9) for x in (0.1, 0.5, 0.9)])
_LEAST_ROWS, _LEAST_LIGHTS = 4, 3


@dataclass(frozen=True)
class Design:
    """Steps of a registration, as they are supposed to be made.

    Attributes
    ----------
    method
        How.
    thing
        What is worn, placed or swung; None for mounting alone.
    marks
        As the plan's document tells them.
    poses
        (N, 4, 4) of the thing.
    axes, axes_std_m
        (N, 3, 3) directions along which the place of its point is told, and (N, 3) how exactly
        [m]; infinite where it is not.
    turn_std_rad
        (3,) how exactly its turn about each axis of the rig is told by facing [rad].
    frames
        Over how many frames each is averaged.
    """

    method: SpaceMethod
    thing: Thing | None
    marks: tuple[PlannedMark, ...]
    poses: Array
    axes: Array
    axes_std_m: Array
    turn_std_rad: Array
    frames: int

    def repeated(self, times: int) -> Design:
        """Every step so many times."""
        return replace(
            self,
            marks=self.marks * times,
            poses=np.tile(self.poses, (times, 1, 1)),
            axes=np.tile(self.axes, (times, 1, 1)),
            axes_std_m=np.tile(self.axes_std_m, (times, 1)),
        )


def design_of(space: ResolvedSpace) -> Design:
    """The registration that suits a rig: looks, placings, a swing, or mounting alone."""
    frames = max(1, round(HELD_S * float(space.cameras.frame_rate_hz[0].min())))
    found: Design | None = None
    if "viewpoint" in space.kinds and space.screens:
        caps = [each for each in space.things if each.solved_as != "point"]
        found = _looks(caps[0], space.screens[0], frames) if caps else None
    elif "body" in space.kinds and space.screens:
        bodies = [each for each in space.things if each.solved_as == "pose"]
        found = _placings(space, bodies[0], frames) if bodies else None
    if found is None and space.scale_bar is not None and len(space.camera_ids) > 1:
        found = swing_of(space.scale_bar)
    return found if found is not None else _mounting()


def _mounting() -> Design:
    nothing = np.zeros((0, 3))
    return Design(
        "mounting",
        None,
        (),
        np.zeros((0, 4, 4)),
        np.zeros((0, 3, 3)),
        nothing,
        np.ones(3),
        1,
    )


def screen_frame(screen: Screen) -> tuple[Array, Array, Array, Array]:
    """Lower left corner, the two edges from it [m], and the unit normal toward the user."""
    corner, right, up = screen.corners_m
    wide, high = right - corner, up - corner
    normal = np.cross(wide, high)
    return corner, wide, high, normal / np.linalg.norm(normal)


def _looks(cap: Thing, screen: Screen, frames: int) -> Design | None:
    """Looks past beads before the display at marks drawn on it, the eye spread over its zone."""
    corner, wide, high, normal = screen_frame(screen)
    beads = [corner + x * wide + y * high + STAND_M * normal for x, y in _BEADS]
    eyes = cap.low_m + _EYES * (cap.high_m - cap.low_m)
    marks, rows = [], []
    for index, eye in enumerate(eyes):
        for bead in (beads[index % 2], beads[1 - index % 2]):
            far = _far_mark(eye, bead, corner, wide, high, normal)
            if far is not None:
                marks.append(_mark(cap, "look", bead, far))
                rows.append((eye, bead, far))
                break
    if len(rows) < _LEAST_ROWS:
        return None
    eye_m, near, far_m = (np.array(each) for each in zip(*rows, strict=True))
    line = look_line(near, far_m)
    with np.errstate(divide="ignore", invalid="ignore"):
        ends = np.stack([cap.low_m - near, cap.high_m - near]) / line.direction
    length = np.nanmin(ends.max(axis=0), axis=-1) - np.nanmax(ends.min(axis=0), axis=-1)
    std = np.stack([np.full(len(rows), HELD_STD_M)] * 2 + [length / np.sqrt(12.0)], axis=-1)
    return Design(
        "looks",
        cap,
        tuple(marks),
        poses_at(cap, eye_m, line.facing),
        np.concatenate([line.across, line.direction[:, None]], axis=1),
        std,
        np.clip(cap.ranges_rad[[1, 0, 2]] / np.sqrt(3.0), LEAST_FACING_STD_RAD, FACED_STD_RAD),
        frames,
    )


def _far_mark(
    eye: Array, bead: Array, corner: Array, wide: Array, high: Array, normal: Array
) -> Array | None:
    """Where the line from an eye through a bead meets the display; None beside it."""
    way = bead - eye
    fall = float(way @ normal)
    if fall >= 0.0:
        return None
    far = bead + way * float((corner - bead) @ normal) / fall
    shares = [float((far - corner) @ edge / (edge @ edge)) for edge in (wide, high)]
    return np.asarray(far) if all(0.0 <= share <= 1.0 for share in shares) else None


def _placings(space: ResolvedSpace, body: Thing, frames: int) -> Design | None:
    """Its point held on marks of the display below its zone, turned as it may be, where a camera
    sees enough of it."""
    corner, wide, high, _ = screen_frame(space.screens[0])
    places = corner + _PLACINGS[:, :1] * wide + _PLACINGS[:, 1:] * high
    inside = np.clip(places, body.low_m, body.high_m)
    shares = np.stack([(inside - corner) @ edge / (edge @ edge) for edge in (wide, high)], axis=-1)
    on_display = corner + shares[:, :1] * wide + shares[:, 1:] * high
    turns = (2.0 * even_points(len(on_display)) - 1.0) * body.ranges_rad
    poses = poses_at(body, on_display, rotation_of_facing(*turns.T))
    seen = space_light(space, body, poses).in_view.any(axis=0).sum(axis=-1)
    good = ((shares >= 0.0) & (shares <= 1.0)).all(axis=-1) & (seen >= _LEAST_LIGHTS)
    rows = int(good.sum())
    if rows < _LEAST_ROWS:
        return None
    return Design(
        "placings",
        body,
        tuple(_mark(body, "placing", place, None) for place in on_display[good]),
        poses[good],
        np.broadcast_to(np.eye(3), (rows, 3, 3)),
        np.full((rows, 3), HELD_STD_M),
        np.maximum(body.ranges_rad[[1, 0, 2]] / np.sqrt(3.0), LEAST_FACING_STD_RAD),
        frames,
    )


def swing_of(bar: Thing) -> Design:
    """A swing of a scale bar all through its zone."""
    points = even_points(SWING_POSES, 6)
    places = bar.low_m + points[:, :3] * (bar.high_m - bar.low_m)
    turns = (2.0 * points[:, 3:] - 1.0) * bar.ranges_rad
    return Design(
        "swing",
        bar,
        (),
        poses_at(bar, places, rotation_of_facing(*turns.T)),
        np.broadcast_to(np.eye(3), (SWING_POSES, 3, 3)),
        np.full((SWING_POSES, 3), np.inf),
        np.full(3, np.inf),
        1,
    )


def _mark(thing: Thing, kind: str, near: Array, far: Array | None) -> PlannedMark:
    return PlannedMark.model_validate(
        {
            "carried": thing.id,
            "point": thing.main,
            "kind": kind,
            "from_m": [round(float(v), 4) for v in near],
            "to_m": None if far is None else [round(float(v), 4) for v in far],
        }
    )
