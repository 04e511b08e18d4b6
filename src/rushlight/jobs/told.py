"""What a verb told, kept beside what it made: exactly the values that it prints as JSON."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol

from rushlight.errors import RushlightError
from rushlight.records.document import write_text

SUFFIX = ".told.json"


class Telling(Protocol):
    """The result of a verb."""

    def as_dict(self) -> dict[str, Any]:
        """What is told, as plain values."""


@dataclass(frozen=True)
class Told:
    """What a verb told once.

    Attributes
    ----------
    path
        Where it is kept.
    made_at
        UTC, ISO 8601.
    values
        As printed.
    """

    path: Path
    made_at: str
    values: dict[str, Any]


def keep_told(verb: str, beside: Path, result: Telling) -> None:
    """Keep what a verb tells.

    Parameters
    ----------
    verb
        Its name.
    beside
        The file that it made; the values stand beside it, under the same stem.
    result
        What it gives.
    """
    kept = {
        "verb": verb,
        "made_at": datetime.now(UTC).isoformat(timespec="microseconds"),
        "told": result.as_dict(),
    }
    content = json.dumps(kept, indent=1, ensure_ascii=False, default=str)
    write_text(told_path(beside), content + "\n")


def told_path(beside: Path) -> Path:
    """Where what a verb told stands, beside the file that it made."""
    return beside.with_name(beside.stem + SUFFIX)


def newest_told(verb: str, folder: Path) -> Told | None:
    """What a verb told last in a folder, or None where it told nothing there yet."""
    found: list[Told] = []
    for path in folder.glob(f"*{SUFFIX}"):
        try:
            kept = json.loads(path.read_text(encoding="utf-8"))
            if kept["verb"] == verb:
                found.append(Told(path, str(kept["made_at"]), dict(kept["told"])))
        except (OSError, ValueError, KeyError, TypeError):
            continue  # of another program, or half a file of a full disk
    return max(found, key=lambda each: each.made_at, default=None)


def told_or_refused(verb: str, folder: Path) -> dict[str, Any]:
    """The values that a verb told last in a folder.

    Raises
    ------
    RushlightError
        When it told nothing there yet.
    """
    newest = newest_told(verb, folder)
    if newest is None:
        raise RushlightError.of(
            str(folder), "", f"holds nothing that {verb} told", f"run rushlight {verb} first",
            "nothing-told",
        )  # fmt: skip
    return newest.values
