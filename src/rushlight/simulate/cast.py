"""Who and what appears in simulated footage: names, and where the people stand.

A resolved rig has numbers only; the names that footage and truth bear are given beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.person import Person
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import CarriedEmitter, Rig
from rushlight.shelf.people import standing_outline_m
from rushlight.shelf.resolve import holder, lit_emitters

BODY_BESIDE_M = 0.35
"""How far the body's axis stands beside the touched place, away from the hand in use [m].

An assumption of ours, no source: arm bent, shoulder next to the work.
"""


@dataclass(frozen=True, slots=True)
class Standing:
    """Where someone stands at work, and how much they hide.

    Attributes
    ----------
    x_low_m, x_high_m, z_m
        Between which places along the wall, and how far from it, the body's axis stands [m].
    hand_sign
        1 for someone who works with the right hand, −1 for the left.
    radius_m, height_m
        Of the upright column that stands for the body [m].
    """

    x_low_m: float
    x_high_m: float
    z_m: float
    hand_sign: int
    radius_m: float
    height_m: float

    def body_at(self, touch_x_m: Array) -> Array:
        """The body while a place is touched: (...) [m] -> (..., 4) [m], as `blocked_by_body`.

        The person steps sideways with the hand as far as the standing place reaches.
        """
        aside = np.asarray(touch_x_m, float) - self.hand_sign * BODY_BESIDE_M
        x_m = np.minimum(np.maximum(aside, self.x_low_m), self.x_high_m)
        rest = np.broadcast_to([self.z_m, self.radius_m, self.height_m], (*x_m.shape, 3))
        return np.concatenate([x_m[..., None], rest], axis=-1)


@dataclass(frozen=True, slots=True)
class Cast:
    """The names of a footage, in the order of the resolved rig's emitters.

    Attributes
    ----------
    camera, surface
        Ids.
    carried, emitters
        (E,) ids of the thing that bears each emitter, and of the emitter.
    standing
        (E,) where its holder stands, None when nobody is said to hold it (nothing is hidden).
    codes
        (E,) bits, and length of a bit [s], of each light that blinks a code, None for the
        others; empty when none does.
    """

    camera: str
    surface: str
    carried: tuple[str, ...]
    emitters: tuple[str, ...]
    standing: tuple[Standing | None, ...]
    codes: tuple[tuple[str, float] | None, ...] = ()

    @classmethod
    def unnamed(cls, emitters: int) -> Cast:
        """Plain names for a rig of numbers only, with nobody in the way."""
        return cls(
            camera="camera-1",
            surface="surface-1",
            carried=tuple(f"stylus-{index + 1}" for index in range(emitters)),
            emitters=("light",) * emitters,
            standing=(None,) * emitters,
        )


def cast_of(rig: Rig, resolved: ResolvedRig, camera: int = 0) -> Cast:
    """The names of a rig's parts as they appear before one of its cameras.

    Parameters
    ----------
    rig
        The document.
    resolved
        The same rig as numbers, a batch of one; body sizes are taken from here.
    camera
        Index of the camera.

    Returns
    -------
    Cast
    """
    lights = lit_emitters(rig)
    holders = [holder(rig, carried) for carried, _ in lights]
    return Cast(
        camera=rig.cameras[camera].id,
        surface=rig.surfaces[0].id,
        carried=tuple(carried.id for carried, _ in lights),
        emitters=tuple(emitter.id for _, emitter in lights),
        standing=tuple(_standing(person, resolved, rig.people.index(person)) for person in holders),
        codes=tuple(_code(emitter) for _, emitter in lights),
    )


def _code(emitter: CarriedEmitter) -> tuple[str, float] | None:
    if emitter.drive != "coded" or emitter.code is None or emitter.code_bit is None:
        return None
    return emitter.code, emitter.code_bit.value


def _standing(person: Person, resolved: ResolvedRig, index: int) -> Standing:
    x_m = standing_outline_m(person)[:, 0]
    return Standing(
        x_low_m=float(x_m.min()),
        x_high_m=float(x_m.max()),
        z_m=float(resolved.people.standing_m[0, index, 1]),
        hand_sign=1 if person.hand == "right" else -1,
        radius_m=float(resolved.people.breadth_m[0, index]) / 2.0,
        height_m=float(resolved.people.stature_m[0, index]),
    )
