"""Can a viewpoint, body or volume rig work at all as it stands, and can its poses be told?"""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np

from rushlight.physics.geometry.constellation import (
    constellation_shape,
    nearest_twin,
)
from rushlight.records.arrays import Array
from rushlight.records.rig import Carried, Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.check_names import Moving, check_names
from rushlight.shelf.check_space_views import View, check_before_displays, check_views, place_m
from rushlight.shelf.report import Report

COLLINEAR_SHARE = 0.02
"""Lights whose distance from one line is less than this share of their size lie on it for our
purpose: the turn about the line moves no dot by much (a choice of ours, no source)."""
FLAT_SHARE = 0.1
"""The same for lights in one plane, which look much alike tilted to either side (our choice)."""
TWIN_SHARE = 0.1
"""Below this misfit, as a share of their size, lights are easily taken for one another."""
SAME_PLACE_M = 1e-4  # nearer lights are one (our choice)
_WORN = {"viewpoint": "a cap with two lights or more", "body": "a thing whose pose is solved"}


def check_space(rig: Rig, shelf: Shelf, report: Report) -> None:
    """Add what keeps a rig of space from working; nothing for a plain surface rig."""
    if "views" in rig.outputs and "viewpoint" not in rig.kinds:
        report.error(
            "views-no-eye",
            "outputs",
            "views",
            "is for pictures that follow an eye, and this is no viewpoint rig",
            'leave it out, or add "viewpoint" to kinds',
        )
    kinds = [kind for kind in rig.kinds if kind != "surface"]
    if not kinds:
        return
    moving = [(i, each) for i, each in enumerate(rig.carried) if each.kind != "stylus"]
    for i, carried in moving:
        _check_zone(carried, f"carried[{i}]", report)
        _check_lights(carried, f"carried[{i}]", report)
    _check_wanted(rig, moving, report)
    check_names(rig, [Moving(i, each, _lights_m(each)) for i, each in moving], report)
    if "viewpoint" in rig.kinds:
        for i, carried in moving:
            if carried.zone is not None and (carried.kind == "cap" or _has_eye(carried)):
                check_before_displays(rig, carried, carried.zone, f"carried[{i}]", report)
    views = [
        View.of(camera, shelf, f"cameras[{i}]", report) for i, camera in enumerate(rig.cameras)
    ]
    known = [view for view in views if view is not None]
    if len(known) < len(views):
        return
    for i, carried in moving:
        if carried.zone is not None:
            lights = _lights_m(carried)
            check_views(rig, carried, carried.zone, lights, f"carried[{i}]", known, report)


def _lights_m(carried: Carried) -> Array:
    """(L, 3) [m]; a light told by its distance from the tip stands on the z axis."""
    return np.array(
        [
            place_m(each.position)
            if each.position is not None
            else [0.0, 0.0, each.distance_from_tip.value if each.distance_from_tip else 0.0]
            for each in carried.emitters
        ]
    )


def _check_zone(carried: Carried, path: str, report: Report) -> None:
    if carried.zone is None:
        report.error(
            "zone-missing",
            f"{path}.zone",
            None,
            f"is missing, and where {carried.id} moves decides what the cameras must see",
            "add [carried.zone] with low, high, turn, nod and lean",
        )


def _check_lights(carried: Carried, path: str, report: Report) -> None:
    lights = _lights_m(carried)
    ids = [each.id for each in carried.emitters]
    for a, b in combinations(range(len(ids)), 2):
        if np.linalg.norm(lights[a] - lights[b]) < SAME_PLACE_M:
            report.error(
                "lights-together",
                f"{path}.emitters[{b}].position",
                ids[b],
                f"stands where {ids[a]} stands, so that the two are one dot",
                "give each light a place of its own",
            )
            return
    wanted = {"point": 1, "pair": 2, "pose": 3}[carried.solved_as]
    if len(lights) < wanted:
        report.error(
            "too-few-lights",
            f"{path}.emitters",
            ids,
            f'are {len(lights)} in all, and solved_as = "{carried.solved_as}" takes '
            f"{wanted} at least",
            "add lights, or ask for less in solved_as",
        )
    elif carried.solved_as == "pose":
        _check_constellation(carried, lights, ids, path, report)


def _check_constellation(
    carried: Carried, lights: Array, ids: list[str], path: str, report: Report
) -> None:
    size, width, depth = (float(value) for value in constellation_shape(lights))
    if width < COLLINEAR_SHARE * size:
        report.error(
            "lights-collinear",
            f"{path}.emitters",
            ids,
            "lie on one straight line, and a turn about it moves no dot: no pose can be told",
            f"move one of them aside by {1e3 * size:.0f} mm or so",
        )
        return
    if len(lights) == 3:
        report.warning(
            "three-lights",
            f"{path}.emitters",
            ids,
            "are three, and three dots fit up to four poses; the range of facing must settle which",
            "add a fourth light out of their plane",
        )
    elif depth < FLAT_SHARE * size:
        report.warning(
            "lights-flat",
            f"{path}.emitters",
            ids,
            f"lie within {1e3 * depth:.1f} mm of one plane, and tilted to either side they look "
            "nearly alike",
            f"raise one of them by {1e3 * size / 2:.0f} mm or so",
        )
    _check_twin(carried, lights, size, ids, path, report)


