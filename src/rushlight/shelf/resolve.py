"""A rig as numbers: its parts looked up, its words turned to SI arrays, a batch of one.

What the rig leaves out is filled in here and nowhere else:

- a stylus is tilted by 10 to 40° from the normal, leans by −45° (right hand) or −135° (left
  hand) from the surface's x axis, give or take 35° (assumptions, no source; state them in the
  rig);
- a switched light is lit for 30 % of the time (assumption, no source), a steady one always;
- a stylus that names no person is held by the first one;
- body dimensions as in `rushlight.shelf.people`;
- light of the room that is not given is estimated from its windows and lamps, the sun left out
  (`rushlight.shelf.room_light`), and where it is given without a gradient it is even;
- a camera whose stream is not given sends raw pictures;
- markers as in `rushlight.shelf.reflect`.

What is unknown and has no such rule stays NaN: the exposure that the plan is to choose, and
the supply of a stylus without a cell.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from rushlight.errors import RushlightError
from rushlight.physics.light import beam_exponent
from rushlight.records.arrays import Array
from rushlight.records.parts import CameraPart, EmitterPart
from rushlight.records.person import Person
from rushlight.records.resolved import (
    ResolvedCameras,
    ResolvedEmitters,
    ResolvedPeople,
    ResolvedRig,
    ResolvedSurface,
    ResolvedTargets,
)
from rushlight.records.rig import Camera, Carried, CarriedEmitter, Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.check import check_rig
from rushlight.shelf.circuits import diodes_of, duty_of
from rushlight.shelf.compression import built_in_compression
from rushlight.shelf.optics import camera_pose, filter_passage, lens_of, quantum_efficiency
from rushlight.shelf.people import shoulder_breadth_m, shoulder_height_m, standing_middle_m
from rushlight.shelf.reflect import lamp_current_a, lamp_fields, light_part, marker_fields
from rushlight.shelf.room_light import brightest_told, mean_and_gradient

TILT_RAD = (math.radians(10), math.radians(40))
LEAN_RAD = {"right": math.radians(-45), "left": math.radians(-135)}
LEAN_STD_RAD = math.radians(35)


def resolve(rig: Rig, shelf: Shelf, name: str = "rig.toml") -> ResolvedRig:
    """A surface rig as a batch of one.

    Parameters
    ----------
    rig
        As read from its file.
    shelf
        Where its parts are looked up.
    name
        Of the file, to stand in the findings.

    Returns
    -------
    ResolvedRig
        R = 1; the emitters in the order of `lit_emitters`, cameras and people in the rig's.

    Raises
    ------
    RushlightError
        With every error that `check_rig` finds, or when it is no surface rig.
    """
    errors = [each for each in check_rig(rig, shelf, name) if each.severity == "error"]
    if errors:
        raise RushlightError(errors)
    if "surface" not in rig.kinds:
        raise RushlightError.of(
            f"{name}: kinds",
            ", ".join(rig.kinds),
            "hold no surface, and this is computed for surface rigs only",
            'give a rig whose kinds hold "surface"',
            "kind-not-computed",
        )
    return ResolvedRig(
        surface=_surface(rig, shelf),
        cameras=cameras_of(rig, shelf, lit_emitters(rig)),
        emitters=_emitters(rig, shelf),
        people=_people(rig),
        targets=_targets(rig),
    )


def picture_bits(camera: Camera, part: CameraPart) -> int:
    """Bits of a grey level in a camera's pictures: its part's, or the 8 of a compressed stream.

    Parameters
    ----------
    camera
        Of the rig.
    part
        Of the shelf.
    """
    raw = camera.stream is None or camera.stream.codec == "raw"
    return part.bit_depth if raw else 8


def lit_emitters(rig: Rig) -> list[tuple[Carried, CarriedEmitter]]:
    """The lights and markers that are computed, in the order of a `ResolvedRig`'s emitters."""
    return [
        (carried, emitter)
        for carried in rig.carried
        if carried.kind == "stylus"
        for emitter in carried.emitters
    ]


def holder(rig: Rig, carried: Carried) -> Person:
    """The person who holds a carried thing: the one it names, or else the first."""
    return next((each for each in rig.people if each.id == carried.person), rig.people[0])


