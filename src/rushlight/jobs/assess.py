"""What sessions show: figures, beside a plan and beside a reference."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rushlight.assess.assessing import assess_recordings
from rushlight.assess.marks import by_hand, touched_in_order
from rushlight.assess.recording import Recording, read_recordings
from rushlight.assess.space_recording import is_of_space
from rushlight.errors import RushlightError
from rushlight.jobs.assess_files import inputs_of, stages_of, write_assessment
from rushlight.jobs.assess_space import assess_in_space
from rushlight.jobs.load import load_rig
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.trials import assess_trials, is_sitting
from rushlight.records.assessment import Assessment
from rushlight.records.document import read_document
from rushlight.records.marks import MarkList
from rushlight.records.plan import Plan


def assess(
    sessions: Sequence[Path],
    plan: Path | None = None,
    rig: Path | None = None,
    truths: Sequence[Path] = (),
    marks: Path | None = None,
    out: Path | None = None,
    progress: Progress = silent,
    registration: Path | None = None,
) -> Assessment:
    """Assess sessions of one rig together.

    Parameters
    ----------
    sessions
        Grids, tappings and strokes; or sittings (``.json``) from the page of trials.
    plan
        A plan of the rig, to compare with.
    rig
        The rig's file or folder, for display pixels, targets and reference.
    truths
        Truth files of the sessions.
    marks
        What was touched in which order, for one session of real footage, which cannot tell.
    out
        Folder for ``assessment.json`` and the pictures; nothing is written without it.
    progress
        Told what is being done.
    registration
        Of a rig with several cameras in space, for its checks of length and reprojection.

    Returns
    -------
    Assessment

    Raises
    ------
    RushlightError
        When a file cannot be used, or the sessions show nothing.
    """
    if any(is_sitting(path) for path in sessions):
        _refuse_mixed(sessions, plan, truths, marks, registration)
        return assess_trials(sessions, rig, out, progress)
    if sessions and is_of_space(sessions[0]):
        _refuse_marks(marks)
        return assess_in_space(sessions, plan, rig, truths, out, progress, registration)
    progress("reading the sessions", 0.0)
    recordings = read_recordings(sessions, truths)
    noted = []
    if marks is not None:
        recordings = [_with_marks(recordings, marks)]
        noted = [by_hand(marks.name)]
    stages = stages_of(sessions, recordings)
    progress("reading the sessions", 1.0)
    planned = read_document(Plan, plan) if plan else None
    own, shelf = load_rig(rig) if rig else (None, None)
    progress("assessing", 0.0)
    assessment = assess_recordings(recordings, planned, own, shelf, noted, stages)
    assessment = assessment.stamped(assessment.basis, inputs_of(recordings, planned, own))
    progress("assessing", 1.0)
    if out is not None:
        write_assessment(assessment, own, out, progress)
    return assessment


def _with_marks(recordings: Sequence[Recording], marks: Path) -> Recording:
    if len(recordings) != 1:
        raise RushlightError.of(
            "--marks",
            f"{len(recordings)} sessions",
            "is given, and one list of marks belongs to one session",
            "assess the sessions one at a time",
            "marks-several-sessions",
        )
    return touched_in_order(recordings[0], read_document(MarkList, marks), marks.name)


def _refuse_marks(marks: Path | None) -> None:
    if marks is not None:
        raise RushlightError.of(
            "--marks",
            marks.name,
            "tells places on a surface, and these sessions are of things in space",
            "leave it out",
            "marks-in-space",
        )


def _refuse_mixed(
    sessions: Sequence[Path],
    plan: Path | None,
    truths: Sequence[Path],
    marks: Path | None,
    registration: Path | None,
) -> None:
    """Sittings come without all that belongs to sessions."""
    mixed = not all(is_sitting(path) for path in sessions)
    options = {"--plan": plan, "--truth": truths, "--marks": marks, "--registration": registration}
    given = [name for name, value in options.items() if value]
    if mixed or given:
        raise RushlightError.of(
            "assess",
            "sittings and sessions" if mixed else ", ".join(given),
            "cannot be assessed together"
            if mixed
            else "belongs to sessions, and these are sittings from the page of trials",
            "assess the sittings by themselves",
            "sittings-mixed",
        )
