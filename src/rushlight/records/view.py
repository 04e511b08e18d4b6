"""How a scene is drawn for one eye: the matrices of every screen, with moment and doubt."""

from __future__ import annotations

from dataclasses import dataclass

from rushlight.records.arrays import Array, ArrayRecord, shaped


@dataclass(frozen=True, eq=False)
class ViewMatrices(ArrayRecord):
    """Matrices of S screens for one fix of an eye.

    Attributes
    ----------
    carried, point, frame, capture_ns, valid_ns, predicted
        Of the fix: what is worn, its point that stands for the eye, the frame, the middle of its
        exposure and the moment that it speaks of [ns], and whether it was foretold.
    screens
        Ids, in the order of the leading axes.
    near_m, far_m
        Distances from the eye between which things are drawn [m].
    eye_m, eye_cov
        (3,) the eye in the rig [m]; (3, 3) its covariance [m²], NaN where unknown.
    frustum
        (S, 4) left, right, bottom, top on the plane at `near_m` [m]; NaN for a screen that the
        eye stands beside or behind.
    projection, view
        (S, 4, 4) ``clip_from_eye`` and ``eye_from_rig``, for column vectors; NaN likewise.
    doubt_m
        (S, 2) standard deviation of the place on the screen, along one axis, of the scene's
        nearest and farthest content before and behind the screen's middle [m]; NaN where the
        eye's covariance or the scene is not known.
    """

    carried: str
    point: str
    frame: int
    capture_ns: int
    valid_ns: int
    predicted: bool
    screens: tuple[str, ...]
    near_m: float
    far_m: float
    eye_m: Array = shaped(3)
    eye_cov: Array = shaped(3, 3)
    frustum: Array = shaped("S", 4)
    projection: Array = shaped("S", 4, 4)
    view: Array = shaped("S", 4, 4)
    doubt_m: Array = shaped("S", 2)
