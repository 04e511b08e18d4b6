"""What the parts at hand really do: takes in, a verdict and measured values for the shelf out."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rushlight.errors import Finding, RushlightError
from rushlight.inspect.expected import Setup
from rushlight.inspect.guide import AT_REST, NAMES, UNTRIED, Step, step_of
from rushlight.inspect.result import StepResult
from rushlight.inspect.takes import Take
from rushlight.jobs.inspect_files import write_measured, write_pixels
from rushlight.jobs.inspect_takes import open_takes
from rushlight.jobs.load import load_rig, rig_path, typed_quantity
from rushlight.jobs.progress import Progress, silent
from rushlight.records.document import Basis, write_text
from rushlight.records.parts import CameraPart
from rushlight.records.rig import Camera, Rig
from rushlight.shelf.catalogue import MEASURED_FOLDER, Shelf
from rushlight.shelf.resolve import picture_bits


@dataclass(frozen=True)
class Inspected:
    """What a step found, and what was written of it.

    Attributes
    ----------
    result
        Of the step.
    basis
        "simulated" when any take was computed.
    camera, part
        Ids of the camera and of the part measured; None without a rig.
    findings
        The step's, those of the footage, and of what could not be written.
    cautions
        What to beware of.
    written
        Files.
    """

    result: StepResult
    basis: Basis
    camera: str | None
    part: str | None
    findings: tuple[Finding, ...]
    cautions: tuple[str, ...]
    written: tuple[Path, ...]

    def as_dict(self) -> dict[str, Any]:
        """As plain values, for JSON."""
        return {
            "basis": self.basis,
            "camera": self.camera,
            "part": self.part,
            **self.result.as_dict(),
            "findings": [finding.as_dict() for finding in self.findings],
            "cautions": list(self.cautions),
            "untried": UNTRIED,
            "written": [str(path) for path in self.written],
        }


@dataclass(frozen=True)
class Asked:
    """What the user told beside the takes, each None when it was not.

    Attributes
    ----------
    rig, camera, emitter
        The rig's file or folder, and ids of a camera and of an emitter's part.
    frequency, current, reference_intensity
        As typed: of the blinking light, through the emitters, of the reference emitter.
    out
        Folder to write to.
    """

    rig: Path | None = None
    camera: str | None = None
    emitter: str | None = None
    frequency: str | None = None
    current: str | None = None
    reference_intensity: str | None = None
    out: Path | None = None


def inspect(
    step: str,
    frames: Sequence[Path],
    asked: Asked | None = None,
    rate: str | None = None,
    progress: Progress = silent,
) -> Inspected:
    """Go through one step of the inspection with recorded frames.

    Parameters
    ----------
    step
        One of `NAMES`.
    frames
        Takes, or folders of takes: videos or folders of pictures, named by their conditions.
    asked
        What the user told beside them.
    rate
        Frame rate of takes without times, as typed.
    progress
        Told how far the work is.

    Returns
    -------
    Inspected

    Raises
    ------
    RushlightError
        When the step is unknown, takes are missing or unfit, or something told is wrong.
    """
    asked = asked or Asked()
    _known(step)
    rate_hz = typed_quantity(rate, "frequency", "--rate")
    takes, findings = open_takes(frames, rate_hz, _Chosen.of(asked).bits)
    return inspect_takes(step, takes, asked, progress, findings)


def inspect_takes(
    step: str,
    takes: Sequence[Take],
    asked: Asked,
    progress: Progress = silent,
    footage_findings: Sequence[list[Finding]] = (),
) -> Inspected:
    """Go through one step with frames from anywhere, live ones included.

    Parameters
    ----------
    step, asked, progress
        As of `inspect`.
    takes
        Each with a name that tells its conditions.
    footage_findings
        Of the takes' sources, read once the frames were; they may grow while frames are read.

    Raises
    ------
    RushlightError
        As `inspect`.
    """
    known = _known(step)
    progress("measuring", 0.0)
    chosen = _Chosen.of(asked)
    result = _run(step, takes, chosen, asked)
    basis: Basis = "simulated" if any(take.simulated for take in takes) else "measured"
    seen = [each for some in footage_findings for each in some]
    # Takes are named by their conditions; only this step asks for their times.
    seen = [each for each in dict.fromkeys(seen) if step == "rate" or each.code != "rate-assumed"]
    findings = [*result.findings, *seen, *_shelf_findings(result, chosen)]
    progress("measuring", 1.0)
    written, more = _write(result, takes, basis, chosen, asked)
    return Inspected(
        result,
        basis,
        chosen.camera.id if chosen.camera else None,
        chosen.part_of(result),
        (*findings, *more),
        known.cautions,
        tuple(written),
    )


def _known(step: str) -> Step:
    found = step_of(step)
    if found is None or step == AT_REST:
        every = ", ".join([*NAMES, AT_REST])
        raise RushlightError.of(
            "inspect", f'"{step}"', "is no step", f"use one of {every}", "step-unknown"
        )
    return found


@dataclass(frozen=True)
class _Chosen:
    """What of the rig a step is about."""

    rig: Rig | None = None
    shelf: Shelf | None = None
    camera: Camera | None = None
    part: CameraPart | None = None
    emitter: str | None = None
    setup: Setup | None = None

    @classmethod
    def of(cls, asked: Asked) -> _Chosen:
        """Look up what was asked for."""
        if asked.rig is None:
            for option, value in (("--camera", asked.camera), ("--emitter", asked.emitter)):
                if value is not None:
                    raise RushlightError.of(
                        option, f'"{value}"', "belongs to no rig", "give --rig too", "rig-missing"
                    )
            return cls()
        rig, shelf = load_rig(asked.rig)
        name = rig_path(asked.rig).name
        camera = _camera_of(rig, asked.camera, name)
        part = shelf.camera(camera.part)
        emitter = _emitter_of(rig, asked.emitter)
        setup = Setup(
            part,
            camera.gain,
            shelf.filter(camera.filter) if camera.filter else None,
            shelf.emitter(emitter) if emitter else None,
            typed_quantity(asked.current, "current", "--current") or math.nan,
            math.nan if camera.exposure == "auto" else camera.exposure.value,
            camera.frame_rate.value,
        )
        return cls(rig, shelf, camera, part, emitter, setup)

    @property
    def bits(self) -> int | None:
        """Bits of a grey level in the camera's pictures; None without a rig."""
        return picture_bits(self.camera, self.part) if self.camera and self.part else None

    def part_of(self, result: StepResult) -> str | None:
        """The id of the part that a result is about."""
        if result.part_kind == "emitter":
            return self.emitter
        return self.camera.part if self.camera else None


