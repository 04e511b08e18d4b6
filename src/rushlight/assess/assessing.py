"""Sessions in, one assessment out."""

from __future__ import annotations

from collections.abc import Sequence

from rushlight.assess.delay import delay_figures, stroke_figures
from rushlight.assess.grid import CONDITIONS, conditions_of, grid_figures, repeat_findings
from rushlight.assess.holds import Hold, hold_findings, holds_of
from rushlight.assess.joining import compare
from rushlight.assess.recording import Recorded, Recording
from rushlight.assess.reference import beside_reference
from rushlight.assess.shadow import hidden_figure
from rushlight.assess.tapping import tapping_blocks, tapping_figures
from rushlight.errors import Finding, RushlightError
from rushlight.records.assessment import Assessment, TappingBlock
from rushlight.records.document import Basis
from rushlight.records.figure import Figure, Scope
from rushlight.records.plan import Plan
from rushlight.records.rig import Rig
from rushlight.records.space_plan import SpacePlan
from rushlight.shelf.catalogue import Shelf


def assess_recordings(
    recordings: Sequence[Recording],
    plan: Plan | None = None,
    rig: Rig | None = None,
    shelf: Shelf | None = None,
    noted: Sequence[Finding] = (),
    stages: Sequence[Figure] = (),
) -> Assessment:
    """What sessions of one rig show, and how that stands to its plan and its reference.

    Parameters
    ----------
    recordings
        One or more.
    plan
        Of the same rig, or None.
    rig, shelf
        Both or neither: for display pixels, targets, reference and cost.
    noted
        What was found while the sessions were read.
    stages
        Delays by stage of what was sent, from `stage_delays`.

    Returns
    -------
    Assessment
        Not yet stamped.

    Raises
    ------
    RushlightError
        When the sessions belong to different rigs, or show nothing that can be assessed.
    """
    name = one_rig(recordings, plan, rig)
    scope = Scope(rig=name or None)
    predicted = plan.figures if plan else []
    grids = [each for each in recordings if each.kind == "grid"]
    holds = [hold for recording in grids for hold in holds_of(recording, rig)]
    figures, conditions, findings = _accuracy(holds, scope, rig, predicted)
    blocks, tapped, found = _tapping(recordings, scope, rig)
    figures += delay_figures(recordings, scope) + stroke_figures(recordings, scope)
    figures += tapped
    figures += stages
    if not any(figure.value is not None for figure in figures):
        raise RushlightError.of(
            ", ".join(each.name for each in recordings),
            "",
            "shows nothing that can be assessed: no mark was held or tapped with the light on",
            "give a session with marks, or its truth with --truth",
            "nothing-to-assess",
        )
    findings = [*noted, *findings_of_sessions(recordings, rig), *findings, *found]
    relative = beside_reference(rig, shelf, figures, predicted) if rig and shelf else None
    return Assessment(
        rig=recordings[0].header.rig,
        rig_name=name,
        basis=basis_of(recordings),
        sessions=[recording.summary() for recording in recordings],
        conditions=conditions,
        places=[hold.result() for hold in holds],
        taps=blocks,
        figures=figures,
        compared=compare(predicted, figures),
        reference=rig.reference.name if rig and rig.reference else None,
        relative=relative.rows if relative else [],
        overall=relative.overall if relative else None,
        cost=relative.cost if relative else None,
        findings=without_doubles([*findings, *(relative.findings if relative else [])]),
    )


def one_rig(recordings: Sequence[Recorded], plan: Plan | SpacePlan | None, rig: Rig | None) -> str:
    """The name of the rig that everything belongs to."""
    named = {each.name: each.header.rig_name for each in recordings if each.header.rig_name}
    named |= {"the plan": plan.rig_name} if plan else {}
    named |= {"the rig": rig.name} if rig else {}
    if len(set(named.values())) > 1:
        said = ", ".join(f"{who}: {name}" for who, name in named.items())
        raise RushlightError.of(
            "assess", said, "belong to different rigs", "assess each rig apart", "rigs-differ"
        )
    return next(iter(named.values()), "")


def _accuracy(
    holds: Sequence[Hold], scope: Scope, rig: Rig | None, predicted: Sequence[Figure]
) -> tuple[list[Figure], list[str], list[Finding]]:
    """Figures of all holds, those of sessions with the same causes together."""
    groups: dict[str, list[Hold]] = {}
    for hold in holds:
        groups.setdefault(f"{hold.recording.cause_word} {hold.recording.basis}", []).append(hold)
    figures, conditions, findings = [], [], []
    for group in groups.values():
        carried = sorted({hold.goal.carried for hold in group})
        scopes = [scope, *(scope.model_copy(update={"carried": each}) for each in carried)]
        for each in scopes:
            some = [hold for hold in group if each.carried in (None, hold.goal.carried)]
            figures += grid_figures(some, each, rig, predicted)
            shadow = hidden_figure(some, each) if some[0].recording.cause == "all" else None
            figures += [shadow] if shadow else []
        conditions.append(conditions_of(group))
        findings += repeat_findings(group)
    findings += hold_findings(holds)
    return figures, [*conditions, CONDITIONS] if conditions else [], findings


def _tapping(
    recordings: Sequence[Recording], scope: Scope, rig: Rig | None
) -> tuple[list[TappingBlock], list[Figure], list[Finding]]:
    people = {each.id: each.person for each in rig.carried if each.person} if rig else {}
    blocks: list[TappingBlock] = []
    findings: list[Finding] = []
    some = [recording for recording in recordings if recording.kind == "tapping"]
    for recording in some:
        rows, found = tapping_blocks(recording, people)
        blocks += rows
        findings += found
    if not blocks:
        return [], [], findings
    figures, found = tapping_figures(
        blocks, scope, simulated=any(recording.basis == "simulated" for recording in some)
    )
    return blocks, figures, [*findings, *found]


WITHOUT_RIG = (
    "was given no rig: the pointer is not rounded to display pixels, and there is no "
    "coverage and no reference"
)


def findings_of_sessions(
    recordings: Sequence[Recorded], rig: Rig | None, without_rig: str = WITHOUT_RIG
) -> list[Finding]:
    """What concerns whole sessions."""
    findings = []
    if any(recording.basis == "simulated" for recording in recordings):
        findings.append(
            Finding(
                "warning", "simulated", "assess", "",
                "rests on simulated footage: agreement with a plan shows self-consistency, not "
                "that the built rig will do as well", "build the rig and assess it in use",
            )
        )  # fmt: skip
    if rig is None:
        findings.append(
            Finding(
                "note", "no-rig", "assess", "", without_rig, "give --rig",
            )
        )  # fmt: skip
    for recording in recordings:
        if not recording.closed:
            findings.append(
                Finding(
                    "warning", "session-abrupt", recording.name, "",
                    "ended abruptly, so that its last moment may be missing", "record it again",
                )
            )  # fmt: skip
        if recording.cause is None:
            findings.append(
                Finding(
                    "note", "causes-mixed", recording.name, recording.cause_word,
                    "is neither one cause nor all of them, so that no prediction joins it",
                    "simulate with one cause only, or with all",
                )
            )  # fmt: skip
    return findings


def without_doubles(findings: Sequence[Finding]) -> list[Finding]:
    """Each finding once, in order."""
    return list(dict.fromkeys(findings))


def basis_of(recordings: Sequence[Recorded]) -> Basis:
    """Simulated as soon as one of them is."""
    simulated = any(recording.basis == "simulated" for recording in recordings)
    return "simulated" if simulated else "measured"
