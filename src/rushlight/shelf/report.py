"""Gathering findings about one file."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable
from dataclasses import dataclass, field

from rushlight.errors import Finding, Severity
from rushlight.records.quantity import Quantity


@dataclass
class Report:
    """Findings about one file, in the order they were met."""

    name: str
    findings: list[Finding] = field(default_factory=list)

    def add(
        self,
        severity: Severity,
        code: str,
        field_path: str,
        given: object,
        allowed: str,
        remedy: str,
    ) -> None:
        """Add a finding about one field; `given` is shown as the file has it, None not at all."""
        where = f"{self.name}: {field_path}" if field_path else self.name
        self.findings.append(Finding(severity, code, where, shown(given), allowed, remedy))

    def error(self, code: str, field_path: str, given: object, allowed: str, remedy: str) -> None:
        """Add what stops the work."""
        self.add("error", code, field_path, given, allowed, remedy)

    def warning(self, code: str, field_path: str, given: object, allowed: str, remedy: str) -> None:
        """Add what deserves a look."""
        self.add("warning", code, field_path, given, allowed, remedy)

    def note(self, code: str, field_path: str, given: object, allowed: str, remedy: str) -> None:
        """Add what is good to know."""
        self.add("note", code, field_path, given, allowed, remedy)

    def ids(self, field_path: str, ids: Iterable[str]) -> None:
        """Add an error for each id that stands twice in a list."""
        seen: dict[str, int] = {}
        for position, each in enumerate(ids):
            if each in seen:
                self.error(
                    "id-twice",
                    f"{field_path}[{position}].id",
                    each,
                    f"is already the id of {field_path}[{seen[each]}]",
                    "give each its own id",
                )
            seen.setdefault(each, position)


def shown(given: object) -> str:
    """A value as the file has it; None as nothing."""
    if given is None:
        return ""
    return json.dumps(_plain(given), ensure_ascii=False)


def _plain(given: object) -> object:
    if isinstance(given, Quantity):
        return given.text
    if isinstance(given, list | tuple):
        return [_plain(each) for each in given]
    return given


def likeliest(given: str, known: Iterable[str], otherwise: str) -> str:
    """What to write in place of an unknown word."""
    likely = difflib.get_close_matches(given, list(known), n=1)
    return f'write "{likely[0]}" if that is meant' if likely else otherwise
