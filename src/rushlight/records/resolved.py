"""The rig as numbers: SI arrays with a leading batch of rigs, no names left.

Axes: R rigs, C cameras, E emitters (one for each carried emitter), P people. Everything that
computes on rigs computes on this, so that one rig is a batch of one.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from rushlight.records.arrays import Array, ArrayRecord, shaped


@dataclass(frozen=True, eq=False)
class ResolvedSurface(ArrayRecord):
    """The first surface of each rig.

    Attributes
    ----------
    size_m
        (R, 2) width and height [m].
    display_px
        (R, 2) columns and rows [px].
    refresh_hz, delay_s, flatness_m, reflectance, floor_m
        (R,) refresh [Hz]; display delay [s]; root-mean-square departure from a plane [m];
        infrared reflectance; height of the lower edge above the floor [m].
    ambient_w_m2, ambient_gradient
        (R,) in-band irradiance on the surface [W/m²]; its relative change across the picture.
    """

    size_m: Array = shaped("R", 2)
    display_px: Array = shaped("R", 2)
    refresh_hz: Array = shaped("R")
    delay_s: Array = shaped("R")
    flatness_m: Array = shaped("R")
    reflectance: Array = shaped("R")
    floor_m: Array = shaped("R")
    ambient_w_m2: Array = shaped("R")
    ambient_gradient: Array = shaped("R")


@dataclass(frozen=True, eq=False)
class ResolvedCameras(ArrayRecord):
    """The cameras.

    Attributes
    ----------
    K
        (R, C, 3, 3) camera matrix [px].
    distortion, distortion_std
        (R, C, 5) k1 k2 p1 p2 k3, and their standard deviations.
    distortion_corr
        (R, C, 5, 5) correlations of the coefficients off the diagonal, 0 on it; 0 throughout
        where they are independent.
    rig_from_camera
        (R, C, 4, 4).
    size_px
        (R, C, 2) columns and rows.
    focal_m, f_number, pixel_m, blur_px
        (R, C) focal length [m]; f-number; pixel pitch [m]; the lens's own spot radius, one
        standard deviation [px].
    transmission, quantum_efficiency
        (R, C, E) of lens and filter straight on, and of the sensor, for each emitter's light.
    angle_share
        (R, C, E, K) of what the filter passes straight on, what it passes at each of
        `rushlight.physics.filter_band.ANGLES_RAD` from the camera's axis; 1 without a filter.
    read_noise_e, full_well_e, gain_e_per_dn, black_dn, levels
        (R, C) read noise [e-]; electrons at full scale; electrons a grey level; grey level of
        darkness; number of grey levels.
    exposure_s, shortest_exposure_s, frame_rate_hz, row_time_s, delay_s
        (R, C) exposure [s], NaN where the plan is to choose it; shortest exposure [s]; frame
        rate [Hz]; time from row to row [s], 0 for a global shutter; from the end of exposure
        to the frame in memory [s].
    lamp_w_sr, lamp_exponent, lamp_radius_m, lamp_count
        (R, C) of the ring of lights round the lens: their intensity together on the axis [W/sr],
        exponent of their beams, radius [m] and number; 0 lamps without.
    stream_shift_dn_px
        (R, C, 5) how far the stream's compression shifts a dot's centre along one axis, times
        the dot's peak, for dots of `rushlight.physics.stream.SHIFT_SIGMAS_PX` [DN px]; 0 for raw.
    stream_stays
        (R, C) share of the shift's square that is the same in every frame where a dot rests.
    """

    K: Array = shaped("R", "C", 3, 3)
    distortion: Array = shaped("R", "C", 5)
    distortion_std: Array = shaped("R", "C", 5)
    rig_from_camera: Array = shaped("R", "C", 4, 4)
    size_px: Array = shaped("R", "C", 2)
    focal_m: Array = shaped("R", "C")
    f_number: Array = shaped("R", "C")
    pixel_m: Array = shaped("R", "C")
    blur_px: Array = shaped("R", "C")
    transmission: Array = shaped("R", "C", "E")
    quantum_efficiency: Array = shaped("R", "C", "E")
    read_noise_e: Array = shaped("R", "C")
    full_well_e: Array = shaped("R", "C")
    gain_e_per_dn: Array = shaped("R", "C")
    black_dn: Array = shaped("R", "C")
    levels: Array = shaped("R", "C")
    exposure_s: Array = shaped("R", "C")
    shortest_exposure_s: Array = shaped("R", "C")
    frame_rate_hz: Array = shaped("R", "C")
    row_time_s: Array = shaped("R", "C")
    delay_s: Array = shaped("R", "C")
    distortion_corr: Array = shaped("R", "C", 5, 5, default=0.0)
    angle_share: Array = shaped("R", "C", "E", 36, default=1.0)
    lamp_w_sr: Array = shaped("R", "C", default=0.0)
    lamp_exponent: Array = shaped("R", "C", default=1.0)
    lamp_radius_m: Array = shaped("R", "C", default=0.0)
    lamp_count: Array = shaped("R", "C", default=0.0)
    stream_shift_dn_px: Array = shaped("R", "C", 5, default=0.0)
    stream_stays: Array = shaped("R", "C", default=0.0)


@dataclass(frozen=True, eq=False)
class ResolvedEmitters(ArrayRecord):
    """The carried emitters.

    Attributes
    ----------
    position_m, axis
        (R, E, 3) place and unit direction in the carried thing's frame; for a stylus the frame
        begins at the tip and z runs along its body.
    intensity_w_sr, exponent, side_share, transmission
        (R, E) on-axis intensity at the working current [W/sr]; exponent of the beam; share of
        the flux that leaves evenly in all directions; transmission of the diffuser.
    wavelength_m, size_m, current_a, duty
        (R, E) wavelength [m]; apparent diameter [m]; working current [A]; share of time lit.
    forward_v, supply_v, greatest_a
        (R, E) forward voltage at the working current [V]; supply voltage [V]; greatest
        steady current [A].
    tilt_rad
        (R, E, 2) least and greatest tilt from the surface's normal [rad].
    lean_rad, lean_std_rad
        (R, E) side toward which it leans [rad], anticlockwise from x, and its spread.
    retro_cd_lx_m2, retro_area_m2, retro_ball
        (R, E, 2, 2), (R, E), (R, E) of a reflective marker: graded values as
        `rushlight.physics.retro.coefficient_at` takes them [cd lx⁻¹ m⁻²]; area of the sheet, or of
        the ball's outline [m²], 0 for a light of its own; 1 for a ball, 0 for a disc. A marker's
        intensity is 0, and its wavelength, current and greatest current are those of the lamps.
    touch_std_m
        (R, E) how far from a mark the tip is set, each axis, standard deviation [m].
    """

    position_m: Array = shaped("R", "E", 3)
    axis: Array = shaped("R", "E", 3)
    intensity_w_sr: Array = shaped("R", "E")
    exponent: Array = shaped("R", "E")
    side_share: Array = shaped("R", "E")
    transmission: Array = shaped("R", "E")
    wavelength_m: Array = shaped("R", "E")
    size_m: Array = shaped("R", "E")
    current_a: Array = shaped("R", "E")
    duty: Array = shaped("R", "E")
    forward_v: Array = shaped("R", "E")
    supply_v: Array = shaped("R", "E")
    greatest_a: Array = shaped("R", "E")
    tilt_rad: Array = shaped("R", "E", 2)
    lean_rad: Array = shaped("R", "E")
    lean_std_rad: Array = shaped("R", "E")
    touch_std_m: Array = shaped("R", "E")
    retro_cd_lx_m2: Array = shaped("R", "E", 2, 2, default=0.0)
    retro_area_m2: Array = shaped("R", "E", default=0.0)
    retro_ball: Array = shaped("R", "E", default=0.0)


@dataclass(frozen=True, eq=False)
class ResolvedPeople(ArrayRecord):
    """The people.

    Attributes
    ----------
    standing_m
        (R, P, 2) middle of where each stands, x and z in the rig frame [m].
    shoulder_m, reach_m, breadth_m, stature_m
        (R, P) shoulder height above the floor [m]; shoulder to tip [m]; shoulder breadth [m];
        stature [m].
    """

    standing_m: Array = shaped("R", "P", 2)
    shoulder_m: Array = shaped("R", "P")
    reach_m: Array = shaped("R", "P")
    breadth_m: Array = shaped("R", "P")
    stature_m: Array = shaped("R", "P")


@dataclass(frozen=True, eq=False)
class ResolvedTargets(ArrayRecord):
    """What each rig must reach: (R,) worst error [m], delay [s], coverage, speed [m/s]."""

    worst_error_m: Array = shaped("R")
    delay_s: Array = shaped("R")
    coverage: Array = shaped("R")
    speed_m_s: Array = shaped("R")


@dataclass(frozen=True, eq=False)
class ResolvedRig:
    """A batch of rigs as numbers."""

    surface: ResolvedSurface
    cameras: ResolvedCameras
    emitters: ResolvedEmitters
    people: ResolvedPeople
    targets: ResolvedTargets

    def __len__(self) -> int:
        return int(self.surface.size_m.shape[0])

    def with_exposure(self, exposure_s: Array) -> ResolvedRig:
        """The same rigs with the exposure (R, C) [s] settled."""
        return dataclasses.replace(self, cameras=self.cameras.replace(exposure_s=exposure_s))

    def take(self, rigs: slice | Array) -> ResolvedRig:
        """Some rigs of the batch."""
        return ResolvedRig(
            surface=_take(self.surface, rigs),
            cameras=_take(self.cameras, rigs),
            emitters=_take(self.emitters, rigs),
            people=_take(self.people, rigs),
            targets=_take(self.targets, rigs),
        )


AnyPart = TypeVar("AnyPart", bound=ArrayRecord)


def _take(part: AnyPart, rigs: slice | Array) -> AnyPart:
    names = [field.name for field in dataclasses.fields(part)]  # type: ignore[arg-type]
    return part.replace(**{name: getattr(part, name)[rigs] for name in names})


def _join(parts: Sequence[AnyPart]) -> AnyPart:
    names = [field.name for field in dataclasses.fields(parts[0])]  # type: ignore[arg-type]
    return parts[0].replace(
        **{name: np.concatenate([getattr(part, name) for part in parts]) for name in names}
    )


def stack_rigs(rigs: Sequence[ResolvedRig]) -> ResolvedRig:
    """One batch of many; all must have equal numbers of cameras, emitters and people.

    Raises
    ------
    ValueError
        When the numbers differ, or there is no rig.
    """
    if not rigs:
        raise ValueError("expected at least one rig, got none")

    return ResolvedRig(
        surface=_join([r.surface for r in rigs]),
        cameras=_join([r.cameras for r in rigs]),
        emitters=_join([r.emitters for r in rigs]),
        people=_join([r.people for r in rigs]),
        targets=_join([r.targets for r in rigs]),
    )
