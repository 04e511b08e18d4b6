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
from rushlight.jobs.registering_space import Seen, fitted
from rushlight.jobs.told import keep_told
from rushlight.records.document import Basis, read_document, write_bytes
from rushlight.records.pair_calibration import PairCalibration
from rushlight.records.rig import Rig
from rushlight.records.space import ResolvedSpace
from rushlight.records.space_footage import SPACE_FOOTAGE, SpaceFootage
from rushlight.records.space_registration import SpaceRegistration
from rushlight.register.space_effect import registration_error_m
from rushlight.register.space_fit import Found, register_mounting
from rushlight.register.space_judge import LEAST_LEFT_PX
from rushlight.register.space_pair import register_pair, space_by_pair
from rushlight.register.space_picture import picture
from rushlight.see.detect import Detector
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve_space import resolve_space
from rushlight.track.rig import noise_of

_TELL_EVERY = 20


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
    pair_path: Path | None = None,
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
    pair_path
        How the two cameras of a volume rig stand, from `rushlight.jobs.calibrate_pair`: taken
        alone without footage, and with a swing as what is known before it.

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
    pair = None if pair_path is None else read_document(PairCalibration, pair_path)
    if pair is not None and pair_path is not None:
        inputs["pair"] = pair.content_hash()
        if footage_path is not None:
            space = space_by_pair(space, pair, pair_path.name)
    of_pair: Basis = pair.header.basis if pair is not None and pair.header else "measured"
    if footage_path is None and pair is not None and pair_path is not None:
        found = register_pair(space, rig.content_hash(), pair, pair_path.name)
        return written(space, found, out, of_pair, inputs, None, findings)
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
    basis: Basis = "predicted" if footage_path is None else "simulated" if simulated else "measured"
    return written(space, found, out, basis, inputs, seed, findings)


def written(
    space: ResolvedSpace,
    found: Found,
    out: Path,
    basis: Basis,
    inputs: dict[str, str],
    seed: int | None,
    findings: Sequence[Finding],
) -> SpaceRegisterResult:
    """Write a registration and its picture, and tell what it does to the point that counts.

    Parameters
    ----------
    space, found
        The rig, and its cameras as they were found.
    out
        Registration to write; a picture is drawn beside it.
    basis, inputs, seed
        What it rests on.
    findings
        What the user should know beside what the fit found.
    """
    registration = found.registration.stamped(basis, inputs=inputs, seed=seed)
    registration.write(out)
    drawn = out.with_suffix(".svg")
    write_bytes(drawn, picture(space, registration, basis == "simulated"))
    errors = registration_error_m(space, registration)
    result = SpaceRegisterResult(
        registration=registration,
        basis=basis,
        middle_error_m=float(np.max(errors[:, errors.shape[1] // 2])),
        worst_error_m=float(np.nanmax(errors)) if np.any(np.isfinite(errors)) else float("nan"),
        findings=(*findings, *found.findings),
        registration_path=out,
        picture_path=drawn,
    )
    keep_told("register", out, result)
    return result


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
    return fitted(space, rig.content_hash(), header.marks, seen, findings)


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
