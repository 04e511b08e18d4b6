"""What of a rig's light rules it out of a search, and what its builder is to be warned of.

As the plan of a single rig judges it: estimates, which defer to the standards and to a qualified
person. That nothing is found against a light does not make it a harmless one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from rushlight.errors import Finding
from rushlight.plan.beam_light import beam_findings, beam_lines
from rushlight.plan.eyes import GRADED, eye_lines
from rushlight.plan.findings import eye_findings
from rushlight.plan.power import plan_circuits
from rushlight.plan.power_report import power_findings
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.check import check_rig

EYE, FRESH = "eye-limit-passed", "fresh-above-part"
TOLD = {
    EYE: "a limit for the eye",
    FRESH: "current above its part's limit",
    "hot-to-touch": "heat",
    "beam-before-eyes": "the projector's beam",
}
"""Codes of the warnings that a search tells of, and a word or two for each."""
WORDS = {
    EYE: "sends light into the eye beyond a published limit, as estimated",
    FRESH: "sends more current through a part, while its cells are fresh, than the part bears",
}
"""What rules a rig out, in words that go on from "it"."""


@dataclass(frozen=True)
class Care:
    """What a rig's lights call for.

    Attributes
    ----------
    eye
        Greatest share of a published limit for the eye that a light takes, as estimated; 0 where
        nothing shines.
    findings
        The warnings of a check and a plan whose codes are `TOLD`.
    """

    eye: float = 0.0
    findings: tuple[Finding, ...] = ()

    @property
    def forbidding(self) -> tuple[Finding, ...]:
        """Those for which nobody should build the rig as it is."""
        return tuple(each for each in self.findings if each.code in WORDS)

    @property
    def fresh_too_strong(self) -> bool:
        """Whether fresh cells send more through a part than it bears."""
        return any(each.code == FRESH for each in self.findings)

    @property
    def words(self) -> list[str]:
        """In a word or two each, once."""
        return list(dict.fromkeys(TOLD[each.code] for each in self.findings))


def care_of(rig: Rig, shelf: Shelf, name: str = "rig.toml", placed: bool = True) -> Care:
    """What the lights of a rig without errors call for.

    Parameters
    ----------
    rig, shelf
        The rig and its parts.
    name
        Of the rig's file, to stand in the findings.
    placed
        Whether its cameras stand where they will; else what shines beside a camera is judged at
        200 mm alone.
    """
    circuits = plan_circuits(rig, shelf)
    lines = [
        each
        for each in eye_lines(rig, shelf, circuits)
        if placed or each.where == GRADED or not each.light.startswith("illuminator of ")
    ]
    findings = [
        *check_rig(rig, shelf, name),
        *power_findings(circuits, None, name),
        *eye_findings(lines, name),
        *beam_findings(beam_lines(rig, shelf), name),
    ]
    return Care(
        max((each.ratio or 0.0 for each in lines), default=0.0),
        tuple(each for each in findings if each.code in TOLD),
    )


def forbidding_words(found: Iterable[Finding]) -> list[str]:
    """What was found, as it is told beside a reason: where, and how much."""
    return [f"{each.where.split(': ')[-1]}: {each.given} {each.allowed}" for each in found]


def findings_of(told: list[tuple[str, tuple[Finding, ...]]]) -> list[Finding]:
    """Findings of several rigs, those alike together under the names of all that have them.

    Parameters
    ----------
    told
        Each rig's name, such as a number, and what was found of it.
    """
    names: dict[Finding, list[str]] = {}
    for name, found in told:
        for each in found:
            names.setdefault(each, []).append(name)
    return [
        Finding(
            each.severity,
            each.code,
            f"{_list(of)}: {each.where.split(': ', 1)[-1]}",
            each.given,
            each.allowed,
            each.remedy,
        )
        for each, of in names.items()
    ]


_MOST_NAMES = 6


def _list(names: list[str]) -> str:
    if len(names) > _MOST_NAMES:
        return f"{', '.join(names[:_MOST_NAMES])} and {len(names) - _MOST_NAMES} others"
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