def _surface(rig: Rig, shelf: Shelf) -> ResolvedSurface:
    surface = rig.surfaces[0]
    light, gradient = _ambient(rig, shelf)
    return ResolvedSurface(
        **_batch_of_one(
            size_m=[surface.width.value, surface.height.value],
            display_px=surface.pixels,
            refresh_hz=surface.refresh.value,
            delay_s=surface.delay.value,
            flatness_m=surface.flatness.value,
            reflectance=surface.reflectance.value,
            floor_m=surface.height_above_floor.value,
            ambient_w_m2=light,
            ambient_gradient=gradient,
        )
    )


def _ambient(rig: Rig, shelf: Shelf) -> tuple[float, float]:
    """The room's light [W/m²] and its gradient: as given, or estimated."""
    given = rig.ambient
    if given is not None:
        return given.irradiance.value, given.gradient.value if given.gradient else 0.0
    light = brightest_told(rig, shelf, first_wavelength_m(rig, shelf))
    return mean_and_gradient(light.places_m, light.told())


def first_wavelength_m(rig: Rig, shelf: Shelf) -> float:
    """Wavelength [m] of the first light, beside which the room's is counted."""
    light = light_part(rig, shelf, lit_emitters(rig)[0][1], rig.cameras[0])
    return float(light.wavelength.si)


def cameras_of(
    rig: Rig, shelf: Shelf, lights: list[tuple[Carried, CarriedEmitter]]
) -> ResolvedCameras:
    """The cameras of a rig as a batch of one, for these lights in this order."""
    each = [
        _camera(
            camera,
            shelf.camera(camera.part),
            shelf,
            [light_part(rig, shelf, emitter, camera) for _, emitter in lights],
        )
        for camera in rig.cameras
    ]
    return ResolvedCameras(
        **{field: np.stack([one[field] for one in each])[None] for field in each[0]}
    )


def _camera(
    camera: Camera, part: CameraPart, shelf: Shelf, lights: list[EmitterPart]
) -> dict[str, Array]:
    calibration = shelf.lens(camera.lens) if camera.lens else None
    lens = lens_of(part, calibration)
    filter_part = shelf.filter(camera.filter) if camera.filter else None
    passages = [filter_passage(filter_part, light) for light in lights]
    bits = picture_bits(camera, part)
    black_dn = part.black_level.si * 2 ** (bits - 8)  # the shelf tells it in levels of 8 bits
    span_dn = 2**bits - 1 - black_dn
    full_well_e = part.full_well.si / camera.gain
    exposure_s = math.nan if camera.exposure == "auto" else camera.exposure.value
    rolling = part.shutter == "rolling" and part.row_time is not None
    values = {
        "K": lens.matrix,
        "distortion": lens.distortion,
        "distortion_std": lens.distortion_std,
        "distortion_corr": lens.distortion_corr,
        "rig_from_camera": camera_pose(camera),
        "size_px": part.size_px,
        "focal_m": lens.matrix[0, 0] * part.pixel_pitch.si,
        "f_number": part.f_number.si,
        "pixel_m": part.pixel_pitch.si,
        "blur_px": part.lens_blur.si,
        "transmission": [part.lens_transmission.si * straight for straight, _ in passages],
        "angle_share": [at_angles for _, at_angles in passages],
        "quantum_efficiency": [quantum_efficiency(part, each.wavelength.si) for each in lights],
        "read_noise_e": part.read_noise.si,
        "full_well_e": full_well_e,
        "gain_e_per_dn": full_well_e / span_dn,
        "black_dn": black_dn,
        "levels": 2**bits,
        "exposure_s": exposure_s,
        "shortest_exposure_s": part.shortest_exposure.si,
        "frame_rate_hz": camera.frame_rate.value,
        "row_time_s": part.row_time.si if rolling and part.row_time else 0.0,
        "delay_s": part.delay.si,
        "stream_shift_dn_px": built_in_compression().shift_dn_px(camera.stream),
        **lamp_fields(camera, shelf),
        "stream_stays": built_in_compression().stays(camera.stream),
    }
    return {field: np.asarray(value, float) for field, value in values.items()}


