"""The doubt that a rig is used at any hour, so that the sun may come in or not."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.plan.doubt import OWN, Doubt
from rushlight.plan.grid import places_of_grid, with_fields
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve import first_wavelength_m
from rushlight.shelf.room_light import brightest_told, has_lights, hours_of_sun

Array = NDArray[Any]

COLUMNS, ROWS = 9, 6
"""Places over which the sunlight of an hour is averaged."""


def sun_doubt(rig: Rig, shelf: Shelf, resolved: ResolvedRig) -> Doubt | None:
    """What the sun adds to the room's light, over all hours at which it is up.

    Its light is the mean over the surface; a patch of it is brighter. The hours of the longest and
    the shortest day and of both equinoxes count alike, since nobody says when the rig is used.

    Parameters
    ----------
    rig, shelf, resolved
        The rig three ways.

    Returns
    -------
    Doubt or None
        None where no window lets the sun in, or nobody says which way the room faces.
    """
    if not has_lights(rig.room):
        return None
    at = places_of_grid(resolved.surface.size_m, COLUMNS, ROWS)[0]
    wavelength_m = first_wavelength_m(rig, shelf)
    counted = brightest_told(rig, shelf, wavelength_m, at).camera
    camera = next(each for each in rig.cameras if each.id == counted)
    days = hours_of_sun(rig, shelf, camera, wavelength_m, at)
    light = np.sort(np.concatenate([day.mean(axis=1) for _, day in days.values()] or [[]]))
    if not len(light) or light[-1] <= 0.0:
        return None
    level = (np.arange(len(light)) + 0.5) / len(light)

    def moves(batch: ResolvedRig, z: Array) -> ResolvedRig:
        added = np.interp((z[:, 0] / math.sqrt(3.0) + 1.0) / 2.0, level, light)
        return with_fields(batch, surface={"ambient_w_m2": batch.surface.ambient_w_m2 + added})

    return Doubt(
        "sun",
        "the hour, as the sun comes round",
        f"of all hours that the sun is up, {np.mean(light > 0.0):.0%} bring its light in by a "
        f"window, up to {light[-1]:.3g} W/m² on average over the surface",
        f"the room's windows, bearing and latitude; that any hour of any season is as likely as "
        f"another: {OWN}",
        True,
        "say when the rig is used, or hang a curtain before the window",
        1,
        moves,
        kind="rectangular",
        planned=-math.sqrt(3.0),
    )
