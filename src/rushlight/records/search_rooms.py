"""A search in each of many rooms: what is recommended for each, and where nothing fits, why."""

from __future__ import annotations

from rushlight.records.document import Document, Record
from rushlight.records.plan import PlanFinding
from rushlight.records.search import SearchCandidate


class RoomAnswer(Record):
    """What a search recommends for one room.

    Attributes
    ----------
    room, row
        As the table names it, and its row there; the header is row 1.
    taken
        The rig to take, judged as a plan does; None where nothing fits.
    currency
        Of its cost.
    why
        The reasons, in sentences; where nothing fits, what rules everything out.
    evaluated, front
        How many candidates were tried, and how many of them none beats in everything.
    findings, cautions
        As in a plan of the rig to take; of the findings, those for eyes and hands.
    """

    room: str
    row: int
    taken: SearchCandidate | None
    currency: str = ""
    why: list[str]
    evaluated: int = 0
    front: int = 0
    findings: list[PlanFinding] = []
    cautions: dict[str, str] = {}


class RoomsResult(Document):
    """What was found in many rooms.

    Attributes
    ----------
    rig
        Content hash of the rig that every room's search began with.
    table
        Name of the table of rooms.
    seed, generations, population
        Of every room's search.
    rooms
        In the order of the table.
    fitting
        How many of them have something that fits.
    currency, sum_of_costs
        Over the rooms in which something fits.
    assumptions
        As in a search.
    """

    SCHEMA = "rushlight/rooms"

    rig: str
    table: str
    seed: int
    generations: int
    population: int
    rooms: list[RoomAnswer]
    fitting: int
    currency: str
    sum_of_costs: float
    assumptions: list[str]