def _emitters(rig: Rig, shelf: Shelf) -> ResolvedEmitters:
    each = [
        light_fields(rig, carried, emitter, shelf) | _held_fields(rig, carried, emitter)
        for carried, emitter in lit_emitters(rig)
    ]
    return stacked_emitters(each)


def stacked_emitters(each: list[dict[str, Array]]) -> ResolvedEmitters:
    """Lights, each as its fields, as a batch of one."""
    return ResolvedEmitters(
        **{field: np.stack([one[field] for one in each])[None] for field in each[0]}
    )


def light_fields(
    rig: Rig, carried: Carried, emitter: CarriedEmitter, shelf: Shelf
) -> dict[str, Array]:
    """One light; its intensity is taken to grow with the current in proportion."""
    part = light_part(rig, shelf, emitter)
    marker = emitter.part is None
    current_a = emitter.current.value if emitter.current else math.nan
    current_a = lamp_current_a(rig) if marker else current_a
    side_share, transmission = part.side_share.si, 1.0
    if emitter.diffuser is not None:
        side_share = emitter.diffuser.spread.value
        transmission = emitter.diffuser.transmission.value
    axis = np.asarray(emitter.axis, float)
    values = {
        "axis": axis / np.linalg.norm(axis),
        "intensity_w_sr": 0.0
        if marker
        else diodes_of(emitter) * part.intensity.si * current_a / part.test_current.si,
        "exponent": beam_exponent(part.half_angle.si),
        "side_share": side_share,
        "transmission": transmission,
        "wavelength_m": part.wavelength.si,
        "size_m": part.apparent_size.si if emitter.reflector is None else emitter.reflector.value,
        **marker_fields(emitter, shelf),
        "current_a": current_a,
        "duty": duty_of(emitter),
        "forward_v": part.forward_voltage.si,
        "supply_v": carried.cells * shelf.cell(carried.cell).voltage.si
        if carried.cell
        else math.nan,
        "greatest_a": part.greatest_current.si,
    }
    return {field: np.asarray(value, float) for field, value in values.items()}


def _held_fields(rig: Rig, carried: Carried, emitter: CarriedEmitter) -> dict[str, Array]:
    """Where a light stands on its stylus, and how that is held."""
    person = holder(rig, carried)
    values = {
        "position_m": _from_tip_m(carried, emitter),
        "tilt_rad": [angle.value for angle in carried.tilt] if carried.tilt else TILT_RAD,
        "lean_rad": LEAN_RAD[person.hand] if carried.lean is None else carried.lean.value,
        "lean_std_rad": carried.lean_spread.value if carried.lean_spread else LEAN_STD_RAD,
        "touch_std_m": person.touch_scatter.value,
    }
    return {field: np.asarray(value, float) for field, value in values.items()}


def _from_tip_m(carried: Carried, emitter: CarriedEmitter) -> Array:
    """Place of an emitter counted from the tip of its stylus [m]."""
    if emitter.position is None:
        distance = emitter.distance_from_tip
        return np.array([0.0, 0.0, distance.value if distance else math.nan])
    tip = next((point.position for point in carried.points if point.name == "tip"), None)
    place = np.array([step.value for step in emitter.position])
    return place if tip is None else place - [step.value for step in tip]


def _people(rig: Rig) -> ResolvedPeople:
    return ResolvedPeople(
        **_batch_of_one(
            standing_m=[standing_middle_m(person) for person in rig.people],
            shoulder_m=[shoulder_height_m(person) for person in rig.people],
            reach_m=[person.reach.value for person in rig.people],
            breadth_m=[shoulder_breadth_m(person) for person in rig.people],
            stature_m=[person.stature.value for person in rig.people],
        )
    )


def _targets(rig: Rig) -> ResolvedTargets:
    targets = rig.targets
    return ResolvedTargets(
        **_batch_of_one(
            worst_error_m=targets.worst_error.value,
            delay_s=targets.delay.value,
            coverage=targets.coverage.value,
            speed_m_s=targets.pointing_speed.value,
        )
    )


def _batch_of_one(**fields: Any) -> dict[str, Array]:
    return {field: np.asarray(value, float)[None] for field, value in fields.items()}
