"""Searching for a rig: what may be chosen, what the builder can do, and what was found."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from rushlight.records.document import Basis, Country, Document, FloatOrUnknown, Record, Slug
from rushlight.records.plan import PlanFinding
from rushlight.records.quantity import Current, Share, Time
from rushlight.records.sourced import Price
from rushlight.records.tolerance import ToleranceTarget
from rushlight.records.wiring import Feed

Tool = Literal["drill", "ladder"]
Currency = Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]
"""ISO 4217."""
NO_FILTER = "none"
"""Stands among the filters for a camera without one."""
Point = tuple[float, float, float]


class Money(Record):
    """How much may be spent."""

    amount: Annotated[float, Field(gt=0)]
    currency: Currency


class SearchSettings(Record):
    """The rig's ``[search]`` table: what a search may choose, and within which bounds.

    Attributes
    ----------
    cameras, filters, emitters
        Ids of parts that may be chosen; none listed means every one of the shelf whose price is
        known. ``"none"`` among the filters stands for no filter; it is a choice only where it is
        listed, or where the rig has none.
    currents
        Of each light; none listed keeps the rig's own.
    cells
        What may feed a stylus, each a part and how many in a row; none listed keeps each
        stylus's own.
    aim
        Whether the camera may look anywhere at the surface, or is aimed at its middle.
    prices
        Of parts that the rig does not hold yet; the rig's own prices go before these.
    country
        Where the parts are bought: a part that is known to be sold elsewhere only is left out.
    soldering
        Whether the builder can solder; without it, lights come wired.
    tools
        At hand; None where nobody said.
    minutes
        Longest time to build, or None.
    budget
        Most that the rig may cost, or None.
    sets, spares
        How many rigs are ordered, as for a class, and the share of pieces ordered beyond.
    generations, population, seed
        Of the optimiser.
    """

    cameras: list[Slug] = []
    filters: list[Slug] = []
    emitters: list[Slug] = []
    currents: list[Current] = []
    cells: list[Feed] = []
    aim: Literal["free", "middle"] = "free"
    prices: dict[Slug, Price] = {}
    country: Country | None = None
    soldering: bool = True
    tools: list[Tool] | None = None
    minutes: Time | None = None
    budget: Money | None = None
    sets: Annotated[int, Field(ge=1, le=10_000)] = 1
    spares: Share | None = None
    generations: Annotated[int, Field(ge=1, le=10_000)] = 50
    population: Annotated[int, Field(ge=4, le=10_000)] = 100
    seed: Annotated[int, Field(ge=0)] = 1

    @model_validator(mode="after")
    def _spares_are_a_share(self) -> SearchSettings:
        if self.spares is not None and self.spares.value > 1:
            raise ValueError('orders more spares than pieces; use "100 %" or less')
        if any(current.value <= 0 for current in self.currents):
            raise ValueError('lists a current that is not above 0; use "10 mA" or so')
        return self


class SearchSlip(Record):
    """What becomes of a candidate whose camera is put a little off, and registered there.

    Attributes
    ----------
    what
        "place", moved along each axis, or "aim", turned to each side.
    by
        How far, in words.
    error_rms_m, coverage
        The worst over the directions of the slip [m], [1].
    """

    what: Literal["place", "aim"]
    by: str
    error_rms_m: FloatOrUnknown
    coverage: float


class SearchCandidate(Record):
    """One rig of the search.

    Attributes
    ----------
    number
        By which the result speaks of it, from 1.
    place, position_m, look_at_m
        Id of the place in the room, or "" where the camera stands in none; where it stands and
        what it looks at, in the rig frame [m].
    camera, filter, emitter, current_a
        Parts, and current of each light [A].
    cell, cells
        What feeds each stylus, and how many in a row; None and 0 where the rig names none.
    frame_rate_hz, exposure_s
        Of the camera.
    cost
        In the result's currency; unknown is null.
    error_rms_m, error_worst_m
        Over the places in view [m].
    coverage, coverage_clear
        Share of the surface where the targets are met, places counting by how often the light is
        seen past bodies, arms and hands; and the same with one upright body alone,
        as in the plan.
    delay_s, battery_s, build_s
        Mean delay; hours of the least lasting cell in seconds, unknown or not used up is null;
        time to build [s].
    rough
        Whether the error is known roughly only, and exposure and coverage may be off by more:
        where dots part, or the light changes fast over the surface.
    missed
        The targets of the rig that it misses.
    warned
        What a plan of it warns of for eyes and hands, in a word or two each; the sentences are
        among the result's findings.
    slips
        What small slips cost.
    chance
        How probable it is that all targets are met, as `plan --tolerance` draws it; None where it
        was not asked for, or cannot be computed.
    """

    number: int
    place: str
    position_m: Point
    look_at_m: Point
    camera: Slug
    filter: Slug | None
    emitter: Slug
    current_a: float
    cell: Slug | None = None
    cells: int = 0
    frame_rate_hz: float
    exposure_s: float
    cost: FloatOrUnknown
    error_rms_m: FloatOrUnknown
    error_worst_m: FloatOrUnknown
    coverage: float
    coverage_clear: float
    delay_s: float
    battery_s: FloatOrUnknown
    build_s: float
    rough: bool = False
    missed: list[str]
    warned: list[str] = []
    slips: list[SearchSlip] = []
    chance: ToleranceTarget | None = None


class SearchPlace(Record):
    """A place of the room that was searched: its box [m], the lesser coordinates first."""

    id: Slug
    kind: str
    low_m: Point
    high_m: Point


class SearchReason(Record):
    """Why something was thrown out, and how often.

    Attributes
    ----------
    of
        A kind of part or a place, before the search; or candidates, during it.
    examples
        Ids or words of some of them.
    count
        How many it holds of. A candidate counts under every reason that applies to it, so that
        counts of several reasons may come to more than all candidates.
    """

    code: str
    of: Literal["camera", "filter", "emitter", "cell", "place", "candidate"]
    words: str
    count: int
    examples: list[str] = []


class SearchMore(Record):
    """What a little more money would buy beside the chosen candidate.

    Attributes
    ----------
    amount, spent
        Within how much more, and how much more it costs.
    number
        Of the candidate that it would be; None for one beyond the budget, which is no winner.
    """

    amount: float
    spent: float
    number: int | None
    words: str


class SearchOrder(Record):
    """One line of an order for all the sets.

    Attributes
    ----------
    count, spares
        Pieces for the sets, and beyond them.
    amount
        For both, in `currency`; None where the price is not known.
    """

    what: str
    count: int
    spares: int
    amount: float | None
    currency: str
    date: str
    basis: Basis | None


class SearchResult(Document):
    """What a search found.

    Attributes
    ----------
    rig, rig_name, rig_basis
        Content hash, name and basis of the rig that the search began with.
    surface_m, places
        Width and height of the surface [m]; where a camera could stand.
    columns, rows
        Of the grid of places on the surface.
    evaluated, generations, population, seed
        Of the search.
    currency, price_dates
        Of all costs; the oldest and the newest date.
    front
        How many candidates form the Pareto set: none is better than another in everything.
    candidates
        The Pareto set, or where it is large, candidates spread over all of it.
    own
        The rig as it stands, judged as closely; None where it cannot be.
    chosen, closely
        Number of the candidate that is recommended, and the same judged as a plan does, which is
        slower and closer; None where there is none.
    why
        The reasons, in sentences.
    thrown_out, more, orders
        See their classes.
    sum_of_orders
        Of the priced lines.
    new_prices, old_prices
        What the chosen candidate's cost counts and the rig's own ``[prices]`` lack; and ids there
        of parts that it does without.
    findings, cautions, assumptions
        As in a plan.
    pictures
        File to what it shows.
    """

    SCHEMA = "rushlight/search"

    rig: str
    rig_name: Slug
    rig_basis: Basis
    surface_m: tuple[float, float]
    places: list[SearchPlace]
    columns: int
    rows: int
    evaluated: int
    generations: int
    population: int
    seed: int
    currency: str
    price_dates: tuple[str, str]
    front: int
    candidates: list[SearchCandidate]
    own: SearchCandidate | None
    chosen: int | None
    closely: SearchCandidate | None
    why: list[str]
    thrown_out: list[SearchReason]
    more: list[SearchMore]
    orders: list[SearchOrder]
    sum_of_orders: float
    new_prices: dict[Slug, Price] = {}
    old_prices: list[Slug] = []
    findings: list[PlanFinding] = []
    cautions: dict[str, str]
    assumptions: list[str]
    pictures: dict[str, str] = {}

    def candidate(self, number: int) -> SearchCandidate:
        """The candidate of a number; raises KeyError when there is none."""
        for each in self.candidates:
            if each.number == number:
                return each
        raise KeyError(number)
