"""Where the real pictures and tables lie, and what to do where they do not.

`tests/fetch_real_data.sh` fetches them and checks every byte. A test that needs a set takes its
folder from here: it is skipped with a word where the set is absent, and fails in CI.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image

DATA = Path(__file__).parent.parent / ".data"

PICTURES = 501
"""Of the sequence."""


def sequence_folder() -> Path:
    """501 pictures ``image.*.pgm`` of a hand-moved card with dots."""
    return _folder("visp/mire-2", "image.*.pgm", PICTURES)


def sequence_pictures() -> list[npt.NDArray[np.uint8]]:
    """All pictures of the real sequence in their order, (288, 384) of uint8 each."""
    pictures = []
    for path in sorted(sequence_folder().glob("image.*.pgm")):
        with Image.open(path) as picture:
            pictures.append(np.asarray(picture))
    return pictures


def chessboard_folder() -> Path:
    """13 pairs ``left01.jpg`` … ``right14.jpg`` of a chessboard, and ``left_intrinsics.yml``."""
    return _folder("opencv-doc", "*[01]?.jpg", 26)


def star_field_folder() -> Path:
    """``image.fits`` of the sky, its background ``back.fits``, and its catalogue ``image.cat``."""
    return _folder("sep", "*.[cf][ai]t*", 3)


def trail_folder() -> Path:
    """``trackmate_tracks_with_gap_closing_spots.csv`` and ``…_edges.csv``; ``without_`` too."""
    return _folder("laptrack", "trackmate_tracks_*.csv", 6)


def _folder(name: str, files: str, count: int) -> Path:
    """A set's folder; skips the test where it is absent, but fails in CI."""
    folder = DATA / name
    if len(list(folder.glob(files))) != count:
        message = f"the real data {name} is absent: run `sh tests/fetch_real_data.sh`"
        if os.environ.get("CI") == "true":
            pytest.fail(message)
        pytest.skip(message)
    return folder
