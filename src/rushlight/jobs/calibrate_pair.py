"""Calibrate two cameras at once: photographs of one board, taken by both at the same moments."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.capture.open import open_footage
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.calibrate import camera_named, picture_names, pictures_of
from rushlight.jobs.lens_target import refused
from rushlight.jobs.progress import Progress, silent
from rushlight.records.pair_calibration import PairCalibration
from rushlight.records.registration import LensCalibration
from rushlight.register.lens_calibrate import LEAST_TO_FIT
from rushlight.register.lens_judge import calibration_of
from rushlight.register.lens_pair_solve import PairSolved, pair_findings, pair_record, solve_pair
from rushlight.register.lens_views import WINDOWS, Board, View, look


@dataclass(frozen=True)
class PairResult:
    """A calibrated pair, and what to tell of it.

    Attributes
    ----------
    pair, lenses
        As written: how the cameras stand, and each lens.
    findings
        What the user should know.
    pair_path, lens_paths
        The files written.
    """

    pair: PairCalibration
    lenses: tuple[LensCalibration, LensCalibration]
    findings: tuple[Finding, ...]
    pair_path: Path
    lens_paths: tuple[Path, Path]

    def as_dict(self) -> dict[str, Any]:
        """What is told, as plain values in the units in which it is shown."""
        pair = self.pair
        std = np.sqrt(np.diag(np.array(pair.cov)))
        distance, distance_std = pair.distance_m
        return {
            "basis": pair.header.basis if pair.header else "measured",
            "vouched": pair.verdict.vouched,
            "reasons": pair.verdict.reasons,
            "cameras": [
                {
                    "camera": name,
                    "f_px": [round(float(v), 2) for v in params[:2]],
                    "f_std_px": [round(float(v), 2) for v in std[9 * i : 9 * i + 2]],
                    "c_px": [round(float(v), 2) for v in params[2:4]],
                    "c_std_px": [round(float(v), 2) for v in std[9 * i + 2 : 9 * i + 4]],
                    "distortion": [round(float(v), 5) for v in params[4:]],
                }
                for i, (name, params) in enumerate(zip(pair.cameras, pair.params, strict=True))
            ],
            "distance_mm": round(distance * 1e3, 2),
            "distance_std_mm": round(distance_std * 1e3, 2),
            "shift_mm": [round(v * 1e3, 2) for v in pair.translation_m],
            "turn_std_mrad": [round(float(v) * 1e3, 2) for v in std[18:21]],
            "rms_px": round(pair.rms_px, 3),
            "views": [
                {
                    "names": list(view.names),
                    "used": view.used,
                    "rms_px": [round(v, 3) for v in view.rms_px],
                }
                for view in pair.views
            ],
            "findings": [each.as_dict() for each in self.findings],
            "pair": str(self.pair_path),
            "lenses": [str(path) for path in self.lens_paths],
        }


def calibrate_pair(
    pictures: Path,
    beside: Path,
    board: Board,
    out: Path = Path("pair.json"),
    cameras: tuple[str | None, str | None] = (None, None),
    rig_file: Path | None = None,
    window_px: int | None = None,
    progress: Progress = silent,
) -> PairResult:
    """Both lenses and how two cameras stand to one another, by pictures of one board.

    Parameters
    ----------
    pictures, beside
        Folders of the one camera's pictures and the other's; in the order of their names the
        first of each were taken at one moment, and so on.
    board
        From `board_of`, its squares measured: the distance of the cameras comes from them.
    out
        Pair to write; both lenses are written beside it.
    cameras
        Ids of the cameras; of a rig, the first two by default.
    rig_file
        A rig with these cameras.
    window_px
        Half-window of the corners [px]; None chooses by fit.
    progress
        Told the share of pictures done.

    Raises
    ------
    RushlightError
        When an input cannot be used, or the boards tell no pair.
    """
    if window_px is not None and window_px not in WINDOWS:
        raise refused(
            "--window",
            str(window_px),
            f"is none of the half-windows {', '.join(map(str, WINDOWS))} px",
            "leave it out, and it is chosen by fit",
        )
    defaults = ("one", "other") if rig_file is None else (None, None)
    opened = [
        open_footage(path, camera=name or default or "camera")
        for path, name, default in zip((pictures, beside), cameras, defaults, strict=True)
    ]
    named = [
        camera_named(name or default, rig_file, footage)
        for name, default, footage in zip(cameras, defaults, opened, strict=True)
    ]
    if named[0][0] == named[1][0]:
        raise refused("--other-camera", named[0][0], "is the same camera twice", "name two cameras")
    lists = [picture_names(path, f) for path, f in zip((pictures, beside), opened, strict=True)]
    if lists[0] is None or lists[1] is None or len(lists[0]) != len(lists[1]):
        raise RushlightError.of(
            "--beside",
            f"{len(lists[0] or [])} and {len(lists[1] or [])} pictures",
            "do not pair: both must be folders with as many pictures, taken at the same moments",
            "leave out those that only one camera took",
            "pictures-unpaired",
        )
    seen: list[list[View | None]] = []
    for i, (footage, names) in enumerate(zip(opened, lists, strict=True)):
        own: list[View | None] = []
        for name, image in pictures_of(footage, names, progress if i else silent):
            own.append(look(image, name, board))
        seen.append(own)
    both = [(a, b) for a, b in zip(*seen, strict=True) if a is not None and b is not None]
    if len(both) < LEAST_TO_FIT:
        raise RushlightError.of(
            "pictures",
            f"{len(both)} pairs",
            f"show the whole board to both cameras, {LEAST_TO_FIT} at least are needed",
            "hold the board where both cameras see all of it",
            "views-few",
        )
    ids = (named[0][0], named[1][0])
    try:
        solved = solve_pair(
            ([a for a, _ in both], [b for _, b in both]),
            board,
            (opened[0].size_px, opened[1].size_px),
            window_px,
        )
    except (ValueError, np.linalg.LinAlgError) as error:
        raise RushlightError.of(
            "pictures",
            f"{len(both)} pairs",
            "tell no pair: they leave a lens or the distance undetermined",
            "take more, the board tilted by 30 to 45°, each to another side",
            "pair-undetermined",
        ) from error
    return _written(solved, board, ids, out, named[0][1], opened, seen)


def _written(solved, board, ids, out, inputs, opened, seen):  # type: ignore[no-untyped-def]
    basis = "simulated" if any(each.simulated for each in opened) else "measured"
    inputs = inputs | {
        "pictures": opened[0].content_hash,
        "beside": opened[1].content_hash,
    }
    pair = pair_record(solved, board, ids).stamped(basis, inputs=inputs)
    pair.write(out)
    lenses = _lenses(solved, board, ids, basis, inputs)
    paths = tuple(out.with_name(f"lens-{name}.json") for name in ids)
    for lens, path in zip(lenses, paths, strict=True):
        lens.write(path)
    dark = sum(a is None or b is None for a, b in zip(*seen, strict=True))
    findings = pair_findings(solved, board, ids)
    if dark:
        findings.append(
            Finding(
                "note", "view-passed-over", f"{dark} of the pairs", "",
                "were passed over: the whole board is not in both pictures", "",
            )
        )  # fmt: skip
    return PairResult(pair, lenses, tuple(findings), out, paths)


def _lenses(
    solved: PairSolved, board: Board, ids: tuple[str, str], basis: Any, inputs: dict[str, str]
) -> tuple[LensCalibration, LensCalibration]:
    """Each camera's record with the lens of the pair, widened where its views disagree."""
    made = []
    params = (solved.fit.one, solved.fit.other)
    for i, (own, name) in enumerate(zip(solved.alone, ids, strict=True)):
        cov = solved.fit.cov[9 * i : 9 * i + 9, 9 * i : 9 * i + 9] * own.stretch**2
        record = calibration_of(own, board, name).model_copy(
            update={"params": params[i].tolist(), "cov": cov.tolist()}
        )
        made.append(record.stamped(basis, inputs=inputs))
    return made[0], made[1]