def _check_twin(
    carried: Carried, lights: Array, size: float, ids: list[str], path: str, report: Report
) -> None:
    codes = [each.code for each in carried.emitters]
    if carried.zone is None or (None not in codes and len(set(codes)) == len(codes)):
        return
    zone = carried.zone
    # Two orientations within the ranges lie no farther apart than all angles together, twice.
    reach = min(math.pi, 2.0 * (zone.turn.value + zone.nod.value + zone.lean.value))
    twin = nearest_twin(lights, reach)
    if twin is None or twin.misfit_m >= TWIN_SHARE * size:
        return
    names = ", ".join(f"{ids[j]} for {ids[i]}" for i, j in enumerate(twin.order) if i != j)
    alike = (
        f"look the same within {1e3 * twin.misfit_m:.1f} mm after a turn of "
        f"{math.degrees(twin.angle_rad):.0f}°, with {names}"
    )
    placed = carried.placed_within.value if carried.placed_within else 0.5e-3
    remedy = "move one light out of the pattern, or give each a code of its own"
    if twin.misfit_m < 3.0 * placed:
        report.error("lights-symmetric", f"{path}.emitters", ids, alike, remedy)
    else:
        report.warning("lights-nearly-symmetric", f"{path}.emitters", ids, alike, remedy)


def _check_wanted(rig: Rig, moving: list[tuple[int, Carried]], report: Report) -> None:
    """Whether each kind has what it is made of."""
    things = [each for _, each in moving if each.kind != "scale-bar"]
    if not things:
        report.error(
            "nothing-moves",
            "carried",
            None,
            "holds nothing that is followed in space",
            f"add {_WORN.get(rig.kinds[0], 'a baton with a light at its tip')}",
        )
        return
    if "viewpoint" in rig.kinds:
        _check_viewpoint(rig, things, report)
    bodies = [each for each in things if each.solved_as == "pose"]
    if "body" in rig.kinds and not any(len(each.emitters) >= 4 for each in bodies):
        report.error(
            "body-lights",
            "carried",
            [each.id for each in things],
            "hold no thing with four lights or more whose pose is solved, which a body rig needs",
            'give it four lights and solved_as = "pose"',
        )
    if "volume" not in rig.kinds:
        return
    if len(rig.cameras) < 2:
        report.error(
            "one-camera",
            "cameras",
            [camera.id for camera in rig.cameras],
            "is one camera, and a single light's distance takes two",
            "add a second camera that looks at the zone from another side",
        )
    if not any(each.kind == "scale-bar" for _, each in moving):
        report.warning(
            "no-scale",
            "carried",
            None,
            "hold no scale bar, so that nothing but the mounting tells the scale",
            'add one with kind = "scale-bar" and two lights a measured length apart',
        )


def _check_viewpoint(rig: Rig, things: list[Carried], report: Report) -> None:
    if not rig.surfaces:
        report.error(
            "surface-missing",
            "surfaces",
            [],
            "is empty, and a viewpoint rig shows its picture on a display",
            "add [[surfaces]] with its id, width, height and pixels",
        )
    eyed = [each for each in things if each.kind == "cap" or _has_eye(each)]
    if not any(len(each.emitters) >= 2 for each in eyed):
        report.error(
            "viewpoint-lights",
            "carried",
            [each.id for each in things],
            "hold no cap with two lights or more, and one light does not tell how far the eye is",
            "give the cap two lights a measured length apart",
        )
    for each in eyed:
        _check_side(each, f"carried[{rig.carried.index(each)}].points", report)
        if not _has_eye(each):
            report.warning(
                "eye-missing",
                f"carried[{rig.carried.index(each)}].points",
                None,
                "name no eye, and the middle of the lights is taken for it",
                'add [[carried.points]] with name = "eye", its position and its std',
            )
    if rig.scene is None:
        report.note(
            "scene-missing",
            "scene",
            None,
            "is missing, so that no error of the picture can be told",
            "add [scene] with before and behind",
        )


def _check_side(carried: Carried, path: str, report: Report) -> None:
    """Refuse a left eye that lies to the right of the lights' middle, and the reverse."""
    middle_m = float(_lights_m(carried)[:, 0].mean())
    for point in carried.points:
        aside_m = point.position[0].value - middle_m
        if point.which and aside_m * (1.0 if point.which == "right" else -1.0) <= 0.0:
            report.error(
                "eye-side",
                path,
                point.which,
                f"is said of an eye {1e3 * abs(aside_m):.0f} mm to the "
                f"{'left' if aside_m < 0.0 else 'right'} of the middle of the lights",
                "count x to the wearer's right, as the display's x, or name the other eye",
            )


def _has_eye(carried: Carried) -> bool:
    return any(point.name == "eye" for point in carried.points)
