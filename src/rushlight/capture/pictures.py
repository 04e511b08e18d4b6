"""Folders of pictures from anywhere, in the natural order of their names."""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from rushlight.capture.footage import DEFAULT_RATE_HZ, Footage
from rushlight.capture.video import Image, deeper_finding, eight_bit
from rushlight.errors import Finding, RushlightError
from rushlight.records.dots import Frame

PICTURE_SUFFIXES = frozenset({".pgm", ".png", ".jpg", ".jpeg", ".tif", ".tiff"})


def open_pictures(folder: Path, rate_hz: float | None, camera: str) -> Footage:
    """Footage from a folder of pictures.

    Parameters
    ----------
    folder
        Holds pictures of one size; other files in it are passed over.
    rate_hz
        Counts the times at this rate [Hz]; None takes 30 Hz and says so.
    camera
        Id for the camera.

    Returns
    -------
    Footage

    Raises
    ------
    RushlightError
        When there is no picture, or the first cannot be read.
    """
    inside = [path for path in folder.iterdir() if path.is_file() and path.name[0] != "."]
    paths = sorted(
        (path for path in inside if path.suffix.lower() in PICTURE_SUFFIXES),
        key=lambda path: natural_key(path.name),
    )
    if not paths:
        held = "is empty" if not inside else "holds neither a footage.json nor pictures"
        raise RushlightError.of(
            str(folder),
            "",
            held,
            "give a folder of PGM, PNG, JPEG or TIFF pictures, or a video file",
            "pictures-missing",
        )
    first = _picture(paths[0])[0]
    size_px = (first.shape[1], first.shape[0])
    used_hz = DEFAULT_RATE_HZ if rate_hz is None else rate_hz

    def read(footage: Footage) -> Iterator[Frame]:
        return _frames(footage, paths, used_hz)

    footage = Footage(
        name=str(folder),
        camera=camera,
        size_px=size_px,
        frames=len(paths),
        times=f"counted at {used_hz:g} Hz",
        content_hash=_content_hash(paths),
        header=None,
        read=read,
    )
    if rate_hz is None:
        footage.note(
            Finding(
                "note",
                "rate-assumed",
                str(folder),
                "pictures without times",
                f"were taken to be {DEFAULT_RATE_HZ:g} Hz",
                'give --rate "… Hz" if that is wrong',
            )
        )
    return footage


def natural_key(name: str) -> tuple[tuple[int, str], ...]:
    """Sorts names as people count: ``frame9`` before ``frame10``.

    Parameters
    ----------
    name
        Of a file.

    Examples
    --------
    >>> sorted(["frame10.png", "frame9.png"], key=natural_key)
    ['frame9.png', 'frame10.png']
    """
    pieces = re.split(r"([0-9]+)", name.casefold())
    return tuple(
        (int(piece), piece) if position % 2 else (-1, piece)
        for position, piece in enumerate(pieces)
    )


def _content_hash(paths: Sequence[Path]) -> str:
    """SHA-256 over the pictures' own hashes, in order."""
    whole = hashlib.sha256()
    for path in paths:
        with path.open("rb") as file:
            whole.update(hashlib.file_digest(file, "sha256").digest())
    return whole.hexdigest()


def _picture(path: Path) -> tuple[Image, bool]:
    """One picture in 8-bit grey, and whether it was deeper."""
    from PIL import Image as Pillow
    from PIL import UnidentifiedImageError

    try:
        with Pillow.open(path) as picture:
            if picture.mode == "F":
                raise RushlightError.of(
                    str(path), "", "holds fractions for grey levels", "save it with 8 or 16 bits"
                )
            if picture.mode.startswith("I"):
                # The library hands 16-bit grey as I;16, or as I with 16-bit values.
                return eight_bit(_sixteen_bit(np.asarray(picture), path)), True
            return np.asarray(picture.convert("L"), np.uint8), False
    except (OSError, UnidentifiedImageError, SyntaxError, ValueError) as error:
        raise RushlightError.of(
            str(path),
            "",
            "is not a picture that can be read",
            "replace it, or take it out of the folder",
            "picture-unreadable",
        ) from error


def _sixteen_bit(image: npt.NDArray[Any], path: Path) -> npt.NDArray[np.uint16]:
    """The grey levels as 16 bits, refused where they do not fit."""
    if image.min() < 0 or image.max() > 65535:
        raise RushlightError.of(
            str(path), "", "holds grey levels beyond 16 bits", "save it with 8 or 16 bits"
        )
    return image.astype(np.uint16)


def _frames(footage: Footage, paths: Sequence[Path], rate_hz: float) -> Iterator[Frame]:
    """The pictures in order, with counted times."""
    for index, path in enumerate(paths):
        image, deeper = _picture(path)
        if (image.shape[1], image.shape[0]) != footage.size_px:
            raise RushlightError.of(
                str(path),
                f"{image.shape[1]}×{image.shape[0]} px",
                f"is not of the size of the first, {footage.size_px[0]}×{footage.size_px[1]} px",
                "keep pictures of one size in a folder",
                "size-changes",
            )
        if deeper:
            footage.note(deeper_finding(footage.name))
        yield Frame(footage.camera, index, round(index * 1e9 / rate_hz), math.nan, image)
