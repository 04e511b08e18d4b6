"""Calibrate a lens: look at pictures of a printed target, write what they tell of the lens."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from rushlight.capture.footage import Footage
from rushlight.capture.open import open_footage
from rushlight.capture.pictures import PICTURE_SUFFIXES, natural_key
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.belonging import Source
from rushlight.jobs.lens_target import refused
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.told import keep_told
from rushlight.records.arrays import Array
from rushlight.records.document import write_bytes
from rushlight.records.registration import LensCalibration
from rushlight.register.lens_calibrate import LEAST_TO_FIT, LensSolved, solve_lens
from rushlight.register.lens_judge import calibration_of, findings_of
from rushlight.register.lens_next import NextView, first_view, next_view
from rushlight.register.lens_picture import picture
from rushlight.register.lens_views import WINDOWS, Board, Gatherer

_TELL_EVERY = 10


@dataclass(frozen=True)
class CalibrateResult:
    """A lens calibration, and what to tell of it.

    Attributes
    ----------
    calibration
        As written.
    solved
        The lens with its views.
    next
        The view that would add most; None where none can be named.
    findings
        What the user should know.
    lens_path, picture_path
        The files written.
    """

    calibration: LensCalibration
    solved: LensSolved
    next: NextView | None
    findings: tuple[Finding, ...]
    lens_path: Path
    picture_path: Path

    @property
    def vouched(self) -> bool:
        """Whether the lens may be relied on."""
        verdict = self.calibration.verdict
        return verdict is not None and verdict.vouched

    def as_dict(self) -> dict[str, Any]:
        """What is told, as plain values in the units in which it is shown; null is unknown."""
        made, solved = self.calibration, self.solved
        std = np.sqrt(np.diag(solved.cov))
        names = ("fx", "fy", "cx", "cy", "k1", "k2", "p1", "p2", "k3")
        return {
            "basis": made.header.basis if made.header else "measured",
            "camera": made.camera,
            "vouched": self.vouched,
            "reasons": made.verdict.reasons if made.verdict else [],
            "size_px": list(made.size_px),
            "parameters": [
                {
                    "name": name,
                    "value": round(float(value), 2 if i < 4 else 5),
                    "std": _rounded(float(each), 2 if i < 4 else 5),
                    "unit": "px" if i < 4 else "1",
                }
                for i, (name, value, each) in enumerate(
                    zip(names, solved.fit.params, std, strict=True)
                )
            ],
            "rms_px": _rounded(solved.fit.rms_px, 3),
            "held_out_rms_px": _rounded(solved.held_out_rms_px, 3),
            "covered_percent": round(100 * solved.covered),
            "doubt_seen_px": _rounded(solved.doubt_seen_px, 2),
            "doubt_worst_px": _rounded(solved.doubt_worst_px, 2),
            "views": [
                {
                    "name": view.name,
                    "used": view.used,
                    "rms_px": _rounded(view.rms_px, 3),
                    "held_out_rms_px": _rounded(view.held_out_rms_px, 3),
                    "tilt_deg": round(math.degrees(view.tilt_rad)),
                    "range_m": _rounded(view.range_m, 3),
                    "share_percent": round(100 * view.share),
                    "edge_px": _rounded(view.edge_px, 2),
                    "window_px": 2 * view.window_px + 1,
                }
                for view in solved.views
            ],
            "next": self.next.words if self.next else None,
            "next_doubt_px": _rounded(self.next.doubt_then_px, 2) if self.next else None,
            "doubt_now_px": _rounded(self.next.doubt_now_px, 2) if self.next else None,
            "findings": [each.as_dict() for each in self.findings],
            "lens": str(self.lens_path),
            "picture": str(self.picture_path),
        }


def calibrate(
    pictures: Path,
    board: Board,
    out: Path = Path("lens.json"),
    camera: str | None = None,
    rig_file: Path | None = None,
    window_px: int | None = None,
    leave_out: Iterable[str] = (),
    progress: Progress = silent,
) -> CalibrateResult:
    """The lens that photographs or footage of the board tell; written with its verdict.

    Parameters
    ----------
    pictures
        What `open_footage` reads: of a folder of pictures, all are taken; of footage, the frames
        in which the board is held still in a new place.
    board
        From `board_of`.
    out
        Calibration to write; the picture is drawn beside it.
    camera
        Id of the camera; by default the rig's only one, or "camera" without a rig.
    rig_file
        A rig with that camera, whose picture size must be that of the pictures.
    window_px
        Half-window of the corners [px]; None chooses by fit.
    leave_out
        Names of pictures not to use.
    progress
        Told the share of frames done.

    Raises
    ------
    RushlightError
        When an input cannot be used, or the views tell no lens.
    """
    if window_px is not None and window_px not in WINDOWS:
        raise refused(
            "--window",
            str(window_px),
            f"is none of the half-windows {', '.join(map(str, WINDOWS))} px",
            "leave it out, and it is chosen by fit",
        )
    footage = open_footage(pictures, camera=camera or "camera")
    name, inputs = camera_named(camera, rig_file, footage)
    names = picture_names(pictures, footage)
    skip = set(leave_out)
    if skip and skip - set(names or ()):
        raise refused(
            "--leave-out",
            ", ".join(sorted(skip - set(names or ()))),
            f"is no picture of {pictures}",
            "give names as they stand in the folder",
        )
    gatherer = Gatherer(board, moving=names is None)
    for frame, image in pictures_of(footage, names, progress):
        if frame not in skip:
            gatherer.offer(image, frame)
    return calibrate_gathered(
        gatherer,
        footage.size_px,
        name,
        out,
        basis="simulated" if footage.simulated else "measured",
        inputs=inputs | {"pictures": footage.content_hash},
        window_px=window_px,
        earlier=tuple(each for each in footage.findings if each.code != "rate-assumed"),
    )


def calibrate_gathered(
    gatherer: Gatherer,
    size_px: tuple[int, int],
    camera: str,
    out: Path,
    basis: Literal["measured", "simulated"] = "measured",
    inputs: dict[str, str] | None = None,
    window_px: int | None = None,
    earlier: tuple[Finding, ...] = (),
) -> CalibrateResult:
    """The lens that gathered views tell, from a live camera or from files; written.

    Parameters
    ----------
    gatherer
        Fed with frames, one after another, by `Gatherer.offer`.
    size_px
        Columns and rows of the frames.
    camera
        Id of the camera.
    out
        Calibration to write; the picture is drawn beside it.
    basis, inputs
        Of the record.
    window_px
        Half-window of the corners [px]; None chooses by fit.
    earlier
        Findings to tell before these.

    Raises
    ------
    RushlightError
        When the views are too few, or tell no lens.
    """
    if out.suffix == ".png":
        raise refused(
            "--out", str(out), "is the name its picture would get", "end its name in .json"
        )
    board = gatherer.board
    if len(gatherer.views) < LEAST_TO_FIT:
        raise _too_few(gatherer)
    try:
        solved = solve_lens(gatherer.views, board, size_px, window_px)
    except (ValueError, np.linalg.LinAlgError) as error:
        raise RushlightError.of(
            "views",
            f"{len(gatherer.views)} of the board",
            "tell no lens: they leave the focal length undetermined",
            "take more, tilted by 30 to 45°, each to another side",
            "lens-undetermined",
        ) from error
    made = calibration_of(solved, board, camera).stamped(basis, inputs=inputs)
    vouched = made.verdict is not None and made.verdict.vouched
    if not vouched and out.exists():
        # A lens that was vouched for is not lost to one that is not.
        out = out.with_stem(f"{out.stem}-not-vouched")
    drawn = out.with_suffix(".png")
    made.write(out)
    write_bytes(drawn, picture(solved, camera, basis, vouched))
    findings = (*earlier, *_passed_over(gatherer), *findings_of(solved, board))
    result = CalibrateResult(made, solved, next_view(solved, board), findings, out, drawn)
    keep_told("calibrate", out, result)
    return result


def guide(gatherer: Gatherer, size_px: tuple[int, int]) -> NextView:
    """Which view to take next, while views are still being gathered from a live camera.

    Takes some tenths of a second from the third view on: ask when a view was kept, not for
    every frame.
    """
    if len(gatherer.views) < LEAST_TO_FIT:
        return first_view()
    try:
        solved = solve_lens(gatherer.views, gatherer.board, size_px)
    except (ValueError, np.linalg.LinAlgError):
        return first_view()
    return next_view(solved, gatherer.board) or first_view()


def camera_named(
    camera: str | None, rig_file: Path | None, footage: Source
) -> tuple[str, dict[str, str]]:
    """The camera's id, and the rig's hash where there is one."""
    if rig_file is None:
        return camera or footage.camera, {}
    rig, shelf = load_rig(rig_file)
    file = rig_path(rig_file).name
    ids = [each.id for each in rig.cameras]
    if camera is None and len(ids) > 1:
        raise refused("--camera", "", f"is needed: {file} has {', '.join(ids)}", "name one")
    if camera is not None and camera not in ids:
        raise refused("--camera", camera, f"is no camera of {file}", f"give {' or '.join(ids)}")
    chosen = rig.cameras[ids.index(camera or ids[0])]
    wide, high = shelf.camera(chosen.part).size_px
    if (wide, high) != footage.size_px:
        raise refused(
            str(footage.name),
            f"{footage.size_px[0]}×{footage.size_px[1]} px",
            f'is not the picture size of camera "{chosen.id}" in {file}, {wide}×{high} px',
            "take the pictures at the size that the rig uses",
            "size-differs",
        )
    return chosen.id, {"rig": rig.content_hash()}


def picture_names(path: Path, footage: Footage) -> list[str] | None:
    """Names of the pictures of a folder, in the order in which they are read; else None."""
    if not path.is_dir() or footage.header is not None:
        return None
    inside = [each.name for each in path.iterdir() if each.is_file() and each.name[0] != "."]
    names = [each for each in inside if Path(each).suffix.lower() in PICTURE_SUFFIXES]
    return sorted(names, key=natural_key)


def pictures_of(
    footage: Footage, names: list[str] | None, progress: Progress
) -> Iterator[tuple[str, Array]]:
    """Name and picture (H, W) of every frame."""
    count = footage.frames or 0
    for number, frame in enumerate(footage):
        if number % _TELL_EVERY == 0 and count:
            progress("looking for the board", number / count)
        if frame.image is not None:
            yield (names[number] if names else f"frame {frame.index}"), frame.image
    progress("looking for the board", 1.0)


def _passed_over(gatherer: Gatherer) -> list[Finding]:
    """Pictures in which nothing could be measured; of a moving board, only those too small."""
    found = []
    for why, names in gatherer.passed.items():
        if gatherer.moving and why != "board too small in the picture":
            continue
        some = ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")
        found.append(
            Finding(
                "note",
                "view-passed-over",
                some,
                "",
                f"was passed over: {why}" if len(names) == 1 else f"were passed over: {why}",
                "",
            )
        )
    return found


def _too_few(gatherer: Gatherer) -> RushlightError:
    board, count = gatherer.board, len(gatherer.views)
    passed = ", ".join(f"{why}: {len(names)}" for why, names in gatherer.passed.items())
    return RushlightError.of(
        "views",
        f"{count} of a board of {board.columns} × {board.rows} inner corners",
        f"{'is' if count == 1 else 'are'} too few to tell a lens"
        + (f" ({passed})" if passed else ""),
        "see that the whole board is in the picture and dark on light as the camera sees it "
        "(many inks vanish in the infrared: look first, print with carbon toner), and "
        f"take {LEAST_TO_FIT} at the very least, better a dozen",
        "views-too-few",
    )


def _rounded(value: float, digits: int) -> float | None:
    return round(value, digits) if math.isfinite(value) else None
