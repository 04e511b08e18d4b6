"""From what the cameras saw at marks, or of a swung scale bar, to where they stand."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rushlight.errors import Finding, RushlightError
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots
from rushlight.records.space import ResolvedSpace, Thing
from rushlight.records.space_footage import SPACE_FOOTAGE, SpaceMark
from rushlight.register.space_fit import (
    Found,
    RowFacts,
    doubts_of_places,
    register_marks,
    register_swing,
)
from rushlight.register.space_held import MOVED_PX, HeldDots, dots_at_rest, name_dots
from rushlight.register.space_marks import (
    Anchor,
    Sightings,
    anchor_of_look,
    anchor_of_placing,
)
from rushlight.register.space_moments import seen_swing
from rushlight.register.space_solve import known_beforehand

Seen = list[tuple[int, Dots]]
"""Of one camera: capture time [ns] and dots of each frame."""


def fitted(
    space: ResolvedSpace,
    rig_hash: str,
    marks: Sequence[SpaceMark],
    seen: Sequence[Seen],
    findings: list[Finding],
) -> Found:
    """The cameras by what they saw at marks, or of the swung scale bar where there are none."""
    if marks:
        rows, poses, facts = rows_of_marks(space, marks, seen, findings)
        return register_marks(space, rig_hash, rows, poses, facts)
    bar = space.scale_bar
    assert bar is not None
    length = float(np.linalg.norm(bar.lights_m[1] - bar.lights_m[0]))
    known = known_beforehand(space)
    swing = seen_swing(seen, space.camera_ids, known, doubts_of_places(space), length)
    return register_swing(space, rig_hash, swing, 4)


def rows_of_marks(
    space: ResolvedSpace, marks: Sequence[SpaceMark], seen: Sequence[Seen], findings: list[Finding]
) -> tuple[Sightings, Array, list[RowFacts]]:
    """What was seen at each mark, its dots named; marks that tell nothing are passed over.

    Parameters
    ----------
    space
        The rig.
    marks
        What was held where and when.
    seen
        By camera, capture time [ns] and dots of the frames in which marks were held.
    findings
        What is passed over is told here.

    Returns
    -------
    rows, poses, facts
        As `register_marks` takes them.

    Raises
    ------
    RushlightError
        When a mark is of another rig.
    """
    known = known_beforehand(space)
    first = np.cumsum([0, *(len(thing.lights) for thing in space.things)])
    points = [(thing, name) for thing in space.things for name in thing.point_names]
    places = [thing.id for thing in space.things]
    anchors: list[Anchor] = []
    columns: list[tuple[Array, Array, Array, Array]] = []
    poses, facts, held_points = [], [], []
    for mark in marks:
        if mark.carried not in places:
            raise RushlightError.of(
                f"{SPACE_FOOTAGE}: marks",
                f'"{mark.carried}"',
                "is no thing of the rig",
                "give the rig that belongs to the footage",
                "mark-thing",
            )
        which = places.index(mark.carried)
        thing = _counted_by(space.things[which], mark)
        anchor = _anchor(mark, thing)
        held = [dots_at_rest(each, mark.from_ns, mark.until_ns) for each in seen]
        if any(each.strayed_px > MOVED_PX for each in held):
            findings.append(_passed_over(mark, "was not held still"))
            continue
        named = name_dots(held, thing, anchor, known.cameras, _reach_m(space, anchor))
        if named is None:
            findings.append(_passed_over(mark, "shows fewer than two lights"))
            continue
        if named.doubtful:
            findings.append(_passed_over(mark, "shows dots that may be of other lights", kept=True))
        anchors.append(anchor)
        columns.append(_columns(held, named.lights, int(first[which])))
        poses.append(named.pose)
        held_points.append(points.index((space.things[which], mark.point)))
        facts.append(
            RowFacts(mark.carried, mark.from_ns, mark.until_ns,
                     max(each.frames for each in held), mark.from_m, mark.to_m)
        )  # fmt: skip
    widest = max((len(each[0]) for each in columns), default=1)
    padded = [_padded(each, widest) for each in columns]
    camera, light, px, cov = (
        np.stack([each[i] for each in padded]) if padded else np.zeros(shape)
        for i, shape in enumerate(((0, 1), (0, 1), (0, 1, 2), (0, 1, 2, 2)))
    )
    rows = Sightings(
        anchors=tuple(anchors),
        camera=camera.astype(int),
        light=light.astype(int),
        point=np.array(held_points, int),
        px=px,
        px_cov=cov,
        lights_m=np.concatenate([thing.lights_m for thing in space.things]),
        lights_std_m=np.concatenate([thing.lights_std_m for thing in space.things]),
        points_m=np.stack([thing.point_m(name) for thing, name in points]),
        points_std_m=np.array(
            [thing.points_std_m[thing.point_names.index(name)] for thing, name in points]
        ),
    )
    return rows, np.array(poses).reshape(-1, 4, 4), facts


def _counted_by(thing: Thing, mark: SpaceMark) -> Thing:
    """The thing with the point that was held as the one that counts."""
    if mark.point not in thing.point_names:
        raise RushlightError.of(
            f"{SPACE_FOOTAGE}: marks",
            f'"{mark.point}"',
            f'is no point of "{thing.id}"',
            "give the rig that belongs to the footage",
            "mark-point",
        )
    at = thing.point_names.index(mark.point)
    order = [at, *(i for i in range(len(thing.point_names)) if i != at)]
    return thing.replace(
        point_names=tuple(thing.point_names[i] for i in order),
        points_m=thing.points_m[order],
        points_std_m=thing.points_std_m[order],
    )


def _anchor(mark: SpaceMark, thing: Thing) -> Anchor:
    if mark.kind == "placing" or mark.to_m is None:
        return anchor_of_placing(np.array(mark.from_m), thing)
    try:
        return anchor_of_look(np.array(mark.from_m), np.array(mark.to_m), thing)
    except ValueError as error:
        raise RushlightError.of(
            f"{SPACE_FOOTAGE}: marks",
            f"{mark.from_m}, {mark.to_m}",
            f"tell no look: {error}",
            "give the nearer mark first, and marks that are seen in line from the zone",
            "look-off-zone",
        ) from error


def _reach_m(space: ResolvedSpace, anchor: Anchor) -> float:
    """How far a thing may seem off, because cameras and lenses are not known exactly."""
    away = np.linalg.norm(space.cameras.rig_from_camera[0, :, :3, 3] - anchor.place_m, axis=-1)
    focal = space.cameras.K[0, :, 0, 0]
    centre = np.sqrt(np.maximum(space.lens_cov[:, 2, 2], space.lens_cov[:, 0, 0])) / focal
    off = np.hypot(space.placed_std_m, away * np.hypot(space.turned_std_rad, centre))
    return float(off.max())


def _columns(
    held: Sequence[HeldDots], lights: Sequence[Array], first: int
) -> tuple[Array, Array, Array, Array]:
    """Camera, light, place and covariance of each named dot."""
    camera = np.concatenate([np.full(len(each), i) for i, each in enumerate(lights)])
    light = np.concatenate(list(lights))
    px = np.concatenate([each.px for each in held])
    cov = np.concatenate([each.px_cov for each in held])
    on = light >= 0
    return camera[on], light[on] + first, px[on], cov[on]


def _padded(columns: tuple[Array, Array, Array, Array], widest: int) -> list[Array]:
    more = widest - len(columns[0])
    fill = (0, 0, np.nan, np.nan)
    return [
        np.pad(each.astype(float), [(0, more)] + [(0, 0)] * (each.ndim - 1), constant_values=value)
        for each, value in zip(columns, fill, strict=True)
    ]


def _passed_over(mark: SpaceMark, why: str, kept: bool = False) -> Finding:
    place = ", ".join(f"{step:.3f}" for step in mark.from_m)
    return Finding(
        "warning",
        "mark-doubtful" if kept else "mark-passed-over",
        f"the {mark.kind} at ({place}) m",
        "",
        why if kept else f"{why}, so it is passed over",
        "hold still for a second with all lights in view, and nothing else that shines",
    )
