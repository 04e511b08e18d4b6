"""One rig of space looked at over the zones of everything that moves: what figures rest on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.plan.space_design import Design, design_of
from rushlight.plan.space_error import WAYS, SpaceField, mean_over, space_field
from rushlight.plan.space_light import space_light, suitable_exposures
from rushlight.plan.space_picture import PictureMap, picture_maps
from rushlight.plan.space_poses import grid_places, poses_at, ways_of_turning, zone_grid
from rushlight.plan.space_register import SpaceRegistered, registered
from rushlight.records.arrays import Array
from rushlight.records.space import ResolvedSpace, Thing

CELLS = (5, 4, 4)
"""Cells of a zone along x, y and z that are looked at."""
COARSE_CELLS, COARSE_WAYS = (3, 2, 3), 12
"""The same for comparing many rigs."""
_PLACES = 5  # along each axis, where an exposure must suit


@dataclass(frozen=True)
class SpaceEvaluation:
    """A rig of space over its zones.

    Attributes
    ----------
    space
        The rig.
    exposure_s
        (C,) as the rig has them, or chosen [s].
    design, known
        Its registration, and what that leaves open.
    axes_m
        Of each thing: the places along x, y and z [m].
    fields
        Of each thing, over those places.
    pictures
        Of each thing: maps of the picture's error, none for what is no viewpoint.
    """

    space: ResolvedSpace
    exposure_s: Array
    design: Design
    known: SpaceRegistered
    axes_m: tuple[tuple[Array, Array, Array], ...]
    fields: tuple[SpaceField, ...]
    pictures: tuple[tuple[PictureMap, ...], ...]

    def error_m(self, cause: str = "all") -> float:
        """Root-mean-square distance over everything and everywhere it works [m]."""
        squares = np.concatenate([each.square_m2(cause).ravel() for each in self.fields])
        works = np.concatenate([each.works.ravel() for each in self.fields])
        return float(mean_over(squares, works))

    def covered(self, index: int) -> Array:
        """(G,) share of the ways of turning that work, 0 where a target is missed [1]."""
        field, space = self.fields[index], self.space
        good = mean_over(field.square_m2("all"), field.works, 1) <= space.worst_error_m
        if field.thing.solved_as == "pose" and np.isfinite(space.turn_error_rad):
            turn = mean_over(field.turn_square_rad2("all"), field.works, 1)
            good &= turn <= space.turn_error_rad
        if np.isfinite(space.picture_error_m):
            for picture in self.pictures[index]:
                good &= picture.error_m(field, "all", 1) <= space.picture_error_m
        return np.asarray(np.where(good, field.works.mean(axis=1), 0.0))

    @property
    def coverage(self) -> float:
        """Share of all zones in which the rig does what it must [1]."""
        return float(np.mean([self.covered(i).mean() for i in range(len(self.fields))]))


def evaluate_space(
    space: ResolvedSpace,
    cells: tuple[int, int, int] = CELLS,
    ways: int = WAYS,
    repeats: int = 1,
) -> SpaceEvaluation:
    """Look at a rig over its zones.

    Parameters
    ----------
    space
        The rig; cameras without an exposure are given one that suits.
    cells
        Of each zone along x, y and z.
    ways
        Ways of turning at each place, an even number.
    repeats
        How many times each step of the registration is made.
    """
    axes = tuple(zone_grid(thing, cells) for thing in space.things)
    exposure = exposures_of(space)
    design = design_of(space).repeated(repeats)
    known = registered(space, design, exposure)
    places = [grid_places(each) for each in axes]
    fields = tuple(
        space_field(space, thing, where, exposure, known, ways)
        for thing, where in zip(space.things, places, strict=True)
    )
    pictures = tuple(
        tuple(picture_maps(space, thing, where, ways)) if is_eye(space, thing) else ()
        for thing, where in zip(space.things, places, strict=True)
    )
    return SpaceEvaluation(space, exposure, design, known, axes, fields, pictures)


def is_eye(space: ResolvedSpace, thing: Thing) -> bool:
    """Whether a picture is shown for this thing's main point."""
    return "viewpoint" in space.kinds and (thing.kind == "cap" or thing.main == "eye")


def exposures_of(space: ResolvedSpace) -> Array:
    """(C,) exposures [s]: the rig's, or such that nothing that moves or is swung clips."""
    every = [*space.things, *([space.scale_bar] if space.scale_bar else [])]
    lights = []
    for thing in every:
        places = grid_places(tuple(np.unique(np.linspace(a, b, _PLACES)) for a, b in _ends(thing)))
        poses = poses_at(thing, places[:, None], ways_of_turning(thing, WAYS)[None])
        lights.append(space_light(space, thing, poses.reshape(-1, 4, 4)))
    return suitable_exposures(space, lights)


def _ends(thing: Thing) -> list[tuple[float, float]]:
    return [(float(a), float(b)) for a, b in zip(thing.low_m, thing.high_m, strict=True)]
