"""The doubt that a rig is used at any hour, so that the sun may come in or not."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.daylight import HIGHEST_SUN_RAD
from rushlight.plan.doubt import OWN, Doubt
from rushlight.plan.grid import places_of_grid, with_fields
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve import first_wavelength_m
from rushlight.shelf.room_light import brightest_told, has_lights, hours_of_sun, sun_from_anywhere

Array = NDArray[Any]

COLUMNS, ROWS = 9, 6
"""Places over which the sunlight of an hour is averaged."""


def sun_doubt(rig: Rig, shelf: Shelf, resolved: ResolvedRig) -> Doubt | None:
    """What the sun adds to the room's light, wherever it may stand while it is up.

    Its light is the mean over the surface; a patch of it is brighter. Where the room's bearing and
    latitude are known, the hours of the longest and the shortest day and of both equinoxes count
    alike, since nobody says when the rig is used. Where either is not, the directions among which
    the plan looks for the worst count alike.

    Parameters
    ----------
    rig, shelf, resolved
        The rig three ways.

    Returns
    -------
    Doubt or None
        None where no window ever lets the sun in.
    """
    if rig.room is None or not has_lights(rig.room):
        return None
    light, words = _sunlight(rig, shelf, resolved)
    if not len(light) or light[-1] <= 0.0:
        return None
    level = (np.arange(len(light)) + 0.5) / len(light)

    def moves(batch: ResolvedRig, z: Array) -> ResolvedRig:
        added = np.interp((z[:, 0] / math.sqrt(3.0) + 1.0) / 2.0, level, light)
        return with_fields(batch, surface={"ambient_w_m2": batch.surface.ambient_w_m2 + added})

    return Doubt(
        "sun",
        "the hour, as the sun comes round",
        f"of all {words.of}, {np.mean(light > 0.0):.0%} bring its light in by a "
        f"window, up to {light[-1]:.3g} W/m² on average over the surface",
        words.source,
        True,
        words.measure,
        1,
        moves,
        kind="rectangular",
        planned=-math.sqrt(3.0),
    )


class _Words(NamedTuple):
    of: str
    source: str
    measure: str


def _sunlight(rig: Rig, shelf: Shelf, resolved: ResolvedRig) -> tuple[Array, _Words]:
    """Means over the surface [W/m²] that are equally likely, the least first, and their words."""
    at = places_of_grid(resolved.surface.size_m, COLUMNS, ROWS)[0]
    wavelength_m = first_wavelength_m(rig, shelf)
    counted = brightest_told(rig, shelf, wavelength_m, at).camera
    camera = next(each for each in rig.cameras if each.id == counted)
    days = hours_of_sun(rig, shelf, camera, wavelength_m, at)
    if days:
        hours = np.concatenate([day.mean(axis=1) for _, day in days.values()])
        return np.sort(hours), _Words(
            "hours that the sun is up",
            "the room's windows, bearing and latitude; that any hour of any season is as likely as "
            f"another: {OWN}",
            "say when the rig is used, or hang a curtain before the window",
        )
    light = sun_from_anywhere(rig, shelf, camera, wavelength_m, at).mean(axis=1)
    return np.sort(light), _Words(
        f"directions up to {math.degrees(HIGHEST_SUN_RAD):.0f}° above the horizon",
        "the room's windows, its bearing or latitude not being given; that the sun, as strong as "
        f"the reference spectrum, is as likely in any of them as in another: {OWN}",
        "give the room's facing and latitude, or hang a curtain before the window",
    )
