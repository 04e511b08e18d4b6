"""How probable it is that the winners of a search meet all targets: as `plan --tolerance` draws."""

from __future__ import annotations

import math
from collections.abc import Callable

from rushlight.errors import Finding, RushlightError
from rushlight.plan.search_choice import in_table, likeliest
from rushlight.plan.search_limits import care_of
from rushlight.plan.search_space import Drive, SearchSpace, with_parts
from rushlight.plan.tolerance import chance_of_targets
from rushlight.records.rig import Rig
from rushlight.records.search import SearchCandidate, SearchResult
from rushlight.records.tolerance import ToleranceTarget


def with_chances(
    space: SearchSpace, result: SearchResult, draws: int, progress: Callable[[str, float], None]
) -> SearchResult:
    """A search's result, with the probability that its winners meet all targets.

    Only the winners that a printed table shows are drawn: each takes seconds.

    Parameters
    ----------
    space
        Of the search.
    result
        What it found.
    draws
        Rigs drawn of each winner, ≥ 2; the seed is the search's own.
    progress
        Told how far the drawing is.
    """
    asked = in_table(result.candidates, result.chosen)
    chances: dict[int, ToleranceTarget | None] = {}
    for done, one in enumerate(asked):
        progress("trying rigs", done / len(asked))
        chances[one.number] = _chance(space, one, draws, result.seed)
    progress("trying rigs", 1.0)

    def told(one: SearchCandidate) -> SearchCandidate:
        return one.model_copy(update={"chance": chances.get(one.number)})

    made = [told(each) for each in result.candidates]
    closely = None if result.closely is None else told(result.closely)
    return result.model_copy(
        update={
            "candidates": made,
            "closely": closely,
            "why": [*result.why, *(likeliest(closely, made) if closely else [])],
            "assumptions": [
                *result.assumptions,
                f"how probable it is that all targets are met is told from {draws} rigs drawn of "
                "each winner shown, as `plan --tolerance` draws them, with an exact binomial "
                "interval of 95 %; shadow by arms and hands is left out there",
            ],
        }
    )


def rig_of_candidate(space: SearchSpace, one: SearchCandidate) -> Rig:
    """The rig that a candidate of the search is."""
    drive = next(each for each in space.drives if _drives(each, one))
    return with_parts(
        space.rig,
        space.shelf,
        (one.camera, one.filter),
        (one.emitter, drive),
        one.position_m,
        one.look_at_m,
    )


def care_of_taken(space: SearchSpace, result: SearchResult) -> list[Finding]:
    """What a plan of the candidate to take warns of for eyes and hands."""
    if result.closely is None:
        return []
    return list(care_of(rig_of_candidate(space, result.closely), space.shelf).findings)


def _drives(drive: Drive, one: SearchCandidate) -> bool:
    """Whether a candidate's lights are driven so; what a drive leaves open is the rig's own."""
    fed = drive.cells is None or (drive.cells.part, drive.cells.cells) == (one.cell, one.cells)
    return fed and (
        math.isnan(drive.current_a) or math.isclose(drive.current_a, one.current_a, rel_tol=1e-9)
    )


def _chance(
    space: SearchSpace, one: SearchCandidate, draws: int, seed: int
) -> ToleranceTarget | None:
    try:
        return chance_of_targets(rig_of_candidate(space, one), space.shelf, draws, seed)
    except RushlightError:
        return None  # as where too few beacons are seen to register it
