"""Can the cameras work as the rig has them?"""

from __future__ import annotations

import math

import numpy as np

from rushlight.errors import RushlightError
from rushlight.physics.geometry import project
from rushlight.physics.light import filter_centre_at_angle
from rushlight.records.parts import CameraPart, EmitterPart, FilterPart
from rushlight.records.rig import Camera, Rig, Surface
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.check_room import COUNT_FROM, beyond_side_walls
from rushlight.shelf.optics import SENSED_M, Lens, camera_pose, lens_of, passes
from rushlight.shelf.report import Report


def check_cameras(rig: Rig, shelf: Shelf, report: Report) -> None:
    """Add what is wrong with each camera, its timing, its filter and where it looks."""
    lights = _lights(rig, shelf)
    for i, camera in enumerate(rig.cameras):
        path = f"cameras[{i}]"
        _check_exposure(camera, path, report)
        _check_place(camera, path, rig, report)
        part = shelf.find("camera", camera.part)
        if not isinstance(part, CameraPart):
            report.error(
                "part-unknown",
                f"{path}.part",
                camera.part,
                "is not a camera on the shelf",
                shelf.remedy("camera", camera.part),
            )
            part = None
        filter_part = _filter(camera, path, shelf, report)
        if camera.illuminator and not shelf.find("emitter", camera.illuminator.part):
            report.error(
                "part-unknown",
                f"{path}.illuminator.part",
                camera.illuminator.part,
                "is not an emitter on the shelf",
                shelf.remedy("emitter", camera.illuminator.part),
            )
        if part is None:
            continue
        _check_part(camera, part, path, report)
        lens = _lens(camera, part, path, shelf, report)
        if filter_part is not None:
            _check_filter(camera, filter_part, lights, lens, part, path, report)
        if "surface" in rig.kinds and len(rig.surfaces) == 1 and lens is not None:
            _check_aim(camera, part, lens, rig.surfaces[0], path, report)
    _check_wavelengths(rig, shelf, report)


def _lights(rig: Rig, shelf: Shelf) -> dict[str, EmitterPart]:
    """The emitter parts that cameras must see, by id."""
    ids = [each.part for carried in rig.carried for each in carried.emitters if each.part]
    ids += [anchor.part for anchor in rig.anchors]
    ids += [camera.illuminator.part for camera in rig.cameras if camera.illuminator]
    found = {each: shelf.find("emitter", each) for each in ids}
    return {each: part for each, part in found.items() if isinstance(part, EmitterPart)}


def _check_exposure(camera: Camera, path: str, report: Report) -> None:
    if camera.exposure == "auto":
        return
    period_s = 1 / camera.frame_rate.value
    if camera.exposure.value > period_s * (1 + 1e-9):
        period = _three_digits(1000 * period_s)
        report.error(
            "exposure-longer-than-frame",
            f"{path}.exposure",
            camera.exposure,
            f"is longer than the {period} ms frame period at {camera.frame_rate.value:g} Hz",
            f'use "{_below(1000 * period_s)} ms" or less, or lower frame_rate',
        )


def _check_part(camera: Camera, part: CameraPart, path: str, report: Report) -> None:
    if part.infrared_cut:
        report.error(
            "infrared-cut",
            f"{path}.part",
            camera.part,
            "has an infrared-cut filter in its lens and sees next to nothing of these lights",
            "use a camera without one, or describe yours after taking it out in a *.shelf.toml",
        )
    if camera.lines is not None and tuple(camera.lines.size_px) != tuple(part.size_px):
        wide, high = part.size_px
        report.error(
            "lines-size",
            f"{path}.lines.size_px",
            list(camera.lines.size_px),
            f"is not the size of the part {camera.part}, {wide} × {high} px",
            "describe the sensor as a part of its own size in a *.shelf.toml beside the rig, and "
            "name that part",
        )
    fastest = part.frame_rate.si
    if camera.frame_rate.value > fastest * (1 + 1e-9):
        report.error(
            "frame-rate-above-part",
            f"{path}.frame_rate",
            camera.frame_rate,
            f"is above the {fastest:g} Hz that {camera.part} reaches",
            f'use "{fastest:g} Hz" or less, or another camera',
        )
    shortest = part.shortest_exposure.si
    if camera.exposure != "auto" and camera.exposure.value < shortest * (1 - 1e-9):
        report.error(
            "exposure-below-part",
            f"{path}.exposure",
            camera.exposure,
            f"is shorter than the {1e3 * shortest:g} ms that {camera.part} can do",
            f'use "{1e3 * shortest:g} ms" or more',
        )
    if camera.gain < 1:
        report.error(
            "gain-below-one",
            f"{path}.gain",
            camera.gain,
            "is below 1, where the sensor is full before the picture is white",
            "use 1 or more",
        )


