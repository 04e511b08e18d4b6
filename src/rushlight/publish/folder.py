"""Where a kit is laid down: whole or not at all, and never over anything that is not a kit."""

from __future__ import annotations

import os
import shutil
import tempfile
import zipfile
from collections.abc import Mapping
from pathlib import Path

from rushlight.errors import RushlightError
from rushlight.publish.files import KIT_FILE, MANIFEST, read_manifest, sha256
from rushlight.records.document import read_document, read_text
from rushlight.records.kit import Kit


def kit_at(folder: Path, name: str) -> Kit | None:
    """The kit that lies in a folder already, None where the folder is missing or empty.

    Parameters
    ----------
    folder
        Where the new kit is to lie.
    name
        Of the new kit's rig.

    Raises
    ------
    RushlightError
        When something lies there that a new edition must not write over: other files, another
        rig's kit, or a kit that was changed by hand.
    """
    if not folder.exists():
        return None
    if not folder.is_dir():
        raise _refused(folder, "is a file, not a folder", "choose another place with --out")
    found = _files_in(folder)
    if not found:
        return None
    if not (folder / KIT_FILE).is_file() or not (folder / MANIFEST).is_file():
        raise _refused(
            folder, "is a folder that holds something other than a kit",
            "choose another place with --out, or empty it",
        )  # fmt: skip
    kit = read_document(Kit, folder / KIT_FILE)
    if kit.name != name:
        raise _refused(
            folder, f'holds the kit of another rig, "{kit.name}"', "choose another place with --out"
        )
    listed = read_manifest(read_text(folder / MANIFEST))
    strangers = sorted(set(found) - set(listed) - {MANIFEST})
    if strangers:
        raise _refused(
            folder, f"holds {strangers[0]}, which is no part of the kit", "move it elsewhere first"
        )
    for path, digest in listed.items():
        file = folder / path
        if file.is_file() and sha256(file.read_bytes()) != digest:
            raise _refused(
                folder, f"holds {path}, which was changed since the kit was made",
                "keep your copy elsewhere, then remove it here",
            )  # fmt: skip
    return kit


def check_archive(path: Path) -> None:
    """Refuse to write over an archive that holds no kit.

    Raises
    ------
    RushlightError
        When the place is taken by something else.
    """
    if not path.exists():
        return
    try:
        with zipfile.ZipFile(path) as archive:
            holds_kit = any(name.endswith(f"/{KIT_FILE}") for name in archive.namelist())
    except (OSError, zipfile.BadZipFile):
        holds_kit = False
    if not holds_kit:
        raise _refused(path, "is there already and holds no kit", "move it, or use another --out")


def write_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Lay the files down: a neighbour is written, then takes the old folder's place.

    Parameters
    ----------
    folder
        Where to; what `kit_at` allowed there is replaced.
    files
        Path within the kit to content.

    Raises
    ------
    RushlightError
        When the place cannot be written.
    """
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}-"))
        try:
            new, old = work / "new", work / "old"
            for path, content in files.items():
                (new / path).parent.mkdir(parents=True, exist_ok=True)
                (new / path).write_bytes(content)
            if folder.exists():
                folder.replace(old)
            new.replace(folder)
        finally:
            shutil.rmtree(work, ignore_errors=True)
    except OSError as error:
        raise RushlightError.of(
            str(folder), "", f"cannot be written ({error.strerror})", "choose another place",
            "write",
        ) from error  # fmt: skip


def _files_in(folder: Path) -> list[str]:
    return [
        os.path.relpath(Path(place) / name, folder)
        for place, _, names in os.walk(folder)
        for name in names
    ]


def _refused(path: Path, allowed: str, remedy: str) -> RushlightError:
    return RushlightError.of(str(path), "", allowed, remedy, "kit-place-taken")
