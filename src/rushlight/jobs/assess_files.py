"""What assessments of every kind of rig read and write beside the sessions themselves."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

from rushlight.assess.recording import Recorded
from rushlight.assess.stages import has_sent, stage_delays, stage_figures
from rushlight.jobs.progress import Progress
from rushlight.keep.session import SessionReader
from rushlight.records.assessment import Assessment
from rushlight.records.document import Document, write_text
from rushlight.records.figure import Figure, Scope
from rushlight.records.rig import Rig

ASSESSMENT_FILE = "assessment.json"
STAGES_PICTURE = "stages.svg"


def stages_of(sessions: Sequence[Path], recordings: Sequence[Recorded]) -> list[Figure]:
    """Delays by stage of the sessions from which something was sent."""
    names = [each.header.rig_name for each in recordings if each.header.rig_name]
    with ExitStack() as stack:
        readers = [stack.enter_context(SessionReader(Path(path))) for path in sessions]
        sent = [reader for reader in readers if has_sent(reader)]
        return stage_delays(*sent, scope=Scope(rig=names[0] if names else None))


def inputs_of(
    recordings: Sequence[Recorded], plan: Document | None, rig: Rig | None
) -> dict[str, str]:
    """Role and content hash of whatever an assessment rests on."""
    inputs = {
        f"session {recording.name}": recording.header.header.content_hash
        for recording in recordings
        if recording.header.header
    }
    inputs |= {"plan": plan.content_hash()} if plan else {}
    return inputs | ({"rig": rig.content_hash()} if rig else {})


def write_assessment(
    assessment: Assessment, rig: Rig | None, out: Path, progress: Progress
) -> None:
    """Write ``assessment.json`` and the pictures into a folder."""
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
