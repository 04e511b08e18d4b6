"""The cameras of a rig of space as they are registered, for following things before them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Self

import numpy as np

from rushlight.physics.geometry.sight import Sight, sight_of
from rushlight.records.arrays import Array
from rushlight.records.space import ResolvedSpace
from rushlight.records.space_registration import CAMERA_NUMBERS, SpaceRegistration
from rushlight.track.space_kernel import fold_limits


@dataclass(frozen=True, eq=False)
class SpaceCameras:
    """C cameras that see one space.

    Attributes
    ----------
    ids
        In the rig's order.
    K, k, rig_from_camera
        (C, 3, 3) [px], (C, 5), (C, 4, 4).
    cov
        (15 C, 15 C) of the cameras' places, angles and lenses, as a registration has them.
    size_px
        (C, 2) columns and rows.
    row_time_s
        (C,) from row to row [s], 0 for a global shutter.
    clock_offset_ns
        (C,) how far each clock runs ahead of the first one's [ns].
    """

    ids: tuple[str, ...]
    K: Array
    k: Array
    rig_from_camera: Array
    cov: Array
    size_px: Array
    row_time_s: Array
    clock_offset_ns: Array

    def __len__(self) -> int:
        return len(self.ids)

    @cached_property
    def limits(self) -> Array:
        """(C,) normalised radius at which each lens model folds back."""
        return fold_limits(self.k)

    @classmethod
    def registered(cls, space: ResolvedSpace, registration: SpaceRegistration) -> Self:
        """The rig's cameras as a registration of it has them.

        Raises
        ------
        KeyError
            When the registration has not all of the rig's cameras.
        """
        order = [registration.index(name) for name in space.camera_ids]
        rows = np.concatenate(
            [CAMERA_NUMBERS * index + np.arange(CAMERA_NUMBERS) for index in order]
        )
        return cls(
            ids=space.camera_ids,
            K=registration.K[order],
            k=registration.k[order],
            rig_from_camera=registration.rig_from_camera[order],
            cov=registration.cov_array[np.ix_(rows, rows)],
            size_px=np.array([registration.cameras[index].size_px for index in order], float),
            row_time_s=space.cameras.row_time_s[0],
            clock_offset_ns=registration.clock_offset_ns[order],
        )

    def sight(self, points_m: Array, camera: int | Array) -> Sight:
        """How a camera, or one camera for each of the points (..., 3), sees them."""
        own = self.K[camera], self.k[camera], self.rig_from_camera[camera]
        return sight_of(points_m, *own, self.limits[camera])

    def doubt_px2(self, sight: Sight, camera: Array) -> Array:
        """Covariance (O, 2, 2) of dots (O,) from what the registration leaves open [px²]."""
        by = np.concatenate([sight.by_camera, sight.by_lens], axis=-1)
        blocks = self.cov.reshape(len(self), CAMERA_NUMBERS, len(self), CAMERA_NUMBERS)
        own = blocks[camera, :, camera, :]
        return np.asarray(by @ own @ np.swapaxes(by, -1, -2))

    def by_numbers(self, sight: Sight, camera: Array) -> Array:
        """How dots (O,) move with all the cameras' numbers: (O, 2, 15 C)."""
        by = np.concatenate([sight.by_camera, sight.by_lens], axis=-1)
        whole = np.zeros((len(camera), 2, len(self), CAMERA_NUMBERS))
        whole[np.arange(len(camera)), :, camera] = by
        return whole.reshape(len(camera), 2, -1)
