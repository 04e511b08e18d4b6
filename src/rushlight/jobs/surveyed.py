"""A picture survey in use: beacons become places, its gaps tell of the wall, and a run checks that
it fits."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.load import rig_path
from rushlight.jobs.survey import SURVEY_FILE
from rushlight.physics.geometry import apply_homography
from rushlight.physics.surface_model import PLANE, bend_amplitudes
from rushlight.records.arrays import Array
from rushlight.records.document import read_document
from rushlight.records.registration import DisplaySurvey, Registration
from rushlight.records.rig import Surface
from rushlight.register.solve import Wall


def survey_in(path: Path, surface: Surface) -> DisplaySurvey:
    """The survey in a file, which must be of this surface as it is now.

    Raises
    ------
    RushlightError
        When it cannot be read, or is of another surface or size.
    """
    survey = read_document(DisplaySurvey, path)
    size_m = (surface.width.value, surface.height.value)
    if (
        survey.surface != surface.id
        or survey.size_m is None
        or not np.allclose(survey.size_m, size_m)
    ):
        raise RushlightError.of(
            str(path), "", f'is not a survey of the surface "{surface.id}" as it is in the rig',
            "survey the picture anew", "survey-elsewhere",
        )  # fmt: skip
    return survey


def survey_to_register(path: Path, surface: Surface) -> DisplaySurvey:
    """The survey in a file, as `survey_in`, whose gaps must be of this wall as well.

    Raises
    ------
    RushlightError
        When it cannot be used, or its bends were told for another flatness than the rig's.
    """
    survey = survey_in(path, surface)
    if survey.flatness_m is None or survey.flatness_cov is None:
        return survey
    bends, cov = np.array(survey.flatness_m, float), np.array(survey.flatness_cov, float)
    told = bends.shape == (7,) and cov.shape == (7, 7)
    if not told or not np.all(np.isfinite(bends)) or not np.all(np.isfinite(cov)):
        raise RushlightError.of(
            f"{path}: flatness_m", "", "does not tell the seven bends of a wall with their doubt",
            "survey the picture anew", "survey-bends",
        )  # fmt: skip
    rms_m = survey.flatness_rms_m
    if rms_m is None or rms_m <= 0.0 or not np.isclose(rms_m, surface.flatness.value):
        raise RushlightError.of(
            f"{path}: flatness_rms_m", "not told" if rms_m is None else f"{rms_m * 1e3:g} mm",
            "is what the wall's gaps were read against, and the rig's flatness is now "
            f"{surface.flatness.value * 1e3:g} mm",
            "survey the picture anew, from the same readings", "survey-flatness",
        )  # fmt: skip
    return survey


def wall_of(size_m: Array, flatness_rms_m: float, survey: DisplaySurvey | None) -> Wall:
    """The surface before any touch, its bends as the gaps of a survey tell them.

    Parameters
    ----------
    size_m, flatness_rms_m
        (2,) of the surface, and the departure from a plane that the rig states [m].
    survey
        From `survey_to_register`; None, or one without gaps, leaves the bends unknown.
    """
    if survey is None or survey.flatness_m is None or survey.flatness_cov is None:
        return Wall(size_m, flatness_rms_m)
    return Wall(
        size_m,
        flatness_rms_m,
        np.array(survey.flatness_m, float),
        np.array(survey.flatness_cov, float),
    )


def bends_within(rig_file: Path, surface: Surface, bends_m: Array) -> Array:
    """Bends of a wall drawn by the rig alone, as the survey beside the rig lets them be: (7,) [m].

    They stay as they are where no survey tells of the wall; one that cannot be used is refused
    where it is used.

    Parameters
    ----------
    rig_file, surface
        The rig's file or folder, and its surface.
    bends_m
        (7,) drawn with the deviations of `bend_amplitudes` [m].
    """
    path = rig_path(rig_file).parent / SURVEY_FILE
    try:
        survey = survey_to_register(path, surface) if path.is_file() else None
    except RushlightError:
        survey = None
    if survey is None or survey.flatness_m is None:
        return bends_m
    size_m = np.array([surface.width.value, surface.height.value])
    mean, spread = wall_of(size_m, surface.flatness.value, survey).supposed()
    amplitudes = bend_amplitudes(surface.flatness.value)
    return np.asarray(amplitudes * (mean + spread @ (bends_m / amplitudes)))


def surveyed_places(
    places_m: Array, survey: DisplaySurvey, size_m: Array, display_px: Array
) -> Array:
    """Where marks really are that were shown as on a picture that fills the surface: (N, 2) [m].

    Parameters
    ----------
    places_m
        (N, 2) as meant [m].
    survey
        Of the picture.
    size_m, display_px
        (2,) of the surface [m], and the display's columns and rows.
    """
    share = np.asarray(places_m, float) / size_m
    px = np.stack([share[..., 0], 1.0 - share[..., 1]], axis=-1) * display_px
    return apply_homography(survey.surface_from_display, px)


def survey_of_registration(
    registration: Registration, rig_file: Path, surface: Surface
) -> DisplaySurvey | None:
    """The survey that a registration was made with, from beside the rig; None if with none.

    A survey that was touched in this registration's own metres, after it, stands in its place.
    Where the display has other pixels now than it had then, the picture is still the same one, and
    the survey's map is told for the pixels of now.

    Raises
    ------
    RushlightError
        When it is not there, or another one is.
    """
    wanted = registration.valid_for.survey
    path = rig_path(rig_file).parent / SURVEY_FILE
    touched = _touched_by(registration, path)
    if wanted is None and not touched:
        return None
    if not path.is_file():
        raise RushlightError.of(
            str(path), "", "is missing, and the registration was made with a survey",
            "put that survey there, or register anew", "survey-missing",
        )  # fmt: skip
    survey = survey_in(path, surface)
    if not touched and survey.content_hash() != wanted:
        raise RushlightError.of(
            str(path), "", "is not the survey that the registration was made with",
            "register anew", "survey-differs",
        )  # fmt: skip
    then, now = survey.display_px or registration.valid_for.display_px, surface.pixels
    if then is None or then == tuple(now):
        return survey
    finer = np.diag([*np.divide(then, now), 1.0])
    told = np.array(survey.surface_from_display, float) @ finer
    return survey.model_copy(update={"surface_from_display": told.tolist()})


def is_touched_by(survey: DisplaySurvey, registration: Registration) -> bool:
    """Whether the picture was surveyed by touches whose places this very registration told."""
    told = survey.header.inputs.get("registration") if survey.header else None
    return told is not None and told == registration.content_hash()


def _touched_by(registration: Registration, path: Path) -> bool:
    """The same of a survey in a file; not of one that cannot be read."""
    try:
        return path.is_file() and is_touched_by(read_document(DisplaySurvey, path), registration)
    except RushlightError:
        return False


def without_survey_doubt(registration: Registration, survey: DisplaySurvey | None) -> Registration:
    """A registration whose doubt is that of the touches alone.

    Beacons that the same survey places again have its errors too, so that they cancel where later
    touches are held against the map.
    """
    if survey is None or survey.cov is None or is_touched_by(survey, registration):
        return registration
    cov = np.array(registration.cov, float)
    cov[PLANE, PLANE] -= np.array(survey.cov, float)
    return registration.model_copy(update={"cov": cov.tolist()})


def doubt_of(survey: DisplaySurvey, name: str, simulated: bool = False) -> list[Finding]:
    """What speaks against relying on a survey, for a registration by footage simulated or not."""
    found = []
    if simulated and not (survey.header and survey.header.basis == "simulated"):
        found.append(
            Finding(
                "note", "survey-of-another-wall", name, "",
                "tells of a real picture and wall, of which simulated footage knows nothing",
                "leave --survey out, unless its readings are of the simulated wall",
            )
        )  # fmt: skip
    if survey.verdict is None or survey.verdict.vouched:
        return found
    return [
        *found,
        Finding(
            "warning", "survey-not-vouched", name, "",
            f"is not vouched for: {'; '.join(survey.verdict.reasons)}", "survey the picture anew",
        )
    ]  # fmt: skip


def unheeded(registration: Registration, rig_file: Path) -> list[Finding]:
    """That a survey lies beside the rig and the registration was made without any."""
    heeded = registration.valid_for.survey is not None
    if heeded or _touched_by(registration, rig_path(rig_file).parent / SURVEY_FILE):
        return []
    return left_out(rig_file, "the registration was made without it")


def left_out(rig_file: Path, why: str = "none was given") -> list[Finding]:
    """That a survey lies beside the rig, and is not used."""
    if not (rig_path(rig_file).parent / SURVEY_FILE).is_file():
        return []
    return [
        Finding(
            "warning", "survey-unused", SURVEY_FILE, "",
            f"lies beside the rig and is not used: {why}",
            f"register anew with --survey {SURVEY_FILE}, or take the file away",
        )
    ]  # fmt: skip
