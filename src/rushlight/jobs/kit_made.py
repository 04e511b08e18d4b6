"""A kit made from what lies beside a rig, before it is laid down anywhere."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.kit_space import (
    planned_in_space,
    scene_beside,
    space_pictures,
    zone_beside,
)
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.plan import planned_rig
from rushlight.jobs.plan_space import in_space
from rushlight.jobs.progress import Progress, silent
from rushlight.keep.export import export_csv
from rushlight.keep.session import SessionReader
from rushlight.publish.kit import KitSource, Picture, basis_of_document, build_kit
from rushlight.publish.space_kit import SpaceKitSource, build_space_kit
from rushlight.records.assessment import Assessment
from rushlight.records.document import Basis, Document, read_document
from rushlight.records.kit import Kit
from rushlight.records.plan import Plan, PlanFinding
from rushlight.records.registration import Registration
from rushlight.records.rig import Rig
from rushlight.records.space_plan import SpacePlan
from rushlight.records.space_registration import SpaceRegistration
from rushlight.shelf.catalogue import measured_files
from rushlight.shelf.check import check_rig

UNNAMED_AUTHOR = "Your name"
"""What a new rig file says of its author."""

_PASSWORD = re.compile(r"://[^\s/@:\"']*:[^\s/@\"']+@")
"""A name and password before the host of an address (RFC 3986, 3.2.1)."""


@dataclass(frozen=True)
class KitParts:
    """Files that a kit is made from beside its rig; see `rushlight.jobs.kit.kit`."""

    plan: Path | None = None
    assessment: Path | None = None
    registration: Path | None = None
    sessions: tuple[Path, ...] = ()


@dataclass(frozen=True)
class MadeKit:
    """A kit that lies nowhere yet.

    Attributes
    ----------
    kit, files
        The document, and every file by its path.
    findings
        What its authors should look at before they hand it on.
    """

    kit: Kit
    files: dict[str, bytes]
    findings: tuple[Finding, ...]


def made_kit(
    rig: Path,
    parts: KitParts,
    edition: int = 1,
    supersedes: str | None = None,
    progress: Progress = silent,
) -> MadeKit:
    """Make a kit without writing anything.

    Parameters
    ----------
    rig
        The rig's file, or its folder.
    parts
        What goes into it beside the rig.
    edition, supersedes
        Number of the release, and content hash of the one that it replaces.
    progress
        Told how far the work is.

    Raises
    ------
    RushlightError
        When an input is missing, wrong or of another rig.
    """
    document, shelf = load_rig(rig)
    file = rig_path(rig)
    findings = check_rig(document, shelf, file.name)
    errors = [finding for finding in findings if finding.severity == "error"]
    if errors:
        raise RushlightError(errors)
    _refuse_password(file)
    common: dict[str, Any] = {
        "rig": document,
        "shelf": shelf,
        "rig_file": file.read_bytes(),
        "assessment": of_this_rig(Assessment, parts.assessment, document)
        if parts.assessment
        else None,
        "sessions": _sessions(parts.sessions, document),
        "edition": edition,
        "supersedes": supersedes,
    }
    beside = _beside(document, file.parent)
    source: KitSource | SpaceKitSource
    if in_space(document):
        source = _in_space(rig, parts.plan, parts.registration, common, beside, progress)
        published, files = build_space_kit(source)
    else:
        source = _on_surface(rig, parts.plan, parts.registration, common, beside, progress)
        published, files = build_kit(source)
    progress("drawing", 1.0)
    told = (*findings, *_before_handing_on(document, source.plan.findings))
    return MadeKit(published, files, told)


def _on_surface(
    rig: Path,
    plan: Path | None,
    registration: Path | None,
    common: dict[str, Any],
    beside: dict[str, bytes],
    progress: Progress,
) -> KitSource:
    document, assessed = common["rig"], common["assessment"]
    planned = of_this_rig(Plan, plan, document) if plan else _plan(rig, progress)
    registered = of_this_rig(Registration, registration, document) if registration else None
    progress("drawing", 0.0)
    return KitSource(
        **common,
        beside=beside,
        plan=planned,
        registration=registered,
        pictures=_pictures(document, planned, assessed, registered),
    )


def _in_space(
    rig: Path,
    plan: Path | None,
    registration: Path | None,
    common: dict[str, Any],
    beside: dict[str, bytes],
    progress: Progress,
) -> SpaceKitSource:
    document, assessed = common["rig"], common["assessment"]
    if plan:
        planned, zone = of_this_rig(SpacePlan, plan, document), zone_beside(plan)
    else:
        planned, zone = planned_in_space(rig, progress)
    registered = of_this_rig(SpaceRegistration, registration, document) if registration else None
    progress("drawing", 0.0)
    return SpaceKitSource(
        **common,
        beside=beside | scene_beside(rig_path(rig).parent),
        plan=planned,
        registration=registered,
        pictures=space_pictures(document, common["shelf"], planned, zone, assessed, registered),
    )


def _refuse_password(file: Path) -> None:
    """A kit holds the rig's file as it is, remarks and all; a camera's password must not go out."""
    for number, line in enumerate(file.read_text("utf-8").splitlines(), 1):
        if _PASSWORD.search(line):
            raise RushlightError.of(
                f"{file.name}: line {number}",
                "",
                "holds an address with a password, which the kit would publish",
                "take it out, give the address to run --camera instead, and plan anew",
                "kit-password",
            )


def _plan(rig: Path, progress: Progress) -> Plan:
    planned = planned_rig(rig, progress=progress).plan
    return planned.stamped("predicted", inputs={"rig": planned.rig})


def of_this_rig(model: type[Any], path: Path, rig: Rig) -> Any:
    """A document, if it was made from this rig as it is now."""
    document = read_document(model, path)
    own = getattr(document, "rig", None) or _input_of(document)
    if own is not None and own != rig.content_hash():
        raise RushlightError.of(
            path.name,
            "",
            f"was made from another rig than {rig.name}, or before that was changed",
            "make it anew from this rig",
            "of-another-rig",
        )
    return document


def _input_of(document: Document) -> str | None:
    return document.header.inputs.get("rig") if document.header else None


def _beside(rig: Rig, folder: Path) -> dict[str, bytes]:
    """The other files that the rig rests on: own shelf, measured parts, lens calibrations."""
    paths = [*sorted(folder.glob("*.shelf.toml")), *measured_files(folder)]
    paths += [folder / camera.lens for camera in rig.cameras if camera.lens]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}


def _sessions(paths: Sequence[Path], rig: Rig) -> dict[str, tuple[bytes, Basis]]:
    """Tables of each session, by path below ``data/``."""
    tables: dict[str, tuple[bytes, Basis]] = {}
    names = [path.stem for path in paths]
    for path in paths:
        if names.count(path.stem) > 1:
            raise RushlightError.of(
                path.name, "", "has the name of another session", "rename one", "session-twice"
            )
        with SessionReader(path) as reader, tempfile.TemporaryDirectory() as work:
            if reader.header.rig not in (None, rig.content_hash()):
                raise RushlightError.of(
                    path.name,
                    "",
                    f"is a session of another rig than {rig.name}, or from before it was changed",
                    "leave it out, or record it anew",
                    "of-another-rig",
                )
            for table in export_csv(reader, Path(work)):
                where = f"sessions/{path.stem}/{table.name}"
                tables[where] = (table.read_bytes(), reader.basis)
    return tables


def _pictures(
    rig: Rig, plan: Plan, assessment: Assessment | None, registration: Registration | None
) -> dict[str, Picture]:
    """Pictures drawn from the documents' own numbers, so that they cannot disagree with them."""
    # Drawing libraries are slow to import.
    from rushlight.plan.look import svg_of
    from rushlight.plan.pictures import cause_bars, delay_bars, error_map

    drawn = {
        "predicted-error-map.svg": (error_map, "predicted error over the surface, with beacons"),
        "predicted-error-causes.svg": (cause_bars, "predicted error by cause, the largest first"),
        "predicted-delay.svg": (delay_bars, "predicted delay, stage by stage"),
    }
    pictures = {
        name: Picture(svg_of(draw(plan)), shows, "predicted")
        for name, (draw, shows) in drawn.items()
    }
    if assessment is not None:
        pictures |= _assessed_pictures(rig, assessment)
    if registration is not None:
        from rushlight.register.error_map import picture

        basis = basis_of_document(registration)
        pictures[f"{basis}-registration.svg"] = Picture(
            picture(registration, basis == "simulated"),
            "residuals of the registration, and the error that its map is expected to have",
            basis,
        )
    return pictures


