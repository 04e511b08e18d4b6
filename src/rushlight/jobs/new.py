"""A new rig to start from."""

from __future__ import annotations

import importlib.resources
import re
from pathlib import Path

from rushlight.errors import RushlightError
from rushlight.jobs.load import RIG_FILE
from rushlight.records.document import write_text

KINDS = ("surface", "viewpoint", "body", "volume")
"""Of which there are templates."""
_SLUG = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


def new(folder: Path, kind: str = "surface", name: str | None = None) -> Path:
    """Write a commented rig that passes the check, for the user to change.

    Parameters
    ----------
    folder
        Where it shall lie; made when it is not there.
    kind
        Of the rig, one of `KINDS`.
    name
        The rig's id, or None to take the folder's name where that is one.

    Returns
    -------
    Path
        Of the file written.

    Raises
    ------
    RushlightError
        When there is no such kind, the name is no id, or a rig lies there already.
    """
    if kind not in KINDS:
        raise RushlightError.of(
            "--kind", f'"{kind}"', "is no kind of rig", f"use {', '.join(KINDS)}", "kind-unknown"
        )
    if name is not None and not _SLUG.fullmatch(name):
        raise RushlightError.of(
            "--name",
            f'"{name}"',
            "is not an id",
            "use lower-case letters, digits and hyphens",
            "name",
        )
    path = folder / RIG_FILE
    if path.exists():
        raise RushlightError.of(
            str(path),
            "",
            "exists already and is not overwritten",
            "choose another folder",
            "exists",
        )
    own = folder.resolve().name
    plain = f"my-{kind}"
    chosen = name or (own if _SLUG.fullmatch(own) else plain)
    template = importlib.resources.files("rushlight.jobs").joinpath(f"template_{kind}.toml")
    text = template.read_text("utf-8").replace(f'"{plain}"', f'"{chosen}"')
    write_text(path, text)
    return path
