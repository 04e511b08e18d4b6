"""What sessions show: figures, beside a plan and beside a reference."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

from rushlight.assess.assessing import assess_recordings
from rushlight.assess.marks import by_hand, touched_in_order
from rushlight.assess.recording import Recording, read_recordings
from rushlight.assess.stages import has_sent, stage_delays, stage_figures
from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.jobs.progress import Progress, silent
from rushlight.keep.session import SessionReader
from rushlight.records.assessment import Assessment
from rushlight.records.document import read_document, write_text
from rushlight.records.figure import Figure, Scope
from rushlight.records.marks import MarkList
from rushlight.records.plan import Plan
from rushlight.records.rig import Rig

ASSESSMENT_FILE = "assessment.json"
STAGES_PICTURE = "stages.svg"


def assess(
    sessions: Sequence[Path],
    plan: Path | None = None,
    rig: Path | None = None,
    truths: Sequence[Path] = (),
    marks: Path | None = None,
    out: Path | None = None,
    progress: Progress = silent,
) -> Assessment:
    """Assess sessions of one rig together.

    Parameters
    ----------
    sessions
        Grids, tappings and strokes.
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

    Returns
    -------
    Assessment

    Raises
    ------
    RushlightError
        When a file cannot be used, or the sessions show nothing.
    """
    progress("reading the sessions", 0.0)
    recordings = read_recordings(sessions, truths)
    noted = []
    if marks is not None:
        recordings = [_with_marks(recordings, marks)]
        noted = [by_hand(marks.name)]
    stages = _stages(sessions, recordings)
    progress("reading the sessions", 1.0)
    planned = read_document(Plan, plan) if plan else None
    own, shelf = load_rig(rig) if rig else (None, None)
    progress("assessing", 0.0)
    assessment = assess_recordings(recordings, planned, own, shelf, noted, stages)
    assessment = assessment.stamped(assessment.basis, _inputs(recordings, planned, own))
    progress("assessing", 1.0)
    if out is not None:
        _write(assessment, own, out, progress)
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


def _stages(sessions: Sequence[Path], recordings: Sequence[Recording]) -> list[Figure]:
    """Delays by stage of the sessions from which something was sent."""
    names = [each.header.rig_name for each in recordings if each.header.rig_name]
    with ExitStack() as stack:
        readers = [stack.enter_context(SessionReader(Path(path))) for path in sessions]
        sent = [reader for reader in readers if has_sent(reader)]
        return stage_delays(*sent, scope=Scope(rig=names[0] if names else None))


def _inputs(recordings: Sequence[Recording], plan: Plan | None, rig: Rig | None) -> dict[str, str]:
    inputs = {
        f"session {recording.name}": recording.header.header.content_hash
        for recording in recordings
        if recording.header.header
    }
    inputs |= {"plan": plan.content_hash()} if plan else {}
    return inputs | ({"rig": rig.content_hash()} if rig else {})


def _write(assessment: Assessment, rig: Rig | None, out: Path, progress: Progress) -> None:
    from rushlight.assess.pictures import pictures_of  # draws: slow to import

    assessment.write(out / ASSESSMENT_FILE)
    surface = rig.surfaces[0] if rig and rig.surfaces else None
    size_m = (surface.width.value, surface.height.value) if surface else None
    progress("drawing", 0.0)
    for name, text in pictures_of(assessment, size_m).items():
        write_text(out / name, text)
    if stage_figures(assessment.figures):
        from rushlight.assess.stages_picture import draw_stages

        write_text(out / STAGES_PICTURE, draw_stages(assessment.figures, assessment.basis))
    progress("drawing", 1.0)
