"""One doubt about a rig: what it moves, how far, and who says so."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from numpy.typing import NDArray

from rushlight.plan.variance import Kind
from rushlight.records.resolved import ResolvedRig
from rushlight.records.tolerance import CauseName

Array = NDArray[Any]
Moves = Callable[[ResolvedRig, Array], ResolvedRig]

OWN = "the project's own choice"


@dataclass(frozen=True)
class Doubt:
    """One cause, with its variates and what they move.

    Attributes
    ----------
    name, words, spread, source, own_choice, measure
        As in `ToleranceCause`.
    count, kind
        How many independent variates it has, and their distribution.
    moves
        A batch of rigs (R) and the variates (R, count) to the rigs as they then are.
    planned
        Where the rig as planned stands on each variate.
    delay_only
        Whether it moves nothing but the delay.
    """

    name: CauseName
    words: str
    spread: str
    source: str
    own_choice: bool
    measure: str
    count: int
    moves: Moves
    kind: Kind = "normal"
    planned: float = 0.0
    delay_only: bool = False
