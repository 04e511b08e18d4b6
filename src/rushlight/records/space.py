"""A rig of space as numbers: cameras, lights on things that move, and where they move.

Rigs of the kinds viewpoint, body and volume compute on this. Cameras and lights have the fields
of surface rigs, with a leading batch axis of one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.physics.geometry.rotation import facing_angles
from rushlight.records.arrays import Array, ArrayRecord, shaped
from rushlight.records.resolved import ResolvedCameras, ResolvedEmitters

MAIN_POINT = {"cap": "eye", "model": "hinge", "baton": "tip", "scale-bar": "middle"}
"""Which point of a thing counts, by the thing's kind; where a rig does not name it, the middle of
the thing's lights."""

ANOTHERS = ("cap",)
"""Kinds of things that somebody else wears than the one who registered: their point is off anew."""

LEAST_WEIGHT, SAME_RAD = 1e-4, 0.05
"""What a thing could be besides is given up below this weight [1]; poses nearer than this by their
turn are one [rad]. Our choices, no source."""

SPARE_SHARE, SPARE_M, SPARE_RAD = 0.2, 0.05, 0.15
"""How far beyond its zone and its ranges a thing is looked for; our choice."""


@dataclass(frozen=True, eq=False)
class Thing(ArrayRecord):
    """One thing that moves, L lights and P named points.

    Attributes
    ----------
    id, kind, solved_as
        As in the rig.
    lights
        Indices of its lights among the rig's.
    light_ids
        Their ids.
    codes
        For each light the bits and the length of a bit [s] of its code, or None.
    lights_m, lights_std_m
        (L, 3) places in the thing's frame [m], and the deviation of each along each axis.
    main
        Name of the point that counts.
    point_names, points_m, points_std_m
        (P, 3) named points, the one that counts first; (P,) their deviations along each axis [m].
    which_eye
        "left" or "right" where the point that counts is that eye of the wearer; None for the
        point midway between both, and for what is no eye.
    low_m, high_m
        (3,) corners of the zone of the point that counts, in the rig [m].
    ranges_rad
        (3,) greatest turn, nod and lean [rad].
    """

    id: str
    kind: str
    solved_as: str
    lights: tuple[int, ...]
    light_ids: tuple[str, ...]
    codes: tuple[tuple[str, float] | None, ...]
    main: str
    point_names: tuple[str, ...]
    lights_m: Array = shaped("L", 3)
    points_m: Array = shaped("P", 3)
    points_std_m: Array = shaped("P")
    low_m: Array = shaped(3)
    high_m: Array = shaped(3)
    ranges_rad: Array = shaped(3)
    lights_std_m: Array = shaped("L", default=0.0)
    which_eye: str | None = None

    def point_m(self, name: str | None = None) -> Array:
        """(3,) a named point in the thing's frame [m], the one that counts by default."""
        return np.asarray(self.points_m[0 if name is None else self.point_names.index(name)])


def looking_words(thing: Thing) -> str:
    """How its wearer looks past two marks, so that the point that counts is on their line."""
    if thing.which_eye is None:
        return (
            "keep both eyes open and look at the far mark: the near one is seen double; move until "
            "the far mark stands midway between the two"
        )
    other = {"left": "right", "right": "left"}[thing.which_eye]
    return f"shut the {other} eye and bring near and far mark into line"


def within_zone(thing: Thing, poses: Array) -> Array:
    """(N,) whether a thing at poses (N, 4, 4) is about where it may be, turned as it may be."""
    main = np.matvec(poses[:, :3, :3], thing.point_m()) + poses[:, :3, 3]
    spare = SPARE_SHARE * (thing.high_m - thing.low_m) + SPARE_M
    inside = np.all((main >= thing.low_m - spare) & (main <= thing.high_m + spare), axis=-1)
    if thing.solved_as == "point" or len(thing.lights) == 1:
        return np.asarray(inside)
    most = thing.ranges_rad * (1.0 + SPARE_SHARE) + SPARE_RAD
    return np.asarray(inside & np.all(np.abs(facing_angles(poses[:, :3, :3])) <= most, axis=-1))


@dataclass(frozen=True, eq=False)
class Screen(ArrayRecord):
    """A display in the rig.

    Attributes
    ----------
    id
        Of the surface.
    corners_m
        (3, 3) lower left, lower right, upper left as the user sees it, in the rig [m].
    display_px
        (2,) columns and rows.
    refresh_hz, delay_s
        Refresh [Hz]; from the computer's output to light [s].
    """

    id: str
    refresh_hz: float
    delay_s: float
    corners_m: Array = shaped(3, 3)
    display_px: Array = shaped(2)


@dataclass(frozen=True, eq=False)
class ResolvedSpace(ArrayRecord):
    """One rig of space.

    Attributes
    ----------
    kinds
        Those of viewpoint, body and volume that it is.
    camera_ids
        In the order of the cameras' axis.
    cameras, emitters
        A batch of one.
    things
        Those that move in the zone.
    scale_bar
        The scale bar for registration, or None.
    screens
        None to many.
    lens_cov
        (C, 9, 9) of each lens's numbers, in the order of
        `rushlight.physics.geometry.sight.LENS_PARAMETERS`.
    placed_std_m, turned_std_rad
        (C,) how exactly each camera's place and angles are known before a registration.
    focus_m
        (C,) distance in focus along each camera's axis [m]: the middle of the zones.
    floor_m
        How far the floor lies below the rig's origin [m].
    ambient_w_m2, reflectance
        In-band irradiance of what stands behind the lights [W/m²], and how much of it returns.
    scene_m
        (2,) how far content stands out before the screens and lies behind them [m]; NaN for none.
    worst_error_m, turn_error_rad, picture_error_m, delay_s, coverage, speed_m_s
        What it must reach; NaN where nothing was asked.
    """

    name: str
    kinds: tuple[str, ...]
    camera_ids: tuple[str, ...]
    cameras: ResolvedCameras
    emitters: ResolvedEmitters
    things: tuple[Thing, ...]
    scale_bar: Thing | None
    screens: tuple[Screen, ...]
    floor_m: float
    ambient_w_m2: float
    reflectance: float
    worst_error_m: float
    turn_error_rad: float
    picture_error_m: float
    delay_s: float
    coverage: float
    speed_m_s: float
    lens_cov: Array = shaped("C", 9, 9)
    placed_std_m: Array = shaped("C")
    turned_std_rad: Array = shaped("C")
    focus_m: Array = shaped("C")
    scene_m: Array = shaped(2)

    @property
    def fixed_camera(self) -> int | None:
        """The camera from which the rig is told, and which so stands exactly as the document
        says: the first one of a rig that is of kind volume alone."""
        return 0 if self.kinds == ("volume",) else None

    def thing(self, thing_id: str) -> Thing:
        """The thing of an id, the scale bar included.

        Raises
        ------
        KeyError
            When there is none.
        """
        every: list[Thing] = [*self.things, *([self.scale_bar] if self.scale_bar else [])]
        return {each.id: each for each in every}[thing_id]
