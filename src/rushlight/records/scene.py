"""What stands in a picture that follows an eye: flat pieces, one behind the other."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from pydantic import Field, StringConstraints

from rushlight.records.arrays import Array
from rushlight.records.document import Basis, Document, Record, Slug
from rushlight.records.quantity import Length

SCENE_FILE = "scene.toml"
"""Lies beside a rig's document."""

Colour = Annotated[str, StringConstraints(pattern=r"^#[0-9a-fA-F]{6}$")]
"""Red, green and blue, as in ``"#B34A12"``."""


class Piece(Record):
    """One flat piece, parallel to the first screen.

    Attributes
    ----------
    id
        Of the piece; several may share one.
    before
        How far it stands before the screen; below 0 behind it.
    outline
        Corners in order, to the right and up from the screen's lower left corner.
    paint
        Its colour.
    """

    id: Slug
    before: Length
    outline: Annotated[list[tuple[Length, Length]], Field(min_length=3)]
    paint: Colour

    @property
    def outline_m(self) -> Array:
        """(N, 3) corners in the screen's own axes [m]."""
        flat = [[x.value, y.value, self.before.value] for x, y in self.outline]
        return np.array(flat)

    @property
    def rgb(self) -> tuple[int, int, int]:
        """Red, green, blue, 0 to 255."""
        red, green, blue = (int(self.paint[i : i + 2], 16) for i in (1, 3, 5))
        return red, green, blue


class SceneDrawing(Document):
    """A scene of flat pieces, told from the rig's first screen.

    Attributes
    ----------
    name
        Of the scene.
    basis
        Invented, unless it stands for real things.
    backdrop
        Colour of what no piece covers.
    pieces
        In any order: those farther away are drawn first.
    """

    SCHEMA = "rushlight/scene"

    name: Slug
    basis: Basis
    backdrop: Colour = "#16181C"
    pieces: Annotated[list[Piece], Field(min_length=1)]
