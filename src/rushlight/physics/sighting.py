"""How exactly people hold a thing for a registration in space: looks past marks, placings.

The plan predicts by these numbers, the simulator draws by them, the registration weighs by them.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from rushlight.physics.geometry.rotation import rotation_of_facing
from rushlight.physics.geometry.shapes import FloatArray, trailing

INTERPUPILLARY_M = 0.063
"""Between the pupils of an adult, on average [m]; most adults 50 to 75 mm, children from 40 mm.
SOURCE: Dodgson, "Variation and extrema of human interpupillary distance", Proceedings of SPIE
5291, 2004."""

HELD_STD_M = 2e-3
"""How far a point held at a mark strays from it, and an eye from the line past two marks, marks'
own places included: one standard deviation along each axis [m] (assumption, no source)."""

FACED_STD_RAD = math.radians(5.0)
"""How far a head is turned off the line it looks along, when asked to point the nose at the
marks: one standard deviation about each axis [rad] (assumption, no source)."""


DOT_FLOOR_PX = 0.01
"""What averaging does not take away of a held dot's error, along each axis: how its light falls on
the pixels, and its own shape [px] (our own choice; about what simulated pictures leave over)."""


class LookLine(NamedTuple):
    """The line past two marks, on which the eye lies.

    Fields
    ------
    direction : (..., 3) unit vector from the far mark through the near one to the eye
    across : (..., 2, 3) two unit vectors at right angles to it
    facing : (..., 3, 3) ``rig_from_thing`` rotation of a head that faces the marks, not leaned
    """

    direction: FloatArray
    across: FloatArray
    facing: FloatArray


def look_line(near_m: ArrayLike, far_m: ArrayLike) -> LookLine:
    """Along which line does an eye see two marks as one, and how does the head stand there?

    Parameters
    ----------
    near_m, far_m : array_like, shape (..., 3)
        The marks, the one nearer to the eye first [m].

    Returns
    -------
    LookLine

    Raises
    ------
    ValueError
        If both marks are at one place, or a last axis is not 3 long.

    Examples
    --------
    >>> line = look_line([0.0, 0.0, 0.1], [0.0, 0.0, 0.0])
    >>> line.direction.tolist(), (line.across @ line.direction).tolist()
    ([0.0, 0.0, 1.0], [0.0, 0.0])
    """
    near, far = np.broadcast_arrays(trailing(near_m, (3,), "near_m"), trailing(far_m, (3,), "far"))
    apart = near - far
    length = np.linalg.norm(apart, axis=-1, keepdims=True)
    if np.any(length == 0.0):
        raise ValueError("both marks of a look are at one place, which gives no line")
    direction = apart / length
    # The head's front is its −z; a head that looks straight at the display is not turned.
    facing = rotation_of_facing(
        np.arctan2(direction[..., 0], direction[..., 2]), -np.arcsin(direction[..., 1])
    )
    return LookLine(direction, np.swapaxes(facing[..., :2], -1, -2), facing)
