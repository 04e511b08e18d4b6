"""The displayed picture's survey: readings in, the map from display pixels to metres out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.survey_places import CORNERS, index_of, places_of, surface_asked
from rushlight.records.arrays import Array
from rushlight.records.document import read_document, write_bytes, write_text
from rushlight.records.registration import DisplaySurvey, SurveyReading, Verdict
from rushlight.records.rig import Surface
from rushlight.records.survey_readings import SurveyReadings
from rushlight.register.survey import (
    GAP_STD_M,
    RULER_STD_M,
    Gap,
    Length,
    PictureFit,
    Spot,
    Unknown,
    WallFit,
    fit_picture,
    fit_wall,
    suspects,
    too_great,
)
from rushlight.register.survey_picture import picture

READINGS_FILE = "readings.toml"
SURVEY_FILE = "survey.json"
"""Beside the rig, where `register` and `run` look for it."""


@dataclass(frozen=True)
class SurveyResult:
    """A picture survey, and what to tell of it.

    Attributes
    ----------
    survey
        As written.
    corners_m, corner_std_m
        (4, 2) places of the picture's corners from the lower left on, anticlockwise, and their
        doubt along x and y [m].
    rms_std_m
        Root-mean-square doubt of a place of the picture [m].
    next_reading, next_rms_std_m
        Marks between which one more reading would tell most, and the doubt with it [m].
    findings
        What the user should know.
    survey_path, picture_path
        The files written.
    """

    survey: DisplaySurvey
    corners_m: Array
    corner_std_m: Array
    rms_std_m: float
    next_reading: tuple[str, str]
    next_rms_std_m: float
    findings: tuple[Finding, ...]
    survey_path: Path
    picture_path: Path

    def as_dict(self) -> dict[str, Any]:
        """What is told, as plain values in the units in which it is shown."""
        found = self.survey
        verdict = found.verdict or Verdict(vouched=False, reasons=[])
        return {
            "basis": found.header.basis if found.header else "measured",
            "surface": found.surface,
            "vouched": verdict.vouched,
            "reasons": verdict.reasons,
            "corners": [
                {
                    "corner": name,
                    "x_mm": round(float(x) * 1e3, 1) + 0.0,
                    "x_std_mm": round(float(x_std) * 1e3, 1),
                    "y_mm": round(float(y) * 1e3, 1) + 0.0,
                    "y_std_mm": round(float(y_std) * 1e3, 1),
                }
                for name, (x, y), (x_std, y_std) in zip(
                    CORNERS, self.corners_m, self.corner_std_m, strict=True
                )
            ],
            "readings": [
                {
                    "kind": each.kind,
                    "where": each.where,
                    "read_mm": round(each.read_m * 1e3, 1),
                    "told_mm": round(each.told_m * 1e3, 1),
                    "missed_mm": round((each.read_m - each.told_m) * 1e3, 1) + 0.0,
                    "std_mm": round(each.std_m * 1e3, 1),
                    "score": round(each.score, 1) if np.isfinite(each.score) else None,
                    "suspect": each.suspect,
                }
                for each in found.readings or []
            ],
            "misfit": round(found.misfit or 0.0, 2),
            "freedom": found.freedom,
            "rms_std_mm": round(self.rms_std_m * 1e3, 2),
            "next_reading": list(self.next_reading),
            "next_rms_std_mm": round(self.next_rms_std_m * 1e3, 2),
            "flatness_mm": None
            if found.flatness_m is None
            else [round(each * 1e3, 2) for each in found.flatness_m],
            "findings": [each.as_dict() for each in self.findings],
            "survey": str(self.survey_path),
            "picture": str(self.picture_path),
        }


def template(rig_file: Path, out: Path | None = None) -> Path:
    """Write a commented file for the readings, for the user to fill in.

    Raises
    ------
    RushlightError
        When there is such a file already.
    """
    rig, _ = load_rig(rig_file)
    surface = surface_asked(rig, None, rig_path(rig_file).name)
    path = rig_path(rig_file).parent / READINGS_FILE if out is None else out
    if path.exists():
        raise RushlightError.of(
            str(path), "", "exists already and is not overwritten", "choose another with --out",
            "exists",
        )  # fmt: skip
    text = (Path(__file__).parent / "template_readings.toml").read_text(encoding="utf-8")
    width, height = surface.width.value, surface.height.value
    lengths = {"WIDTH": width, "HEIGHT": height, "DIAGONAL": float(np.hypot(width, height))}
    for word, value in lengths.items():
        text = text.replace(word, f"{value * 1e3:.0f} mm")
    write_text(path, text.replace("SURFACE", surface.id))
    return path


def survey(
    rig_file: Path,
    readings_path: Path | None = None,
    out: Path | None = None,
    write: bool = True,
) -> SurveyResult:
    """Find the displayed picture's shape from a few readings.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.
    readings_path
        The readings; ``readings.toml`` beside the rig when left out.
    out
        Survey to write; ``survey.json`` beside the rig when left out.
    write
        Whether to write it, and its picture.

    Returns
    -------
    SurveyResult
        Written even if it is not vouched for; its verdict then says why.

    Raises
    ------
    RushlightError
        When an input cannot be used, or the readings leave the picture's shape open.
    """
    folder = rig_path(rig_file).parent
    path = folder / READINGS_FILE if readings_path is None else readings_path
    found = survey_of(rig_file, read_document(SurveyReadings, path), path.name, out)
    if write:
        found.survey.write(found.survey_path)
        write_bytes(found.picture_path, picture(found.survey, found.corners_m, found.corner_std_m))
    return found


def survey_of(
    rig_file: Path, readings: SurveyReadings, name: str = READINGS_FILE, out: Path | None = None
) -> SurveyResult:
    """As `survey`, of readings that are at hand, and nothing is written.

    Parameters
    ----------
    rig_file, out
        As of `survey`.
    readings, name
        The readings, and what messages call their file.

    Raises
    ------
    RushlightError
        When an input cannot be used, or the readings leave the picture's shape open.
    """
    rig, _ = load_rig(rig_file)
    surface = surface_asked(rig, readings.surface, name)
    names, marks_px, corners_px = places_of(readings, surface, name)
    lengths, spots = _readings_of(readings, names, name)
    size_m = np.array([surface.width.value, surface.height.value])
    ruler_m = readings.ruler_doubt.value if readings.ruler_doubt else RULER_STD_M
    try:
        fit = fit_picture(marks_px, corners_px, size_m, lengths, spots, ruler_std_m=ruler_m)
    except Unknown as error:
        raise _open_shape(error, names, len(lengths) + 2 * len(spots), name) from None
    wall = _wall(readings, fit, marks_px, names, surface, name)
    wrong = suspects(fit)
    vouched, reasons = _judge(fit, wall, wrong, _words(readings))
    stretch = max(1.0, fit.misfit / fit.freedom) if too_great(fit.misfit, fit.freedom) else 1.0
    bend_stretch = 1.0
    if wall is not None and too_great(wall.misfit, len(wall.told_m)):
        bend_stretch = wall.misfit / len(wall.told_m)
    told = DisplaySurvey(
        surface=surface.id,
        surface_from_display=fit.surface_from_display.tolist(),
        cov=(fit.cov_m2 * stretch).tolist(),
        flatness_m=None if wall is None else wall.flatness_m.tolist(),
        flatness_cov=None if wall is None else (wall.cov_m2 * bend_stretch).tolist(),
        flatness_rms_m=None if wall is None else surface.flatness.value,
        size_m=(float(size_m[0]), float(size_m[1])),
        display_px=surface.pixels,
        readings=_records(readings, fit, wall, wrong),
        misfit=fit.misfit,
        freedom=fit.freedom,
        verdict=Verdict(vouched=vouched, reasons=reasons),
    ).stamped(
        "simulated" if readings.simulated else "measured",
        inputs={
            "rig": rig.content_hash(),
            "readings": readings.content_hash(),
            **({"registration": touched} if (touched := readings.by_registration) else {}),
        },
    )
    out = rig_path(rig_file).parent / SURVEY_FILE if out is None else out
    (one, other), now_m, then_m = fit.next_best
    return SurveyResult(
        survey=told,
        corners_m=fit.corners_m,
        # What is agreed upon has no doubt, and rounding may leave a little less than none.
        corner_std_m=np.sqrt(np.maximum(np.diag(fit.corners_cov_m2) * stretch, 0.0)).reshape(4, 2),
        rms_std_m=now_m * stretch**0.5,
        next_reading=(names[one], names[other]),
        next_rms_std_m=then_m * stretch**0.5,
        findings=tuple(_findings(readings, fit, size_m, rig_path(rig_file).name)),
        survey_path=out,
        picture_path=out.with_suffix(".svg"),
    )


def _readings_of(
    readings: SurveyReadings, names: list[str], name: str
) -> tuple[list[Length], list[Spot]]:
    usual = readings.ruler_doubt.value if readings.ruler_doubt else RULER_STD_M
    lengths = []
    for number, one in enumerate(readings.lengths):
        where = f"{name}: lengths[{number}].between"
        first, second = (index_of(names, mark, where) for mark in one.between)
        if first == second:
            raise RushlightError.of(
                where, str(list(one.between)), "names one mark twice", "name two marks", "one-mark"
            )
        std = one.doubt.value if one.doubt else usual
        lengths.append(Length(first, second, one.length.value, std))
    spots = [
        Spot(
            index_of(names, one.mark, f"{name}: places[{number}].mark"),
            (one.right.value, one.up.value),
            one.doubt.value if one.doubt else usual,
        )
        for number, one in enumerate(readings.places)
    ]
    return lengths, spots


def _open_shape(error: Unknown, names: list[str], count: int, name: str) -> RushlightError:
    remedy = (
        "check that no reading stands beside the wrong marks"
        if error.measure is None
        else f"measure from {names[error.measure[0]]} to {names[error.measure[1]]} as well"
    )
    return RushlightError.of(
        name, f"{count} readings", f"cannot be used: {error}", remedy, "survey-open"
    )


def _wall(
    readings: SurveyReadings,
    fit: PictureFit,
    marks_px: Array,
    names: list[str],
    surface: Surface,
    name: str,
) -> WallFit | None:
    if not readings.gaps:
        return None
    usual = readings.gap_doubt.value if readings.gap_doubt else GAP_STD_M
    gaps = []
    for number, one in enumerate(readings.gaps):
        ends = [index_of(names, mark, f"{name}: gaps[{number}].between") for mark in one.between]
        at = index_of(names, one.at, f"{name}: gaps[{number}].at")
        gaps.append(
            Gap(ends[0], ends[1], at, one.gap.value, one.doubt.value if one.doubt else usual)
        )
    if surface.flatness.value <= 0.0:
        raise RushlightError.of(
            f"rig.toml: surfaces.{surface.id}.flatness", str(surface.flatness),
            "says that the surface is flat, so that gaps tell nothing",
            'write what you expect of it, such as "3 mm"', "survey-flat",
        )  # fmt: skip
    from rushlight.physics.geometry import apply_homography

    places = apply_homography(fit.surface_from_display, marks_px)
    size = np.array([surface.width.value, surface.height.value])
    try:
        return fit_wall(places, size, surface.flatness.value, gaps)
    except ValueError as error:
        number = int(error.args[1])
        given = readings.gaps[number]
        raise RushlightError.of(
            f"{name}: gaps[{number}].at", f'"{given.at}"',
            f"does not lie between {given.between[0]} and {given.between[1]}",
            "name a mark under the straight edge", "gap-aside",
        ) from None  # fmt: skip


def _words(readings: SurveyReadings) -> list[str]:
    """Each reading of the picture in words, a place as its two coordinates."""
    words = [f"{one.between[0]} to {one.between[1]}" for one in readings.lengths]
    for one in readings.places:
        words += [f"{one.mark}, to the right", f"{one.mark}, up"]
    return words


def _records(
    readings: SurveyReadings, fit: PictureFit, wall: WallFit | None, wrong: Array
) -> list[SurveyReading]:
    usual = readings.ruler_doubt.value if readings.ruler_doubt else RULER_STD_M
    usual_gap = readings.gap_doubt.value if readings.gap_doubt else GAP_STD_M
    read = [(one.length.value, one.doubt) for one in readings.lengths]
    for spot in readings.places:
        read += [(spot.right.value, spot.doubt), (spot.up.value, spot.doubt)]
    kinds = ["length"] * len(readings.lengths) + ["place"] * (2 * len(readings.places))
    records = [
        SurveyReading(
            kind="length" if kind == "length" else "place", where=where, read_m=value,
            told_m=float(told), std_m=doubt.value if doubt else usual, score=float(score),
            suspect=bool(suspect),
        )
        for kind, where, (value, doubt), told, score, suspect in zip(
            kinds, _words(readings), read, fit.told_m, fit.score, wrong, strict=True
        )
    ]  # fmt: skip
    for number, gap in enumerate(readings.gaps):
        assert wall is not None
        records.append(
            SurveyReading(
                kind="gap", where=f"{gap.between[0]} to {gap.between[1]}, at {gap.at}",
                read_m=gap.gap.value, told_m=float(wall.told_m[number]),
                std_m=gap.doubt.value if gap.doubt else usual_gap,
                score=float(wall.score[number]),
            )
        )  # fmt: skip
    return records


def _judge(
    fit: PictureFit, wall: WallFit | None, wrong: Array, words: list[str]
) -> tuple[bool, list[str]]:
    against = []
    if fit.freedom == 0:
        against.append("no reading is left over that would show a mistake; take one more")
    if too_great(fit.misfit, fit.freedom):
        against.append(
            f"the readings contradict one another: misfit {fit.misfit:.1f} where about "
            f"{fit.freedom} is expected"
        )
        bad = [words[index] for index in np.flatnonzero(wrong)]
        against.append(
            f"{bad[0]} is probably wrong; read it again"
            if bad
            else "nothing tells which one is wrong; read each again, or take one more"
        )
    if wall is not None and too_great(wall.misfit, len(wall.told_m)):
        against.append("the gaps are greater than the rig's flatness explains; state it anew")
    if against:
        return False, against
    return True, [f"{len(words)} readings agree: misfit {fit.misfit:.1f}, {fit.freedom} expected"]


def _findings(
    readings: SurveyReadings, fit: PictureFit, size_m: Array, rig_name: str
) -> list[Finding]:
    found = []
    if readings.ruler_doubt is None and any(
        one.doubt is None for one in (*readings.lengths, *readings.places)
    ):
        found.append(
            Finding(
                "note", "ruler-usual", "ruler_doubt", "",
                f"is not told; {RULER_STD_M * 1e3:g} mm is supposed, common practice without a "
                "source",
                "write your own where you know it",
            )
        )  # fmt: skip
    corners = fit.corners_m
    sides = np.array(
        [np.linalg.norm(corners[1] - corners[0]), np.linalg.norm(corners[3] - corners[0])]
    )
    if np.any(np.abs(sides / size_m - 1.0) > 0.05):
        found.append(
            Finding(
                "warning", "survey-size", f"{rig_name}: surfaces",
                f"{size_m[0]:.3f} × {size_m[1]:.3f} m",
                f"is not the size of the picture as surveyed, {sides[0]:.3f} × {sides[1]:.3f} m",
                "mend width and height; the plan is about them",
            )
        )  # fmt: skip
    return found
