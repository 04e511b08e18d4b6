"""The sittings of trials that a rig has, with their main numbers."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rushlight.assess.trials import assess_sittings
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.load import rig_path
from rushlight.jobs.trials import TRIALS_FOLDER, assess_trials
from rushlight.records.document import Basis, read_document
from rushlight.records.figure import Figure
from rushlight.records.trials import Sitting

MAIN = (("throughput", "mean"), ("task-error-rate", "mean"), ("movement-time", "mean"))
"""Figures that are told first, where a sitting has them; else whatever it has over everything."""

_MOST = 3


@dataclass(frozen=True)
class KeptSitting:
    """One sitting.

    Attributes
    ----------
    file
        Its name in the folder of trials.
    participant, device, device_name, role
        As of `rushlight.records.trials.Sitting`.
    basis
        Measured or simulated.
    kinds
        What was done, each once.
    runs
        How many blocks of trials.
    figures
        The main ones.
    """

    file: str
    participant: str
    device: str
    device_name: str
    role: str
    basis: Basis
    kinds: tuple[str, ...]
    runs: int
    figures: tuple[Figure, ...]


def trial_files(rig: Path) -> list[Path]:
    """The files of a rig's sittings, by name."""
    return sorted((rig_path(rig).parent / TRIALS_FOLDER).glob("*.json"))


def kept_sittings(rig: Path) -> tuple[list[KeptSitting], list[Finding]]:
    """The sittings of a rig, newest first, and what is wrong with those that cannot be read.

    Parameters
    ----------
    rig
        The rig's file or folder.
    """
    found, findings = [], []
    files = sorted(trial_files(rig), key=lambda file: (file.stat().st_mtime_ns, file.name))
    for file in reversed(files):
        try:
            sitting = read_document(Sitting, file)
            assessed = assess_sittings([(file.name, sitting)])
        except RushlightError as error:
            findings += error.findings
            continue
        found.append(
            KeptSitting(
                file.name,
                sitting.participant.id,
                sitting.device,
                sitting.device_name,
                sitting.role,
                assessed.basis,
                tuple(dict.fromkeys(run.kind for run in sitting.runs)),
                len(sitting.runs),
                _main(assessed.figures),
            )
        )
    return found, findings


def sittings_told(rig: Path) -> dict[str, Any]:
    """All sittings assessed together, as ``rushlight assess … --json`` prints them.

    Raises
    ------
    RushlightError
        When there is none, or they cannot be assessed together.
    """
    files = trial_files(rig)
    if not files:
        raise RushlightError.of(
            f"{TRIALS_FOLDER}/", "", "holds no sitting yet", "do a task on the page of trials",
            "sitting-none",
        )  # fmt: skip
    return assess_trials(files, rig).model_dump(mode="json", by_alias=True)


def _main(figures: list[Figure]) -> tuple[Figure, ...]:
    whole = [each for each in figures if each.scope.condition is None and each.value is not None]
    main = [each for name in MAIN for each in whole if (each.name, each.statistic) == name]
    return tuple(main or whole)[:_MOST]
