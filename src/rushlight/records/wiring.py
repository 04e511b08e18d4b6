"""How the diodes of one light are joined, and what feeds a light that nobody carries."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rushlight.records.document import Record, Slug


class Wiring(Record):
    """Diodes in strings: in a string they stand in series, and strings side by side.

    Attributes
    ----------
    in_series
        Diodes one after the other in a string.
    strings
        Strings side by side.
    resistor
        One for each string, or one shared by all of them, which the check refuses for more
        than one string.
    """

    in_series: Annotated[int, Field(ge=1, le=50)] = 1
    strings: Annotated[int, Field(ge=1, le=500)] = 1
    resistor: Literal["each-string", "shared"] = "each-string"

    @property
    def diodes(self) -> int:
        """How many there are in all."""
        return self.in_series * self.strings


ONE_DIODE = Wiring()


class Feed(Record):
    """What feeds a light that stands in the room.

    Attributes
    ----------
    part
        Of the shelf's cells and supplies.
    cells
        In series.
    """

    part: Slug
    cells: Annotated[int, Field(ge=1, le=12)] = 1
