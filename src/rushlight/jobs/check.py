"""Is a rig whole and possible?"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.check_live import live_findings
from rushlight.jobs.load import load_rig, rig_path
from rushlight.plan.beam_light import beam_findings, beam_lines
from rushlight.plan.eyes import eye_lines
from rushlight.plan.findings import eye_findings
from rushlight.plan.power import plan_circuits
from rushlight.plan.power_report import power_findings
from rushlight.records.rig import Rig
from rushlight.records.safety import BeamLine, EyeLine
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
    eyes, beams
        How near each light and the projector's lens come to published limits; estimates, for a
        rig without errors.
    """

    rig: Rig | None
    shelf: Shelf | None
    findings: tuple[Finding, ...]
    eyes: tuple[EyeLine, ...] = ()
    beams: tuple[BeamLine, ...] = ()

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
            "eyes": [line.model_dump() for line in self.eyes],
            "beams": [line.model_dump() for line in self.beams],
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
    name = rig_path(path).name
    result = CheckResult(rig, shelf, (*check_rig(rig, shelf, name), *live_findings(rig, name)))
    if not result.passed:
        return result
    circuits = plan_circuits(rig, shelf)
    eyes, beams = eye_lines(rig, shelf, circuits), beam_lines(rig, shelf)
    wanted = rig.targets.runtime
    findings = [
        *result.findings,
        *power_findings(circuits, wanted.value / 3600.0 if wanted else None, name),
        *eye_findings(eyes, name),
        *beam_findings(beams, name),
    ]
    return CheckResult(rig, shelf, tuple(findings), tuple(eyes), tuple(beams))
