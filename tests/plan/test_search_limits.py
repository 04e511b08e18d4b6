"""Lights that a check or a plan forbids are no winners; what it warns of is told with them."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest
from tests.search_rooms import POINTS, room

from rushlight.cli.search_tables import tables
from rushlight.errors import RushlightError
from rushlight.jobs.check import check
from rushlight.jobs.rooms_csv import as_csv
from rushlight.jobs.rooms_table import SurveyRoom
from rushlight.jobs.search_rooms import Task, answer_for
from rushlight.plan import search, searching
from rushlight.plan.search_limits import EYE, FRESH, TOLD, WORDS, care_of, findings_of
from rushlight.plan.search_page import search_page
from rushlight.plan.search_picture import search_picture
from rushlight.plan.searching import begin, search_rig
from rushlight.records.quantity import parse_quantity
from rushlight.records.search_rooms import RoomsResult
from rushlight.shelf.catalogue import built_in_shelf

LIGHT = {
    "aim": "middle", "cameras": ["vga-global-60"], "filters": ["long-pass-850"],
    "emitters": ["ir850-5mm-17"], "population": 8,
}  # fmt: skip
SHELF = built_in_shelf()


@pytest.fixture(autouse=True)
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(searching, "GRID", (3, 2))
    monkeypatch.setattr(search, "ROUNDS", 1)
    monkeypatch.setattr(search, "ROUND_SHARE", 2)


def found(currents: list[str], **settings):
    rig = room(POINTS, currents=currents, **{**LIGHT, **settings})
    return search_rig(*begin(rig, SHELF, None, 2, "rig.toml"))


def test_what_a_check_forbids_is_thrown_out_with_its_reason() -> None:
    with pytest.raises(RushlightError) as refused:
        found(["100 mA"])
    assert WORDS[EYE] in str(refused.value)
    result = found(["20 mA", "100 mA"])
    assert {one.current_a for one in result.candidates} == {0.02}
    reasons = {each.code: each for each in result.thrown_out}
    assert reasons[EYE].count > 0 and reasons[FRESH].count > 0
    assert any("170 % of a limit for the eye" in each for each in reasons[EYE].examples)
    assert any("104 mA" in each for each in reasons[FRESH].examples)
    assert "ir850-5mm-17" in reasons[FRESH].examples[0]


def test_heat_of_a_winner_is_told_everywhere() -> None:
    result = found(["30 mA"])
    chosen = result.candidate(result.chosen)
    assert chosen.warned == ["heat"] and result.closely.warned == ["heat"]
    hot = [each for each in result.findings if each.code == "hot-to-touch"]
    assert hot and all(each.where.startswith("number 1") for each in hot)
    assert any("warns of heat" in line for line in result.why)
    _, columns, rows = tables(result)[0]
    assert columns[-1] == "warned of" and rows[0][-1] == "heat"
    still = search_picture(result)
    page = search_page(result, still).decode()
    assert "warned of: heat" in page and "hot enough to burn" in page
    assert "warned of: heat" in still.decode()


def test_without_a_warning_there_is_no_column_for_it() -> None:
    result = found(["10 mA"])
    assert all(not one.warned for one in result.candidates)
    assert "warned of" not in tables(result)[0][1]


def test_many_rooms_are_told_the_same() -> None:
    def answer(current: str):
        rig = room(POINTS, currents=[current], **LIGHT)
        task = Task(SurveyRoom("barn", 2, rig), SHELF, 1, 1, searching.__name__, "key")
        import rushlight

        return answer_for(replace(task, version=rushlight.__version__))

    forbidden = answer("100 mA")
    assert forbidden.taken is None and WORDS[EYE] in forbidden.why[0]
    warm = answer("30 mA")
    assert warm.taken is not None and warm.taken.warned == ["heat"]
    assert {each.code for each in warm.findings} == {"hot-to-touch"}
    result = RoomsResult(
        rig="", table="rooms.csv", seed=1, generations=1, population=8, rooms=[warm],
        fitting=1, currency="EUR", sum_of_costs=1.0, assumptions=[],
    )  # fmt: skip
    row = next(csv.DictReader(io.StringIO(as_csv(result))))
    assert row["warned"] == "heat" and row["why"].endswith("read its findings before you build it.")


def test_the_rig_as_it_stands_is_told_of_too() -> None:
    rig = room(POINTS, currents=["10 mA"], **LIGHT)
    strong = [
        thing.model_copy(update={"emitters": [
            each.model_copy(update={"current": parse_quantity("100 mA", "current")})
            for each in thing.emitters
        ]})
        for thing in rig.carried
    ]  # fmt: skip
    rig = rig.model_copy(update={"carried": strong})
    result = search_rig(*begin(rig, SHELF, None, 1, "rig.toml"))
    assert TOLD[EYE] in result.own.warned
    assert any(each.code == EYE and "as it stands" in each.where for each in result.findings)
    assert any(
        line.startswith("A plan of the rig as it stands warns of") and TOLD[EYE] in line
        for line in result.why
    )


def test_what_is_told_is_what_a_check_tells(tmp_path) -> None:
    """Both by way of the same file, so that a light which one of them forgets is seen."""
    from tests.search_rooms import BARN_WALL

    text = BARN_WALL.read_text("utf-8").replace('current = "20 mA"', 'current = "100 mA"')
    (tmp_path / "rig.toml").write_text(text, "utf-8")
    checked = check(tmp_path)
    wanted = {str(each) for each in checked.findings if each.code in TOLD}
    care = care_of(checked.rig, checked.shelf)
    assert {str(each) for each in care.findings} == wanted and len(wanted) >= 6
    assert care.eye > 1.0 and care.fresh_too_strong


def test_findings_alike_are_told_once_under_all_their_names() -> None:
    rig = room(POINTS, currents=["30 mA"], **LIGHT)
    strong = [
        thing.model_copy(update={"emitters": [
            each.model_copy(update={"current": parse_quantity("30 mA", "current")})
            for each in thing.emitters
        ]})
        for thing in rig.carried
    ]  # fmt: skip
    hot = care_of(rig.model_copy(update={"carried": strong}), SHELF).findings
    told = findings_of([("number 1", hot), ("number 2", hot[:1]), ("number 3", hot[:1])])
    assert len(told) == len(hot)
    assert told[0].where == "number 1, number 2 and number 3: stylus-wren"
