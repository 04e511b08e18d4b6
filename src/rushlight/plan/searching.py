"""A search from a rig to its result."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.errors import Finding, RushlightError
from rushlight.plan.planning import cautions_of
from rushlight.plan.search import Ledger, generations_of, key_of, winners
from rushlight.plan.search_chance import with_chances
from rushlight.plan.search_choice import (
    MORE_MONEY,
    more_money,
    orders_for,
    prices_to_write,
    unpriced,
    why_chosen,
)
from rushlight.plan.search_front import STEPS, spread_over
from rushlight.plan.search_limits import care_of, findings_of
from rushlight.plan.search_nothing import nothing_found
from rushlight.plan.search_report import (
    MOST_SHOWN,
    best_in_places,
    beyond_budget,
    candidates_of,
    empty_places,
    own_candidate,
    preference,
    thrown_out,
    with_slips,
)
from rushlight.plan.search_space import SearchSpace, bare, prices_of, space_of
from rushlight.plan.search_trial import Trials, Tried
from rushlight.records.plan import PlanFinding
from rushlight.records.rig import Rig
from rushlight.records.search import SearchCandidate, SearchPlace, SearchResult
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.check_search import prices_of_no_part
from rushlight.shelf.cost import cost_lines

Array = NDArray[Any]
Told = Callable[[str, float], None]
CLOSELY = 6
"""Candidates that are judged closely before one of them is chosen."""
GRID = (9, 6)
"""Places on the surface at which candidates are judged."""

ASSUMPTIONS = (
    "everything here is predicted to first order, nothing measured or simulated",
    "candidates are judged in closed forms, errors mostly 1 %, some 10 % above those of the full "
    "evaluation, largest errors up to a quarter; the one to take, its like in every other place, "
    "and the rig as it stands are judged in full",
    "candidates are judged at 9 by 6 places, and each is registered where it stands, by nine "
    "beacons where they are reached and seen; what is judged in full has them chosen as in a plan",
    "coverage counts each place by how often its light is seen past bodies, arms and hands, in 200 "
    "equally likely scenes; targets are held against coverage with one upright body alone, as "
    "in the plan",
    "costs, and with them the budget, count the parts whose price is known; what the search does "
    "not choose among, such as the rig's own display and cells, is counted only if the rig prices "
    "it",
    "times to build are our own estimates, but for the `work` that the rig states of a place",
    "a wall takes a drill, a ceiling or a place above 2.1 m a ladder (our own rule)",
    "all styli take the same light and current, and the same cells where these are searched; "
    "camera rates never exceed the rig's own",
    "candidates that differ by less than 0.01 in money, 0.02 mm, half a hundredth of the surface, "
    "0.5 ms and 0.5 h count as equal",
)


def begin(
    rig: Rig, shelf: Shelf, seed: int | None, generations: int | None, name: str
) -> tuple[Trials, Ledger, int, int]:
    """What a search works with: its trials, an empty ledger, its seed, its generations.

    Where seed or generations are None, those of the rig hold.

    Raises
    ------
    RushlightError
        When the rig cannot be searched; see `space_of`.
    """
    space = space_of(rig, shelf, name)
    chosen = space.settings.seed if seed is None else seed
    count = space.settings.generations if generations is None else generations
    currency_of(space)
    trials = Trials(space, GRID)
    ledger = Ledger(key_of(space, chosen, space.settings.population, count, GRID))
    return trials, ledger, chosen, count


def search_rig(
    trials: Trials,
    ledger: Ledger,
    seed: int,
    generations: int,
    keep: Callable[[Ledger], None] = lambda _ledger: None,
    progress: Told = lambda _what, _share: None,
    draws: int = 0,
) -> SearchResult:
    """Search, and tell what was found.

    Parameters
    ----------
    trials, ledger
        From `begin`; the ledger may hold what an interrupted search found.
    seed, generations
        Of the optimiser.
    keep
        Called with the ledger after every generation that was not in it yet.
    progress
        Told how far the search is.
    draws
        Rigs drawn of each winner that a table shows, to tell how probable it is that all targets
        are met; 0 leaves that out. The search itself is the same either way.

    Raises
    ------
    RushlightError
        When every candidate is ruled out; the finding says by what.
    ValueError
        When the ledger is another search's.
    """
    population = trials.space.settings.population
    known = len(ledger.generations)
    progress("searching", 0.0)
    for share in generations_of(trials, ledger, population, seed, generations):
        if len(ledger.generations) > known:
            keep(ledger)
        progress("searching", share)
    progress("comparing", 0.0)
    result = _result(trials, ledger, seed, generations)
    progress("comparing", 1.0)
    return with_chances(trials.space, result, draws, progress) if draws else result


def _result(trials: Trials, ledger: Ledger, seed: int, generations: int) -> SearchResult:
    tried, space = ledger.distinct(), trials.space
    front = winners(tried)
    if not len(front):
        reasons = [each for each in thrown_out(trials, ledger) if each.of == "candidate"]
        raise nothing_found(trials, tried, reasons)
    currency = currency_of(space)
    made, choices = _shown(trials, tried, front)
    made = with_slips(trials, made, choices)
    chosen, closely = _taken(trials, made, choices)
    own = own_candidate(trials)
    met = sum(not each.missed for each in made), len(made), len(front)
    axes = len(space.counts)
    row = choices[chosen.number - 1]
    taken = space.rig_of(tuple(int(n) for n in row[1:axes]), chosen.position_m, chosen.look_at_m)
    orders = orders_for(taken, space.shelf, space.settings)
    new_prices, old_prices = prices_to_write(space.rig, taken)
    stands = space.rig.model_copy(update={"prices": prices_of(space.rig, space.shelf)})
    without = unpriced(orders), unpriced(cost_lines(stands, space.shelf))
    dates = sorted(line.date for line in orders if line.date)
    places = best_in_places(trials, tried)
    beyond = beyond_budget(trials, tried, row, chosen.cost + max(MORE_MONEY))
    return SearchResult(
        rig=space.rig.content_hash(),
        rig_name=space.rig.name,
        rig_basis=space.rig.basis,
        surface_m=space.size_m,
        places=[
            SearchPlace(id=place.id, kind=place.kind, low_m=tuple(low), high_m=tuple(high))
            for place, (low, high) in zip(space.places, space.corners_m.tolist(), strict=True)
        ],
        columns=GRID[0],
        rows=GRID[1],
        evaluated=len(tried.choices),
        generations=generations,
        population=space.settings.population,
        seed=seed,
        currency=currency,
        price_dates=(dates[0], dates[-1]) if dates else ("", ""),
        front=len(front),
        candidates=made,
        own=own,
        chosen=chosen.number,
        closely=closely,
        why=why_chosen(closely, places, empty_places(trials, tried), own, met, currency, without),
        thrown_out=thrown_out(trials, ledger),
        more=more_money(chosen, made, currency, beyond),
        orders=orders,
        sum_of_orders=round(sum(line.amount or 0.0 for line in orders), 2),
        new_prices=new_prices,
        old_prices=old_prices,
        findings=[
            PlanFinding.of(each) for each in [*_care(trials, choices, own), *_findings(space, own)]
        ],
        cautions=cautions_of(taken, space.shelf),
        assumptions=list(ASSUMPTIONS),
    )


def _care(trials: Trials, choices: Array, own: SearchCandidate | None) -> list[Finding]:
    """What plans of the winners shown, and of the rig as it stands, warn of for eyes and hands."""
    parts, _, _ = trials.placed(choices)
    told = [(f"number {index + 1}", each.care.findings) for index, each in enumerate(parts)]
    if own is not None:
        space = trials.space
        told.append(("the rig as it stands", care_of(bare(space.rig), space.shelf).findings))
    return findings_of(told)


def _taken(
    trials: Trials, made: list[SearchCandidate], choices: Array
) -> tuple[SearchCandidate, SearchCandidate]:
    """The candidate to take, and the same judged closely.

    The first few by preference are judged closely, and then preferred by that.
    """
    first = sorted(made, key=preference)[:CLOSELY]
    rows = [each.number - 1 for each in first]
    close = candidates_of(trials, choices[rows], closely=True)
    close = [
        each.model_copy(update={"number": one.number, "slips": one.slips, "rough": one.rough})
        for each, one in zip(close, first, strict=True)
    ]
    best = min(close, key=preference)
    return made[best.number - 1], best


def _shown(trials: Trials, tried: Tried, front: Array) -> tuple[list[SearchCandidate], Array]:
    """The winners that are worked out in full, the cheapest first, and their choices."""
    everyone = candidates_of(trials, tried.choices[front])
    best = int(np.argmin([_rank(each, everyone) for each in everyone]))
    shown = spread_over(tried.objectives[front] / STEPS, MOST_SHOWN, [best])
    shown.sort(key=lambda i: (everyone[i].cost, -everyone[i].coverage, everyone[i].error_rms_m))
    made = [everyone[i].model_copy(update={"number": n + 1}) for n, i in enumerate(shown)]
    return made, tried.choices[front][shown]


def _rank(one: SearchCandidate, everyone: list[SearchCandidate]) -> int:
    return sum(preference(each) < preference(one) for each in everyone)


def currency_of(space: SearchSpace) -> str:
    """The one currency of all prices.

    Raises
    ------
    RushlightError
        When prices or the budget are in several.
    """
    priced = _priced(space)
    currencies = sorted(set(priced.values()))
    if len(currencies) > 1:
        raise RushlightError.of(
            "rig.toml: prices",
            " and ".join(currencies),
            f"are several currencies ({_currency_words(priced)}), and costs cannot be compared "
            "across them",
            "give every price and the budget in one",
            "search-currencies",
        )
    return next(iter(currencies), "")


def _priced(space: SearchSpace) -> dict[str, str]:
    """The currency of every price that counts, and of the budget, by where it stands."""
    settings, rig = space.settings, space.rig
    found = {f"prices.{what}": price.currency for what, price in rig.prices.items()}
    for what, price in settings.prices.items():
        if what not in rig.prices:
            found[f"search.prices.{what}"] = price.currency
    if settings.budget is not None:
        found["search.budget"] = settings.budget.currency
    fed = [drive.cells.part for drive in space.drives if drive.cells]
    own = [line.what for line in cost_lines(rig, space.shelf)]
    listed = {*space.cameras, *space.filters, *space.emitters, *fed, *own}
    for kind in space.shelf.parts.values():
        for part in kind.values():
            known = part.id in rig.prices or part.id in settings.prices
            if part.price and part.id in listed and not known:
                found[f"{part.id} of the shelf"] = part.price.currency
    return found


_MOST_NAMED = 4
"""Prices of one currency that are named, at most (our own choice)."""


def _currency_words(priced: dict[str, str]) -> str:
    """What is in which currency: the rarer ones by name, the most frequent one as all else."""
    counts = Counter(priced.values())
    most = max(sorted(counts), key=lambda each: counts[each])
    said = []
    for currency in sorted(set(counts) - {most}):
        names = [what for what, given in priced.items() if given == currency]
        more = len(names) - _MOST_NAMED
        told = [*names[:_MOST_NAMED], *([f"{more} more"] if more > 0 else [])]
        said.append(f"in {currency}: {', '.join(told)}")
    only = [what for what, given in priced.items() if given == most]
    rest = only[0] if len(only) == 1 else "all else"
    return "; ".join([*said, f"in {most}: {rest}"])


def _findings(space: SearchSpace, own: SearchCandidate | None) -> list[Finding]:
    found = prices_of_no_part(space.rig, space.shelf)
    country = space.settings.country
    unsaid = [
        part.id
        for kind, ids in (
            ("camera", space.cameras),
            ("filter", space.filters),
            ("emitter", space.emitters),
            ("cell", dict.fromkeys(each.cells.part for each in space.drives if each.cells)),
        )
        for part in (space.shelf.find(kind, each or "") for each in ids)  # type: ignore[arg-type]
        if part is not None and not part.sold_in
    ]
    if country is not None and unsaid:
        found.append(
            Finding(
                "note",
                "sold-where-unknown",
                "rig.toml: search.country",
                country,
                f"is not known to sell {', '.join(unsaid)}: the shelf does not say where they are "
                "sold",
                "look before you order, and write sold_in in a *.shelf.toml",
            )
        )
    if None in space.filters:
        found.append(
            Finding(
                "warning",
                "no-filter",
                "rig.toml: search.filters",
                "none",
                "lets a camera see the picture and the room's visible light too, which the light "
                "of the room in the rig does not count",
                "list filters, or measure the light of the room through the bare camera",
            )
        )
    if own is not None and not own.place:
        found.append(
            Finding(
                "note",
                "own-place-elsewhere",
                "rig.toml: cameras[0].position",
                "",
                "lies in none of the room's places",
                "add it to [[room.places]] if a camera may stay there",
            )
        )
    return found
