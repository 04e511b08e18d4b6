"""The one to take, in words: why this place, what more money would buy, and what to order."""

from __future__ import annotations

import math
from collections.abc import Sequence

from rushlight.records.rig import Rig
from rushlight.records.search import SearchCandidate, SearchMore, SearchOrder, SearchSettings
from rushlight.records.sourced import Price
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.cost import CostLine, cost_lines

MORE_MONEY = (10.0, 25.0, 50.0)
"""How much more is tried, in the currency of the prices."""
IN_TABLE = 12
"""Candidates that a printed table shows; `search.json` holds all that are worked out."""
_WORTH_ERROR_M, _WORTH_COVERAGE, _WORTH_DELAY_S, _WORTH_BATTERY_S = 5e-5, 0.01, 1e-3, 1800.0
"""Gains below these are not told (our own choice)."""
_MOST_NAMED = 4
"""Parts without a price that a sentence names, at most (our own choice)."""


def in_table(candidates: list[SearchCandidate], chosen: int | None) -> list[SearchCandidate]:
    """The chosen candidate first, then some spread over the others: of those that meet all targets
    three in four, where there are as many."""
    first = [each for each in candidates if each.number == chosen]
    met = [each for each in candidates if each.number != chosen and not each.missed]
    missed = [each for each in candidates if each.number != chosen and each.missed]
    room = IN_TABLE - 1
    few = min(len(missed), max(room - len(met), room // 4))
    return [*first, *_spread(met, room - few), *_spread(missed, few)]


def _spread(candidates: list[SearchCandidate], count: int) -> list[SearchCandidate]:
    """At most as many of the candidates, evenly."""
    return candidates[:: max(1, math.ceil(len(candidates) / count))] if count else []


def chance_words(one: SearchCandidate) -> str:
    """How probable it is that a candidate meets all targets, or "" where that is not known."""
    found = one.chance
    if found is None:
        return ""
    return (
        f"{_percent(found.probability)} ({100.0 * found.low:.0f} to {100.0 * found.high:.0f} %, "
        f"{found.draws} rigs drawn)"
    )


def likeliest(chosen: SearchCandidate, made: list[SearchCandidate]) -> list[str]:
    """How probable it is that the choice meets all targets, and which of those drawn is likelier.

    Empty where nothing was drawn.
    """
    known = [(one.chance.probability, -one.number, one) for one in made if one.chance]
    if chosen.chance is None or not known:
        return []
    told = f"By the doubts of parts and room it meets all targets with {chance_words(chosen)}"
    best = max(known, key=lambda each: each[:2])[2]
    # Where the intervals overlap, luck may have put the other first.
    if best.chance and best.chance.low > chosen.chance.high:
        return [f"{told}; number {best.number} does with {chance_words(best)}."]
    return [f"{told}; none of the others that were drawn is surely likelier."]


def place_words(one: SearchCandidate) -> str:
    """Where a candidate's camera stands and what it looks at."""
    x, y, z = one.position_m
    where = f'in "{one.place}"' if one.place else "where the rig has it"
    return (
        f"{where} at x = {x:.2f} m, y = {y:.2f} m, z = {z:.2f} m, looking at x = "
        f"{one.look_at_m[0]:.2f} m, y = {one.look_at_m[1]:.2f} m"
    )


def supply_words(one: SearchCandidate) -> str:
    """What feeds each stylus, or "" where the rig names no cells."""
    return f"{one.cells} × {one.cell}" if one.cell else ""


def unpriced(lines: Sequence[CostLine] | Sequence[SearchOrder]) -> list[str]:
    """What of a rig has no known price, so that its cost leaves it out."""
    return [line.what for line in lines if line.amount is None]


def unpriced_words(parts: Sequence[str]) -> str:
    """That a cost leaves parts out, and which; "" where it leaves out none."""
    if not parts:
        return ""
    more = len(parts) - _MOST_NAMED
    named = [*parts[:_MOST_NAMED], *([f"{more} more"] if more > 0 else [])]
    return f"for all but {_list(named)}, whose price is not known"


def worth_words(one: SearchCandidate, currency: str, without: Sequence[str] = ()) -> str:
    """What a candidate is worth, in a line; its cost leaves out the parts `without` a price."""
    cost = f"{money(one.cost, currency)} {unpriced_words(without)}".rstrip()
    return (
        f"covers {_percent(one.coverage)} ({_percent(one.coverage_clear)} with one upright body "
        f"alone), error {_mm(one.error_rms_m)}, delay {1e3 * one.delay_s:.0f} ms, "
        f"{cost}"
    )


def why_chosen(
    chosen: SearchCandidate,
    in_places: list[SearchCandidate],
    empty: list[tuple[str, str]],
    own: SearchCandidate | None,
    met: tuple[int, int, int],
    currency: str,
    without: tuple[Sequence[str], Sequence[str]] = ((), ()),
) -> list[str]:
    """The reasons for a choice, in sentences.

    Parameters
    ----------
    chosen, in_places, own
        The one to take; the preferred one in every place; the rig as it stands.
    empty
        Places where nothing is allowed, and what rules most of it out.
    met
        How many of the winners that are worked out meet every target, how many are worked out,
        and how many winners there are.
    currency
        Of the costs.
    without
        What has no known price, of the one to take and of the rig as it stands.
    """
    worth = worth_words(chosen, currency, without[0])
    said = [_rule(chosen, met), f"It stands {place_words(chosen)}; {worth}"]
    others = [each for each in in_places if each.place != chosen.place]
    said += [_beside(chosen, each, currency) for each in others]
    said += [f'Nothing tried in "{place}" will do: most of it {words}' for place, words in empty]
    if own is not None:
        said.append(_against_own(chosen, own, currency, without[1]))
    said += warned_words(f"number {chosen.number}", chosen.warned)
    if own is not None:
        said += warned_words("the rig as it stands", own.warned)
    return [each + "." for each in said]


def warned_words(name: str, warned: list[str]) -> list[str]:
    """That a plan of a rig warns of something for eyes and hands, or nothing."""
    if not warned:
        return []
    return [f"A plan of {name} warns of {_list(warned)}: read its findings before you build it"]


def _rule(chosen: SearchCandidate, met: tuple[int, int, int]) -> str:
    meeting, worked_out, front = met
    winners = f"{worked_out} winners"
    if worked_out < front:
        winners += f" worked out, which are spread over all {front},"
    if not chosen.missed:
        return (
            f"{meeting} of the {winners} meet every target, coverage with one upright body "
            f"alone, as in the plan; number {chosen.number} is the cheapest of these, and of "
            "equally cheap ones whose error is surely known covers most with the least error"
        )
    return (
        f"None of the {winners} meets every target; number {chosen.number} misses the "
        f"fewest ({', '.join(chosen.missed)}) and is the cheapest of such"
    )


def _beside(chosen: SearchCandidate, other: SearchCandidate, currency: str) -> str:
    """Why another place is not taken."""
    faults = []
    if len(other.missed) > len(chosen.missed):
        faults.append(f"it misses {', '.join(other.missed)}")
    if other.cost > chosen.cost + 0.005:
        faults.append(f"costs {money(other.cost - chosen.cost, currency)} more")
    shade, own_shade = (one.coverage_clear - one.coverage for one in (other, chosen))
    if other.coverage < chosen.coverage - _WORTH_COVERAGE:
        shadow = (
            f", {_percent(shade)} lost to bodies, arms and hands against {_percent(own_shade)}"
            if shade > own_shade + _WORTH_COVERAGE
            else ""
        )
        faults.append(
            f"covers {_percent(other.coverage)} in place of {_percent(chosen.coverage)}{shadow}"
        )
    if other.error_rms_m > chosen.error_rms_m + _WORTH_ERROR_M:
        faults.append(f"errs by {_mm(other.error_rms_m)} in place of {_mm(chosen.error_rms_m)}")
    told = ", ".join(faults) or "it comes out the same within what matters"
    return f'The best found in "{other.place}" is not taken: {told}'


def _against_own(
    chosen: SearchCandidate, own: SearchCandidate, currency: str, without: Sequence[str]
) -> str:
    """The choice beside the rig as it stands, whose cost leaves out parts `without` a price."""
    gains = _gains(own, chosen)
    losses = _gains(chosen, own)
    if own.cost > chosen.cost + 0.005:
        gains.append(f"{money(own.cost - chosen.cost, currency)} cheaper")
    if chosen.cost > own.cost + 0.005:
        losses.append(f"{money(chosen.cost - own.cost, currency)} cheaper")
    apart = math.dist(own.position_m, chosen.position_m)
    worth = worth_words(own, currency, without)
    start = f"The rig as it stands, {place_words(own)}, judged alike {worth}"
    said = f"; the choice, {apart:.2f} m away from there, "
    said += f"is better by {_list(gains)}" if gains else "is no better"
    return start + said + (f", the rig as it stands by {_list(losses)}" if losses else "")


def _gains(before: SearchCandidate, after: SearchCandidate) -> list[str]:
    """By what one candidate is better than another, money left aside."""
    gains = []
    if after.coverage > before.coverage + _WORTH_COVERAGE:
        gains.append(f"{_percent(after.coverage - before.coverage)} of the surface more")
    if after.error_rms_m < before.error_rms_m - _WORTH_ERROR_M:
        gains.append(f"{_mm(before.error_rms_m - after.error_rms_m)} less error")
    if after.delay_s < before.delay_s - _WORTH_DELAY_S:
        gains.append(f"{1e3 * (before.delay_s - after.delay_s):.0f} ms less delay")
    if after.battery_s > before.battery_s + _WORTH_BATTERY_S:
        gains.append(f"{(after.battery_s - before.battery_s) / 3600.0:.0f} h more on a cell")
    if len(after.missed) < len(before.missed):
        gains.append(f"{len(before.missed) - len(after.missed)} more of the targets")
    return gains


def more_money(
    chosen: SearchCandidate,
    made: Sequence[SearchCandidate],
    currency: str,
    beyond: Sequence[SearchCandidate] = (),
) -> list[SearchMore]:
    """What the candidate to take for a little more money would gain over the chosen one.

    Parameters
    ----------
    chosen, made
        The one to take, and the winners.
    currency
        Of the costs.
    beyond
        What nothing but the budget rules out, which has no number.
    """
    found: list[SearchMore] = []
    told: list[SearchCandidate] = []
    for amount in MORE_MONEY:
        within = [
            (each, each in beyond)
            for each in (*made, *beyond)
            if chosen.cost < each.cost <= chosen.cost + amount + 1e-9 and _gains(chosen, each)
        ]
        if not within:
            continue
        one, over = min(
            within, key=lambda each: (len(each[0].missed), _loss(each[0]), each[0].cost)
        )
        if one in told:
            continue
        told.append(one)
        found.append(
            SearchMore(
                amount=amount,
                spent=round(one.cost - chosen.cost, 2),
                number=None if over else one.number,
                words=_more_words(chosen, one, over),
            )
        )
    return found


def _more_words(chosen: SearchCandidate, one: SearchCandidate, over: bool) -> str:
    """What one candidate gains over the chosen one, by what, and what is given up for it."""
    words = f"{_list(_gains(chosen, one))}, with {one.camera}"
    words += f" and {one.filter}" if one.filter else ""
    if (one.emitter, one.current_a) != (chosen.emitter, chosen.current_a):
        words += f", {one.emitter} at {1e3 * one.current_a:g} mA"
    if supply_words(one) != supply_words(chosen):
        words += f", on {supply_words(one)}"
    if over:
        pose = (one.position_m, one.look_at_m) == (chosen.position_m, chosen.look_at_m)
        where = "where the chosen one stands" if pose else place_words(one)
        words += f", {where}: this is more than may be spent"
    if one.warned:
        words += f"; a plan warns of {_list(one.warned)}"
    worse = _gains(one, chosen)
    return words + (f"; but the chosen one has {_list(worse)}" if worse else "")


def _loss(one: SearchCandidate) -> float:
    """What is missing, in hundredths of the surface and tenths of millimetres alike (ours)."""
    return 100.0 * (1.0 - one.coverage) + 1e4 * one.error_rms_m


def orders_for(rig: Rig, shelf: Shelf, settings: SearchSettings) -> list[SearchOrder]:
    """What to order for all the sets, spares beyond; a display and what hangs there needs none."""
    share = settings.spares.value if settings.spares else 0.0
    return [_order(line, settings.sets, share) for line in cost_lines(rig, shelf)]


def _order(line: CostLine, sets: int, share: float) -> SearchOrder:
    count = line.count * sets
    # A hair less, so that 10 % of 20 are 2 spares and not 3 for rounding's sake.
    spares = 0 if line.kind in (None, "display") else math.ceil(count * share - 1e-9)
    price = line.price
    return SearchOrder(
        what=line.what,
        count=count,
        spares=spares,
        amount=None if price is None else round((count + spares) * price.amount, 2),
        currency=price.currency if price else "",
        date=price.date if price else "",
        basis=price.basis if price else None,
    )


def prices_to_write(rig: Rig, taken: Rig) -> tuple[dict[str, Price], list[str]]:
    """What of prices to write into a rig's file, and what to take out, to take another rig.

    Parameters
    ----------
    rig, taken
        As it stands; and as a search has it, with every price that it counts.
    """
    new = {what: price for what, price in taken.prices.items() if what not in rig.prices}
    return new, [what for what in rig.prices if what not in taken.prices]


def money(amount: float, currency: str) -> str:
    """An amount with its currency, to the cent."""
    return f"{amount:.2f} {currency}" if math.isfinite(amount) else "cost not known"


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _mm(metres: float) -> str:
    return f"{1e3 * metres:.2f} mm"


def _list(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
