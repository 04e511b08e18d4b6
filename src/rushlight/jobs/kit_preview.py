"""What a rig's kit would hold, and what is missing before it is published."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.assess_files import ASSESSMENT_FILE
from rushlight.jobs.kit import KitResult, default_kit, lay_down
from rushlight.jobs.kit_made import KitParts, MadeKit, made_kit, of_this_rig
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.plan import PLAN_FILE
from rushlight.jobs.plan import default_folder as plan_folder
from rushlight.jobs.plan_space import in_space
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.results import ASSESSMENT_FOLDER, REGISTRATION_FILE
from rushlight.publish.files import PAGE
from rushlight.publish.folder import check_archive, kit_at
from rushlight.publish.wording import NOT_KNOWN
from rushlight.records.assessment import Assessment
from rushlight.records.document import Document
from rushlight.records.kit import Kit
from rushlight.records.plan import Plan
from rushlight.records.registration import Registration
from rushlight.records.rig import Rig
from rushlight.records.space_plan import SpacePlan
from rushlight.records.space_registration import SpaceRegistration
from rushlight.shelf.cost import cost_lines


@dataclass(frozen=True)
class KitPreview:
    """A kit that was not written.

    Attributes
    ----------
    made
        The kit with its files.
    folder
        Where it would lie.
    published
        The kit that lies there already, or None.
    lacking
        What is missing before it is published; an error among them prevents it.
    """

    made: MadeKit
    folder: Path
    published: Kit | None
    lacking: Sequence[Finding]

    @property
    def page(self) -> bytes:
        """The page that it would have."""
        return self.made.files[PAGE]

    @property
    def is_published(self) -> bool:
        """Whether just this kit lies there already."""
        return (
            self.published is not None
            and self.published.content_hash() == self.made.kit.content_hash()
        )

    def as_dict(self) -> dict[str, Any]:
        """The preview as plain values, for JSON."""
        made = self.made.kit
        return {
            "kit": made.name,
            "title": made.rig.title or made.name,
            "edition": made.edition,
            "basis": made.header.basis if made.header else None,
            "folder": str(self.folder),
            "published": None if self.published is None else self.published.edition,
            "is_published": self.is_published,
            "notices": made.notices,
            "cautions": made.cautions,
            "not_known": made.not_known,
            "lacking": [each.as_dict() for each in self.lacking],
            "findings": [each.as_dict() for each in self.made.findings],
            "files": [
                {"path": each.path, "role": each.role, "basis": each.basis} for each in made.files
            ],
        }


def kept_parts(rig: Path) -> tuple[KitParts, list[Finding]]:
    """What lies beside a rig and belongs into its kit, and what is missing or of another rig.

    Parameters
    ----------
    rig
        The rig's file, or its folder.
    """
    document = load_rig(rig)[0]
    folder = rig_path(rig).parent
    space = in_space(document)
    wanted: list[tuple[str, type[Document], Path, str, str]] = [
        (
            "plan", SpacePlan if space else Plan, plan_folder(rig) / PLAN_FILE,
            "is not there as the rig stands, so that it is planned anew for the kit",
            "rushlight plan RIG",
        ),
        (
            "registration", SpaceRegistration if space else Registration,
            folder / REGISTRATION_FILE,
            "is not there as the rig stands, so that the kit shows none",
            "rushlight register, or the page Register",
        ),
        (
            "assessment", Assessment, folder / ASSESSMENT_FOLDER / ASSESSMENT_FILE,
            "is not there as the rig stands, so that every figure of the kit would be predicted",
            "record sessions, then rushlight assess, or the page Results",
        ),
    ]  # fmt: skip
    found: dict[str, Path] = {}
    lacking = []
    for name, model, file, words, remedy in wanted:
        try:
            of_this_rig(model, file, document)
        except RushlightError:
            lacking.append(
                Finding(
                    "note" if name == "plan" else "warning", f"kit-no-{name}", name, "", words,
                    remedy,
                )
            )  # fmt: skip
            continue
        found[name] = file
    parts = KitParts(found.get("plan"), found.get("assessment"), found.get("registration"))
    return parts, lacking


def kit_preview(
    rig: Path, parts: KitParts | None = None, progress: Progress = silent
) -> KitPreview:
    """Make a rig's kit without writing it, and tell what is missing.

    Parameters
    ----------
    rig
        The rig's file, or its folder.
    parts
        What goes into it; by default what lies beside the rig.
    progress
        Told how far the work is.

    Returns
    -------
    KitPreview
        Its edition is that of the kit that lies there, if nothing changed, and else the next.

    Raises
    ------
    RushlightError
        When the rig or a part is wrong, or may not be published.
    """
    document = load_rig(rig)[0]
    lacking: list[Finding] = []
    if parts is None:
        parts, lacking = kept_parts(rig)
    folder = default_kit(rig)
    published = None
    try:
        published = kit_at(folder, document.name)
        check_archive(folder.with_name(f"{folder.name}.zip"))
    except RushlightError as error:
        lacking += error.findings
    if published is None:
        made = made_kit(rig, parts, progress=progress)
    else:
        made = made_kit(rig, parts, published.edition + 1, published.content_hash(), progress)
        if _same(published, made.kit):
            made = made_kit(rig, parts, published.edition, published.edition_supersedes, progress)
    lacking += _lacking(document, made, rig)
    return KitPreview(made, folder, published, lacking)


def make_kit(rig: Path, progress: Progress = silent) -> KitResult:
    """Publish a rig's kit as `kit_preview` shows it.

    Raises
    ------
    RushlightError
        When something that is missing prevents it.
    """
    shown = kit_preview(rig, progress=progress)
    errors = [each for each in shown.lacking if each.severity == "error"]
    if errors:
        raise RushlightError(errors)
    return lay_down(shown.made, shown.folder, progress)


def _same(published: Kit, made: Kit) -> bool:
    """Whether two kits differ in nothing but the number of their edition."""

    def content(kit: Kit) -> str:
        files = [each for each in kit.files if each.path != PAGE]  # the page shows the edition
        told = {"edition": 1, "edition_supersedes": None, "files": files}
        return kit.model_copy(update=told).content_hash()

    return content(published) == content(made)


def _lacking(rig: Rig, made: MadeKit, file: Path) -> list[Finding]:
    told = []
    shelf = load_rig(file)[1]
    unknown = [line.what for line in cost_lines(rig, shelf) if line.price is None]
    if unknown:
        told.append(
            Finding("note", "kit-prices", "rig.toml: prices", ", ".join(unknown),
                    f"are {NOT_KNOWN}, so that the total leaves them out",
                    "write what was paid, with currency and date")
        )  # fmt: skip
    if made.kit.header and made.kit.header.basis == "simulated":
        told.append(
            Finding("warning", "kit-simulated", "assessment", "",
                    "rests on simulated footage: nobody has measured the built rig",
                    "build it, record sessions with it and assess those")
        )  # fmt: skip
    return told
