"""Is a rig whole and possible?"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.load import load_rig, rig_path
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.check import check_rig


@dataclass(frozen=True)
class CheckResult:
    """What a check found.

    Attributes
    ----------
    rig, shelf
        As read, or None where a file could not be read.
    findings
        Errors, warnings and notes.
    """

    rig: Rig | None
    shelf: Shelf | None
    findings: tuple[Finding, ...]

    @property
    def passed(self) -> bool:
        """Whether there is no error."""
        return not any(finding.severity == "error" for finding in self.findings)

    def as_dict(self) -> dict[str, object]:
        """The result as plain values, for JSON."""
        return {
            "rig": self.rig.name if self.rig else None,
            "passed": self.passed,
            "findings": [finding.as_dict() for finding in self.findings],
        }


def check(path: Path) -> CheckResult:
    """What is wrong or doubtful about a rig, be it in the writing or in the thing.

    Parameters
    ----------
    path
        The rig's file, or its folder.
    """
    try:
        rig, shelf = load_rig(path)
    except RushlightError as error:
        return CheckResult(None, None, error.findings)
    return CheckResult(rig, shelf, tuple(check_rig(rig, shelf, rig_path(path).name)))