def _camera_of(rig: Rig, wanted: str | None, name: str) -> Camera:
    ids = [camera.id for camera in rig.cameras]
    if wanted is None and len(ids) == 1:
        return rig.cameras[0]
    if wanted not in ids:
        raise RushlightError.of(
            f"{name}: cameras",
            ", ".join(ids),
            "holds several, and none was chosen" if wanted is None else f'has no camera "{wanted}"',
            f"give --camera, one of {', '.join(ids)}",
            "camera-unknown",
        )
    return rig.cameras[ids.index(wanted)]


def _emitter_of(rig: Rig, wanted: str | None) -> str | None:
    """The emitter's part that is meant: the one named, or the only one of the rig."""
    if wanted is not None:
        return wanted
    parts = {each.part for carried in rig.carried for each in carried.emitters if each.part}
    return parts.pop() if len(parts) == 1 else None


def _run(step: str, takes: Sequence[Take], chosen: _Chosen, asked: Asked) -> StepResult:
    """The step itself; what it needs is loaded here, so that the others need not wait for it."""
    setup = chosen.setup
    black_dn = setup.camera.black_level.si if setup else 0.0
    if step == "sees-infrared":
        from rushlight.inspect.infrared import sees_infrared

        return sees_infrared(takes, setup)
    if step == "rate":
        from rushlight.inspect.rate import rate

        return rate(takes, setup.asked_hz if setup else math.nan)
    if step == "exposure":
        from rushlight.inspect.exposure import exposure

        return exposure(takes, black_dn)
    if step == "noise":
        from rushlight.inspect.noise import noise

        return noise(takes, setup.gain if setup else 1.0, black_dn)
    if step == "row-time":
        from rushlight.inspect.rows import row_time

        frequency = typed_quantity(asked.frequency, "frequency", "--frequency")
        return row_time(takes, math.nan if frequency is None else frequency)
    if step == "compression":
        from rushlight.inspect.compression import compression

        return compression(takes)
    if step == "focus":
        from rushlight.inspect.focus import focus

        return focus(takes, setup)
    from rushlight.inspect.emitters import emitters

    reference = typed_quantity(
        asked.reference_intensity, "radiant intensity", "--reference-intensity"
    )
    current = typed_quantity(asked.current, "current", "--current")
    return emitters(
        takes,
        math.nan if reference is None else reference,
        math.nan if current is None else current,
    )


