"""A rig of space as numbers. What its document leaves out is filled in here and nowhere else:

- a camera's place is known to 1 cm and its angles to 1° (assumptions, no source; state them in
  the rig, or register);
- a lens without calibration has the shelf's deviations, 3 % of its focal length where the shelf
  tells none, and a principal point known to 1 % of the picture's width (assumptions, no source);
- each light of a thing is known to 0.5 mm along each axis (assumption, no source);
- a point whose deviation is not told is exact: give `std`;
- a point that counts but is not named is the middle of the thing's lights;
- light of the room that is not given is none, and what stands behind the lights returns half.
"""

from __future__ import annotations

import math

import numpy as np

from rushlight.errors import RushlightError
from rushlight.physics.geometry import (
    invert_transform,
    transform_points,
)
from rushlight.records.arrays import Array
from rushlight.records.place import Place
from rushlight.records.rig import Camera, Carried, CarriedEmitter, Rig, Surface
from rushlight.records.space import MAIN_POINT, ResolvedSpace, Screen, Thing
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.check import check_rig
from rushlight.shelf.optics import surface_pose
from rushlight.shelf.resolve import cameras_of, light_fields, stacked_emitters

SPACE_KINDS = ("viewpoint", "body", "volume")
PLACED_STD_M, TURNED_STD_RAD = 0.01, math.radians(1.0)
LIGHT_STD_M = 0.5e-3
FOCAL_SHARE, CENTRE_SHARE = 0.03, 0.01
REFLECTANCE = 0.5


def space_kinds(rig: Rig) -> tuple[str, ...]:
    """Which kinds of a rig are computed in space; empty for a plain surface rig."""
    return tuple(kind for kind in rig.kinds if kind in SPACE_KINDS)


def space_lights(rig: Rig) -> list[tuple[Carried, CarriedEmitter]]:
    """The lights that move in space, in the order of a `ResolvedSpace`'s emitters."""
    return [
        (carried, emitter)
        for carried in rig.carried
        if carried.kind != "stylus"
        for emitter in carried.emitters
    ]


def resolve_space(rig: Rig, shelf: Shelf, name: str = "rig.toml") -> ResolvedSpace:
    """A viewpoint, body or volume rig as numbers.

    Parameters
    ----------
    rig
        As read from its file.
    shelf
        Where its parts are looked up.
    name
        Of the file, to stand in the findings.

    Raises
    ------
    RushlightError
        With every error that `check_rig` finds, or when it is no rig of space.
    """
    errors = [each for each in check_rig(rig, shelf, name) if each.severity == "error"]
    if errors:
        raise RushlightError(errors)
    kinds = space_kinds(rig)
    if not kinds:
        raise RushlightError.of(
            f"{name}: kinds",
            ", ".join(rig.kinds),
            "holds no kind that moves in space",
            f"give one of {', '.join(SPACE_KINDS)}",
            "no-space-kind",
        )
    lights = space_lights(rig)
    cameras = cameras_of(rig, shelf, lights)
    things = [_thing(carried, lights) for carried in rig.carried if carried.kind != "stylus"]
    moving = tuple(thing for thing in things if thing.kind != "scale-bar")
    middle = np.mean([(each.low_m + each.high_m) / 2.0 for each in moving], axis=0)
    toward = transform_points(invert_transform(cameras.rig_from_camera[0]), middle)
    targets, ambient = rig.targets, rig.ambient
    scene = rig.scene
    return ResolvedSpace(
        name=rig.name,
        kinds=kinds,
        camera_ids=tuple(camera.id for camera in rig.cameras),
        cameras=cameras,
        emitters=stacked_emitters(
            [light_fields(rig, *light, shelf) | _placed_fields(*light) for light in lights]
        ),
        things=moving,
        scale_bar=next((each for each in things if each.kind == "scale-bar"), None),
        screens=tuple(_screen(surface) for surface in rig.surfaces),
        floor_m=rig.surfaces[0].height_above_floor.value if rig.surfaces else 0.0,
        ambient_w_m2=ambient.irradiance.value if ambient else 0.0,
        reflectance=rig.surfaces[0].reflectance.value if rig.surfaces else REFLECTANCE,
        worst_error_m=targets.worst_error.value,
        turn_error_rad=targets.turn_error.value if targets.turn_error else math.nan,
        picture_error_m=targets.picture_error.value if targets.picture_error else math.nan,
        delay_s=targets.delay.value,
        coverage=targets.coverage.value,
        speed_m_s=targets.pointing_speed.value,
        lens_cov=np.stack([_lens_cov(camera, shelf) for camera in rig.cameras]),
        placed_std_m=np.array(
            [c.placed_within.value if c.placed_within else PLACED_STD_M for c in rig.cameras]
        ),
        turned_std_rad=np.array(
            [c.turned_within.value if c.turned_within else TURNED_STD_RAD for c in rig.cameras]
        ),
        focus_m=np.maximum(toward[..., 2], 0.05),
        scene_m=np.array(
            [scene.before.value, scene.behind.value] if scene else [math.nan, math.nan]
        ),
    )


