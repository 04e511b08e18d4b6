"""Trials that people do on the full-screen page: kept beside the rig, and assessed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rushlight.assess.trials import assess_sittings
from rushlight.assess.trials_predicted import by_hand_predicted
from rushlight.errors import RushlightError
from rushlight.jobs.assess_files import write_assessment
from rushlight.jobs.kept import kept_plan
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.trials_plan import pointers_of
from rushlight.physics.uncertainty import rms
from rushlight.records.assessment import Assessment
from rushlight.records.document import Basis, read_document, validate
from rushlight.records.figure import Figure
from rushlight.records.plan import Plan
from rushlight.records.rig import Rig
from rushlight.records.trials import Sitting

TRIALS_FOLDER = "trials"
"""Beside the rig's document."""


@dataclass(frozen=True)
class KeptRun:
    """Where a run was kept.

    Attributes
    ----------
    path
        Of the sitting.
    runs
        How many runs it holds now.
    basis
        Measured or simulated.
    """

    path: Path
    runs: int
    basis: Basis

    def as_dict(self) -> dict[str, Any]:
        """As plain values."""
        return {"file": self.path.name, "runs": self.runs, "basis": self.basis}


def is_sitting(path: Path) -> bool:
    """Whether a file is a sitting rather than a session, told by its name's end."""
    return Path(path).suffix == ".json"


def sitting_path(rig: Path, number: str) -> Path:
    """Where a sitting is kept.

    Parameters
    ----------
    rig
        The rig's file or folder.
    number
        The sitting's random id.
    """
    return rig_path(rig).parent / TRIALS_FOLDER / f"sitting-{number}.json"


def keep_run(rig: Path, posted: Any, simulated: bool) -> KeptRun:
    """Keep one run of a sitting: added to those before, or in place of its own number.

    Parameters
    ----------
    rig
        The rig's file or folder.
    posted
        A sitting as plain values, whose `runs` are those to be added.
    simulated
        Whether the rig's pointers, and the eye that it finds, were an invented person's.

    Returns
    -------
    KeptRun

    Raises
    ------
    RushlightError
        When a field is wrong, there is no consent, the sitting's other parts changed, or what is
        said to be the rig was another device.
    """
    document, _ = load_rig(rig)
    sitting = validate(Sitting, posted, "trials")
    _check(sitting, document.name)
    if sitting.role == "rig":
        _check_own(sitting, pointers_of(document))
    path = sitting_path(rig, sitting.id)
    runs = {run.number: run for run in sitting.runs}
    # An invented hand holds the rig's lights, and bears the eye; a mouse beside it is no less real.
    by_rig = sitting.role == "rig" or any(run.kind == "align" for run in sitting.runs)
    # One simulated run makes the sitting simulated for good: nothing invented may pass as measured.
    basis: Basis = "simulated" if simulated and by_rig else "measured"
    of_rig: str | None = document.content_hash()
    if path.exists():
        before = read_document(Sitting, path)
        _check_same(before, sitting)
        if before.rig != of_rig:  # it was changed meanwhile, and the sitting is of neither
            of_rig = None
        runs = {run.number: run for run in before.runs} | runs
        if before.header and before.header.basis == "simulated":
            basis = "simulated"
    whole = sitting.model_copy(
        update={"runs": [runs[number] for number in sorted(runs)], "rig": of_rig}
    )
    whole.stamped(basis).write(path)
    return KeptRun(path, len(runs), basis)


def _check(sitting: Sitting, rig_name: str) -> None:
    if not sitting.participant.consent.taking_part:
        raise RushlightError.of(
            "trials: participant.consent", "no", "was not given, so nothing is kept",
            "ask first, and record only with consent", "trials-consent",
        )  # fmt: skip
    if sitting.rig_name != rig_name:
        raise RushlightError.of(
            "trials: rig_name", sitting.rig_name, f"is not this rig, {rig_name}",
            "open the page of the right rig", "rigs-differ",
        )  # fmt: skip
    if not sitting.runs:
        raise RushlightError.of(
            "trials: runs", "", "holds no run", "send at least one", "sitting-empty"
        )


def _check_own(sitting: Sitting, pointers: Sequence[str]) -> None:
    """The rig's own are its pointers, which pages hear as pens, and the eye that it finds."""
    for number, run in enumerate(sitting.runs):
        own = {"eye"} if run.kind == "align" else {"pen"} if pointers else set()
        others = sorted(set(run.pointer_types) - own)
        if others or not own:
            raise RushlightError.of(
                f"trials: runs[{number}].pointer_types", ", ".join(others),
                "is no pointer or eye that this rig finds",
                "begin a sitting of it as the reference, or as something else",
                "trials-not-the-rig",
            )  # fmt: skip


def _check_same(before: Sitting, after: Sitting) -> None:
    for field in ("participant", "device", "role", "display_m"):
        if getattr(before, field) != getattr(after, field):
            raise RushlightError.of(
                f"trials: {field}", "", f"changed within sitting {after.id}",
                "begin a new sitting", "sitting-changed",
            )  # fmt: skip


def _expected(rig: Path, own: Rig, read: Sequence[tuple[str, Sitting]]) -> list[Figure]:
    """What the plan beside the rig expects of the rig's own sittings, if all are of this rig."""
    plan = kept_plan(rig)
    ours = [sitting for _, sitting in read if sitting.role == "rig"]
    if not isinstance(plan, Plan) or any(sitting.rig != plan.rig for sitting in ours):
        return []
    scatters_m = [person.touch_scatter.value for person in own.people]
    return by_hand_predicted(plan.figures, float(rms(scatters_m))) if scatters_m else []


def assess_trials(
    sittings: Sequence[Path],
    rig: Path | None = None,
    out: Path | None = None,
    progress: Progress = silent,
) -> Assessment:
    """Assess sittings at one rig together; see `assess.assess`.

    Parameters
    ----------
    sittings
        Files as `keep_run` writes them.
    rig
        Theirs; its plan, if it is of the rig that was tried, tells what error is expected.
    out
        Folder to write to; nothing is written when left out.
    progress
        Told what is being done.

    Raises
    ------
    RushlightError
        When a file is wrong, or they are of another rig or of several.
    """
    progress("reading the sittings", 0.0)
    read = [(Path(path).name, read_document(Sitting, Path(path))) for path in sittings]
    if len({sitting.id for _, sitting in read}) < len(read):
        raise RushlightError.of(
            "assess", "", "got the same sitting twice", "name each once", "session-twice"
        )
    own = load_rig(rig)[0] if rig else None
    if own is not None and any(sitting.rig_name != own.name for _, sitting in read):
        raise RushlightError.of(
            "assess", own.name, "is not the rig of these sittings", "give theirs", "rigs-differ"
        )
    progress("assessing", 0.0)
    assessment = assess_sittings(
        read, [] if own is None or rig is None else _expected(rig, own, read)
    )
    inputs = {f"sitting {name}": sitting.content_hash() for name, sitting in read}
    assessment = assessment.stamped(assessment.basis, inputs)
    progress("assessing", 1.0)
    if out is not None:
        write_assessment(assessment, own, out, progress)
    return assessment
