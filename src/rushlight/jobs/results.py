"""Everything that was found of a rig, from what lies beside it: ``rushlight assess RIG``."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.assess import assess
from rushlight.jobs.assess_files import ASSESSMENT_FILE
from rushlight.jobs.kept import kept_plan
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.plan import PLAN_FILE
from rushlight.jobs.plan import default_folder as plan_folder
from rushlight.jobs.plan_space import in_space
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.trials import TRIALS_FOLDER, assess_trials
from rushlight.publish.files import figures_csv
from rushlight.records.assessment import Assessment
from rushlight.records.document import Basis, read_document
from rushlight.records.rig import Rig

ASSESSMENT_FOLDER = "assessment"
REGISTRATION_FILE = "registration.json"
FOOTAGE_FOLDER = "footage"


class ResultPicture(NamedTuple):
    """A picture of results: its file's name, what it is of, SVG, and what it rests on."""

    name: str
    of: str
    svg: bytes
    basis: Basis


@dataclass(frozen=True)
class Results:
    """What was found of a rig.

    Attributes
    ----------
    name, title, basis
        Of the rig.
    sessions, trials
        What recorded sessions show, and what people reached on the page of trials; None where
        there is nothing.
    findings
        What is missing or no longer true.
    """

    name: str
    title: str
    basis: Basis
    sessions: Assessment | None
    trials: Assessment | None
    findings: Sequence[Finding]

    @property
    def documents(self) -> dict[str, Assessment]:
        """Those that are there, by what they are of."""
        both = {"sessions": self.sessions, "trials": self.trials}
        return {of: document for of, document in both.items() if document is not None}

    def as_dict(self) -> dict[str, Any]:
        """The results as plain values, for JSON."""
        told: dict[str, Any] = dict.fromkeys(("sessions", "trials"))
        told |= {of: json.loads(each.json_text()) for of, each in self.documents.items()}
        return {
            "rig": self.name,
            "title": self.title,
            "basis": self.basis,
            **told,
            "findings": [each.as_dict() for each in self.findings],
        }


def is_rig(path: Path) -> bool:
    """Whether a path names a rig rather than a session or a sitting."""
    return path.is_dir() or path.suffix == ".toml"


def refuse_beside_rig(paths: Sequence[Path], given: Sequence[str]) -> None:
    """Refuse what cannot stand beside a rig whose results are asked for.

    Parameters
    ----------
    paths
        What was named; one rig alone is right.
    given
        Names of options that belong to sessions.

    Raises
    ------
    RushlightError
        When more than one rig is named, or something else, or an option was given.
    """
    if len(paths) != 1 or not is_rig(paths[0]):
        raise RushlightError.of(
            "--anew", ", ".join(path.name for path in paths), "is not one rig",
            "name the rig alone: rushlight assess RIG --anew", "assess-not-rig",
        )  # fmt: skip
    if given:
        raise RushlightError.of(
            ", ".join(given), "", "belongs to sessions, and a rig was named",
            "leave it out, or name the sessions", "assess-rig-options",
        )  # fmt: skip


def results(rig: Path, anew: bool = False, progress: Progress = silent) -> Results:
    """What was found of a rig so far.

    Parameters
    ----------
    rig
        The rig's file, or its folder.
    anew
        Assess the sessions that lie beside the rig anew, and keep that; without it what was
        kept is told. Sittings from the page of trials are always assessed now.
    progress
        Told what is being done.

    Returns
    -------
    Results

    Raises
    ------
    RushlightError
        When a file is wrong, or there is no session to assess anew.
    """
    document = load_rig(rig)[0]
    folder = rig_path(rig).parent
    if anew:
        _assess_anew(rig, document, progress)
    sittings = sorted((folder / TRIALS_FOLDER).glob("sitting-*.json"))
    trials = assess_trials(sittings, rig, progress=progress) if sittings else None
    file = folder / ASSESSMENT_FOLDER / ASSESSMENT_FILE
    sessions = read_document(Assessment, file) if file.is_file() else None
    return Results(
        document.name,
        document.title or document.name,
        document.basis,
        sessions,
        trials,
        _findings(document, folder, sessions, trials),
    )


