"""A kit's files: tables, manifest and archive, the same bytes for the same input."""

from __future__ import annotations

import csv
import hashlib
import io
import zipfile
from collections.abc import Iterable, Mapping
from pathlib import PurePosixPath

from rushlight.records.figure import Figure

MANIFEST = "manifest-sha256.txt"
KIT_FILE = "kit.json"
PAGE = "index.html"

_COLUMNS = (
    "document", "name", "cause", "statistic", "rig", "camera", "surface", "carried", "person",
    "region", "condition", "value", "unit", "low", "high", "level", "n", "basis", "method",
)  # fmt: skip
_SCOPE = ("rig", "camera", "surface", "carried", "person", "region", "condition")
_EARLIEST = (1980, 1, 1, 0, 0, 0)
"""The earliest time that an archive can hold; every file gets it."""
_TEXT = (".json", ".csv", ".toml", ".svg", ".html", ".txt")


def sha256(content: bytes) -> str:
    """SHA-256 of a file, in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def figures_csv(by_document: Mapping[str, Iterable[Figure]]) -> bytes:
    """Every figure as a row, its unit beside it (RFC 4180, UTF-8); what is unknown is empty.

    Parameters
    ----------
    by_document
        Path of the document in the kit, and its figures.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(_COLUMNS)
    for document, figures in by_document.items():
        for figure in figures:
            row = {"document": document, **figure.model_dump(exclude={"scope"})}
            row |= {name: getattr(figure.scope, name) for name in _SCOPE}
            writer.writerow("" if row[name] is None else row[name] for name in _COLUMNS)
    return out.getvalue().encode()


def manifest_text(files: Mapping[str, bytes]) -> bytes:
    """The list of files and their SHA-256 that ``sha256sum -c`` reads, by name."""
    lines = [f"{sha256(content)}  {path}\n" for path, content in sorted(files.items())]
    return "".join(lines).encode()


def read_manifest(text: str) -> dict[str, str]:
    """Path to SHA-256 of a manifest; lines of another form are passed over."""
    pairs = (line.split("  ", 1) for line in text.splitlines() if "  " in line)
    return {path: digest for digest, path in pairs}


def zip_bytes(files: Mapping[str, bytes], folder: str) -> bytes:
    """An archive of the files below one folder, sorted, all of the same time.

    Parameters
    ----------
    files
        Path within the kit to content.
    folder
        Name of the folder that unpacking makes.
    """
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for path, content in sorted(files.items()):
            entry = zipfile.ZipInfo(str(PurePosixPath(folder) / path), _EARLIEST)
            entry.external_attr = 0o644 << 16
            entry.create_system = 3  # as on Unix, whatever the machine
            entry.compress_type = (
                zipfile.ZIP_DEFLATED if path.endswith(_TEXT) else zipfile.ZIP_STORED
            )
            archive.writestr(entry, content)
    return out.getvalue()
