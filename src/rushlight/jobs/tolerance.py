"""How sure a plan is: `tolerance.json` and its picture, in the plan's folder."""

from __future__ import annotations

from pathlib import Path

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.plan import default_folder
from rushlight.jobs.progress import Progress, silent
from rushlight.plan.tolerance import DRAWS, tolerance_of
from rushlight.records.document import write_bytes
from rushlight.records.tolerance import Tolerance

TOLERANCE_FILE = "tolerance.json"
PICTURE_FILE = "tolerance.svg"
_FEWEST, _MOST = 20, 100_000


def tolerance(
    rig: Path,
    out: Path | None = None,
    draws: int = DRAWS,
    seed: int = 1,
    progress: Progress = silent,
) -> Tolerance:
    """Tell how sure a rig's plan is, and write it with its picture.

    Parameters
    ----------
    rig
        The rig's file, or its folder.
    out
        Folder to write to; by default ``plan`` beside the rig.
    draws
        20 to 100 000.
    seed
        The same seed gives the same result, ≥ 0.
    progress
        Told how far the work is.

    Raises
    ------
    RushlightError
        When the rig is wrong or cannot be computed, a number is out of range, or the folder
        cannot be written.
    """
    if not _FEWEST <= draws <= _MOST:
        raise RushlightError.of(
            "draws",
            str(draws),
            f"is outside {_FEWEST} to {_MOST}",
            f"give {DRAWS}, or more for a narrower interval",
            "draws",
        )
    if seed < 0:
        raise RushlightError.of(
            "seed", str(seed), "is below 0", "give a whole number from 0 on", "seed"
        )
    folder = default_folder(rig) if out is None else out
    document, shelf = load_rig(rig)
    found = tolerance_of(document, shelf, draws, seed, rig_path(rig).name, progress)
    found = found.stamped("predicted", inputs={"rig": found.rig}, seed=seed)
    progress("drawing", 0.0)
    from rushlight.plan.tolerance_picture import tolerance_picture

    write_bytes(folder / PICTURE_FILE, tolerance_picture(found))
    found.write(folder / TOLERANCE_FILE)
    progress("drawing", 1.0)
    return found