def _check_place(camera: Camera, path: str, rig: Rig, report: Report) -> None:
    if "surface" not in rig.kinds or not rig.surfaces:
        return
    x, y, z = (step.value for step in camera.position)
    if z <= 0:
        report.error(
            "camera-behind-wall",
            f"{path}.position",
            camera.position,
            "stands in or behind the wall: its third number, the distance out of it, is not "
            "above 0",
            "give a third number above 0",
        )
    floor = rig.surfaces[0].height_above_floor.value
    if y + floor < 0:
        report.error(
            "camera-below-floor",
            f"{path}.position",
            camera.position,
            f"lies {-(y + floor):.2f} m below the floor, counting up from the surface's lower edge",
            f'use a second number of "{-floor:g} m" or more',
        )
    if rig.room and rig.room.height and y + floor > rig.room.height.value:
        report.error(
            "camera-above-ceiling",
            f"{path}.position",
            camera.position,
            f"lies {y + floor - rig.room.height.value:.2f} m above the ceiling",
            f'use a second number of "{rig.room.height.value - floor:g} m" or less',
        )
    if rig.room and rig.room.depth and z > rig.room.depth.value:
        report.error(
            "camera-outside-room",
            f"{path}.position",
            camera.position,
            f"lies {z - rig.room.depth.value:.2f} m behind the room's far wall",
            f'use a third number of "{rig.room.depth.text}" or less',
        )
    beyond = beyond_side_walls(x, rig.room, rig.surfaces[0]) if rig.room else ""
    if beyond:
        report.error("camera-outside-room", f"{path}.position", camera.position, beyond, COUNT_FROM)


def _check_aim(
    camera: Camera, part: CameraPart, lens: Lens, surface: Surface, path: str, report: Report
) -> None:
    field = f"{path}.look_at" if camera.look_at is not None else f"{path}.aim"
    given = camera.look_at
    if camera.position[2].value <= 0:
        return
    try:
        pose = camera_pose(camera)
    except ValueError:
        report.error(
            "aim-at-itself",
            field,
            given,
            "is the camera's own place",
            "give a point of the surface, such as its middle",
        )
        return
    width, height = surface.width.value, surface.height.value
    middle = f'look_at = ["{width / 2:g} m", "{height / 2:g} m", "0 m"] is the middle'
    forward = pose[:3, 2]
    if forward[2] >= -1e-9:
        report.error(
            "aim-away", field, given, "turns the camera away from the wall", f"turn it; {middle}"
        )
        return
    x, y, _ = pose[:3, 3] - forward * pose[2, 3] / forward[2]
    if 0 <= x <= width and 0 <= y <= height:
        return
    meets = (
        f"meets the wall at x = {x:.2f} m, y = {y:.2f} m, off the surface, which reaches to "
        f"x = {width:g} m, y = {height:g} m"
    )
    if _sees_some(part, lens, pose, width, height):
        report.warning("aim-off-surface", field, given, meets, f"aim at the surface; {middle}")
    else:
        report.error(
            "surface-out-of-view",
            field,
            given,
            f"{meets}: no part of it is in the picture",
            f"aim at the surface; {middle}",
        )


def _sees_some(part: CameraPart, lens: Lens, pose: np.ndarray, width: float, height: float) -> bool:
    """Whether any of 21 × 21 places of the surface lies within the picture."""
    x, y = np.meshgrid(np.linspace(0, width, 21), np.linspace(0, height, 21))
    points = np.stack([x, y, np.zeros_like(x)], axis=-1)
    px, _ = project(points, lens.matrix, lens.distortion, pose)
    inside = (px >= -0.5) & (px <= np.asarray(part.size_px) - 0.5)
    return bool(np.any(np.all(inside, axis=-1)))


