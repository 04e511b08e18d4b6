"""Sessions of a rig of space in, one assessment out."""

from __future__ import annotations

import math
from collections.abc import Sequence

from rushlight.assess.assessing import basis_of, findings_of_sessions, one_rig, without_doubles
from rushlight.assess.delay import computing_figures
from rushlight.assess.joining import compare
from rushlight.assess.reference import beside_reference
from rushlight.assess.space_accuracy import CONDITIONS, accuracy_figures
from rushlight.assess.space_length import FEWEST, length_figures, reprojection_figures
from rushlight.assess.space_motion import motion_figures, rest_figures
from rushlight.assess.space_recording import SpaceRecording
from rushlight.assess.space_stands import Stand, same_poses, stands_of
from rushlight.assess.space_twins import twin_figures
from rushlight.assess.space_view import EYES, moving_picture_figures, picture_figures
from rushlight.assess.space_view_task import view_task_figures, view_trials
from rushlight.errors import Finding, RushlightError
from rushlight.records.assessment import Assessment
from rushlight.records.figure import Figure, Scope, find_figure
from rushlight.records.rig import Rig
from rushlight.records.space import ResolvedSpace
from rushlight.records.space_assessment import LengthResult, ViewTrial
from rushlight.records.space_plan import SpacePlan
from rushlight.records.space_registration import SpaceRegistration
from rushlight.shelf.catalogue import Shelf

MOST_TRIALS = 40
"""View-task trials of one session: more would show nothing new; no source."""


