"""Register the cameras of a rig that follows things in space."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.capture.footage import Footage
from rushlight.capture.open import open_footage
from rushlight.capture.space import film_path
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.load import bits_of, load_rig, rig_path
from rushlight.jobs.progress import Progress, silent
from rushlight.records.arrays import Array
from rushlight.records.document import read_document, write_bytes
from rushlight.records.dots import Dots
from rushlight.records.rig import Rig
from rushlight.records.space import ResolvedSpace, Thing
from rushlight.records.space_footage import SPACE_FOOTAGE, SpaceFootage, SpaceMark
from rushlight.records.space_registration import SpaceRegistration
from rushlight.register.space_effect import registration_error_m
from rushlight.register.space_fit import (
    Found,
    RowFacts,
    doubts_of_places,
    register_marks,
    register_mounting,
    register_swing,
)
from rushlight.register.space_held import MOVED_PX, HeldDots, dots_at_rest, name_dots
from rushlight.register.space_judge import LEAST_LEFT_PX
from rushlight.register.space_marks import (
    Anchor,
    Sightings,
    anchor_of_look,
    anchor_of_placing,
)
from rushlight.register.space_moments import seen_swing
from rushlight.register.space_picture import picture
from rushlight.register.space_solve import known_beforehand
from rushlight.see.detect import Detector
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve_space import resolve_space
from rushlight.track.rig import noise_of

_TELL_EVERY = 20

Seen = list[tuple[int, Dots]]


@dataclass(frozen=True)
class SpaceRegisterResult:
    """A registration in space, and what to tell of it.

    Attributes
    ----------
    registration
        As written.
    basis
        Measured or simulated; predicted for measured mounting alone.
    middle_error_m, worst_error_m
        Error of the point that counts by the registration alone: in the middle of the zone, and
        at the worst place where its lights are in view [m].
    findings
        What the user should know.
    registration_path, picture_path
        The files written.
    """

    registration: SpaceRegistration
    basis: str
    middle_error_m: float
    worst_error_m: float
    findings: tuple[Finding, ...]
    registration_path: Path
    picture_path: Path

    def as_dict(self) -> dict[str, Any]:
        """What is told, as plain values in the units in which it is shown."""
        found = self.registration
        std = np.sqrt(np.diag(found.cov_array)).reshape(-1, 15)
        off = [row.off_mm for row in found.rows if row.kind == "frame" and row.off_mm is not None]
        return {
            "basis": self.basis,
            "method": found.method,
            "vouched": found.verdict.vouched,
            "reasons": found.verdict.reasons,
            "rms_px": _rounded(found.rms_px, 3),
            "expected_rms_px": _rounded(found.expected_px, 3),
            "dots_tell": (found.expected_px or 0.0) >= LEAST_LEFT_PX,
            "used": sum(row.used for row in found.rows),
            "length_off_mm": _rounded(float(np.sqrt(np.mean(np.square(off)))), 2) if off else None,
            "middle_error_mm": _rounded(self.middle_error_m * 1e3, 2),
            "worst_error_mm": _rounded(self.worst_error_m * 1e3, 2),
            "cameras": [
                {
                    "camera": camera.camera,
                    "place_m": [round(step, 4) for step in camera.translation_m],
                    "place_std_mm": [round(float(each) * 1e3, 2) for each in std[i, :3]],
                    "turn_std_deg": [round(float(np.degrees(each)), 3) for each in std[i, 3:6]],
                    "focal_px": round(camera.camera_matrix[0][0], 2),
                    "focal_std_px": round(float(std[i, 6]), 2),
                    "clock_ms": round(camera.clock_offset_ns * 1e-6, 3),
                    "clock_std_ms": _rounded(
                        None if camera.clock_std_ns is None else camera.clock_std_ns * 1e-6, 3
                    ),
                }
                for i, camera in enumerate(found.cameras)
            ],
            "rows": [
                {
                    "kind": row.kind,
                    "mark_m": None if row.mark_m is None else [round(v, 4) for v in row.mark_m],
                    "cameras": row.cameras,
                    "dots": row.dots,
                    "frames": row.frames,
                    "rms_px": _rounded(row.rms_px, 3),
                    "expected_px": _rounded(row.expected_px, 3),
                    "off_mm": _rounded(row.off_mm, 2),
                    "used": row.used,
                }
                for row in found.rows
            ],
            "findings": [each.as_dict() for each in self.findings],
            "registration": str(self.registration_path),
            "picture": str(self.picture_path),
        }


def _rounded(value: float | None, places: int) -> float | None:
    return None if value is None or not np.isfinite(value) else round(float(value), places)


def register_space(
    footage_path: Path | None,
    rig_file: Path,
    out: Path = Path("registration.json"),
    progress: Progress = silent,
) -> SpaceRegisterResult:
    """Find where the cameras of a rig in space stand.

    Parameters
    ----------
    footage_path
        The folder of what all cameras filmed at once: of looks past marks or placings on them,
        whose times it tells, or of a swung scale bar. None to go by the measured mounting alone.
    rig_file
        The rig's file, or its folder.
    out
        Registration to write; a picture is drawn beside it.
    progress
        Told the share of frames done.

    Raises
    ------
    RushlightError
        When an input cannot be used, or what was seen tells no cameras.
    """
    rig, shelf = load_rig(rig_file)
    name = rig_path(rig_file).name
    space = resolve_space(rig, shelf, name)
    inputs = {"rig": rig.content_hash()}
    findings: list[Finding] = []
    seed = None
    if footage_path is None:
        found, simulated = register_mounting(space, rig.content_hash()), False
    else:
        header = footage_of(footage_path, rig, findings, name)
        folder = footage_path if footage_path.is_dir() else footage_path.parent
        footages = [_opened(folder, rig, shelf, space, i) for i in range(len(space.camera_ids))]
        found = _found(space, rig, header, footages, findings, progress)
        simulated = header.simulated
        inputs["footage"] = header.content_hash()
        seed = header.header.seed if header.header and simulated else None
    basis = "predicted" if footage_path is None else "simulated" if simulated else "measured"
    registration = found.registration.stamped(basis, inputs=inputs, seed=seed)  # type: ignore[arg-type]
    registration.write(out)
    drawn = out.with_suffix(".svg")
    write_bytes(drawn, picture(space, registration, simulated))
    errors = registration_error_m(space, registration)
    return SpaceRegisterResult(
        registration=registration,
        basis=basis,
        middle_error_m=float(np.max(errors[:, errors.shape[1] // 2])),
        worst_error_m=float(np.nanmax(errors)) if np.any(np.isfinite(errors)) else float("nan"),
        findings=(*findings, *found.findings),
        registration_path=out,
        picture_path=drawn,
    )


def footage_of(path: Path, rig: Rig, findings: list[Finding], name: str) -> SpaceFootage:
    """The document of what all cameras filmed at once; it must be of a registration.

    Raises
    ------
    RushlightError
        When it is missing, of other cameras, or shows something else.
    """
    file = path / SPACE_FOOTAGE if path.is_dir() or not path.exists() else path
    if not file.exists():
        raise RushlightError.of(
            str(path),
            "",
            f"holds no {SPACE_FOOTAGE}, which says what the cameras filmed at once",
            "give the folder of such footage, or leave --footage out to go by the measured "
            "mounting alone",
            "space-footage-missing",
        )
    header = read_document(SpaceFootage, file)
    ids = [camera.id for camera in rig.cameras]
    if header.cameras != ids:
        raise RushlightError.of(
            f"{file.name}: cameras",
            ", ".join(header.cameras),
            f"are not the cameras of {name}, {', '.join(ids)}",
            "give the rig that belongs to the footage",
            "cameras-differ",
        )
    if header.script not in (None, "registration"):
        raise RushlightError.of(
            f"{file.name}: script",
            f'"{header.script}"',
            "shows no registration",
            "give footage of a registration",
            "not-a-registration",
        )
    if header.rig not in (None, rig.content_hash()):
        findings.append(
            Finding(
                "warning",
                "rig-changed",
                name,
                "",
                "has changed since the footage was made from it",
                "make it anew, or take the rig as it was",
            )
        )
    return header


def _opened(folder: Path, rig: Rig, shelf: Shelf, space: ResolvedSpace, camera: int) -> Footage:
    name = space.camera_ids[camera]
    footage = open_footage(film_path(folder, name), None, name, bits=bits_of(rig, shelf, camera))
    wide, high = (int(side) for side in space.cameras.size_px[0, camera])
    if footage.size_px != (wide, high):
        raise RushlightError.of(
            f"{footage.name}",
            f"{footage.size_px[0]}×{footage.size_px[1]} px",
            f'is not the picture size of camera "{name}", {wide}×{high} px',
            "set the camera to that size, or name a part of that size in the rig",
            "size-differs",
        )
    return footage


def _found(
    space: ResolvedSpace,
    rig: Rig,
    header: SpaceFootage,
    footages: Sequence[Footage],
    findings: list[Finding],
    progress: Progress,
) -> Found:
    windows = [(mark.from_ns, mark.until_ns) for mark in header.marks]
    if not windows and space.scale_bar is None:
        raise RushlightError.of(
            SPACE_FOOTAGE,
            "",
            "names no marks, and the rig has no scale bar that could be swung",
            'give footage of looks or placings, or add a carried thing of kind "scale-bar" with '
            "two lights",
            "nothing-to-register-by",
        )
    seen: list[Seen] = []
    for camera, footage in enumerate(footages):
        share = camera / len(footages)
        seen.append(_dots(footage, space, camera, windows, progress, share, len(footages)))
        findings.extend(footage.findings)
    if windows:
        rows, poses, facts = rows_of_marks(space, header.marks, seen, findings)
        return register_marks(space, rig.content_hash(), rows, poses, facts)
    bar = space.scale_bar
    assert bar is not None
    length = float(np.linalg.norm(bar.lights_m[1] - bar.lights_m[0]))
    known = known_beforehand(space)
    swing = seen_swing(seen, space.camera_ids, known, doubts_of_places(space), length)
    return register_swing(space, rig.content_hash(), swing, 4)


def _dots(
    footage: Footage,
    space: ResolvedSpace,
    camera: int,
    windows: Sequence[tuple[int, int]],
    progress: Progress,
    share: float,
    cameras: int,
) -> Seen:
    """Capture time and dots of every frame, or of those within the windows."""
    detect = Detector(*footage.size_px, noise_of(space, camera, footage.full_scale_dn))  # type: ignore[arg-type]
    found: Seen = []
    for frame in footage:
        if frame.image is None:
            continue
        if footage.frames and frame.index % _TELL_EVERY == 0:
            progress("finding the lights", share + frame.index / footage.frames / cameras)
        if windows and not any(a <= frame.capture_ns <= b for a, b in windows):
            continue
        found.append((frame.capture_ns, detect(frame.image)))
    progress("finding the lights", share + 1.0 / cameras)
    return found


def rows_of_marks(
    space: ResolvedSpace, marks: Sequence[SpaceMark], seen: Sequence[Seen], findings: list[Finding]
) -> tuple[Sightings, Array, list[RowFacts]]:
    """What was seen at each mark, its dots named; marks that tell nothing are passed over.

    Parameters
    ----------
    space
        The rig.
    marks
        What was held where and when.
    seen
        By camera, capture time [ns] and dots of the frames in which marks were held.
    findings
        What is passed over is told here.

    Returns
    -------
    rows, poses, facts
        As `register_marks` takes them.

    Raises
    ------
    RushlightError
        When a mark is of another rig.
    """
    known = known_beforehand(space)
    first = np.cumsum([0, *(len(thing.lights) for thing in space.things)])
    points = [(thing, name) for thing in space.things for name in thing.point_names]
    places = [thing.id for thing in space.things]
    anchors: list[Anchor] = []
    columns: list[tuple[Array, Array, Array, Array]] = []
    poses, facts, held_points = [], [], []
    for mark in marks:
        if mark.carried not in places:
            raise RushlightError.of(
                f"{SPACE_FOOTAGE}: marks",
                f'"{mark.carried}"',
                "is no thing of the rig",
                "give the rig that belongs to the footage",
                "mark-thing",
            )
        which = places.index(mark.carried)
        thing = _counted_by(space.things[which], mark)
        anchor = _anchor(mark, thing)
        held = [dots_at_rest(each, mark.from_ns, mark.until_ns) for each in seen]
        if any(each.strayed_px > MOVED_PX for each in held):
            findings.append(_passed_over(mark, "was not held still"))
            continue
        named = name_dots(held, thing, anchor, known.cameras, _reach_m(space, anchor))
        if named is None:
            findings.append(_passed_over(mark, "shows fewer than two lights"))
            continue
        if named.doubtful:
            findings.append(_passed_over(mark, "shows dots that may be of other lights", kept=True))
        anchors.append(anchor)
        columns.append(_columns(held, named.lights, int(first[which])))
        poses.append(named.pose)
        held_points.append(points.index((space.things[which], mark.point)))
        facts.append(
            RowFacts(mark.carried, mark.from_ns, mark.until_ns,
                     max(each.frames for each in held), mark.from_m, mark.to_m)
        )  # fmt: skip
    widest = max((len(each[0]) for each in columns), default=1)
    padded = [_padded(each, widest) for each in columns]
    camera, light, px, cov = (
        np.stack([each[i] for each in padded]) if padded else np.zeros(shape)
        for i, shape in enumerate(((0, 1), (0, 1), (0, 1, 2), (0, 1, 2, 2)))
    )
    rows = Sightings(
        anchors=tuple(anchors),
        camera=camera.astype(int),
        light=light.astype(int),
        point=np.array(held_points, int),
        px=px,
        px_cov=cov,
        lights_m=np.concatenate([thing.lights_m for thing in space.things]),
        lights_std_m=np.concatenate([thing.lights_std_m for thing in space.things]),
        points_m=np.stack([thing.point_m(name) for thing, name in points]),
        points_std_m=np.array(
            [thing.points_std_m[thing.point_names.index(name)] for thing, name in points]
        ),
    )
    return rows, np.array(poses).reshape(-1, 4, 4), facts


def _counted_by(thing: Thing, mark: SpaceMark) -> Thing:
    """The thing with the point that was held as the one that counts."""
    if mark.point not in thing.point_names:
        raise RushlightError.of(
            f"{SPACE_FOOTAGE}: marks",
            f'"{mark.point}"',
            f'is no point of "{thing.id}"',
            "give the rig that belongs to the footage",
            "mark-point",
        )
    at = thing.point_names.index(mark.point)
    order = [at, *(i for i in range(len(thing.point_names)) if i != at)]
    return thing.replace(
        point_names=tuple(thing.point_names[i] for i in order),
        points_m=thing.points_m[order],
        points_std_m=thing.points_std_m[order],
    )


def _anchor(mark: SpaceMark, thing: Thing) -> Anchor:
    if mark.kind == "placing" or mark.to_m is None:
        return anchor_of_placing(np.array(mark.from_m), thing)
    try:
        return anchor_of_look(np.array(mark.from_m), np.array(mark.to_m), thing)
    except ValueError as error:
        raise RushlightError.of(
            f"{SPACE_FOOTAGE}: marks",
            f"{mark.from_m}, {mark.to_m}",
            f"tell no look: {error}",
            "give the nearer mark first, and marks that are seen in line from the zone",
            "look-off-zone",
        ) from error


def _reach_m(space: ResolvedSpace, anchor: Anchor) -> float:
    """How far a thing may seem off, because cameras and lenses are not known exactly."""
    away = np.linalg.norm(space.cameras.rig_from_camera[0, :, :3, 3] - anchor.place_m, axis=-1)
    focal = space.cameras.K[0, :, 0, 0]
    centre = np.sqrt(np.maximum(space.lens_cov[:, 2, 2], space.lens_cov[:, 0, 0])) / focal
    off = np.hypot(space.placed_std_m, away * np.hypot(space.turned_std_rad, centre))
    return float(off.max())


def _columns(
    held: Sequence[HeldDots], lights: Sequence[Array], first: int
) -> tuple[Array, Array, Array, Array]:
    """Camera, light, place and covariance of each named dot."""
    camera = np.concatenate([np.full(len(each), i) for i, each in enumerate(lights)])
    light = np.concatenate(list(lights))
    px = np.concatenate([each.px for each in held])
    cov = np.concatenate([each.px_cov for each in held])
    on = light >= 0
    return camera[on], light[on] + first, px[on], cov[on]


def _padded(columns: tuple[Array, Array, Array, Array], widest: int) -> list[Array]:
    more = widest - len(columns[0])
    fill = (0, 0, np.nan, np.nan)
    return [
        np.pad(each.astype(float), [(0, more)] + [(0, 0)] * (each.ndim - 1), constant_values=value)
        for each, value in zip(columns, fill, strict=True)
    ]


def _passed_over(mark: SpaceMark, why: str, kept: bool = False) -> Finding:
    place = ", ".join(f"{step:.3f}" for step in mark.from_m)
    return Finding(
        "warning",
        "mark-doubtful" if kept else "mark-passed-over",
        f"the {mark.kind} at ({place}) m",
        "",
        why if kept else f"{why}, so it is passed over",
        "hold still for a second with all lights in view, and nothing else that shines",
    )