def _lens(camera: Camera, part: CameraPart, path: str, shelf: Shelf, report: Report) -> Lens | None:
    if camera.lens is None:
        return lens_of(part, None)
    try:
        calibration = shelf.lens(camera.lens)
    except RushlightError as error:
        report.findings += error.findings
        return None
    if calibration.size_px != tuple(part.size_px):
        columns, rows = calibration.size_px
        report.error(
            "lens-of-other-size",
            f"{path}.lens",
            camera.lens,
            f"was made on pictures of {columns} × {rows}, and {camera.part} gives "
            f"{part.size_px[0]} × {part.size_px[1]}",
            "calibrate the lens at the size that the rig uses",
        )
        return None
    if calibration.camera != camera.id:
        report.warning(
            "lens-of-other-camera",
            f"{path}.lens",
            camera.lens,
            f'was made with the camera "{calibration.camera}"',
            "use this camera's own: lenses of one kind differ",
        )
    if calibration.verdict is not None and not calibration.verdict.vouched:
        report.warning(
            "lens-not-vouched",
            f"{path}.lens",
            camera.lens,
            f"is not vouched for: {'; '.join(calibration.verdict.reasons)}",
            "take better views and calibrate again",
        )
    return lens_of(part, calibration)


def _filter(camera: Camera, path: str, shelf: Shelf, report: Report) -> FilterPart | None:
    if camera.filter is None:
        return None
    found = shelf.find("filter", camera.filter)
    if isinstance(found, FilterPart):
        return found
    report.error(
        "part-unknown",
        f"{path}.filter",
        camera.filter,
        "is not a filter on the shelf",
        shelf.remedy("filter", camera.filter),
    )
    return None


def _check_filter(
    camera: Camera,
    filter_part: FilterPart,
    lights: dict[str, EmitterPart],
    lens: Lens | None,
    part: CameraPart,
    path: str,
    report: Report,
) -> None:
    by_wavelength: dict[float, list[str]] = {}
    for light_id, light in lights.items():
        by_wavelength.setdefault(light.wavelength.si, []).append(light_id)
    corner_rad = None if lens is None else _corner_angle(lens, part)
    for wavelength, ids in by_wavelength.items():
        named = f"the {1e9 * wavelength:.0f} nm light of {' and '.join(ids)}"
        if not passes(filter_part, wavelength):
            report.error(
                "filter-blocks-light",
                f"{path}.filter",
                camera.filter,
                f"blocks {named}",
                "use a filter that passes it, or another emitter",
            )
        elif corner_rad is not None and not _passes_at(filter_part, wavelength, corner_rad):
            report.warning(
                "filter-blind-corners",
                f"{path}.filter",
                camera.filter,
                "shifts to shorter wavelengths in the picture's corners, "
                f"{math.degrees(corner_rad):.0f}° off the axis, and dims {named} there",
                "use a long-pass filter or a longer lens, or keep the surface out of the corners",
            )


def _corner_angle(lens: Lens, part: CameraPart) -> float:
    """Angle between the optical axis and the picture's corner [rad], without distortion."""
    half = np.asarray(part.size_px) / 2 / [lens.matrix[0, 0], lens.matrix[1, 1]]
    return math.atan(float(np.hypot(*half)))


def _passes_at(filter_part: FilterPart, wavelength_m: float, angle_rad: float) -> bool:
    """Whether an interference filter passes a wavelength that comes in at an angle."""
    centre, width, index = filter_part.centre, filter_part.width, filter_part.effective_index
    if filter_part.passes != "band" or centre is None or width is None or index is None:
        return True
    shifted = float(filter_centre_at_angle(centre.si, angle_rad, index.si))
    return abs(wavelength_m - shifted) <= width.si / 2


def _check_wavelengths(rig: Rig, shelf: Shelf, report: Report) -> None:
    for i, carried in enumerate(rig.carried):
        for j, emitter in enumerate(carried.emitters):
            part = shelf.find("emitter", emitter.part) if emitter.part else None
            if not isinstance(part, EmitterPart):
                continue
            nanometres = 1e9 * part.wavelength.si
            path = f"carried[{i}].emitters[{j}].part"
            if not SENSED_M[0] <= part.wavelength.si <= SENSED_M[1]:
                report.error(
                    "wavelength-outside",
                    path,
                    emitter.part,
                    f"shines at {nanometres:.0f} nm, for which the shelf's cameras say nothing",
                    "use an emitter between 800 and 1000 nm",
                )
            elif not 840 <= nanometres <= 960:
                report.warning(
                    "wavelength-beyond-data",
                    path,
                    emitter.part,
                    f"shines at {nanometres:.0f} nm, where the cameras' efficiency is taken as "
                    f"that at {850 if nanometres < 850 else 940} nm",
                    "measure how bright it looks",
                )


def _three_digits(value: float) -> str:
    return f"{value:.3g}"


def _below(milliseconds: float) -> str:
    """The largest number of two digits that does not exceed a time."""
    scale = 10 ** (math.floor(math.log10(milliseconds)) - 1)
    return f"{math.floor(milliseconds / scale + 1e-9) * scale:g}"
