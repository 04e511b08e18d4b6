"""How sure a plan is: `tolerance.json` and its picture, in the plan's folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import get_args

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.plan import default_folder
from rushlight.jobs.progress import Progress, silent
from rushlight.plan.tolerance import DRAWS, tolerance_of
from rushlight.records.document import write_bytes
from rushlight.records.quantity import Dimension, QuantityError, parse_quantity
from rushlight.records.tolerance import CauseName, Tolerance

TOLERANCE_FILE = "tolerance.json"
PICTURE_FILE = "tolerance.svg"
_FEWEST, _MOST = 20, 100_000
CAUSES: tuple[CauseName, ...] = get_args(CauseName)
DIMENSIONS: dict[CauseName, Dimension] = {"camera-place": "length", "camera-aim": "angle"}
GREATEST: dict[Dimension, float] = {"length": 1.0, "angle": 0.5, "share": 2.0}
"""Greatest deviation that is taken as meant: 1 m, about 29°, twice the value (our own choice)."""


def tolerance(
    rig: Path,
    out: Path | None = None,
    draws: int = DRAWS,
    seed: int = 1,
    progress: Progress = silent,
    doubts: Sequence[str] = (),
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
    doubts
        "cause=standard deviation" of causes that the user knows better, 0 for one that is known.

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
    said = said_of(doubts)
    folder = default_folder(rig) if out is None else out
    document, shelf = load_rig(rig)
    found = tolerance_of(document, shelf, draws, seed, rig_path(rig).name, progress, said=said)
    found = found.stamped("predicted", inputs={"rig": found.rig}, seed=seed)
    progress("drawing", 0.0)
    from rushlight.plan.tolerance_picture import tolerance_picture

    write_bytes(folder / PICTURE_FILE, tolerance_picture(found))
    found.write(folder / TOLERANCE_FILE)
    progress("drawing", 1.0)
    return found


def said_of(doubts: Sequence[str]) -> dict[CauseName, float]:
    """Standard deviations in SI units or as a share, from "cause=value" each.

    Raises
    ------
    RushlightError
        When a cause is not known or said twice, or its value is none.
    """
    said: dict[CauseName, float] = {}
    for text in doubts:
        name, equals, value = (part.strip() for part in text.partition("="))
        if not equals or name not in CAUSES or name in said:
            problem = "is said twice" if name in said else "names no cause that can be doubted"
            raise RushlightError.of(
                "doubt", f'"{text}"', problem, f"give cause=value, of {', '.join(CAUSES)}", "doubt"
            )
        said[name] = _std(name, value, text)
    return said


def _std(name: CauseName, value: str, text: str) -> float:
    dimension = DIMENSIONS.get(name, "share")
    example = {"length": "1 cm", "angle": "0.5°"}.get(dimension, "10 %")
    so = " or so"
    if name in ("cell", "sun"):
        example, so = "0", ""  # the one value that is taken of them
    try:
        std = 0.0 if value == "0" else parse_quantity(value, dimension).value
    except QuantityError as error:
        raise RushlightError.of(
            "doubt", f'"{text}"', error.allowed, f'give "{name}={example}"{so}', "doubt"
        ) from error
    if not 0.0 <= std <= GREATEST[dimension]:
        raise RushlightError.of(
            "doubt", f'"{text}"', "is no standard deviation that can be meant",
            f'give "{name}={example}"{so}', "doubt",
        )  # fmt: skip
    if name == "cell" and std:
        raise RushlightError.of(
            "doubt", f'"{text}"', "cannot be told for a cell, which is from fresh to empty",
            'leave it out, or give "cell=0" for one that is always fresh', "doubt",
        )  # fmt: skip
    if name == "sun" and std:
        raise RushlightError.of(
            "doubt", f'"{text}"', "cannot be told for the sun, which comes in at its hours",
            'leave it out, or give "sun=0" where a curtain keeps it out', "doubt",
        )  # fmt: skip
    return std
