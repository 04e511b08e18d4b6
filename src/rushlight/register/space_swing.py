"""A scale bar swung before several cameras, as rows of the solver: each row is one moment.

A row's own numbers are the places of the bar's two ends. Their distance is the bar's length, one
doubt that all rows share; so is how far each camera's clock runs ahead of the first's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.physics.geometry.sight import sight_of
from rushlight.records.arrays import Array
from rushlight.register.space_solve import Known, Linear, Model, Shared

RIGID_STD_M = 2e-5
"""How far a bar's length strays within one swing (assumption, no source) [m]."""

CLOCK_STD_S = 0.02
"""Unit in which clocks are doubted after their offsets were sought in the data [s]; what the
swing itself tells is far sharper."""


@dataclass(frozen=True, eq=False)
class Swing:
    """I moments of a bar seen by C cameras.

    Attributes
    ----------
    px, px_cov
        (I, C, 2, 2) dots of its two ends, the ends on the axis before the last [px], NaN where
        one is not seen; (I, C, 2, 2, 2) covariance of each [px²].
    px_s
        (I, C, 2, 2) how fast each dot moves [px/s]; by it a clock's offset shows.
    length_m, length_std_m
        Of the bar, and its deviation [m].
    """

    px: Array
    px_cov: Array
    px_s: Array
    length_m: float
    length_std_m: float

    def __len__(self) -> int:
        return len(self.px)

    @property
    def seen(self) -> Array:
        """(I, C, 2) where there is a dot."""
        return np.asarray(np.isfinite(self.px).all(axis=-1))

    @property
    def extra(self) -> int:
        """Shared numbers beside the cameras': the length, and the clocks of all but the first."""
        return self.px.shape[1]

    def take(self, which: Array) -> Swing:
        """Some moments, by a mask."""
        return Swing(
            self.px[which], self.px_cov[which], self.px_s[which], self.length_m, self.length_std_m
        )


def swing_model(known: Known, swing: Swing) -> Model[Array]:
    """A swing for the solver; a row's own numbers are the places of both ends (I, 2, 3) [m]."""
    count = known.spread.shape[1]
    total = count + swing.extra
    rows, cameras_number = len(swing), swing.px.shape[1]
    spread = known.spread.reshape(cameras_number, -1, count)
    seen = swing.seen
    weights = np.zeros((*seen.shape, 2, 2))
    weights[seen] = np.linalg.inv(np.linalg.cholesky(swing.px_cov[seen]))
    dots = 4 * cameras_number
    lines = np.concatenate([np.repeat(seen.reshape(rows, -1), 2, axis=1), np.ones((rows, 1), bool)],
                           axis=1)  # fmt: skip
    marks = np.zeros(lines.shape, bool)
    marks[:, -1] = True
    # The dot as it would have been seen by a clock that runs as the first camera's.
    clocks = np.zeros((cameras_number, total))
    for camera in range(1, cameras_number):
        clocks[camera, count + camera] = CLOCK_STD_S

    def linearise(shared: Shared, ends: Array) -> Linear:
        cameras = shared.cameras
        sight = sight_of(
            ends[:, None],
            cameras.K[:, None],
            cameras.k[:, None],
            cameras.pose[:, None],
        )
        late = clocks @ shared.units
        missed = swing.px + swing.px_s * late[:, None, None] - sight.px
        by_shared = np.zeros((*seen.shape, 2, total))
        by_cameras = np.concatenate([sight.by_camera, sight.by_lens], axis=-1)
        by_shared[..., :count] = by_cameras @ spread[:, None]
        by_shared -= swing.px_s[..., None] * clocks[:, None, None]
        by_own = np.zeros((*seen.shape, 2, 6))
        for end in range(2):
            by_own[:, :, end, :, 3 * end : 3 * end + 3] = sight.by_point[:, :, end]

        apart = ends[:, 1] - ends[:, 0]
        length = np.linalg.norm(apart, axis=-1)
        along = apart / length[:, None]
        told = swing.length_m + shared.units[count] * swing.length_std_m
        by_length = np.zeros((rows, 1, total))
        by_length[:, 0, count] = -swing.length_std_m / RIGID_STD_M
        by_ends = np.concatenate([-along, along], axis=-1)[:, None] / RIGID_STD_M

        def flat(of: Array) -> Array:
            clean = np.where(seen[..., None, None], of, 0.0)
            return np.asarray((weights @ clean).reshape(rows, dots, *of.shape[4:]))

        return Linear(
            np.concatenate(
                [flat(missed[..., None])[..., 0], (told - length)[:, None] / RIGID_STD_M], axis=1
            ),
            np.concatenate([flat(by_shared), by_length], axis=1),
            np.concatenate([flat(by_own), by_ends], axis=1),
            lines,
        )

    def step(ends: Array, moved: Array) -> Array:
        return np.asarray(ends + moved.reshape(ends.shape))

    def take(ends: Array, which: Array) -> tuple[Array, Model[Array]]:
        return ends[which], swing_model(known, swing.take(which))

    return Model(linearise, step, take, swing.extra, marks)


def length_direction(known: Known, swing: Swing) -> Array:
    """How the bar's length moves with the shared numbers' units (S,) [m]."""
    told = np.zeros(known.spread.shape[1] + swing.extra)
    told[known.spread.shape[1]] = swing.length_std_m
    return told
