"""The one base error of the project, and the `Finding` that it carries.

A finding is a sentence with four parts: where, what was given, what is allowed, what to do.
Errors and warnings are both findings, so that the command line and every page say the same.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Severity = Literal["error", "warning", "note"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing the user should know, and what to do about it.

    Parameters
    ----------
    severity
        ``"error"`` stops the work; ``"warning"`` and ``"note"`` do not.
    code
        A stable slug, such as ``"exposure-longer-than-frame"``.
    where
        File and field, such as ``"rig.toml: cameras[0].exposure"``.
    given
        What stands there now, in the user's own words.
    allowed
        What may stand there, or why the given value cannot.
    remedy
        What to do, as an order: ``"use \\"33 ms\\" or less"``.

    Examples
    --------
    >>> print(Finding("error", "unit-missing", "rig.toml: surfaces[0].width", "2.4",
    ...               "is a bare number where a length is needed", 'write "2.4 m"'))
    rig.toml: surfaces[0].width = 2.4 is a bare number where a length is needed; write "2.4 m".
    """

    severity: Severity
    code: str
    where: str
    given: str
    allowed: str
    remedy: str

    def __str__(self) -> str:
        given = f" = {self.given}" if self.given else ""
        remedy = f"; {self.remedy}" if self.remedy else ""
        return f"{self.where}{given} {self.allowed}{remedy}."

    def as_dict(self) -> dict[str, str]:
        """The finding as plain text fields, for JSON."""
        return {
            "severity": self.severity,
            "code": self.code,
            "where": self.where,
            "given": self.given,
            "allowed": self.allowed,
            "remedy": self.remedy,
        }


class RushlightError(Exception):
    """Something the user can mend; carries at least one `Finding`.

    The command line prints every finding on its own line and ends with exit code 2.
    """

    def __init__(self, findings: Finding | Iterable[Finding]) -> None:
        self.findings: tuple[Finding, ...] = (
            (findings,) if isinstance(findings, Finding) else tuple(findings)
        )
        super().__init__("\n".join(str(finding) for finding in self.findings))

    def __reduce__(self) -> tuple[type[RushlightError], tuple[tuple[Finding, ...]]]:
        """Made anew of its findings, wherever it was thrown: in another process too."""
        return type(self), (self.findings,)

    @classmethod
    def of(
        cls, where: str, given: str, allowed: str, remedy: str, code: str = "refused"
    ) -> RushlightError:
        """An error of a single finding, written in one line."""
        return cls(Finding("error", code, where, given, allowed, remedy))
