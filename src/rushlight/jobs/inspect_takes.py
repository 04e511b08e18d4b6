"""Takes for the inspection, from videos and folders of pictures."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rushlight.capture.footage import Footage
from rushlight.capture.open import open_footage
from rushlight.capture.pictures import PICTURE_SUFFIXES, natural_key
from rushlight.errors import Finding, RushlightError
from rushlight.inspect.takes import Take

VIDEO_SUFFIXES = frozenset({".mkv", ".mp4", ".avi", ".mov", ".m4v", ".webm"})
SIDECAR = "footage.json"


def open_takes(
    frames: Sequence[Path], rate_hz: float | None, bits: int | None = None
) -> tuple[list[Take], list[list[Finding]]]:
    """Takes from videos, folders of pictures, and folders that hold several of either.

    Parameters
    ----------
    frames
        Where they lie.
    rate_hz
        Of takes without times [Hz], or None.
    bits
        Depth of the camera's pictures, 8–16; None where no rig tells it.

    Returns
    -------
    takes
        Named by their files or folders, in the order in which people count.
    findings
        Of each, growing while it is read.

    Raises
    ------
    RushlightError
        When there are none, one cannot be read, two have one name, or one may be of any depth.
    """
    takes: list[Take] = []
    findings: list[list[Finding]] = []
    for path in frames:
        for each in _takes_in(path):
            footage = open_footage(each, rate_hz, bits=bits)
            _check_depth(footage)
            name = each.name if each.is_dir() else each.stem
            takes.append(
                Take(
                    name,
                    footage,
                    footage.times,
                    footage.simulated,
                    full_scale_dn=footage.full_scale_dn,
                    content_hash=footage.content_hash,
                )
            )
            findings.append(footage.findings)
    names = [take.name for take in takes]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise RushlightError.of(
            "--frames", f'"{twice}"', "names two takes", "give each its own name", "take-twice"
        )
    return takes, findings


def _check_depth(footage: Footage) -> None:
    """Refuse pictures in 16 bits of a depth that nobody told: all figures would hang on a guess."""
    untold = next((each for each in footage.findings if each.code == "depth-untold"), None)
    if untold is not None:
        raise RushlightError.of(
            footage.name,
            untold.given,
            "is the greatest of its first picture, held in 16 bits, and the camera's depth is "
            "not told",
            "give --rig, whose camera part tells its bit_depth",
            "depth-untold",
        )


def _takes_in(path: Path) -> list[Path]:
    """The takes of a path: itself, or those that it holds."""
    if not path.is_dir() or _is_take(path):
        return [path]
    inside = [
        each
        for each in path.iterdir()
        if (each.is_dir() and _is_take(each))
        or (each.is_file() and each.suffix.lower() in VIDEO_SUFFIXES)
    ]
    if not inside:
        raise RushlightError.of(
            str(path),
            "",
            "holds neither pictures nor takes",
            "give a video, a folder of pictures, or a folder of such takes",
            "takes-missing",
        )
    return sorted(inside, key=lambda each: natural_key(each.name))


def _is_take(folder: Path) -> bool:
    return any(
        each.suffix.lower() in PICTURE_SUFFIXES or each.name == SIDECAR
        for each in folder.iterdir()
        if each.is_file() and not each.name.startswith(".")
    )
