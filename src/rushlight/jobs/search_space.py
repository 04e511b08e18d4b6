"""Searching parts and camera places for a rig in space: `search.json`."""

from __future__ import annotations

from pathlib import Path

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.search import SEARCH_FILE, check_numbers, default_folder
from rushlight.plan.space_search import BEST, TRIED, search_space
from rushlight.records.space_search import SpaceSearchResult


def is_search_in_space(rig: Path) -> bool:
    """Whether a rig is searched as one in space: it has no surface to be pointed at."""
    return "surface" not in load_rig(rig)[0].kinds


def search_in_space(
    rig: Path,
    out: Path | None = None,
    seed: int | None = None,
    generations: int | None = None,
    progress: Progress = silent,
    tried: int = TRIED,
    best: int = BEST,
) -> SpaceSearchResult:
    """Search for a better rig in space, and write what was found.

    Parameters
    ----------
    rig
        The rig's file, or its folder.
    out
        Folder to write to; by default ``search`` beside the rig.
    seed
        Of the choice among all candidates; by default as the rig says.
    generations
        Refused: candidates in space are not bred.
    progress
        Told how far the work is.
    tried, best
        As of `rushlight.plan.space_search.search_space`.

    Returns
    -------
    SpaceSearchResult
        As written to ``search.json``.

    Raises
    ------
    RushlightError
        When the rig is wrong or cannot be searched, or nothing is found.
    """
    if generations is not None:
        raise RushlightError.of(
            "--generations",
            str(generations),
            "does nothing for a rig in space, whose candidates are not bred",
            "leave it out",
            "option-idle",
        )
    check_numbers(seed, None)
    document, shelf = load_rig(rig)
    result = search_space(document, shelf, seed, tried, rig_path(rig).name, progress, best)
    result = result.stamped("predicted", inputs={"rig": document.content_hash()}, seed=result.seed)
    result.write((default_folder(rig) if out is None else out) / SEARCH_FILE)
    return result
