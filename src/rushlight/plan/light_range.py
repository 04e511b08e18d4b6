"""Which exposures serve every light of a rig, over the whole surface and all ways of holding.

Solved in closed form from the light that each camera sees; unlike the budgets, which weigh the
ways of holding as likely as they are, this looks at the outermost ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.physics.exposure import (
    background_that_closes,
    background_that_hides,
    greatest_exposure,
    least_exposure,
)
from rushlight.physics.sensing import noise_floor_variance
from rushlight.physics.stylus import held_direction, outermost_ways
from rushlight.plan.grid import places_of_grid
from rushlight.plan.light import (
    FAINTEST_PEAK,
    FULLEST_PEAK,
    GREATEST_STREAM_PX,
    LightField,
    ambient_rate,
    dots,
    field_of_ways,
    full_scale_e,
)
from rushlight.records.resolved import ResolvedRig

Array = NDArray[Any]


@dataclass(frozen=True)
class Windows:
    """One camera's exposure ranges; axes R rigs, E emitters.

    Attributes
    ----------
    least_s, fullest_s, greatest_s
        (R, E) [s]; least is infinite, and the others are NaN, where nothing is seen.
    weakest, strongest
        (R, E, 2) index of the place and of the way of holding where the extremes come about.
    weakest_e_s, strongest_e_s, background_e_s
        (R, E) peaks there, and the background beside the weakest [e⁻/s].
    stream_least_s
        (R, E) [s] from which on the stream's coding moves no dot too far; in `least_s` too.
    noise_floor_e2, full_scale_e, unit_rate_e_s
        (R,) of the camera; electrons a second and pixel for 1 W/m² of the room's light, on
        average over the picture.
    field
        What the camera sees.
    places_m
        (R, G, 2) [m].
    tilt_rad, lean_rad
        (R, E, N).
    """

    least_s: Array
    fullest_s: Array
    greatest_s: Array
    weakest: Array
    strongest: Array
    weakest_e_s: Array
    strongest_e_s: Array
    background_e_s: Array
    stream_least_s: Array
    noise_floor_e2: Array
    full_scale_e: Array
    unit_rate_e_s: Array
    field: LightField
    places_m: Array
    tilt_rad: Array
    lean_rad: Array

    def ambient_too_weak(self, exposure_s: Array) -> Array:
        """Light of the room (R, E) [W/m²] from which on the weakest dot is too weak."""
        rate = background_that_hides(
            self.weakest_e_s,
            np.asarray(exposure_s, float)[:, None],
            self.noise_floor_e2[:, None],
            FAINTEST_PEAK,
        )
        return np.asarray(rate / self.unit_rate_e_s[:, None])

    def ambient_clips(self, exposure_s: Array) -> Array:
        """Light of the room (R, E) [W/m²] from which on the strongest dot reaches full scale."""
        level = self.full_scale_e / np.asarray(exposure_s, float)
        rate = np.maximum(level[:, None] - self.strongest_e_s, 0.0)
        return np.asarray(rate / self.unit_rate_e_s[:, None])

    def ambient_none_serves(self) -> Array:
        """Light of the room (R, E) [W/m²] from which on no exposure serves all."""
        with np.errstate(divide="ignore", invalid="ignore"):
            rate = background_that_closes(
                self.weakest_e_s,
                self.strongest_e_s,
                self.noise_floor_e2[:, None],
                self.full_scale_e[:, None],
                FAINTEST_PEAK,
            )
            return np.asarray(rate / self.unit_rate_e_s[:, None])


def windows_of(
    resolved: ResolvedRig,
    camera: int,
    columns: int = 9,
    rows: int = 6,
    tilts: int = 3,
    leans: int = 5,
) -> Windows:
    """The exposures that serve one camera of a batch of rigs, for each light.

    Parameters
    ----------
    resolved
        The rigs (R).
    camera
        Its index.
    columns, rows
        Grid of places; those out of the camera's view are left out.
    tilts, leans
        Numbers of tilts, ends included, and of leans within two standard deviations.
    """
    e = resolved.emitters
    places = places_of_grid(resolved.surface.size_m, columns, rows)
    tilt, lean = outermost_ways(e.tilt_rad, e.lean_rad, e.lean_std_rad, tilts, leans)
    count = tilt.shape[-1]
    field = field_of_ways(
        resolved,
        camera,
        places,
        held_direction(tilt, lean)[:, :, None],
        np.full(count, 1.0 / count),
    )
    c = resolved.cameras
    floor = noise_floor_variance(c.read_noise_e[:, camera], c.gain_e_per_dn[:, camera])
    full = full_scale_e(resolved, camera)
    background = np.maximum(field.background_rate_e_s, 0.0)[..., None]
    peak = np.nan_to_num(field.peak_rate_e_s)
    seen = field.in_view[..., None] & np.isfinite(field.peak_rate_e_s)
    least = least_exposure(peak, background, floor[:, None, None, None], FAINTEST_PEAK)
    most = greatest_exposure(peak, background, full[:, None, None, None])
    weakest, least_s = _extreme(np.where(seen, least, -np.inf), np.argmax)
    strongest, greatest_s = _extreme(np.where(seen, most, np.inf), np.argmin)
    any_seen = seen.any(axis=(2, 3))
    stream = _stream_least(resolved, camera, field)
    least_s = np.where(any_seen, np.maximum(least_s, stream), np.inf)
    greatest_s = np.where(any_seen, greatest_s, np.nan)
    unit = ambient_rate(_under(resolved, 1.0), camera)
    return Windows(
        least_s=least_s,
        fullest_s=FULLEST_PEAK * greatest_s,
        greatest_s=greatest_s,
        weakest=weakest,
        strongest=strongest,
        weakest_e_s=_at(peak, weakest),
        strongest_e_s=_at(peak, strongest),
        background_e_s=_at(np.broadcast_to(background, peak.shape), weakest),
        stream_least_s=stream,
        noise_floor_e2=floor,
        full_scale_e=full,
        unit_rate_e_s=unit,
        field=field,
        places_m=places,
        tilt_rad=tilt,
        lean_rad=lean,
    )


def usable_stops(least_s: Array, greatest_s: Array, shortest_s: Array, period_s: Array) -> Array:
    """Width of the exposures that lights and camera both allow, in factors of two.

    Below 0 no exposure serves; NaN where nothing is seen, minus infinity where a dot has no
    light.
    """
    low, high = np.maximum(least_s, shortest_s), np.minimum(greatest_s, period_s)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.log2(high / low))


def _under(resolved: ResolvedRig, ambient_w_m2: float) -> ResolvedRig:
    """The same rigs in a room of this light [W/m²]."""
    from rushlight.plan.grid import with_fields

    level = np.full(len(resolved), ambient_w_m2)
    return with_fields(resolved, surface={"ambient_w_m2": level})


def _stream_least(resolved: ResolvedRig, camera: int, field: LightField) -> Array:
    """Exposure (R, E) [s] from which on the stream's coding moves no dot in view too far.

    The shift falls in proportion to the dot's peak, so one exposure tells of all.
    """
    shift = resolved.cameras.stream_shift_dn_px[:, camera]
    if not np.any(shift):
        return np.zeros(resolved.emitters.duty.shape)
    trial = 1.0 / resolved.cameras.frame_rate_hz[:, camera]
    moved = dots(resolved, camera, field, trial).stream_px
    worst = np.where(field.in_view, np.nan_to_num(moved), 0.0).max(axis=-1)
    return np.asarray(trial[:, None] * worst / GREATEST_STREAM_PX)


def _extreme(values: Array, pick: Any) -> tuple[Array, Array]:
    """Index (R, E, 2) of place and way, and value (R, E), that `pick` picks of (R, E, G, N)."""
    flat = values.reshape(*values.shape[:2], -1)
    index = pick(flat, axis=-1)
    value = np.take_along_axis(flat, index[..., None], axis=-1)[..., 0]
    return np.stack(np.divmod(index, values.shape[3]), axis=-1), value


def _at(values: Array, index: Array) -> Array:
    """Values (R, E) of (R, E, G, N) at indices (R, E, 2) of place and way."""
    r, e = np.ogrid[: values.shape[0], : values.shape[1]]
    return np.asarray(values[r, e, index[..., 0], index[..., 1]])
