"""A kit from its documents: every file that it holds, as bytes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from rushlight.publish.build import Build, surface_build
from rushlight.publish.files import (
    KIT_FILE,
    MANIFEST,
    PAGE,
    figures_csv,
    manifest_text,
    sha256,
)
from rushlight.publish.marks import marks_of, marks_text
from rushlight.publish.notices import basis_of, not_known, notices_of
from rushlight.publish.page import SurfaceContent, render_page
from rushlight.publish.sheet import Drawing
from rushlight.publish.tolerances import tolerances_of
from rushlight.records.assessment import Assessment
from rushlight.records.document import Basis, Document
from rushlight.records.kit import Kit, KitFile, Tolerance
from rushlight.records.plan import Plan
from rushlight.records.registration import Registration
from rushlight.records.rig import Rig
from rushlight.records.space_plan import SpacePlan
from rushlight.shelf.catalogue import Shelf


@dataclass(frozen=True)
class Picture:
    """A picture made elsewhere: its file, what it shows, and what it rests on."""

    content: bytes
    shows: str
    basis: Basis


@dataclass(frozen=True, kw_only=True)
class KitDocuments:
    """What every kit is made from.

    Attributes
    ----------
    rig, shelf
        The rig and its parts.
    rig_file
        The rig's file, byte for byte.
    beside
        Name to content of the other files that the rig needs: own shelf, measurements, lens.
    plan, assessment, registration
        Documents; the last two may be missing.
    sessions
        Path below ``data/`` to content of exported sessions, and what they rest on.
    pictures
        File name to picture.
    edition, supersedes
        Number of the release, and content hash of the one that it replaces.
    """

    rig: Rig
    shelf: Shelf
    rig_file: bytes
    plan: Plan | SpacePlan
    beside: Mapping[str, bytes] = field(default_factory=dict)
    assessment: Assessment | None = None
    registration: Document | None = None
    sessions: Mapping[str, tuple[bytes, Basis]] = field(default_factory=dict)
    pictures: Mapping[str, Picture] = field(default_factory=dict)
    edition: int = 1
    supersedes: str | None = None

    @property
    def newest(self) -> str:
        """When the newest document that the kit is made from was made (UTC, ISO 8601)."""
        documents = (self.plan, self.assessment, self.registration)
        return max(
            (each.header.made_at for each in documents if each is not None and each.header),
            default="",
        )


@dataclass(frozen=True, kw_only=True)
class KitSource(KitDocuments):
    """What a kit for pointing at a surface is made from; see `KitDocuments`."""

    plan: Plan
    registration: Registration | None = None


def build_kit(source: KitSource) -> tuple[Kit, dict[str, bytes]]:
    """The kit, and all its files by path.

    Parameters
    ----------
    source
        What it is made from; the same source gives the same bytes.

    Raises
    ------
    RushlightError
        When the rig cannot be resolved, or has no surface.
    """
    build = surface_build(source.rig, source.shelf, source.plan)
    drawings = build.drawings
    kit = kit_of(source, build, tolerances_of(source.rig, source.plan))
    page = SurfaceContent(
        kit=kit,
        plan=source.plan,
        assessment=source.assessment,
        registration=source.registration,
        bought=build.bought,
        drawings=drawings,
        pictures=[
            (name, each.content, each.shows, each.basis) for name, each in source.pictures.items()
        ],
        hangings=build.hangings,
        basis=basis_of(source.assessment),
        dated=source.newest,
    )
    return assembled(
        source,
        kit,
        _files(source, drawings),
        lambda listed: render_page(replace(page, kit=kit.model_copy(update={"files": listed}))),
    )


def assembled(
    source: KitDocuments,
    kit: Kit,
    every: Mapping[str, tuple[bytes, str, Basis]],
    page_of: Callable[[list[KitFile]], bytes],
) -> tuple[Kit, dict[str, bytes]]:
    """A kit with its page, its list of files, its header and its manifest.

    Parameters
    ----------
    source
        What it is made from.
    kit
        Without its files.
    every
        Path to content, role and basis, of everything but page, kit and manifest.
    page_of
        Makes the page, given the files that it lists.
    """
    licence, basis = source.rig.licence, basis_of(source.assessment)
    listed = [
        KitFile(path=path, sha256=sha256(content), role=role, licence=licence, basis=own)
        for path, (content, role, own) in sorted(every.items())
    ]
    files = {path: content for path, (content, _, _) in every.items()}
    files[PAGE] = page_of(listed)
    own_page = KitFile(path=PAGE, sha256=sha256(files[PAGE]), role="the instructions",
                       licence=licence, basis=basis)  # fmt: skip
    stamped = _stamped(kit.model_copy(update={"files": [own_page, *listed]}), source)
    files[KIT_FILE] = (stamped.json_text() + "\n").encode()
    files[MANIFEST] = manifest_text(files)
    return stamped, files


def _files(
    source: KitSource, drawings: Mapping[str, Drawing]
) -> dict[str, tuple[bytes, str, Basis]]:
    """Path to content, role and basis, of everything but page, kit and manifest."""
    files = kit_files(source, drawings)
    marks = marks_of(source.plan)
    if marks is not None:
        text = marks_text(marks).encode()
        files["data/marks.toml"] = (text, "places to touch when a rebuild is checked", "predicted")
    return files


def kit_files(
    source: KitDocuments, drawings: Mapping[str, Drawing]
) -> dict[str, tuple[bytes, str, Basis]]:
    """What every kit holds: rig, documents, figures, sessions, drawings and pictures."""
    rig = source.rig
    files: dict[str, tuple[bytes, str, Basis]] = {
        "rig.toml": (source.rig_file, "the rig, as its authors wrote it", rig.basis)
    }
    for name, content in source.beside.items():
        files[name] = (content, "parts or measurements that the rig needs", rig.basis)
    documents: list[tuple[str, Document | None, str, Basis]] = [
        ("plan", source.plan, "the prediction", "predicted"),
        ("assessment", source.assessment, "what sessions showed", basis_of(source.assessment)),
        ("registration", source.registration, "a registration of the kit's own rig",
         basis_of_document(source.registration)),
    ]  # fmt: skip
    for name, document, role, basis in documents:
        if document is not None:
            text = (document.json_text() + "\n").encode()
            files[f"data/{name}.json"] = (text, role, basis)
    for path, (content, basis) in source.sessions.items():
        files[f"data/{path}"] = (content, "a session's dots, trails and fixes", basis)
    for name, drawing in drawings.items():
        files[f"pictures/{name}"] = (drawing.svg.encode(), drawing.title, rig.basis)
    for name, picture in source.pictures.items():
        files[f"pictures/{name}"] = (picture.content, picture.shows, picture.basis)
    figures = {"data/plan.json": source.plan.figures}
    if source.assessment is not None:
        figures["data/assessment.json"] = source.assessment.figures
    files["data/figures.csv"] = (
        figures_csv(figures), "every figure with its unit", basis_of(source.assessment)
    )  # fmt: skip
    return files


def basis_of_document(document: Document | None) -> Basis:
    """What a document's header says that it rests on; "typical" where it says nothing."""
    return document.header.basis if document is not None and document.header else "typical"


