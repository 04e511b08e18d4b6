"""Where a plan looks: places on the surface, and how people stand before them."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.people import blocked_by_body, reach_mask
from rushlight.physics.stylus import mean_direction, turned_onto
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.shelf.people import standing_outline_m
from rushlight.shelf.resolve import holder, lit_emitters

Array = NDArray[Any]

HAND_ASIDE_M = 0.35
"""How far beside the hand a person stands (an assumption of ours, no source)."""
INSET_SHARE = 0.08
"""How far from the edges beacons stay, as a share of each side (common practice, no source)."""


@dataclass(frozen=True)
class Standing:
    """Who holds what, and where they may stand.

    Attributes
    ----------
    low_m, high_m
        (P,) from and to where along the surface each person's body may stand [m].
    side
        (P,) +1 where the hand is to the right of the body, −1 to the left.
    holder
        (E,) index of the person who holds each emitter, −1 for nobody.
    """

    low_m: Array
    high_m: Array
    side: Array
    holder: Array

    @classmethod
    def of_rig(cls, rig: Rig) -> Standing:
        """As the rig says."""
        floor = [standing_outline_m(person)[:, 0] for person in rig.people]
        held_by = [rig.people.index(holder(rig, thing)) for thing, _ in lit_emitters(rig)]
        return cls(
            np.array([min(xs) for xs in floor]),
            np.array([max(xs) for xs in floor]),
            np.array([1.0 if person.hand == "right" else -1.0 for person in rig.people]),
            np.array(held_by, dtype=int),
        )

    @classmethod
    def unknown(cls, resolved: ResolvedRig) -> Standing:
        """Each at the middle of their place, holding the emitter of their own number."""
        people = resolved.people.standing_m.shape[1]
        emitters = resolved.emitters.duty.shape[1]
        middle = resolved.people.standing_m[..., 0].mean(axis=0) if people else np.zeros(0)
        held_by = np.minimum(np.arange(emitters), people - 1)
        return cls(middle, middle, np.ones(people), held_by)

    def walking(self, width_m: float) -> Standing:
        """The same people free to walk along the whole surface, as they do to register it."""
        return Standing(
            np.minimum(self.low_m, -HAND_ASIDE_M),
            np.maximum(self.high_m, width_m + HAND_ASIDE_M),
            self.side,
            self.holder,
        )


def cell_middles(length_m: Array, count: int) -> Array:
    """Middles (..., count) of equal parts of a side (...) [m], so that means are by area."""
    return np.asarray(length_m)[..., None] * (np.arange(count) + 0.5) / count


def places_of_grid(size_m: Array, columns: int, rows: int) -> Array:
    """Middles (R, rows × columns, 2) of a surface's cells [m], row by row from below."""
    x = cell_middles(size_m[:, 0], columns)
    y = cell_middles(size_m[:, 1], rows)
    grid = np.empty((len(size_m), rows, columns, 2))
    grid[..., 0] = x[:, None, :]
    grid[..., 1] = y[:, :, None]
    return grid.reshape(len(size_m), rows * columns, 2)


def inset_ring(size_m: Array) -> Array:
    """Nine places (R, 9, 2) [m], three by three, set in from the edges by `INSET_SHARE`."""
    share = np.array([INSET_SHARE, 0.5, 1.0 - INSET_SHARE])
    across, up = np.meshgrid(share, share)
    return np.stack([across.ravel(), up.ravel()], axis=-1) * np.asarray(size_m)[:, None, :]


def bodies(resolved: ResolvedRig, standing: Standing, places_m: Array) -> Array:
    """Column (R, E, G, 4) that stands for the holder's body at each touch (`blocked_by_body`)."""
    person = np.maximum(standing.holder, 0)
    people = resolved.people
    aside = places_m[:, None, :, 0] - HAND_ASIDE_M * standing.side[person][None, :, None]
    x = np.clip(aside, standing.low_m[person][:, None], standing.high_m[person][:, None])
    rest = (
        people.standing_m[:, person, 1],
        people.breadth_m[:, person] / 2.0,
        people.stature_m[:, person],
    )
    return np.stack([x, *(np.broadcast_to(one[..., None], x.shape) for one in rest)], axis=-1)


def hidden_by_holder(
    resolved: ResolvedRig, standing: Standing, places_m: Array, camera: int
) -> Array:
    """Whether (R, E, G) the holder's own body hides the light from a camera at each touch.

    Places (R, G, 2) [m]; the light stands where it stands on average.
    """
    e = resolved.emitters
    arm = turned_onto(mean_direction(e.tilt_rad, e.lean_rad, e.lean_std_rad), e.position_m)
    shape = (*e.duty.shape, places_m.shape[1])
    if not len(standing.side):
        return np.zeros(shape, bool)
    light = np.broadcast_to(arm[:, :, None, :], (*shape, 3)).copy()
    light[..., :2] += places_m[:, None]
    body = bodies(resolved, standing, places_m)
    lens = resolved.cameras.rig_from_camera[:, camera, :3, 3][:, None, None, :]
    hidden = blocked_by_body(lens, light, body, -resolved.surface.floor_m[:, None, None])
    return np.asarray(hidden & (standing.holder >= 0)[None, :, None])


def within_reach(resolved: ResolvedRig, standing: Standing, places_m: Array) -> Array:
    """Whether (R, E, G) the holder of each emitter reaches each place (R, G, 2)."""
    shape = (len(resolved), len(standing.holder), places_m.shape[1])
    if not len(standing.side):
        return np.ones(shape, bool)
    person = np.maximum(standing.holder, 0)
    people = resolved.people
    reached = reach_mask(
        places_m[:, None],
        -resolved.surface.floor_m[:, None, None],
        people.shoulder_m[:, person][..., None],
        people.reach_m[:, person][..., None],
        standing.low_m[person][:, None],
        standing.high_m[person][:, None],
        people.standing_m[:, person, 1][..., None],
    )
    return np.asarray(reached | (standing.holder < 0)[None, :, None])


def with_fields(rig: ResolvedRig, **parts: dict[str, Array]) -> ResolvedRig:
    """The rig with some fields of some parts changed: ``with_fields(rig, cameras={...})``."""
    changed = {name: getattr(rig, name).replace(**fields) for name, fields in parts.items()}
    return dataclasses.replace(rig, **changed)
