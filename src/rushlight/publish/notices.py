"""What a reader must be told: what is invented or simulated, and what nobody knows."""

from __future__ import annotations

from collections.abc import Sequence

from rushlight.publish.buying import Purchase
from rushlight.publish.tolerances import figure_words, missed
from rushlight.publish.wording import NOT_KNOWN
from rushlight.records.assessment import Assessment
from rushlight.records.document import Basis
from rushlight.records.kit import Tolerance
from rushlight.records.plan import Plan
from rushlight.records.rig import Rig
from rushlight.records.space_plan import SpacePlan


def basis_of(assessment: Assessment | None) -> Basis:
    """What the kit's figures rest on at best."""
    return "predicted" if assessment is None else assessment.basis


def notices_of(rig: Rig, assessment: Assessment | None, tolerances: list[Tolerance]) -> list[str]:
    """What stands at the head of the page, before anything is believed."""
    notices = []
    if rig.basis == "invented":
        notices.append(
            "This rig is invented: its place, people, prices and reference device are made up to "
            "show what a kit holds. The physics is computed as for a real one."
        )
    if assessment is None:
        notices.append("Every figure here is predicted. Nothing was built, nothing measured.")
    elif assessment.basis == "simulated":
        notices.append(
            "Figures marked “simulated” come from computed pictures, not from a camera. That "
            "they agree with the prediction shows that both rest on one model, not that a real "
            "rig does the same."
        )
    if assessment is not None:
        beyond = [figure_words(each) for each in missed(tolerances, assessment)]
        if beyond:
            notices.append(
                "Of the bounds by which rebuilds are checked, the kit's own rig, as "
                f"{assessment.basis}, misses: {', '.join(beyond)}."
            )
    return notices


def not_known(
    rig: Rig, plan: Plan | SpacePlan, assessment: Assessment | None, bought: Sequence[Purchase]
) -> list[str]:
    """What this kit does not tell, or nobody has tried, one sentence each."""
    lines = []
    if assessment is None or assessment.basis != "measured":
        lines.append("Not tried on hardware: whether a built rig does as told here is not known.")
    lines.append(
        "Part values are typical ones unless a line says otherwise; your parts differ. Tolerances "
        "of parts are not varied in the predictions."
    )
    lines += [f"Assumed in the predictions: {each}." for each in plan.assumptions]
    lines += [str(each.finding()) for each in plan.findings]
    unknown = [each.name for each in bought if each.together == NOT_KNOWN]
    if unknown:
        lines.append(f"Prices not known: {', '.join(unknown)}.")
    if assessment is not None:
        lines += [f"{each[0].upper()}{each[1:]}." for each in assessment.conditions]
        lines += [str(finding) for finding in assessment.findings]
    if rig.basis != "invented":
        lines.append("How the rig fares in another room, or in other hands, is not known.")
    return lines
