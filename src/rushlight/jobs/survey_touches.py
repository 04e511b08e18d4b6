"""The displayed picture surveyed by touches: a light held at its marks while the camera films."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from rushlight.capture.open import open_footage
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.belonging import camera_of
from rushlight.jobs.held import check_held, dots_of
from rushlight.jobs.load import bits_of, load_rig, rig_path
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.survey import SurveyResult, survey
from rushlight.jobs.survey_form import Form, Line, form_of, text_of
from rushlight.keep.session import SessionReader
from rushlight.records.document import write_text
from rushlight.records.dots import Dots
from rushlight.records.joint_registration import registration_of
from rushlight.records.registration import Registration
from rushlight.records.rig import Rig
from rushlight.register.holds import Hold, find_holds
from rushlight.register.survey_touch import touched_places
from rushlight.shelf.resolve import lit_emitters, resolve
from rushlight.track.mapping import SurfaceMap, doubts_of

TOUCHES_FILE = "touches.toml"
"""Beside the rig; readings by a ruler stay in a file of their own."""

TOUCHED = "touches"
"""What footage of touches is called where nobody says otherwise."""

USUAL_MARKS = ("lower-left", "lower-right", "upper-right", "upper-left", "lower-left")
"""The corners in turn, and the first once more: without it nothing would show a mistake."""


@dataclass(frozen=True)
class Touched:
    """What touches tell, as a form of readings.

    Attributes
    ----------
    form
        The places touched, with what the form before said of gaps, pixels and own marks.
    findings
        What the user should know.
    """

    form: Form
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class _Film:
    """What was filmed: its name, camera, picture and basis, and the dots of every frame."""

    name: str
    camera: str
    size_px: tuple[int, int]
    simulated: bool
    findings: list[Finding]
    dots: list[tuple[int, Dots]]


def survey_touches(
    rig_file: Path,
    touches: Path,
    registration_path: Path | None = None,
    marks: Sequence[str] = USUAL_MARKS,
    stylus: str | None = None,
    readings_path: Path | None = None,
    out: Path | None = None,
    progress: Progress = silent,
) -> SurveyResult:
    """Survey the picture by touches, and keep them as readings.

    Parameters
    ----------
    rig_file, touches, registration_path, marks, stylus, progress
        As of `touched`.
    readings_path
        Readings to write; ``touches.toml`` beside the rig when left out.
    out
        As of `survey`.

    Returns
    -------
    SurveyResult

    Raises
    ------
    RushlightError
        As of `touched` and `survey`.
    """
    told = touched(rig_file, touches, registration_path, marks, stylus, form_of(rig_file), progress)
    folder = rig_path(rig_file).parent
    path = folder / TOUCHES_FILE if readings_path is None else readings_path
    write_text(path, text_of(told.form))
    found = survey(rig_file, path, out)
    return replace(found, findings=(*told.findings, *found.findings))


def touched(
    rig_file: Path,
    touches: Path,
    registration_path: Path | None,
    marks: Sequence[str],
    stylus: str | None,
    before: Form,
    progress: Progress = silent,
) -> Touched:
    """Read the places of marks from a light that was held at each of them in turn.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.
    touches
        Footage, or a session that a run kept.
    registration_path
        In whose metres places are told; ``registration.json`` beside the rig when left out.
    marks
        Names of the marks in the order in which they were touched; one may be touched again.
    stylus
        That touched; the first that registered when left out.
    before
        Its gaps, pixels and own marks stay; its lengths and places are those of another survey.
    progress
        Told the share of frames done.

    Raises
    ------
    RushlightError
        When an input cannot be used, or there are not as many touches as marks.
    """
    rig, _ = load_rig(rig_file)
    folder = rig_path(rig_file).parent
    path = folder / "registration.json" if registration_path is None else registration_path
    _check_marks(marks, before)
    film = _filmed(rig_file, touches, path, progress)
    registration = registration_of(path, film.camera)
    SurfaceMap(registration, film.camera, film.size_px)  # refuses another camera or size
    holds, passed_over = find_holds(film.dots)
    check_held(film.name, holds, marks, "marks", "--marks", passed_over)
    places, std = _places(registration, holds, _aside(rig, registration, stylus), path.name)
    lines = [
        Line(
            "places", mark, read=f"{x * 1e3:.1f} mm", up=f"{y * 1e3:.1f} mm",
            doubt=f"{max(doubt * 1e3, 0.1):.1f} mm",
        )
        for mark, (x, y), doubt in zip(marks, places, std, strict=True)
    ]  # fmt: skip
    for mark, place in zip(marks, places, strict=True):
        if np.any(np.isnan(place)):
            raise RushlightError.of(
                film.name, f"the touch at {mark}", "lies where the registration's map does not "
                "reach", "leave it out, with --marks for the others", "touch-off-map",
            )  # fmt: skip
    form = replace(
        before,
        lines=(*lines, *(line for line in before.lines if line.kind == "gaps")),
        by_registration=registration.content_hash(),
        simulated=film.simulated,
    )
    findings = [*doubts_of(registration, path.name, film.simulated), *film.findings, *passed_over]
    return Touched(form, (*findings, *_rectangle(registration, path.name)))


def _check_marks(marks: Sequence[str], form: Form) -> None:
    for mark in marks:
        if mark not in form.names:
            raise RushlightError.of(
                "--marks", f'"{mark}"', "is no mark of the picture",
                f"use {', '.join(form.names)}", "mark-unknown",
            )  # fmt: skip


def _filmed(rig_file: Path, touches: Path, registration: Path, progress: Progress) -> _Film:
    """The dots of every frame of footage, or of a session."""
    rig, shelf = load_rig(rig_file)
    name = rig_path(rig_file).name
    resolved = resolve(rig, shelf, name)
    if touches.suffix == ".sqlite":
        with SessionReader(touches) as session:
            camera = session.header.cameras[0]
            dots = [(frame.capture_ns, dots) for frame, dots in session.sightings(camera)]
            simulated = session.basis == "simulated"
        # A session keeps no pictures: their size is that for which the registration was made.
        size_px = registration_of(registration, camera).valid_for.size_px
        return _Film(touches.name, camera, size_px, simulated, [], dots)
    footage = open_footage(touches, camera=rig.cameras[0].id, bits=bits_of(rig, shelf))
    camera_index = camera_of(rig, resolved, footage, name)
    found = list(dots_of(footage, resolved, camera_index, progress))
    return _Film(
        footage.name, footage.camera, footage.size_px, footage.simulated, footage.findings, found
    )


def _places(
    registration: Registration, holds: list[Hold], aside_m: tuple[float, float], name: str
) -> tuple[np.ndarray, np.ndarray]:
    px, cov = np.array([hold.px for hold in holds]), np.array([hold.px_cov for hold in holds])
    try:
        return touched_places(registration, px, cov, np.array(aside_m))
    except ValueError:
        raise RushlightError.of(
            name, "", "does not tell how far its places are doubted", "register anew",
            "registration-doubt",
        ) from None  # fmt: skip


def _aside(rig: Rig, registration: Registration, stylus: str | None) -> tuple[float, float]:
    """Where the touches of who touched lie on average, from those that the map serves [m]."""
    known = [lit.id for lit, _ in lit_emitters(rig)]
    if stylus is not None and stylus not in known:
        raise RushlightError.of(
            "--stylus", f'"{stylus}"', "is no stylus of the rig",
            f"use {', '.join(dict.fromkeys(known))}", "stylus",
        )  # fmt: skip
    first = next((touch.carried for touch in registration.touches if touch.carried in known), None)
    return registration.aside_m.get(stylus or first or "", (0.0, 0.0))


def _rectangle(registration: Registration, name: str) -> list[Finding]:
    """That the metres are those of a picture which nobody surveyed."""
    if registration.valid_for.survey is not None:
        return []
    return [
        Finding(
            "warning", "touched-rectangle", name, "",
            "was made without a survey, so it took the picture of then for the rig's rectangle; "
            "touches tell only what has changed since",
            "survey once with a ruler and register with that survey; touches do from then on",
        )
    ]  # fmt: skip