def _placed_fields(carried: Carried, emitter: CarriedEmitter) -> dict[str, Array]:
    """Where a light stands on its thing; how a stylus is held is left open."""
    return {
        "position_m": _place_m(emitter),
        "tilt_rad": np.full(2, math.nan),
        "lean_rad": np.asarray(math.nan),
        "lean_std_rad": np.asarray(math.nan),
        "touch_std_m": np.asarray(math.nan),
    }


def _place_m(emitter: CarriedEmitter) -> Array:
    """Place of a light in its thing's frame (3,) [m]."""
    if emitter.position is not None:
        return _metres(emitter.position)
    distance = emitter.distance_from_tip
    return np.array([0.0, 0.0, distance.value if distance else math.nan])


def _metres(place: Place) -> Array:
    return np.array([step.value for step in place])


def _thing(carried: Carried, lights: list[tuple[Carried, CarriedEmitter]]) -> Thing:
    indices = tuple(i for i, (owner, _) in enumerate(lights) if owner is carried)
    own = [lights[i][1] for i in indices]
    places = np.array([_place_m(each) for each in own])
    wanted = MAIN_POINT.get(carried.kind, "middle")
    named = {point.name: (_metres(point.position), point.std) for point in carried.points}
    main = wanted if wanted in named else next(iter(named), "middle")
    points = {main: named.get(main, (places.mean(axis=0), None))} | named
    std = carried.placed_within.value if carried.placed_within else LIGHT_STD_M
    zone = carried.zone
    return Thing(
        id=carried.id,
        kind=carried.kind,
        solved_as=carried.solved_as,
        lights=indices,
        light_ids=tuple(each.id for each in own),
        codes=tuple(
            (each.code, each.code_bit.value) if each.code and each.code_bit else None
            for each in own
        ),
        main=main,
        point_names=tuple(points),
        lights_m=places,
        lights_std_m=np.full(len(own), std),
        points_m=np.array([place for place, _ in points.values()]),
        which_eye=next((each.which for each in carried.points if each.name == main), None),
        points_std_m=np.array([0.0 if s is None else s.value for _, s in points.values()]),
        low_m=_metres(zone.low) if zone else np.full(3, math.nan),
        high_m=_metres(zone.high) if zone else np.full(3, math.nan),
        ranges_rad=np.array([zone.turn.value, zone.nod.value, zone.lean.value])
        if zone
        else np.full(3, math.nan),
    )


def _screen(surface: Surface) -> Screen:
    wide, high = surface.width.value, surface.height.value
    corners = np.array([[0.0, 0.0, 0.0], [wide, 0.0, 0.0], [0.0, high, 0.0]])
    return Screen(
        id=surface.id,
        refresh_hz=surface.refresh.value,
        delay_s=surface.delay.value,
        corners_m=transform_points(surface_pose(surface), corners),
        display_px=np.array(surface.pixels, float),
    )


def _lens_cov(camera: Camera, shelf: Shelf) -> Array:
    """(9, 9) of a lens's numbers: of its calibration, or as the shelf's part leaves it open."""
    if camera.lens:
        return np.asarray(shelf.lens(camera.lens).cov, float)
    part = shelf.camera(camera.part)
    focal_px = part.focal_length.si / part.pixel_pitch.si
    told = part.focal_length.std is not None and part.focal_length.si_std > 0.0
    share = part.focal_length.si_std / part.focal_length.si if told else FOCAL_SHARE
    cov = np.zeros((9, 9))
    cov[:2, :2] = (share * focal_px) ** 2  # square pixels: both focal lengths are one
    cov[2, 2] = cov[3, 3] = (CENTRE_SHARE * part.size_px[0]) ** 2
    for i, name in enumerate(("k1", "k2", "p1", "p2", "k3"), start=4):
        value = getattr(part, name)
        if value is not None and value.std is not None:
            cov[i, i] = value.si_std**2
    return cov


def exposure_known(space: ResolvedSpace) -> bool:
    """Whether every camera's exposure is told, not left to the plan."""
    return bool(np.all(np.isfinite(space.cameras.exposure_s)))
