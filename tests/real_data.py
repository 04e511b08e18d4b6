"""Where the real image sequence lies, and what to do where it does not."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image

SEQUENCE = Path(__file__).parent.parent / ".data" / "visp" / "mire-2"
"""501 pictures of a hand-moved card with dots; `tests/fetch_real_data.sh` fetches them."""

PICTURES = 501


def sequence_folder() -> Path:
    """The folder of the real sequence; skips the test where it is absent, but fails in CI."""
    if len(list(SEQUENCE.glob("image.*.pgm"))) != PICTURES:
        message = "the real image sequence is absent: run `sh tests/fetch_real_data.sh` (75 MB)"
        if os.environ.get("CI") == "true":
            pytest.fail(message)
        pytest.skip(message)
    return SEQUENCE


def sequence_pictures() -> list[npt.NDArray[np.uint8]]:
    """All pictures of the real sequence in their order, (288, 384) of uint8 each."""
    pictures = []
    for path in sorted(sequence_folder().glob("image.*.pgm")):
        with Image.open(path) as picture:
            pictures.append(np.asarray(picture))
    return pictures
