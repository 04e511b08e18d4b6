"""What a search over parts and camera places of a rig in space found."""

from __future__ import annotations

from rushlight.records.document import Document, FloatOrUnknown, Record, Slug
from rushlight.records.plan import PlanFinding
from rushlight.records.search import Point, SearchReason
from rushlight.records.sourced import Price


class SpaceCandidate(Record):
    """One rig of the search.

    Attributes
    ----------
    number
        By which the result speaks of it, from 1; 0 for the rig as it stands.
    places
        Ids of the places in which the cameras stand, in their order; "" for the rig's own.
    positions_m, look_at_m
        Where each stands, and what all look at, in the rig frame [m].
    camera, filter, emitter, current_a
        Parts of all cameras and of all lights, and the current of each light [A]; None where
        lights of the rig differ and stay as they are.
    cost
        In the result's currency; unknown is null.
    error_rms_m, error_worst_m
        Of the point that counts, over all, and at the worst place [m].
    coverage
        Share of the zones where all that is wanted holds.
    delay_s
        Mean [s].
    missed
        The targets of the rig that it misses.
    warned
        What a plan of it warns of for eyes and hands, in a word or two each.
    """

    number: int
    places: list[str]
    positions_m: list[Point]
    look_at_m: Point
    camera: Slug
    filter: Slug | None
    emitter: Slug | None
    current_a: float | None
    cost: FloatOrUnknown
    error_rms_m: FloatOrUnknown
    error_worst_m: FloatOrUnknown
    coverage: float
    delay_s: float
    missed: list[str]
    warned: list[str] = []


class SpaceSearchResult(Document):
    """What a search in space found.

    Attributes
    ----------
    rig, rig_name, rig_basis
        Content hash, name and basis of the rig that the search began with.
    tried, seed
        How many rigs were judged, and of what the choice among all came.
    currency
        Of all costs; "" where none is known.
    candidates
        Those that none betters in cost, error, coverage and delay at once; the preferred first.
    own
        The rig as it stands; None where it cannot be judged.
    chosen
        The candidate to take, judged as closely as a plan does; its number is 0.
    why
        The reasons, in sentences.
    thrown_out
        Why parts, places and candidates were.
    new_prices, old_prices
        What the cost of the one to take counts and the rig's own ``[prices]`` lack; and ids there
        of parts that it does without.
    findings
        What plans of the candidates, of the one to take and of the rig as it stands warn of for
        eyes and hands.
    cautions, assumptions
        As in a plan.
    """

    SCHEMA = "rushlight/space-search"

    rig: str
    rig_name: Slug
    rig_basis: str
    tried: int
    seed: int
    currency: str
    candidates: list[SpaceCandidate]
    own: SpaceCandidate | None
    chosen: SpaceCandidate
    why: list[str]
    thrown_out: list[SearchReason]
    new_prices: dict[Slug, Price] = {}
    old_prices: list[Slug] = []
    findings: list[PlanFinding] = []
    cautions: dict[str, str]
    assumptions: list[str]
