"""Many candidate rigs at once: few rows of parts, and for each candidate a row and a camera pose.

A search tries thousands of places and aims for each combination of parts. Resolving every one of
them anew would cost more than judging it, so the parts are resolved once, row by row, and a
candidate is an index of a row with its own pose, exposure and drive.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rushlight.records.resolved import ResolvedRig, stack_rigs

Array = NDArray[Any]


@dataclass(frozen=True, eq=False)
class Candidates:
    """R candidate rigs of M rows of parts.

    Attributes
    ----------
    rows
        The parts (M): everything but where the cameras stand.
    row
        (R,) which row each candidate is made of.
    rig_from_camera
        (R, C, 4, 4) where its cameras stand and look.
    exposure_s
        (R, C) [s]; NaN where it is to be chosen.
    drive
        (R, E) its emitters' intensity and current over those of the row, above 0.
    """

    rows: ResolvedRig
    row: Array
    rig_from_camera: Array
    exposure_s: Array
    drive: Array

    def __len__(self) -> int:
        return len(self.row)

    @classmethod
    def of(cls, rigs: ResolvedRig | Sequence[ResolvedRig]) -> Candidates:
        """Rigs as they are, each a row of its own.

        Raises
        ------
        ValueError
            When the rigs differ in the numbers of cameras, emitters or people.
        """
        rows = rigs if isinstance(rigs, ResolvedRig) else stack_rigs(rigs)
        return cls.placed(rows, np.arange(len(rows)), rows.cameras.rig_from_camera)

    @classmethod
    def placed(
        cls,
        rows: ResolvedRig,
        row: ArrayLike,
        rig_from_camera: ArrayLike,
        exposure_s: ArrayLike | None = None,
        drive: ArrayLike = 1.0,
    ) -> Candidates:
        """Candidates of given rows with cameras put elsewhere, without resolving anything anew.

        Parameters
        ----------
        rows
            The parts (M).
        row
            (R,) from 0 to M − 1.
        rig_from_camera
            (R, C, 4, 4), or (R, 4, 4) for a single camera; finite.
        exposure_s
            (R, C) or broadcast [s]; by default as in the rows.
        drive
            (R, E) or broadcast, above 0.

        Raises
        ------
        ValueError
            When a row does not exist, or an array does not fit.
        """
        index = np.asarray(row, np.intp).reshape(-1)
        if index.size and not (index.min() >= 0 and index.max() < len(rows)):
            raise ValueError(f"row must lie between 0 and {len(rows) - 1}")
        cameras, emitters = rows.cameras.size_px.shape[1], rows.emitters.duty.shape[1]
        pose = np.asarray(rig_from_camera, float)
        if pose.ndim == 3:
            pose = pose[:, None]
        if pose.shape != (len(index), cameras, 4, 4):
            raise ValueError(
                f"rig_from_camera must have shape ({len(index)}, {cameras}, 4, 4), "
                f"got {np.shape(rig_from_camera)}"
            )
        given = rows.cameras.exposure_s[index] if exposure_s is None else exposure_s
        return cls(
            rows,
            index,
            pose,
            np.broadcast_to(np.asarray(given, float), (len(index), cameras)),
            np.broadcast_to(np.asarray(drive, float), (len(index), emitters)),
        )

    def take(self, which: slice | Array) -> Candidates:
        """Some of the candidates, of the same rows."""
        return dataclasses.replace(
            self,
            row=self.row[which],
            rig_from_camera=self.rig_from_camera[which],
            exposure_s=self.exposure_s[which],
            drive=self.drive[which],
        )

    def resolved(self) -> ResolvedRig:
        """Every candidate as a rig of its own, for `evaluate` and all else that takes rigs."""
        rigs = self.rows.take(self.row)
        emitters = rigs.emitters
        return dataclasses.replace(
            rigs,
            cameras=rigs.cameras.replace(
                rig_from_camera=self.rig_from_camera, exposure_s=self.exposure_s
            ),
            emitters=emitters.replace(
                intensity_w_sr=emitters.intensity_w_sr * self.drive,
                current_a=emitters.current_a * self.drive,
            ),
        )
