"""How far the building of a rig has come: what its builders have ticked off."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from rushlight.records.document import Document, Record, Slug

Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


class Tick(Record):
    """One thing bought or one step done.

    Attributes
    ----------
    key
        Of the line.
    of
        SHA-256 of what the line said when it was ticked: a line that says something else since
        is to be looked at again.
    ticked_at
        UTC, ISO 8601.
    """

    key: Slug
    of: Digest
    ticked_at: str


class Building(Document):
    """What is ticked off, in the order in which it was.

    Attributes
    ----------
    rig_name
        Of the rig in whose folder it lies.
    ticks
        One a line at most.
    """

    SCHEMA = "rushlight/building"

    rig_name: str
    ticks: list[Tick] = []
