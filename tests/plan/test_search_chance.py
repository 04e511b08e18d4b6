"""How probable it is that winners meet all targets: as the tolerance itself tells of such a rig."""

from __future__ import annotations

import json
import re

import pytest
from tests.search_rooms import POINTS, room

from rushlight.cli import search_tables
from rushlight.plan import search_chance, searching
from rushlight.plan.search_chance import rig_of_candidate
from rushlight.plan.search_choice import in_table, likeliest
from rushlight.plan.search_page import search_page
from rushlight.plan.search_picture import search_picture
from rushlight.plan.searching import begin, search_rig
from rushlight.plan.tolerance import chance_of_targets, tolerance_of
from rushlight.records.quantity import parse_quantity
from rushlight.records.search import SearchResult
from rushlight.records.tolerance import ToleranceTarget
from rushlight.shelf.catalogue import built_in_shelf

DRAWS = 20


def found(draws: int, seed: int | None = None, told=lambda _what, _share: None, **settings):
    """The space and the result of a small search."""
    rig = room(
        POINTS[:2], aim="middle", population=8, cameras=["vga-global-60", "vga-global-120"],
        emitters=["ir850-5mm-17"], **settings,
    )  # fmt: skip
    trials, ledger, seed, count = begin(rig, built_in_shelf(), seed, 1, "rig.toml")
    return trials.space, search_rig(trials, ledger, seed, count, progress=told, draws=draws)


@pytest.fixture(scope="module")
def drawn():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(searching, "GRID", (3, 2))
        steps: list[tuple[str, float]] = []
        space, result = found(
            DRAWS, 3, lambda what, share: steps.append((what, share)), currents=["10 mA", "20 mA"]
        )
        return space, result, steps


def test_each_winner_s_probability_is_what_the_tolerance_tells_of_such_a_rig(drawn) -> None:
    space, result, _ = drawn
    known = [one for one in result.candidates if one.chance]
    assert len(known) == len(in_table(result.candidates, result.chosen)) >= 2
    for one in known[:2]:
        rig = rig_of_candidate(space, one)
        assert rig.cameras[0].part == one.camera and rig.cameras[0].filter == one.filter
        assert [step.value for step in rig.cameras[0].position] == pytest.approx(one.position_m)
        lights = [light for thing in rig.carried for light in thing.emitters]
        assert {light.current.value for light in lights} == {one.current_a}
        whole = tolerance_of(rig, space.shelf, DRAWS, result.seed)
        assert one.chance == whole.targets[-1]
        assert one.chance.what == "all targets" and one.chance.draws == DRAWS
    assert result.closely.chance == result.candidate(result.chosen).chance


def test_it_is_so_too_where_the_luck_of_a_build_decides(drawn) -> None:
    space, result, _ = drawn
    rig = rig_of_candidate(space, result.candidates[0])
    targets = rig.targets.model_copy(update={"worst_error": parse_quantity("4.5 mm", "length")})
    tight = rig.model_copy(update={"targets": targets})
    whole = tolerance_of(tight, space.shelf, 60, 2).targets
    assert chance_of_targets(tight, space.shelf, 60, 2) == whole[-1]
    by_name = {one.what: one for one in whole}
    assert 0 < by_name["largest error at a place in view"].met < 60


def test_the_same_seed_draws_the_same_and_another_another(drawn) -> None:
    space, result, _ = drawn
    rig = rig_of_candidate(space, result.candidates[0])
    one, again, other = (chance_of_targets(rig, space.shelf, 200, seed) for seed in (3, 3, 4))
    assert one == again
    assert 0.0 <= one.low <= one.probability <= one.high <= 1.0
    assert abs(one.probability - other.probability) < 0.2
    assert other != one or one.met in (0, 200)


def test_left_out_the_search_finds_the_same(drawn, monkeypatch) -> None:
    _, result, steps = drawn
    monkeypatch.setattr(searching, "GRID", (3, 2))

    def refuse(*_: object) -> None:
        raise AssertionError("drawn though nobody asked")

    monkeypatch.setattr(search_chance, "chance_of_targets", refuse)
    _, plain = found(0, 3, currents=["10 mA", "20 mA"])
    assert all(one.chance is None for one in plain.candidates)
    bare = [one.model_copy(update={"chance": None}) for one in result.candidates]
    assert plain.candidates == bare and plain.chosen == result.chosen
    assert plain.why == result.why[: len(plain.why)] and len(result.why) == len(plain.why) + 1
    assert "All targets met" not in str(search_tables.tables(plain))
    shares = [share for what, share in steps if what == "trying rigs"]
    assert shares[0] == 0.0 and shares[-1] == 1.0 and shares == sorted(shares) and len(shares) > 2


def test_it_stands_in_table_file_and_picture(drawn) -> None:
    _, result, _ = drawn
    again = SearchResult.model_validate_json(result.model_dump_json(by_alias=True))
    assert again.candidates == result.candidates
    rows = next(
        each[2] for each in search_tables.tables(result) if each[0].startswith("All targets met")
    )
    chosen = result.candidate(result.chosen).chance
    assert rows[0][0] == f"{result.chosen} ←"
    assert rows[0][1] == f"{100 * chosen.probability:.0f}"
    assert rows[0][2] == f"{100 * chosen.low:.0f} to {100 * chosen.high:.0f}"
    page = search_page(result, search_picture(result)).decode()
    content = json.loads(re.search(r'id="found">(.*?)</script>', page, re.DOTALL)[1])
    assert "chance" in [key for key, *_ in content["measures"]]
    told = next(each for each in content["rigs"] if each["number"] == result.chosen)
    assert told["figures"]["chance"] == pytest.approx(100 * chosen.probability)
    assert any(
        line.startswith("all targets met: ") and f"{DRAWS} rigs drawn" in line
        for line in told["told"]
    )


def target(met: int, low: float, high: float) -> ToleranceTarget:
    return ToleranceTarget(
        what="all targets", wanted="", probability=met / 64, low=low, high=high, met=met,
        not_known=0, draws=64,
    )  # fmt: skip


def test_another_is_called_likelier_only_where_the_intervals_part(drawn) -> None:
    _, result, _ = drawn
    one, other = (
        each.model_copy(update={"number": number})
        for number, each in enumerate(result.candidates[:2], start=1)
    )
    one = one.model_copy(update={"chance": target(32, 0.37, 0.63)})
    near = other.model_copy(update={"chance": target(40, 0.50, 0.74)})
    far = other.model_copy(update={"chance": target(60, 0.85, 0.98)})
    assert "none of the others" in likeliest(one, [one, near])[0]
    assert "number 2 does with 94 % (85 to 98 %, 64 rigs drawn)" in likeliest(one, [one, far])[0]
    assert likeliest(one.model_copy(update={"chance": None}), [one, far]) == []
