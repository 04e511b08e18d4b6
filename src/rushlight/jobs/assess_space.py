"""What sessions of a rig of space show: figures, beside a plan and beside a reference."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rushlight.assess.space_assessing import assess_space
from rushlight.assess.space_recording import read_space_recordings
from rushlight.errors import RushlightError
from rushlight.jobs.assess_files import inputs_of, stages_of, write_assessment
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.progress import Progress, silent
from rushlight.records.assessment import Assessment
from rushlight.records.document import read_document
from rushlight.records.rig import Rig
from rushlight.records.space_plan import SpacePlan
from rushlight.records.space_registration import SpaceRegistration
from rushlight.shelf.resolve_space import resolve_space, space_kinds


def assess_in_space(
    sessions: Sequence[Path],
    plan: Path | None = None,
    rig: Path | None = None,
    truths: Sequence[Path] = (),
    out: Path | None = None,
    progress: Progress = silent,
    registration: Path | None = None,
) -> Assessment:
    """Assess sessions of one viewpoint, body or volume rig together; see `assess.assess`."""
    progress("reading the sessions", 0.0)
    recordings = read_space_recordings(sessions, truths)
    stages = stages_of(sessions, recordings)
    progress("reading the sessions", 1.0)
    planned = read_document(SpacePlan, plan) if plan else None
    registered = read_document(SpaceRegistration, registration) if registration else None
    own, shelf = load_rig(rig) if rig else (None, None)
    space = None
    if rig is not None and own is not None and shelf is not None:
        _check_kinds(own, rig)
        space = resolve_space(own, shelf, rig_path(rig).name)
    progress("assessing", 0.0)
    assessment = assess_space(recordings, planned, own, shelf, space, registered, stages)
    inputs = inputs_of(recordings, planned, own)
    inputs |= {"registration": registered.content_hash()} if registered else {}
    assessment = assessment.stamped(assessment.basis, inputs)
    progress("assessing", 1.0)
    if out is not None:
        write_assessment(assessment, own, out, progress)
    return assessment


def _check_kinds(rig: Rig, path: Path) -> None:
    if not space_kinds(rig):
        raise RushlightError.of(
            f"{rig_path(path).name}: kinds",
            ", ".join(rig.kinds),
            "holds no kind that moves in space, and these sessions do",
            "give the rig that the sessions are of",
            "rigs-differ",
        )
