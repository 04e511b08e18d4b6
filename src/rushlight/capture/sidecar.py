"""Footage with a sidecar: a lossless video, and a document with each frame's exact time.

Video containers round times (Matroska to 1 ms), so the sidecar's whole nanoseconds count.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from rushlight.capture.depth import DeepLevels
from rushlight.capture.footage import Footage
from rushlight.capture.video import first_picture, grey_frames
from rushlight.errors import Finding, RushlightError
from rushlight.records.document import read_document
from rushlight.records.dots import Frame
from rushlight.records.session import FootageHeader

SIDECAR = "footage.json"


def open_sidecar(path: Path, *, bits: int | None = 8) -> Footage:
    """Footage from its sidecar.

    Parameters
    ----------
    path
        The JSON document; the video lies beside it.
    bits
        8 brings deeper pictures down to 8 bits; otherwise they keep their own levels.

    Returns
    -------
    Footage

    Raises
    ------
    RushlightError
        When the sidecar is no footage document, or the video is missing or of another size.
    """
    header = read_document(FootageHeader, path)
    if Path(header.picture).name != header.picture or not header.picture:
        raise RushlightError.of(
            f"{path.name}: picture",
            f'"{header.picture}"',
            "is not the name of a file beside it",
            "name the video without a folder",
            "picture-name",
        )
    video = path.parent / header.picture
    if not video.is_file():
        raise RushlightError.of(
            f"{path.name}: picture",
            f'"{header.picture}"',
            "does not lie beside it",
            "put the video back, or simulate anew",
            "picture-missing",
        )
    _check_times(header, path.name)
    first, held_dn = first_picture(video)
    found_px = (first.shape[1], first.shape[0])
    if found_px != header.size_px:
        raise RushlightError.of(
            f"{path.name}: size_px",
            f"{header.size_px[0]}×{header.size_px[1]}",
            f"is not the video's {found_px[0]}×{found_px[1]} px",
            "keep each video with its own sidecar",
            "size-differs",
        )

    def read(footage: Footage) -> Iterator[Frame]:
        return _frames(footage, header, video, levels)

    footage = Footage(
        name=str(path.parent),
        camera=header.camera,
        size_px=header.size_px,
        frames=len(header.capture_ns),
        times="from the sidecar",
        content_hash=header.content_hash(),
        header=header,
        read=read,
    )
    own_bits = header.full_scale_dn.bit_length()
    levels = DeepLevels(footage.name, 8 if bits == 8 else own_bits, footage.note)
    levels(first, min(held_dn, header.full_scale_dn))
    footage.full_scale_dn = levels.full_scale_dn
    return footage


def _check_times(header: FootageHeader, name: str) -> None:
    """Refuse times that stand still or run backward."""
    late = np.flatnonzero(np.diff(np.array(header.capture_ns, np.int64)) <= 0)
    if len(late):
        index = int(late[0]) + 1
        raise RushlightError.of(
            f"{name}: capture_ns[{index}]",
            str(header.capture_ns[index]),
            "is not after the frame before it",
            "give rising times",
            "times-not-rising",
        )


def _frames(
    footage: Footage, header: FootageHeader, video: Path, levels: DeepLevels
) -> Iterator[Frame]:
    """The video's frames with the sidecar's times."""
    count = 0
    for picture, held_dn, _ in grey_frames(video):
        if count < len(header.capture_ns):
            held_dn = min(held_dn, header.full_scale_dn)
            image = levels(picture, held_dn, f"{video}: frame {count}")
            yield Frame(header.camera, count, header.capture_ns[count], 0.0, image)
        count += 1
    wanted = len(header.capture_ns)
    if count != wanted:
        consequence = (
            f"but the video ends after {count}"
            if count < wanted
            else f"but the video holds {count}; those without a time were left out"
        )
        footage.note(
            Finding(
                "warning",
                "frame-count",
                f"{footage.name}: capture_ns",
                f"{wanted} times",
                consequence,
                "keep each video whole and with its own sidecar",
            )
        )
