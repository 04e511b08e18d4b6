"""What a search that still runs, or was interrupted, has found so far."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rushlight.jobs.search import STATE_FILE, default_folder
from rushlight.plan.search import Ledger, winners


@dataclass(frozen=True)
class Point:
    """A candidate that none beats in everything so far.

    Attributes
    ----------
    cost
        In the currency of the search.
    error_mm, coverage
        Root-mean-square [mm], share [1].
    number
        In the result, or 0 while it still runs.
    """

    cost: float
    error_mm: float
    coverage: float
    number: int = 0


@dataclass(frozen=True)
class SoFar:
    """The state of a search: generations done, candidates tried, and the winners."""

    generations: int
    tried: int
    front: list[Point]


def so_far(rig: Path) -> SoFar | None:
    """What the search of a rig has found so far, or None where none was begun or all is done."""
    try:
        ledger = Ledger.from_bytes((default_folder(rig) / STATE_FILE).read_bytes())
    except (OSError, ValueError):
        return None
    tried = ledger.distinct()
    front = [
        Point(float(cost), float(error), 1.0 - float(uncovered))
        for cost, error, uncovered, *_ in tried.objectives[winners(tried)]
    ]
    return SoFar(len(ledger.generations), len(tried.choices), front)
