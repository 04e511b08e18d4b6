"""How long the cells have been in use, as far as kept sessions tell."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from rushlight.errors import RushlightError
from rushlight.keep.session import SessionReader
from rushlight.records.document import Basis

NEARLY_SHARE = 0.8
"""Of the predicted runtime; above it cells are to be at hand (our own choice)."""


@dataclass(frozen=True)
class CellsUsed:
    """Hours of use of one thing's cells.

    Attributes
    ----------
    carried
        Id of the thing.
    used_h
        Length of the sessions that were counted together [h].
    runtime_h
        As the plan predicts, with the light on for the share of time that the rig says [h].
    """

    carried: str
    used_h: float
    runtime_h: float


def hours_of_sessions(
    folder: Path, basis: Basis, since: datetime | None = None
) -> tuple[float, int]:
    """How long all sessions of a kind in a folder last together [h], and how many they are.

    Parameters
    ----------
    folder
        Looked through with its own folders.
    basis
        Measured or simulated: hours of a rehearsal empty no cell.
    since
        When the cells were new; sessions made before are left out.
    """
    seconds, count = 0.0, 0
    for path in sorted(folder.rglob("*.sqlite")):
        try:
            with SessionReader(path) as session:
                header = session.header
                made = None if header.header is None else header.header.made_at
                old = since is not None and made is not None and _moment(made) < since
                if header.role != "session" or session.basis != basis or old:
                    continue
                times_ns = session.frame_table()["capture_ns"]
        except RushlightError:
            continue  # no session, or a damaged one: it tells nothing
        if len(times_ns):
            seconds += float(np.max(times_ns) - np.min(times_ns)) * 1e-9
            count += 1
    return seconds / 3600.0, count


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text)
