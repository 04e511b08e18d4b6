"""The shadow that people throw on their own picture, and whose heads stand in the beam.

For a projector that stands or hangs before its wall. The scenes are those of `plan.shadow`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.beam import in_beam
from rushlight.physics.shadow import CAPSULES, hidden_by, segment_gap
from rushlight.plan.shadow import Scenes
from rushlight.records.rig import Rig, Surface
from rushlight.shelf.catalogue import Shelf

Array = NDArray[Any]

EVERY = 5
"""Of the scenes every fifth is taken for the whole picture, to bound the time."""
PICTURE = (12, 8)
"""Points across and up at which the picture is looked at."""
BODY_RADIUS_M = 0.15
"""Half the breadth of a projector, taken as a ball about its lens (our own choice)."""
THROW_MISFIT = 0.15
"""By how much the lens's distance may differ from what the throw ratio says (our own choice)."""


@dataclass(frozen=True)
class BeamShadow:
    """How people shade a projected picture.

    Attributes
    ----------
    lens_m
        (3,) of the projector [m].
    picture
        (E, G) mean share of the picture in the shadow of whoever touches each place.
    touched
        (E, G) share of the scenes in which the touched place itself lies in that shadow.
    heads
        (E,) share of all scenes and places in which the toucher's head is in the beam.
    """

    lens_m: Array
    picture: Array
    touched: Array
    heads: Array


def lens_place(surface: Surface) -> Array | None:
    """Where the projector's lens is (3,) [m]; None where nobody said."""
    if surface.projector is None:
        return None
    return np.array([step.value for step in surface.projector.position])


def throws_from_front(surface: Surface) -> bool:
    """Whether the surface is lit by a projector before it, whose place is known."""
    lens = lens_place(surface)
    return lens is not None and float(lens[2]) > 0.0


def throw_of_part(rig: Rig, shelf: Shelf) -> float | None:
    """From how far the surface's projector fills its width [m]; None for other displays."""
    surface = rig.surfaces[0]
    if surface.display is None:
        return None
    ratio = shelf.display(surface.display).throw_ratio
    return None if ratio is None else ratio.si * surface.width.value


def beam_shadow(scenes: Scenes, lens_m: Array, places_m: Array, size_m: Array) -> BeamShadow:
    """How people in scenes shade a picture from a lens.

    Parameters
    ----------
    scenes
        Ways of standing and touching.
    lens_m
        (3,) of the projector, before the wall [m].
    places_m
        (G, 2) that are touched in the scenes [m].
    size_m
        (2,) width and height of the picture [m].
    """
    steps = [
        (np.arange(count) + 0.5) / count * side for count, side in zip(PICTURE, size_m, strict=True)
    ]
    picture = _on_wall(np.stack(np.meshgrid(*steps), axis=-1).reshape(-1, 2))
    tip = _on_wall(places_m)
    head = CAPSULES.index("head")
    shaded, touched, heads = [], [], []
    for own in scenes.own_m:
        some = hidden_by(picture, lens_m, own[::EVERY, :, None])
        shaded.append(some.mean(axis=(0, 2)))
        touched.append(hidden_by(tip, lens_m, own).mean(axis=0))
        ends = own[:, :, head]
        middle = (ends[..., :3] + ends[..., 3:6]) / 2.0
        heads.append(in_beam(lens_m, middle, size_m, ends[..., 6]).mean())
    return BeamShadow(lens_m, np.stack(shaded), np.stack(touched), np.array(heads))


def hidden_behind(lens_m: Array, camera_m: Array, places_m: Array) -> Array:
    """Which share (...) of places (G, 2) [m] a projector about its lens (3,) hides from cameras.

    The cameras stand at `camera_m` (..., 3) [m].
    """
    gap = segment_gap(_on_wall(places_m), camera_m[..., None, :], lens_m, lens_m)
    return np.asarray(np.mean(gap <= BODY_RADIUS_M, axis=-1))


def _on_wall(places_m: Array) -> Array:
    return np.concatenate([places_m, np.zeros((len(places_m), 1))], axis=-1)
