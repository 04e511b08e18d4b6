"""A rig published: a folder to build by, and the same as an archive."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.kit_made import KitParts, MadeKit, made_kit
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.progress import Progress, silent
from rushlight.publish.files import zip_bytes
from rushlight.publish.folder import check_archive, kit_at, write_folder
from rushlight.records.document import write_bytes
from rushlight.records.kit import Kit


@dataclass(frozen=True)
class KitResult:
    """A published kit.

    Attributes
    ----------
    folder, zip
        Where it lies, and its archive beside it.
    kit
        The document.
    findings
        What its authors should look at before they hand it on.
    """

    folder: Path
    zip: Path
    kit: Kit
    findings: tuple[Finding, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """The result as plain values, for JSON."""
        return {
            "kit": self.kit.name,
            "edition": self.kit.edition,
            "basis": self.kit.header.basis if self.kit.header else None,
            "folder": str(self.folder),
            "zip": str(self.zip),
            "files": [file.path for file in self.kit.files],
            "notices": self.kit.notices,
            "findings": [finding.as_dict() for finding in self.findings],
        }


def kit(
    rig: Path,
    plan: Path | None = None,
    assessment: Path | None = None,
    registration: Path | None = None,
    sessions: Sequence[Path] = (),
    out: Path | None = None,
    edition: int = 1,
    progress: Progress = silent,
) -> KitResult:
    """Publish a rig as a kit that others can build by.

    Parameters
    ----------
    rig
        The rig's file, or its folder.
    plan
        A plan of this rig; without one it is planned now.
    assessment, registration
        Of this rig, or left out.
    sessions
        Sessions of this rig, which go into the kit as tables; no footage does.
    out
        Folder to write to; by default ``kit`` beside the rig. The archive gets its name.
    edition
        Number of the release, 1 or more.
    progress
        Told how far the work is.

    Returns
    -------
    KitResult

    Raises
    ------
    RushlightError
        When an input is missing, wrong or of another rig, or the place is taken.
    """
    _check_edition(edition)
    document = load_rig(rig)[0]
    folder = default_kit(rig) if out is None else out.absolute()
    earlier = kit_at(folder, document.name)
    check_archive(folder.with_name(f"{folder.name}.zip"))
    made = made_kit(
        rig,
        KitParts(plan, assessment, registration, tuple(sessions)),
        edition,
        _superseded(earlier, edition, folder),
        progress,
    )
    return lay_down(made, folder, progress)


def lay_down(made: MadeKit, folder: Path, progress: Progress = silent) -> KitResult:
    """Write a kit that was made, and its archive beside it.

    Parameters
    ----------
    made
        From `rushlight.jobs.kit_made.made_kit`.
    folder
        Where to; what lies there must be an earlier edition or nothing.
    progress
        Told how far the work is.
    """
    archive = folder.with_name(f"{folder.name}.zip")
    progress("writing", 0.0)
    write_folder(folder, made.files)
    write_bytes(archive, zip_bytes(made.files, f"{made.kit.name}-edition-{made.kit.edition}"))
    progress("writing", 1.0)
    return KitResult(folder, archive, made.kit, made.findings)


def default_kit(rig: Path) -> Path:
    """Where a rig's kit is written unless said otherwise."""
    return (rig_path(rig).parent / "kit").absolute()


def _check_edition(edition: int) -> None:
    if edition < 1:
        raise RushlightError.of(
            "edition", str(edition), "is below 1", "count editions 1, 2, 3", "edition"
        )


def _superseded(earlier: Kit | None, edition: int, folder: Path) -> str | None:
    """Content hash of the edition that the new one replaces."""
    if earlier is None:
        return None
    if edition < earlier.edition:
        raise RushlightError.of(
            "edition",
            str(edition),
            f"is below edition {earlier.edition}, which lies in {folder.name}",
            f"give --edition {earlier.edition + 1}, or another place with --out",
            "edition",
        )
    return earlier.content_hash() if edition > earlier.edition else earlier.edition_supersedes