def results_csv(rig: Path) -> bytes:
    """Every figure of the results as a row, with unit, interval and basis."""
    found = results(rig)
    return figures_csv({of: each.figures for of, each in found.documents.items()})


def result_pictures(rig: Path) -> list[ResultPicture]:
    """Pictures of the results, drawn from their own numbers."""
    # Drawing libraries are slow to import.
    from rushlight.assess.pictures import pictures_of
    from rushlight.assess.relative_picture import relative_picture

    document = load_rig(rig)[0]
    surface = document.surfaces[0] if document.surfaces and not in_space(document) else None
    size_m = (surface.width.value, surface.height.value) if surface else None
    made = []
    for of, each in results(rig).documents.items():
        drawn = pictures_of(each, size_m)
        beside = relative_picture(each)
        drawn |= {"relative.svg": beside} if beside else {}
        made += [ResultPicture(name, of, svg.encode(), each.basis) for name, svg in drawn.items()]
    return made


def _assess_anew(rig: Path, document: Rig, progress: Progress) -> None:
    folder = rig_path(rig).parent
    # Touches that made a registration would judge themselves, and are refused.
    touches = set(folder.glob(f"{Path(REGISTRATION_FILE).stem}-touches*.sqlite"))
    sessions = sorted(set(folder.glob("*.sqlite")) - touches)
    if not sessions:
        raise RushlightError.of(
            "assess", str(folder), "holds no session", "record one with rushlight run", "no-session"
        )
    truths = [folder / FOOTAGE_FOLDER / each.stem / "truth.sqlite" for each in sessions]
    registration = folder / REGISTRATION_FILE
    assess(
        sessions,
        plan_folder(rig) / PLAN_FILE if kept_plan(rig) is not None else None,
        rig,
        [each for each in truths if each.is_file()],
        out=folder / ASSESSMENT_FOLDER,
        progress=progress,
        registration=registration if in_space(document) and registration.is_file() else None,
    )


def _findings(
    rig: Rig, folder: Path, sessions: Assessment | None, trials: Assessment | None
) -> list[Finding]:
    found = []
    recorded = any(folder.glob("*.sqlite"))
    if sessions is None:
        found.append(
            Finding(
                "note", "results-no-sessions", "results", "",
                "hold no sessions assessed, so that nothing stands beside the prediction",
                "assess those recorded: rushlight assess RIG --anew"
                if recorded
                else "record one with rushlight run",
            )
        )  # fmt: skip
    elif sessions.rig not in (None, rig.content_hash()):
        found.append(
            Finding(
                "warning", "results-stale", f"{ASSESSMENT_FOLDER}/{ASSESSMENT_FILE}", "",
                "is of the rig before it was changed", "register and record anew",
            )
        )  # fmt: skip
    if not in_space(rig):
        found += _of_error([each for each in (sessions, trials) if each is not None])
    if trials is None:
        found.append(
            Finding(
                "note", "results-no-trials", "results", "",
                "hold no sittings, so that nothing is known of how well people point with it",
                "let people try it, and the reference too, on the page of trials",
            )
        )  # fmt: skip
    elif trials.reference is None:
        found.append(
            Finding(
                "note", "results-no-reference", "results: trials", "",
                "are of one device, so that there is no measured comparison",
                "try the reference on the same page, in the role of the reference",
            )
        )  # fmt: skip
    return found


def _of_error(documents: Sequence[Assessment]) -> list[Finding]:
    """Why no error of the rig, touched with its own lights, stands beside the predicted one."""
    figures = [figure for each in documents for figure in each.figures]
    if not documents or any(row.name == "error" for each in documents for row in each.compared):
        return []
    if not any(figure.name == "error" and figure.scope.carried is None for figure in figures):
        return [
            Finding(
                "note", "results-no-error", "results", "",
                "hold no touched marks, so that no error is found to stand beside the predicted",
                "touch and hold the grid of marks on the page of trials, with a light of the rig",
            )
        ]  # fmt: skip
    return [
        Finding(
            "note", "results-no-prediction", "results", "",
            "hold an error that nothing predicted stands beside: no plan of the very rig that was "
            "tried was there", "plan the rig as it is, and try or assess it anew",
        )
    ]  # fmt: skip