def kit_of(
    source: KitDocuments, build: Build, tolerances: list[Tolerance], untried: Sequence[str] = ()
) -> Kit:
    """The kit's document, without its files.

    Parameters
    ----------
    source, build
        What it is made from, and what is needed to build the rig.
    tolerances
        By which rebuilds are checked.
    untried
        What nobody has tried, told before all else that is not known.
    """
    rig, plan, assessment = source.rig, source.plan, source.assessment
    return Kit(
        name=rig.name,
        edition=source.edition,
        edition_supersedes=source.supersedes,
        notices=notices_of(rig, assessment, tolerances),
        rig=rig,
        figures=[*plan.figures, *(assessment.figures if assessment else [])],
        check_plan=[f"{step.title}. {step.text}" for step in build.steps if step.part == "check"],
        tolerances=tolerances,
        steps=build.steps,
        cautions=build.cautions,
        not_known=[*untried, *not_known(rig, plan, assessment, build.bought)],
        files=[],
        languages=["en"],
    )


def _stamped(kit: Kit, source: KitDocuments) -> Kit:
    """The kit with its header; dated by its newest document, so that making it again from the
    same documents gives the same bytes."""
    documents = {
        "rig": source.rig,
        "plan": source.plan,
        "assessment": source.assessment,
        "registration": source.registration,
    }
    stamped = kit.stamped(
        basis_of(source.assessment),
        inputs={role: each.content_hash() for role, each in documents.items() if each is not None},
        supersedes=source.supersedes,
    )
    if stamped.header is None:
        return stamped
    header = stamped.header.model_copy(update={"made_at": source.newest})
    return stamped.model_copy(update={"header": header})
