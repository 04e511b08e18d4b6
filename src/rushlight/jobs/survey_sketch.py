"""A picture survey for the eye: the picture to scale and magnified, and what it changes."""

from __future__ import annotations

import math
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.survey import SurveyResult
from rushlight.jobs.survey_form import Form, Line, surveyed
from rushlight.jobs.surveyed import doubt_of, unheeded
from rushlight.physics.geometry import apply_homography, fit_homography, flatness_modes
from rushlight.physics.surface_model import edge_to_edge
from rushlight.records.document import read_document
from rushlight.records.registration import Registration
from rushlight.records.rig import Surface
from rushlight.records.survey_readings import MARKS

_TIMES = (50, 20, 10, 5, 2, 1)
_MOST = 0.1
"""Share of the picture's width that the greatest departure takes up when drawn (no source)."""
_WIDE, _HIGH = 13, 9


@dataclass(frozen=True)
class SurveySketch:
    """What a drawing of a survey shows.

    Attributes
    ----------
    size_m
        Of the rectangle that the rig supposes [m].
    corners_m, shown_m
        Corners of the picture from the lower left on, anticlockwise, and the same with their
        departures drawn `times` as large [m].
    times
        So many times.
    moved_rms_mm, moved_worst_mm
        By how much places of the picture differ from the rectangle's [mm].
    wall_mm
        Rows from the top of the wall's departure towards the user over the surface [mm]; None
        where no gap was read.
    findings
        On the survey, and whether the registration that is there heeds it.
    """

    size_m: tuple[float, float]
    corners_m: list[list[float]]
    shown_m: list[list[float]]
    times: int
    moved_rms_mm: float
    moved_worst_mm: float
    wall_mm: list[list[float]] | None
    findings: tuple[Finding, ...]


def surface_of(rig_file: Path, surface: str) -> Surface:
    """A surface of a rig by its id; its first where there is none of that id."""
    rig, _ = load_rig(rig_file)
    return next((each for each in rig.surfaces if each.id == surface), rig.surfaces[0])


def marks_of(form: Form, surface: Surface) -> dict[str, tuple[float, float]]:
    """Where each mark of a form is on a picture that fills the surface [m].

    Marks whose pixels are not numbers yet are left out.
    """
    wide, high = surface.width.value, surface.height.value
    shares = dict(MARKS)
    columns, rows = surface.pixels
    with suppress(ValueError):  # then the rig's own
        columns, rows = (int(each) for each in form.size_px)
    for name, x, y in form.marks:
        try:
            shares[name] = (float(x) / columns, float(y) / rows)
        except (ValueError, ZeroDivisionError):
            continue
    return {name: (x * wide, (1.0 - y) * high) for name, (x, y) in shares.items()}


def as_the_rig_says(line: Line, marks_m: dict[str, tuple[float, float]]) -> float | None:
    """The length of a line on the rig's rectangle [mm]; None where its marks are not known."""
    if line.one not in marks_m or line.other not in marks_m:
        return None
    return 1e3 * math.dist(marks_m[line.one], marks_m[line.other])


def form_sketch(rig_file: Path, form: Form) -> tuple[SurveyResult, SurveySketch]:
    """What the filled-in lines of a form tell, and its drawing; nothing is written.

    Raises
    ------
    RushlightError
        As `rushlight.jobs.survey.survey`.
    """
    found = surveyed(rig_file, form)
    return found, survey_sketch(rig_file, found)


def survey_sketch(rig_file: Path, found: SurveyResult) -> SurveySketch:
    """What to draw and tell of a survey.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.
    found
        Its survey.
    """
    told = found.survey
    assert told.size_m is not None
    wide, high = told.size_m
    plain = np.array([[0.0, 0.0], [wide, 0.0], [wide, high], [0.0, high]])
    off = found.corners_m - plain
    most = float(np.max(np.abs(off)))
    times = next((each for each in _TIMES if each * most <= _MOST * wide), 1)
    lattice = np.stack(
        np.meshgrid(np.linspace(0.0, 1.0, _WIDE), np.linspace(0.0, 1.0, _HIGH)), axis=-1
    )
    meant = lattice * [wide, -high] + [0.0, high]
    real = apply_homography(fit_homography(plain, found.corners_m), meant)
    moved = np.linalg.norm(real - meant, axis=-1)
    wall = None
    if told.flatness_m is not None:
        rise = flatness_modes(edge_to_edge(meant, np.array([wide, high]))) @ told.flatness_m
        wall = (1e3 * rise).round(2).tolist()
    return SurveySketch(
        size_m=(wide, high),
        corners_m=found.corners_m.tolist(),
        shown_m=(plain + times * off).tolist(),
        times=times,
        moved_rms_mm=float(1e3 * np.sqrt(np.mean(moved**2))),
        moved_worst_mm=float(1e3 * moved.max()),
        wall_mm=wall,
        findings=(*found.findings, *doubt_of(told, found.survey_path.name), *_heeded(rig_file)),
    )


def _heeded(rig_file: Path) -> list[Finding]:
    """What the registration that lies beside the rig makes of the survey there."""
    path = rig_path(rig_file).parent / "registration.json"
    try:
        return unheeded(read_document(Registration, path), rig_file)
    except RushlightError:
        return []
