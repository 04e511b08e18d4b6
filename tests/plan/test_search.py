"""The search beside brute force, taken up again, and the words of its result."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from tests.search_rooms import BOXES, POINTS, place, room, room_data

from rushlight.errors import RushlightError
from rushlight.plan import search, searching
from rushlight.plan.beacons import choose_beacons
from rushlight.plan.evaluate import evaluate
from rushlight.plan.search import Ledger, generations_of, winners
from rushlight.plan.search_front import front_of
from rushlight.plan.search_nothing import _reason_words
from rushlight.plan.search_report import own_candidate, thrown_out
from rushlight.plan.search_space import space_of
from rushlight.plan.search_trial import RULED_OUT, Trials, Tried
from rushlight.plan.searching import begin, search_rig
from rushlight.records.document import validate
from rushlight.records.rig import Rig
from rushlight.records.search import SearchReason
from rushlight.shelf.catalogue import built_in_shelf
from rushlight.shelf.cost import cost_figure
from rushlight.shelf.resolve import lit_emitters, resolve

SMALL = (3, 2)


@pytest.fixture(scope="module")
def discrete() -> Trials:
    """A room of four points, aimed at the middle: few enough candidates to try them all."""
    rig = room(POINTS, aim="middle", currents=[f"{each} mA" for each in (5, 10, 15, 20, 30, 40)])
    return Trials(space_of(rig, built_in_shelf()), SMALL)


@pytest.fixture(scope="module")
def every_candidate(discrete: Trials):
    counts = discrete.space.counts
    rows = [[*numbers, *[0.5] * 5] for numbers in itertools.product(*map(range, counts))]
    return discrete.value(np.array(rows, float))


def rigs_of(tried: Tried, rows: np.ndarray) -> set[tuple[float, ...]]:
    """The place and parts of candidates."""
    return {tuple(row) for row in tried.choices[rows][:, : -search.SHARES]}


def test_the_front_is_that_of_brute_force(discrete: Trials, every_candidate) -> None:
    ledger = Ledger("discrete")
    for _ in generations_of(discrete, ledger, 24, 1, 3):
        pass
    tried = ledger.distinct()
    assert len(tried.choices) < 0.95 * len(every_candidate.choices)
    allowed = every_candidate.allowed
    front = front_of(every_candidate.objectives[allowed])
    wanted = {tuple(row) for row in every_candidate.objectives[allowed][front]}
    found = {tuple(row) for row in tried.objectives[winners(tried)]}
    assert len(wanted) > 5
    assert found == wanted
    assert rigs_of(tried, winners(tried)) == rigs_of(
        every_candidate, np.flatnonzero(allowed)[front]
    )


def test_the_front_is_that_of_brute_force_where_under_half_is_tried() -> None:
    """Twelve points, as many again of everything else: 1728 rigs. Seeds 2 to 4 find 23 or 24 of the
    25 that this one finds: a search does not try everything."""
    at = list(itertools.product((0.3, 0.9, 1.5, 2.1), (0.9, 1.7), (2.4, 3.0, 3.6)))[::2]
    points = [place(f"p{number}", "ceiling", where) for number, where in enumerate(at)]
    currents = [f"{each} mA" for each in (4, 8, 12, 18, 25, 35)]
    trials = Trials(
        space_of(room(points, aim="middle", currents=currents), built_in_shelf()), SMALL
    )
    counts = trials.space.counts
    rows = [[*numbers, *[0.5] * 5] for numbers in itertools.product(*map(range, counts))]
    everything = trials.value(np.array(rows, float))
    ledger = Ledger("larger")
    for _ in generations_of(trials, ledger, 24, 1, 3):
        pass
    tried = ledger.distinct()
    assert len(tried.choices) < 0.5 * len(rows)
    found, wanted = winners(tried), winners(everything)
    # By its own sorting, not the search's.
    allowed = everything.objectives[everything.allowed]
    unbeaten = [
        not np.any(np.all(allowed <= one, axis=1) & np.any(allowed < one, axis=1))
        for one in allowed
    ]
    assert {tuple(row) for row in allowed[unbeaten]} == {
        tuple(row) for row in tried.objectives[found]
    }
    assert rigs_of(tried, found) == rigs_of(everything, wanted)
    assert len(wanted) > 20


def test_nothing_is_valued_twice(discrete: Trials, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[bytes] = []
    value = discrete.value

    def watched(rows: np.ndarray):
        asked.extend(row.tobytes() for row in rows)
        return value(rows)

    monkeypatch.setattr(discrete, "value", watched)
    ledger = Ledger("discrete")
    list(generations_of(discrete, ledger, 24, 1, 4))
    assert len(asked) == len(set(asked)) == len(ledger.distinct().choices)
    assert len(asked) < len(ledger.all().choices)


def test_one_seed_gives_one_search_and_another_gives_another(
    discrete: Trials, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(search, "ROUNDS", 1)

    def choices(seed: int) -> list[bytes]:
        ledger = Ledger("discrete")
        list(generations_of(discrete, ledger, 12, seed, 2))
        return [each.choices.tobytes() for each in ledger.generations]

    assert choices(5) == choices(5)
    assert choices(5) != choices(6)


def test_taken_up_again_it_goes_on_bit_by_bit_and_values_nothing_twice(
    discrete: Trials, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = Ledger("discrete")
    list(generations_of(discrete, whole, 12, 5, 4))
    half = Ledger("discrete", whole.generations[:2])
    again = Ledger.from_bytes(half.as_bytes())
    asked = []
    value = discrete.value
    monkeypatch.setattr(discrete, "value", lambda rows: asked.append(len(rows)) or value(rows))
    list(generations_of(discrete, again, 12, 5, 4))
    assert len(asked) <= len(whole.generations) - 2
    assert again.as_bytes() == whole.as_bytes()


def test_a_ledger_of_another_search_is_noticed(discrete: Trials) -> None:
    ledger = Ledger("discrete")
    list(generations_of(discrete, ledger, 12, 5, 2))
    with pytest.raises(ValueError, match="another search's"):
        list(generations_of(discrete, ledger, 12, 6, 3))
    with pytest.raises(ValueError, match="expected the ledger"):
        Ledger.from_bytes(b"no ledger")


def test_the_rig_as_it_stands_is_judged_as_a_plan_would(discrete: Trials) -> None:
    own = own_candidate(discrete)
    rig = discrete.space.rig
    resolved, standing = resolve(rig, built_in_shelf()), discrete.room.standing
    beacons, _ = choose_beacons(resolved, standing, tuple(range(len(lit_emitters(rig)))))
    found = evaluate(resolved, *SMALL, beacons, standing)
    assert own is not None and own.place == "middle"
    assert own.error_rms_m == pytest.approx(float(found.overall_error_m()[0]), rel=1e-9)
    assert own.coverage_clear == pytest.approx(float(found.coverage[0]), abs=1e-9)
    assert own.coverage < own.coverage_clear
    assert own.look_at_m == pytest.approx((1.2, 0.72, 0.0), abs=1e-3)


def result_of(monkeypatch: pytest.MonkeyPatch, generations: int = 3, **settings):
    monkeypatch.setattr(searching, "GRID", SMALL)
    monkeypatch.setattr(search, "ROUNDS", 1)
    monkeypatch.setattr(search, "ROUND_SHARE", 2)
    rig = room(BOXES, population=16, **settings)
    trials, ledger, seed, count = begin(rig, built_in_shelf(), None, generations, "rig.toml")
    return search_rig(trials, ledger, seed, count)


def test_the_result_tells_winners_reasons_orders_and_slips(monkeypatch) -> None:
    prices = room_data(BOXES)["search"]["prices"]
    clamp = {"amount": 2.0, "currency": "EUR", "date": "2026-03", "basis": "invented"}
    prices["camera-clamp"] = clamp
    result = result_of(
        monkeypatch, currents=["10 mA", "20 mA"], sets=12, spares="10 %", prices=prices
    )
    (told,) = (each for each in result.findings if each.code == "search-price-of-no-part")
    assert told.where == "rig.toml: search.prices.camera-clamp"
    chosen = result.candidate(result.chosen)
    assert result.evaluated >= 48
    numbers = np.array([[one.cost, one.error_rms_m, -one.coverage] for one in result.candidates])
    assert np.all(np.isfinite(numbers)) and np.all(np.diff(numbers[:, 0]) >= 0)
    assert all(one.missed or one.cost >= chosen.cost for one in result.candidates)
    for one in result.candidates:
        assert [slip.what for slip in one.slips] == ["place", "aim"]
        assert all(slip.error_rms_m > 0 for slip in one.slips)
    camera = next(line for line in result.orders if line.what == chosen.camera)
    assert (camera.count, camera.spares) == (12, 2)
    light = next(line for line in result.orders if line.what == chosen.emitter)
    assert (light.count, light.spares) == (24, 3)
    assert result.sum_of_orders == pytest.approx(sum(line.amount for line in result.orders))
    counts = {each.code: each.count for each in result.thrown_out if each.of == "candidate"}
    beaten = counts.pop("beaten")
    refused = result.evaluated - result.front - beaten
    # Each of those refused counts at least once, and never twice under one reason.
    assert max(counts.values()) <= refused <= sum(counts.values())
    assert any("The rig as it stands" in line for line in result.why)
    # Every place but the chosen one is accounted for.
    told = ('The best found in "', 'Nothing tried in "')
    assert sum(line.startswith(told) for line in result.why) == 2
    assert {"eye", "heat"} <= set(result.cautions)


def test_with_the_prices_told_a_plan_counts_what_the_search_counted(monkeypatch) -> None:
    data = room_data(BOXES)
    for settings in ({"cameras": ["hd-rolling-30"]}, {"cameras": ["vga-global-120"]}):
        result = result_of(monkeypatch, prices=data["search"]["prices"], **settings)
        chosen, rig = result.candidate(result.chosen), room(BOXES)
        kept = {what: one for what, one in rig.prices.items() if what not in result.old_prices}
        assert kept.keys().isdisjoint(result.new_prices)
        camera = rig.cameras[0].model_copy(update={"part": chosen.camera, "filter": chosen.filter})
        light = {"part": chosen.emitter}
        carried = [
            one.model_copy(update={"emitters": [e.model_copy(update=light) for e in one.emitters]})
            for one in rig.carried
        ]
        update = {"cameras": [camera], "carried": carried, "search": None}
        planned = rig.model_copy(update=update | {"prices": kept | result.new_prices})
        assert cost_figure(planned, built_in_shelf()).value == pytest.approx(chosen.cost)


def test_money_and_minutes_rule_candidates_out(monkeypatch) -> None:
    result = result_of(
        monkeypatch, budget={"amount": 52, "currency": "EUR"}, minutes="95 min", generations=3
    )
    assert all(one.cost <= 52 for one in result.candidates)
    assert all(one.build_s <= 95 * 60 for one in result.candidates)
    codes = {each.code for each in result.thrown_out}
    assert {"over-budget", "takes-too-long"} & codes


def test_when_nothing_is_left_the_reasons_are_told(monkeypatch) -> None:
    with pytest.raises(RushlightError, match="costs more than may be spent"):
        result_of(monkeypatch, budget={"amount": 5, "currency": "EUR"}, generations=1)


def remedy(monkeypatch, **settings) -> str:
    with pytest.raises(RushlightError) as refused:
        result_of(monkeypatch, generations=1, **settings)
    return refused.value.findings[0].remedy


def test_where_nothing_is_left_the_remedy_is_that_of_the_reasons(monkeypatch) -> None:
    budget = {"amount": 5, "currency": "EUR"}
    misfit = SearchReason(of="candidate", code="parts-do-not-fit", count=3,
                          words=RULED_OUT["parts-do-not-fit"])  # fmt: skip
    assert _reason_words(misfit).startswith("its parts do not go together")
    assert remedy(monkeypatch, budget=budget) == "raise search.budget"
    assert remedy(monkeypatch, minutes="1 min") == "give more search.minutes"
    both = remedy(monkeypatch, budget=budget, minutes="1 min")
    assert set(both.split("; and ")) == {"raise search.budget", "give more search.minutes"}


def nothing_with(monkeypatch, places, **targets) -> str:
    monkeypatch.setattr(searching, "GRID", SMALL)
    data = room_data(places, population=8, currents=["20 mA"])
    data["targets"] |= targets
    rig = validate(Rig, data, "rig.toml")
    trials, ledger, seed, count = begin(rig, built_in_shelf(), None, 1, "rig.toml")
    with pytest.raises(RushlightError) as refused:
        search_rig(trials, ledger, seed, count)
    return str(refused.value)


def test_too_little_covered_is_told_apart_by_its_cause(monkeypatch) -> None:
    errs = nothing_with(monkeypatch, POINTS, worst_error="0.1 mm")
    assert "; raise targets.worst_error" in errs and "lower targets.coverage" in errs
    assert "candidates tried is ruled out, because it covers less than half" in errs
    close = place("close", "shelf", (1.2, 0.75, 0.2))
    blind = nothing_with(monkeypatch, [close])
    assert "give other places or lower targets.coverage" in blind
    assert "targets.worst_error" not in blind


def test_every_reason_counts_and_the_least_is_told(monkeypatch) -> None:
    settings = {"budget": {"amount": 5, "currency": "EUR"}, "minutes": "1 min"}
    monkeypatch.setattr(searching, "GRID", SMALL)
    rig = room(BOXES, population=16, **settings)
    trials, ledger, _, _ = begin(rig, built_in_shelf(), None, 1, "rig.toml")
    rows = search.first_generation(trials.space, 16, 1)
    ledger.generations.append(trials.value(trials.space.whole(rows)))
    told = [each for each in thrown_out(trials, ledger) if each.of == "candidate"]
    counts = {each.code: each.count for each in told}
    distinct = len(ledger.distinct().choices)
    assert counts["over-budget"] == counts["takes-too-long"] == distinct
    assert [each.count for each in told] == sorted(counts.values(), reverse=True)
    by_code = {each.code: each for each in told}
    axes = trials.space.counts[1:]
    every = [trials.parts(key) for key in itertools.product(*map(range, axes))]
    least = min(each.cost for each in every if each.resolved is not None)
    assert by_code["over-budget"].examples == [
        f"the cheapest combination of parts costs {least:.2f} EUR"
    ]
    # A tripod (5 min), two lights to be soldered (25 min each), no filter, registering (20 min).
    filtered = 10 if None not in trials.space.filters else 0
    assert by_code["takes-too-long"].examples == [
        f"the quickest to build takes {5 + 50 + filtered + 20} min"
    ]
    with pytest.raises(RushlightError, match=rf"costs {least:.2f} EUR.*quickest to build takes"):
        result_of(monkeypatch, generations=1, **settings)


def test_a_light_too_dark_to_see_is_thrown_out_with_a_reason() -> None:
    rig = room(POINTS, aim="middle", currents=["0.00001 mA", "20 mA"])
    trials = Trials(space_of(rig, built_in_shelf()), SMALL)
    rows = [
        [*numbers, *[0.5] * 5] for numbers in itertools.product(*map(range, trials.space.counts))
    ]
    ledger = Ledger("dark")
    tried = trials.value(np.array(rows, float))
    ledger.generations.append(tried)
    dark = tried.choices[:, 4] == 0
    covers = list(RULED_OUT).index("covers-too-little")
    assert np.all(tried.constraints[dark, covers] > 0.0)
    assert not np.all(tried.constraints[~dark, covers] > 0.0)
    words = {each.code: each.words for each in thrown_out(trials, ledger)}["covers-too-little"]
    assert "too weak" in words
