"""Searching for a rig: `search.json`, its table as pictures, and a state that can be resumed."""

from __future__ import annotations

from pathlib import Path

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.progress import Progress, silent
from rushlight.plan.search import Ledger
from rushlight.plan.searching import begin, search_rig
from rushlight.records.document import write_bytes
from rushlight.records.search import SearchResult

SEARCH_FILE = "search.json"
STATE_FILE = "search.state.npz"
PAGE_FILE, PICTURE_FILE = "search.html", "search.svg"
PICTURES = {
    PAGE_FILE: "the winners, to be looked into by mouse or keys",
    PICTURE_FILE: "coverage against error of the winners, and the room from above",
}
DRAWS = 64
"""Rigs drawn of each winner: the interval is then some 26 percentage points wide at the most
(exact binomial, computed here)."""
_FEWEST_DRAWS, _MOST_DRAWS = 20, 10_000
_MOST_GENERATIONS = 10_000


def search(
    rig: Path,
    out: Path | None = None,
    seed: int | None = None,
    generations: int | None = None,
    progress: Progress = silent,
    draws: int = DRAWS,
) -> SearchResult:
    """Search for a better rig, and write what was found.

    An interrupted search leaves its state in the folder, and the same search takes it up again;
    the result is the same, bit by bit, as without the interruption.

    Parameters
    ----------
    rig
        The rig's file, or its folder.
    out
        Folder to write to; by default ``search`` beside the rig.
    seed, generations
        Of the optimiser; by default as the rig says.
    progress
        Told how far the work is.
    draws
        Rigs drawn of each winner that a table shows, to tell how probable it is that all targets
        are met: 20 to 10 000, or 0 to leave that out.

    Returns
    -------
    SearchResult
        As written to ``search.json``.

    Raises
    ------
    RushlightError
        When the rig is wrong or cannot be searched, nothing is found, a number is out of range,
        or the state in the folder is another search's.
    """
    folder = default_folder(rig) if out is None else out
    check_numbers(seed, generations)
    _check_draws(draws)
    document, shelf = load_rig(rig)
    name = rig_path(rig).name
    trials, ledger, chosen, wanted = begin(document, shelf, seed, generations, name)
    state = folder / STATE_FILE
    ledger = _taken_up(state, ledger)
    result = search_rig(
        trials,
        ledger,
        chosen,
        wanted,
        lambda kept: write_bytes(state, kept.as_bytes()),
        progress,
        draws,
    )
    progress("drawing", 0.0)
    from rushlight.plan.search_page import search_page
    from rushlight.plan.search_picture import search_picture

    still = search_picture(result)
    write_bytes(folder / PICTURE_FILE, still)
    write_bytes(folder / PAGE_FILE, search_page(result, still))
    progress("drawing", 1.0)
    result = result.model_copy(update={"pictures": PICTURES}).stamped(
        "predicted", inputs={"rig": document.content_hash()}, seed=chosen
    )
    result.write(folder / SEARCH_FILE)
    state.unlink(missing_ok=True)
    return result


def default_folder(rig: Path) -> Path:
    """Where a rig's search is written unless said otherwise."""
    return rig_path(rig).parent / "search"


def check_numbers(seed: int | None, generations: int | None) -> None:
    """Refuse a seed or a number of generations that is out of range."""
    if seed is not None and seed < 0:
        raise RushlightError.of(
            "--seed", str(seed), "is below 0", "give a whole number from 0 on", "seed"
        )
    if generations is not None and not 1 <= generations <= _MOST_GENERATIONS:
        raise RushlightError.of(
            "--generations",
            str(generations),
            f"is outside 1 to {_MOST_GENERATIONS}",
            "give more for a closer search",
            "generations",
        )


def _check_draws(draws: int) -> None:
    if draws and not _FEWEST_DRAWS <= draws <= _MOST_DRAWS:
        raise RushlightError.of(
            "--draws",
            str(draws),
            f"is neither 0 nor {_FEWEST_DRAWS} to {_MOST_DRAWS}",
            f"give {DRAWS}, more for a narrower interval, or 0 to leave the probability out",
            "draws",
        )


def _taken_up(state: Path, fresh: Ledger) -> Ledger:
    """What an interrupted search left, or a fresh ledger where none was.

    Raises
    ------
    RushlightError
        When what was left is damaged, or of another search.
    """
    if not state.exists():
        return fresh
    try:
        ledger = Ledger.from_bytes(state.read_bytes())
    except (ValueError, OSError):
        raise RushlightError.of(
            str(state),
            "",
            "is no state of a search that can be read",
            "remove it to begin anew",
            "search-state",
        ) from None
    if ledger.key != fresh.key:
        raise RushlightError.of(
            str(state),
            "",
            "was left by an interrupted search of another rig, shelf, seed or size",
            "remove it to begin anew, or give another --out",
            "search-state",
        )
    return ledger