def _shelf_findings(result: StepResult, chosen: _Chosen) -> list[Finding]:
    """Where a verdict contradicts what no single value can mend."""
    if chosen.part is None:
        return []
    rolls = any(measure.field == "row_time" for measure in result.measures)
    if rolls and chosen.part.shutter == "global":
        return [
            Finding(
                "warning",
                "shutter-differs",
                f"shelf: camera {chosen.part.id}",
                "global",
                "is a shutter other than the rolling one measured, so that the row time has no "
                "effect on plans",
                "describe your camera in a *.shelf.toml beside the rig, with shutter = rolling",
            )
        ]
    return []


def _write(
    result: StepResult,
    takes: Sequence[Take],
    basis: Basis,
    chosen: _Chosen,
    asked: Asked,
) -> tuple[list[Path], list[Finding]]:
    """Result, picture, map of pixels and measured values; what was not written, and why."""
    folder = asked.out
    if folder is None and asked.rig is not None:
        folder = rig_path(asked.rig).parent / MEASURED_FOLDER
    if folder is None:
        return [], []
    part = chosen.part_of(result)
    stem = f"{part or 'camera'}-{result.step}"
    written = [folder / f"{stem}.json"]
    content = {
        "basis": basis,
        "part": part,
        "takes": {take.name: take.content_hash for take in takes},
        **result.as_dict(),
    }
    write_text(
        written[0], json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    )
    if result.drawing is not None:
        from rushlight.inspect.pictures import drawn

        written.append(folder / f"{stem}.svg")
        write_text(written[-1], drawn(result.drawing, basis))
    if result.pixels:
        wide, high = result.extra["size_px"]
        written += write_pixels(result.pixels, (wide, high), folder / f"{stem}-pixels")
    usable = [
        measure
        for measure in result.measures
        if measure.field is not None and math.isfinite(measure.interval.value)
    ]
    if not usable or not result.told:
        return written, []
    if part is None:
        return written, [_no_part(result)]
    path = folder / f"{part}.toml"
    inputs = {f"{result.step}: {take.name}": take.content_hash for take in takes}
    shelf = chosen.shelf
    if shelf is None:
        raise ValueError("expected a shelf wherever a part is known")
    write_measured(path, part, result.part_kind, usable, basis, inputs, shelf)
    return [*written, path], []


def _no_part(result: StepResult) -> Finding:
    option = "--emitter" if result.part_kind == "emitter" else "--rig and --camera"
    return Finding(
        "note",
        "part-untold",
        f"inspect {result.step}",
        "",
        "measured values of a part that was not named, so none is written for the shelf",
        f"give {option}",
    )