def assess_space(
    recordings: Sequence[SpaceRecording],
    plan: SpacePlan | None = None,
    rig: Rig | None = None,
    shelf: Shelf | None = None,
    space: ResolvedSpace | None = None,
    registration: SpaceRegistration | None = None,
    stages: Sequence[Figure] = (),
) -> Assessment:
    """What sessions of one rig of space show, beside its plan and its reference.

    Parameters
    ----------
    recordings
        One or more; those with truth tell errors.
    plan
        Of the same rig, or None.
    rig, shelf, space
        All or none: for targets, screens, scene, scale bar and reference.
    registration
        By which the sessions were made: for checks of a volume rig.
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
    stands = [stand for recording in recordings for stand in stands_of(recording)]
    figures, conditions = _accuracy(stands, scope, space, predicted)
    trials: list[ViewTrial] = []
    if space is not None and space.screens:
        delay_s = _delay_s(predicted)
        figures += moving_picture_figures(recordings, scope, space, delay_s)
        eyes = [each for each in _of_eyes(stands, space) if each.recording.cause == "all"]
        trials = view_trials(eyes[:MOST_TRIALS], space, delay_s)
        figures += view_task_figures(trials, scope)
    figures += motion_figures(recordings, scope) + rest_figures(recordings, scope)
    lengths: list[LengthResult] = []
    if space is not None and registration is not None:
        swung = [each for each in recordings if each.kind == "swing"]
        checked, lengths = length_figures(swung, scope, space, registration)
        figures += checked + reprojection_figures(recordings, scope, space, registration)
    figures += twin_figures(recordings, scope, space)
    figures += [*computing_figures(recordings, scope), *stages]
    if not any(figure.value is not None for figure in figures):
        raise RushlightError.of(
            ", ".join(each.name for each in recordings),
            "",
            "shows nothing that can be assessed: nothing was held still or moved with its truth "
            "known, and nothing rested long",
            "give the truth with --truth, or a session of a thing at rest",
            "nothing-to-assess",
        )
    relative = beside_reference(rig, shelf, figures, predicted) if rig and shelf else None
    findings = [
        *findings_of_sessions(recordings, rig, _WITHOUT_RIG),
        *_unseen(stands),
        *_never_again(stands),
        *(_no_lengths(recordings, lengths) if registration is not None else ()),
        *(_about_the_viewer() if trials else ()),
        *(relative.findings if relative else ()),
    ]
    return Assessment(
        rig=recordings[0].header.rig,
        rig_name=name,
        basis=basis_of(recordings),
        sessions=[recording.summary() for recording in recordings],
        conditions=conditions,
        places=[],
        taps=[],
        stands=[stand.result() for stand in stands],
        view_trials=trials,
        lengths=lengths,
        figures=figures,
        compared=compare(predicted, figures),
        reference=rig.reference.name if rig and rig.reference else None,
        relative=relative.rows if relative else [],
        overall=relative.overall if relative else None,
        cost=relative.cost if relative else None,
        findings=without_doubles(findings),
    )


_WITHOUT_RIG = "was given no rig: there is no picture, no coverage and no reference"


def _accuracy(
    stands: Sequence[Stand],
    scope: Scope,
    space: ResolvedSpace | None,
    predicted: Sequence[Figure],
) -> tuple[list[Figure], list[str]]:
    """Figures of all stands, those of sessions with the same causes together."""
    groups: dict[tuple[str, str], list[Stand]] = {}
    for stand in stands:
        if stand.recording.kind == "places":
            key = (stand.recording.cause_word, stand.recording.basis)
            groups.setdefault(key, []).append(stand)
    figures: list[Figure] = []
    conditions = []
    target_m = space.worst_error_m if space else None
    target_rad = space.turn_error_rad if space else math.nan
    centres = None
    if space is not None and len(space.camera_ids) == 1:
        place = space.cameras.rig_from_camera[0, 0, :3, 3]
        centres = {thing.id: place for thing in space.things if thing.kind in EYES}
    for (word, _), group in groups.items():
        names = sorted({stand.carried for stand in group})
        scopes = [scope, *(scope.model_copy(update={"carried": each}) for each in names)]
        for each in scopes:
            some = [stand for stand in group if each.carried in (None, stand.carried)]
            figures += accuracy_figures(some, each, predicted, target_m, target_rad, centres)
            eyes = _of_eyes(some, space) if space else []
            if eyes and space:
                figures += picture_figures(eyes, each, space, predicted)
        sessions = len({id(stand.recording) for stand in group})
        registrations = len({stand.recording.header.registration for stand in group})
        conditions.append(
            f"{word}: {len(group)} stands in {sessions} session{'s' * (sessions > 1)} under "
            f"{registrations} registration{'s' * (registrations > 1)} of one rig; "
            f"{', '.join(names)}"
        )
    return figures, [*conditions, CONDITIONS] if conditions else []


def _of_eyes(stands: Sequence[Stand], space: ResolvedSpace) -> list[Stand]:
    eyes = {thing.id for thing in space.things if thing.kind in EYES}
    return [stand for stand in stands if stand.carried in eyes]


def _delay_s(predicted: Sequence[Figure]) -> float:
    """Mean delay from light to light as planned [s]; 0 without a plan."""
    planned = find_figure(list(predicted), "delay", "all", "mean") or find_figure(
        list(predicted), "delay", None, "mean"
    )
    return 0.0 if planned is None or planned.value is None else planned.value * 1e-3


def _unseen(stands: Sequence[Stand]) -> list[Finding]:
    unseen = [stand for stand in stands if not stand.seen]
    if not unseen:
        return []
    return [
        Finding(
            "warning", "stand-unseen", "stands", f"{len(unseen)} of {len(stands)}",
            "were seen in too few frames, and count as dropouts but not among the errors",
            "see in the plan's map where lights leave the view or fade",
        )
    ]  # fmt: skip


def _never_again(stands: Sequence[Stand]) -> list[Finding]:
    if not stands or same_poses(stands):
        return []
    return [
        Finding(
            "note", "held-once", "stands", "",
            "held each pose once, so that the spread between holds is not known",
            "hold the same poses again under the same registration to learn it",
        )
    ]  # fmt: skip


def _no_lengths(
    recordings: Sequence[SpaceRecording], lengths: Sequence[LengthResult]
) -> list[Finding]:
    told = {each.session for each in lengths}
    return [
        Finding(
            "warning", "no-lengths", recording.name, "",
            f"shows a swung bar, but both its lights in two cameras in fewer than {FEWEST} moments "
            "that agree with the registration",
            "look at the dots and at the registration's verdict, and swing it where two cameras "
            "see both its lights",
        )
        for recording in recordings
        if recording.kind == "swing" and recording.name not in told
    ]  # fmt: skip


def _about_the_viewer() -> list[Finding]:
    return [
        Finding(
            "note", "viewer-invented", "view task", "",
            "was done by an invented viewer on this session's tracking errors; no person took part",
            "let people hold the marks in line, with their consent and with pauses, to learn "
            "their own",
        )
    ]  # fmt: skip
