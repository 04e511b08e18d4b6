"""What of the room rules a camera's place or aim out: walls, the projector's beam, windows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.beam import in_beam
from rushlight.physics.geometry import project
from rushlight.plan.beam import hidden_behind, lens_place, throws_from_front
from rushlight.plan.grid import places_of_grid
from rushlight.plan.lights_seen import WINDOW_SHARE, points_in, window_per_s
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.records.room import Window
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.check_room import side_walls_m
from rushlight.shelf.resolve import first_wavelength_m
from rushlight.shelf.room_light import corners_m, response_of

Array = NDArray[Any]

__all__ = ["CLEAR_M", "WINDOW_SHARE", "RoomBounds", "windows_per_s"]

CLEAR_M = 0.05
"""How far a lens stays from walls, floor and ceiling (our own choice)."""
LOOKED_AT = (9, 6)
"""Places on the surface between which and the camera the projector must not stand."""


@dataclass(frozen=True, eq=False)
class RoomBounds:
    """A room as far as it bounds where a camera stands and what it looks at.

    Attributes
    ----------
    rig
        Whose room it is.
    places_m
        (G, 2) of the surface that are to be seen past the projector [m].
    lens_m
        (3,) of a projector before the wall [m]; None without one.
    windows
        (W, 25, 3) points in each window that lets light in [m].
    """

    rig: Rig
    places_m: Array
    lens_m: Array | None
    windows: Array

    @classmethod
    def of(cls, rig: Rig) -> RoomBounds:
        """The bounds of a rig's room."""
        surface = rig.surfaces[0]
        size = np.array([surface.width.value, surface.height.value])
        windows = [points_in(*corners_m(each)) for each in _bright(rig)]
        return cls(
            rig,
            places_of_grid(size[None], *LOOKED_AT)[0],
            lens_place(surface) if throws_from_front(surface) else None,
            np.array(windows),
        )

    def clear_m(self, position: Array) -> Array:
        """How far (N,) [m] lenses (N, 3) are from the nearest wall, floor or ceiling known.

        Side walls of which only the distance from one another is known count where they are at the
        farthest.
        """
        room = self.rig.room
        above = position[:, 1] + self.rig.surfaces[0].height_above_floor.value
        gaps = [position[:, 2], above]
        if room is not None and room.depth is not None:
            gaps.append(room.depth.value - position[:, 2])
        if room is not None and room.height is not None:
            gaps.append(room.height.value - above)
        if room is not None:
            low, high = side_walls_m(room, self.rig.surfaces[0])
            gaps += [position[:, 0] - low, high - position[:, 0]]
        return np.asarray(np.min(gaps, axis=0))

    def in_beam(self, position: Array) -> Array:
        """Whether (N,) cameras (N, 3) [m] shade the picture, or have the projector before it."""
        if self.lens_m is None:
            return np.zeros(len(position), bool)
        surface = self.rig.surfaces[0]
        size = [surface.width.value, surface.height.value]
        behind = hidden_behind(self.lens_m, position, self.places_m) > 0.0
        return np.asarray(in_beam(self.lens_m, position, size) | behind)

    def windows_in_view(self, resolved: ResolvedRig, poses: Array) -> Array:
        """Which windows (N, W) are in the pictures of one row's camera at poses (N, 4, 4)."""
        c = resolved.cameras
        px, _ = project(self.windows, c.K[0, 0], c.distortion[0, 0], poses[:, None, None])
        inside = np.all((px >= -0.5) & (px <= c.size_px[0, 0] - 0.5), axis=-1)
        return np.asarray(inside.any(axis=-1))


def windows_per_s(rig: Rig, shelf: Shelf, resolved: ResolvedRig) -> Array:
    """How much (W,) of full scale each bright window takes in a second, by the rig's parts."""
    camera = rig.cameras[0]
    wavelength = first_wavelength_m(rig, shelf)
    band = shelf.filter(camera.filter) if camera.filter else None
    response = response_of(shelf.camera(camera.part), band, wavelength)
    return np.array(
        [window_per_s(each, resolved, 0, wavelength, response) for each in _bright(rig)]
    )


def _bright(rig: Rig) -> list[Window]:
    return [each for each in rig.room.windows if each.light != "dark"] if rig.room else []
