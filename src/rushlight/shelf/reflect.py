"""Reflective markers and the lamps beside the lens that light them: as numbers, and their check.

What a rig leaves out: a marker without a sheet is covered with `SHEET`. A marker that is
"switched" is bared only while pressed, as by a sleeve that slides back; a "steady" one shows
always, and then nothing tells a press from hovering.
"""

from __future__ import annotations

import math

import numpy as np

from rushlight.physics.light import beam_exponent
from rushlight.records.arrays import Array
from rushlight.records.parts import EmitterPart
from rushlight.records.rig import Camera, CarriedEmitter, Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.report import Report

SHEET = "sheet-type-3"
WIDEST_OBSERVATION_RAD = math.radians(1.0)
"""Observation angle from which a ring is told to be wide: sheets are graded up to 0.5°."""


def illuminators(rig: Rig) -> list[Camera]:
    """The cameras with lamps beside their lens."""
    return [camera for camera in rig.cameras if camera.illuminator is not None]


def light_part(
    rig: Rig, shelf: Shelf, emitter: CarriedEmitter, camera: Camera | None = None
) -> EmitterPart:
    """The part whose light a camera sees: the emitter itself, or the lamps that light a marker.

    Without lamps of its own, a camera is taken to see a marker by those of the first camera that
    has some (it will see next to nothing: their light goes back to where it came from).
    """
    if emitter.part is not None:
        return shelf.emitter(emitter.part)
    lamps = [one.illuminator for one in (camera, *illuminators(rig)) if one and one.illuminator]
    return shelf.emitter(lamps[0].part if lamps else "")


def lamp_current_a(rig: Rig) -> float:
    """Current through each lamp beside the first lens that has some [A]; NaN without."""
    found = [camera.illuminator.current.value for camera in rig.cameras if camera.illuminator]
    return float(found[0]) if found else math.nan


def lamp_fields(camera: Camera, shelf: Shelf) -> dict[str, float]:
    """The ring of lamps round a lens, as fields of `ResolvedCameras`."""
    ring = camera.illuminator
    if ring is None:
        return {"lamp_w_sr": 0.0, "lamp_exponent": 1.0, "lamp_radius_m": 0.0, "lamp_count": 0.0}
    part = shelf.emitter(ring.part)
    each_w_sr = part.intensity.si * ring.current.value / part.test_current.si
    return {
        "lamp_w_sr": ring.count * each_w_sr,
        "lamp_exponent": float(beam_exponent(part.half_angle.si)),
        "lamp_radius_m": ring.ring_radius.value,
        "lamp_count": float(ring.count),
    }


def marker_fields(emitter: CarriedEmitter, shelf: Shelf) -> dict[str, float | Array]:
    """A marker, or none, as fields of `ResolvedEmitters`."""
    if emitter.reflector is None:
        return {"retro_cd_lx_m2": np.zeros((2, 2)), "retro_area_m2": 0.0, "retro_ball": 0.0}
    return {
        "retro_cd_lx_m2": np.array(shelf.sheet(emitter.sheet or SHEET).graded_cd_lx_m2),
        "retro_area_m2": math.pi / 4.0 * emitter.reflector.value**2,
        "retro_ball": 1.0 if emitter.shape == "ball" else 0.0,
    }


def check_reflectors(rig: Rig, shelf: Shelf, report: Report) -> None:
    """Add what is wrong with markers, and with the lamps that are to light them."""
    markers = [
        (f"carried[{i}].emitters[{j}]", emitter)
        for i, carried in enumerate(rig.carried)
        for j, emitter in enumerate(carried.emitters)
        if emitter.reflector is not None
    ]
    _check_lamps(rig, shelf, report)
    for path, emitter in markers:
        _check_marker(path, emitter, rig, shelf, report)
    if not markers or "surface" not in rig.kinds:
        return
    for i, camera in enumerate(rig.cameras):
        path = f"cameras[{i}].illuminator"
        if camera.illuminator is None:
            report.error(
                "reflector-unlit",
                path,
                None,
                "is missing, and a reflective marker is seen only by light from beside the lens",
                'add illuminator = { part = "ir850-5mm-17", count = 6, current = "20 mA", '
                'ring_radius = "15 mm" }',
            )
    parts = {camera.illuminator.part for camera in rig.cameras if camera.illuminator}
    known = [shelf.find("emitter", part) for part in parts]
    waves = {part.wavelength.si for part in known if isinstance(part, EmitterPart)}
    if len(waves) > 1:
        report.error(
            "illuminators-differ",
            "cameras",
            None,
            "light the markers at different wavelengths, and only one is computed",
            "use one kind of lamp",
        )


def _check_lamps(rig: Rig, shelf: Shelf, report: Report) -> None:
    for i, camera in enumerate(rig.cameras):
        ring = camera.illuminator
        part = shelf.find("emitter", ring.part) if ring else None
        if ring is None or not isinstance(part, EmitterPart):
            continue
        path = f"cameras[{i}].illuminator"
        away = abs(camera.position[2].value)
        if away > 0.0 and math.atan(ring.ring_radius.value / away) > WIDEST_OBSERVATION_RAD:
            angle = math.degrees(math.atan(ring.ring_radius.value / away))
            report.warning(
                "ring-wide",
                f"{path}.ring_radius",
                ring.ring_radius,
                f"puts the lamps {angle:.1f}° from the lens as seen from the wall, where sheets "
                "are graded up to 0.5° and return far less",
                "set the lamps closer to the lens",
            )


def _check_marker(
    path: str, emitter: CarriedEmitter, rig: Rig, shelf: Shelf, report: Report
) -> None:
    if emitter.sheet is not None and shelf.find("sheet", emitter.sheet) is None:
        report.error(
            "part-unknown",
            f"{path}.sheet",
            emitter.sheet,
            "is not a retro-reflective sheet on the shelf",
            shelf.remedy("sheet", emitter.sheet),
        )
    if "surface" not in rig.kinds:
        return
    if emitter.shape == "disc" and emitter.axis[2] < 0.0:
        report.warning(
            "reflector-faces-surface",
            f"{path}.axis",
            list(emitter.axis),
            "turns the face of the disc to the surface, away from the camera",
            "give axis = [0, 0, 1], or use a ball",
        )
    if emitter.drive == "steady":
        report.warning(
            "press-not-told",
            f"{path}.drive",
            emitter.drive,
            "shows the marker always, so that nothing tells a press from hovering",
            'bare it only while pressed (drive = "switched"), as with a sleeve that slides back',
        )
    elif emitter.drive != "switched":
        report.error(
            "reflector-driven",
            f"{path}.drive",
            emitter.drive,
            "is for lights of their own; a marker has no current",
            'use "switched" or "steady"',
        )
