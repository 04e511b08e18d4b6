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

from rushlight.capture.depth import DeepLevels, Levels
from rushlight.capture.footage import DEFAULT_RATE_HZ, Footage
from rushlight.errors import Finding, RushlightError
from rushlight.records.dots import Frame

_GREYMAP = re.compile(
    rb"P5(?:\s|#[^\n]*\n)+([0-9]+)(?:\s|#[^\n]*\n)+([0-9]+)(?:\s|#[^\n]*\n)+([0-9]+)\s"
)

PICTURE_SUFFIXES = frozenset({".pgm", ".png", ".jpg", ".jpeg", ".tif", ".tiff"})


def open_pictures(
    folder: Path,
    rate_hz: float | None,
    camera: str,
    *,
    rig_rate_hz: float | None = None,
    bits: int | None = 8,
) -> Footage:
    """Footage from a folder of pictures.

    Parameters
    ----------
    folder
        Holds pictures of one size; other files in it are passed over.
    rate_hz
        Counts the times at this rate [Hz]; None takes the rig's, or 30 Hz, and says so.
    camera
        Id for the camera.
    rig_rate_hz
        Frame rate of the rig's camera [Hz], or None.
    bits
        Depth of the camera, 8–16: deeper files are brought to its levels, in uint16 above 8. None
        hands on the levels that the files hold.

    Returns
    -------
    Footage

    Raises
    ------
    RushlightError
        When there is no picture, or the first cannot be read or holds levels beyond `bits`.
    """
    paths = _pictures_in(folder)
    first, held_dn = _picture(paths[0])
    used_hz = next((hz for hz in (rate_hz, rig_rate_hz) if hz is not None), DEFAULT_RATE_HZ)

    def read(footage: Footage) -> Iterator[Frame]:
        return _frames(footage, paths, used_hz, levels, None if bits == 8 else held_dn)

    footage = Footage(
        name=str(folder),
        camera=camera,
        size_px=(first.shape[1], first.shape[0]),
        frames=len(paths),
        times=f"counted at {used_hz:g} Hz",
        content_hash=_content_hash(paths),
        header=None,
        read=read,
    )
    levels = DeepLevels(str(folder), bits, footage.note)
    levels(first, held_dn, str(paths[0]))
    footage.full_scale_dn = levels.full_scale_dn
    if rate_hz is None:
        origin = "" if rig_rate_hz is None else ", as the rig says"
        footage.note(
            Finding(
                "note",
                "rate-assumed",
                str(folder),
                "pictures without times",
                f"were taken to be {used_hz:g} Hz{origin}",
                'give --rate "… Hz" if that is wrong',
            )
        )
    return footage


def _pictures_in(folder: Path) -> list[Path]:
    """The pictures of a folder, as people count."""
    inside = [path for path in folder.iterdir() if path.is_file() and path.name[0] != "."]
    paths = sorted(
        (path for path in inside if path.suffix.lower() in PICTURE_SUFFIXES),
        key=lambda path: natural_key(path.name),
    )
    if paths:
        return paths
    held = "is empty" if not inside else "holds neither a footage.json nor pictures"
    raise RushlightError.of(
        str(folder),
        "",
        held,
        "give a folder of PGM, PNG, JPEG or TIFF pictures, or a video file",
        "pictures-missing",
    )


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


def _picture(path: Path) -> tuple[Levels, int]:
    """One picture's grey levels, uint8 or uint16, and its full scale."""
    from PIL import Image as Pillow
    from PIL import UnidentifiedImageError

    try:
        deep = _deep_greymap(path)
        if deep is not None:
            return deep
        with Pillow.open(path) as picture:
            if picture.mode == "F":
                raise RushlightError.of(
                    str(path), "", "holds fractions for grey levels", "save it with 8 or 16 bits"
                )
            if picture.mode.startswith("I"):
                # The library hands 16-bit grey as I;16, or as I with 16-bit values.
                return _sixteen_bit(np.asarray(picture), path), 65535
            return np.asarray(picture.convert("L"), np.uint8), 255
    except (OSError, UnidentifiedImageError, SyntaxError, ValueError) as error:
        raise RushlightError.of(
            str(path),
            "",
            "is not a picture that can be read",
            "replace it, or take it out of the folder",
            "picture-unreadable",
        ) from error


def _deep_greymap(path: Path) -> tuple[Levels, int] | None:
    """A PGM deeper than 8 bits as its file holds it; None for any other picture.

    The picture library would stretch 10 or 12 bits to 16. Source of the form: the Netpbm
    project's manual page pgm(5); from memory.
    """
    if path.suffix.lower() != ".pgm":
        return None
    content = path.read_bytes()
    header = _GREYMAP.match(content)
    if header is None:
        return None
    width, height, full_scale_dn = (int(number) for number in header.groups())
    if not 255 < full_scale_dn <= 65535:
        return None
    levels = np.frombuffer(content, ">u2", width * height, header.end())
    return levels.reshape(height, width).astype(np.uint16), full_scale_dn


def _sixteen_bit(image: npt.NDArray[Any], path: Path) -> npt.NDArray[np.uint16]:
    """The grey levels as 16 bits, refused where they do not fit."""
    if image.min() < 0 or image.max() > 65535:
        raise RushlightError.of(
            str(path), "", "holds grey levels beyond 16 bits", "save it with 8 or 16 bits"
        )
    return image.astype(np.uint16)


def _frames(
    footage: Footage,
    paths: Sequence[Path],
    rate_hz: float,
    levels: DeepLevels,
    first_held_dn: int | None,
) -> Iterator[Frame]:
    """The pictures in order, with counted times."""
    for index, path in enumerate(paths):
        image, held_dn = _picture(path)
        if (image.shape[1], image.shape[0]) != footage.size_px:
            raise RushlightError.of(
                str(path),
                f"{image.shape[1]}×{image.shape[0]} px",
                f"is not of the size of the first, {footage.size_px[0]}×{footage.size_px[1]} px",
                "keep pictures of one size in a folder",
                "size-changes",
            )
        if first_held_dn is not None and held_dn != first_held_dn:
            raise RushlightError.of(
                str(path),
                f"full scale {held_dn}",
                f"is not that of the first, {first_held_dn}",
                "keep pictures of one depth in a folder",
                "depth-changes",
            )
        image = levels(image, held_dn, str(path))
        yield Frame(footage.camera, index, round(index * 1e9 / rate_hz), math.nan, image)