def _assessed_pictures(rig: Rig, assessment: Assessment) -> dict[str, Picture]:
    from rushlight.assess.pictures import pictures_of

    basis = assessment.basis
    shows = {
        "error-map.svg": f"error at each place, {basis}",
        "predicted-measured.svg": f"predicted beside {basis}, cause by cause",
        "throughput.svg": f"throughput of tapping, {basis}",
    }
    size_m = (rig.surfaces[0].width.value, rig.surfaces[0].height.value) if rig.surfaces else None
    return {
        f"{basis}-{name}": Picture(text.encode(), shows.get(name, name), basis)
        for name, text in pictures_of(assessment, size_m).items()
    }


def _before_handing_on(rig: Rig, findings: Sequence[PlanFinding]) -> list[Finding]:
    """What the authors should look at, since the kit carries it out of the house."""
    told = [each.finding() for each in findings if each.code == "eye-limit-passed"]
    if UNNAMED_AUTHOR in rig.authors:
        told.append(
            Finding(
                "warning",
                "author-unnamed",
                "rig.toml: authors",
                f'"{UNNAMED_AUTHOR}"',
                "goes into the kit as its author",
                "write who stands for the kit, or a group's name",
            )
        )
    if rig.basis != "invented" and rig.people:
        told.append(
            Finding(
                "note",
                "people-published",
                "rig.toml: people",
                "",
                "goes into the kit with the body measures of whoever it names",
                "use made-up ids, and measures that those people agree to have published",
            )
        )
    return told
