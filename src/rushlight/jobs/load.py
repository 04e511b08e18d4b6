"""Reading a rig with the parts that it may be made of."""

from __future__ import annotations

from pathlib import Path

from rushlight.errors import RushlightError
from rushlight.records.document import read_document
from rushlight.records.quantity import Dimension, QuantityError, parse_quantity
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf, load_shelf
from rushlight.shelf.resolve import picture_bits

RIG_FILE = "rig.toml"


def rig_path(path: Path) -> Path:
    """The rig's file: the path itself, or ``rig.toml`` in it when it is a folder."""
    return path / RIG_FILE if path.is_dir() else path


def load_rig(path: Path) -> tuple[Rig, Shelf]:
    """A rig, and the shelf with what lies beside it.

    Parameters
    ----------
    path
        The rig's file, or its folder.

    Raises
    ------
    RushlightError
        When a file is missing or wrong; what the rig says is not yet checked against the shelf.
    """
    file = rig_path(path)
    rig = read_document(Rig, file)
    return rig, load_shelf(file.parent)


def bits_of(rig: Rig, shelf: Shelf, camera: int = 0) -> int:
    """Bits of a grey level in the pictures of a rig's camera.

    Parameters
    ----------
    rig, shelf
        From `load_rig`.
    camera
        The camera's place in the rig.

    Raises
    ------
    RushlightError
        When its part is on no shelf.
    """
    which = rig.cameras[camera]
    return picture_bits(which, shelf.camera(which.part))


def typed_quantity(
    text: str | None, dimension: Dimension, option: str, unit: str = ""
) -> float | None:
    """What the user typed after an option [SI]; None when nothing was.

    Parameters
    ----------
    text
        As typed, a number with its unit.
    dimension
        What it must measure.
    option
        Named in the error.
    unit
        That the error shows, as most people would write it here; else the dimension's first.

    Raises
    ------
    RushlightError
        When it is no such quantity.
    """
    if text is None:
        return None
    try:
        return parse_quantity(text, dimension, unit).value
    except QuantityError as error:
        raise RushlightError.of(
            option, f'"{text}"', error.allowed, error.remedy, "quantity"
        ) from None


def typed_length_s(text: str | None, usual: str | None = None) -> float | None:
    """How long the user wants something to last [s], as typed after ``--for``.

    Parameters
    ----------
    text
        As typed, or None.
    usual
        What holds where nothing was typed.

    Raises
    ------
    RushlightError
        When it is no time above 0.
    """
    length_s = typed_quantity(text if text is not None else usual, "time", "--for", "s")
    if length_s is not None and length_s <= 0.0:
        raise RushlightError.of(
            "--for", f'"{text}"', "is not a time above 0", 'give one such as "10 s"', "length"
        )
    return length_s
