"""Orientation and angular velocity, learnt from how a thing was seen, and carried on."""

from __future__ import annotations

import numpy as np

from rushlight.physics.geometry import matrix_from_quaternion, quaternion_from_matrix
from rushlight.physics.geometry.rotation import (
    matrix_from_rotation_vector,
    rotation_vector_from_matrix,
)
from rushlight.records.arrays import Array
from rushlight.track.motion import Motion

TURN_AGILITY_RAD2_S3 = 100.0
"""Spectral density of a hand's or a head's angular acceleration [rad²/s³]: 30 rad/s² that lasts a
tenth of a second. Our choice, no source."""

TURN_SPEED_STD_RAD_S = 3.0
"""Deviation of the angular velocity of a thing that was just found [rad/s]; our choice."""


class Turning:
    """Orientation and angular velocity of one thing, in the axes of the rig.

    The state is the rotation vector from the orientation that is held to be the last one, which is
    moved after every sighting, so that the vector stays small; and the angular velocity.
    """

    def __init__(self) -> None:
        self._motion = Motion(TURN_AGILITY_RAD2_S3, TURN_SPEED_STD_RAD_S)
        self._rotation = np.eye(3)

    @property
    def is_known(self) -> bool:
        """Whether it was seen."""
        return self._motion.is_known

    def seen(self, time_s: float, quaternion: Array, cov: Array) -> None:
        """Take in a sighting.

        Parameters
        ----------
        time_s
            Not before the sighting before it [s].
        quaternion, cov
            (4,) w, x, y, z; (3, 3) of the rotation in the rig's axes [rad²].
        """
        rotation = np.asarray(matrix_from_quaternion(quaternion))
        if not self.is_known:
            self._rotation = rotation
            self._motion.seen(time_s, np.zeros(3), cov)
            return
        foretold = self._motion.at(time_s)[0][:3]
        expected = matrix_from_rotation_vector(foretold) @ self._rotation
        missed = rotation_vector_from_matrix(rotation @ expected.T)
        self._motion.seen(time_s, foretold + missed, cov)
        step = self._motion.mean[:3] - foretold
        self._rotation = matrix_from_rotation_vector(step) @ expected
        self._motion.mean[:3] = 0.0

    def at(self, time_s: float) -> tuple[Array, Array]:
        """Quaternion (4,) and covariance (3, 3) [rad²] at a time [s] not before the last sighting.

        Raises
        ------
        ValueError
            When nothing was seen.
        """
        mean, cov = self._motion.at(time_s)
        turned = matrix_from_rotation_vector(mean[:3]) @ self._rotation
        return np.asarray(quaternion_from_matrix(turned)), cov[:3, :3]
