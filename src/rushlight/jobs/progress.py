"""How a job tells how far it is."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from rushlight.records.document import write_text

Progress = Callable[[str, float], None]
"""Called with what is being done and the share of it that is done, 0 to 1."""


def silent(what: str, share: float) -> None:
    """Tell nobody."""


@dataclass(frozen=True)
class ToldInFile:
    """Progress that another process reads by `told_in`.

    Attributes
    ----------
    file
        Holds what was told last.
    """

    file: Path

    def __call__(self, what: str, share: float) -> None:
        """Tell it."""
        write_text(self.file, json.dumps([what, share]))


def told_in(file: Path) -> tuple[str, float] | None:
    """What `ToldInFile` told last; None before the first."""
    try:
        what, share = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return str(what), float(share)
