"""Places outside the room: refused one by one, in whatever order they stand."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from tests.search_rooms import place, room, room_data

from rushlight.errors import RushlightError
from rushlight.plan import searching
from rushlight.plan.search_room import RoomBounds
from rushlight.plan.search_space import space_of
from rushlight.plan.search_trial import Trials
from rushlight.plan.searching import begin
from rushlight.records.document import validate
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import built_in_shelf
from rushlight.shelf.check import check_rig

SHELF = built_in_shelf()
GOOD = place("beam", "ceiling", (1.2, 1.6, 2.85))
BAD = {
    "yard": (place("yard", "tripod", (1.2, 0.6, 25.0)), "19.00 m behind the room's far wall"),
    "cellar": (place("cellar", "shelf", (1.2, -2.0, 2.0)), "1.25 m below the floor"),
    "wall": (place("wall", "shelf", (0.0, 1.6, 0.0), (2.4, 1.7, 0.0)), "in the display's wall"),
    "loft": (place("loft", "ceiling", (1.0, 3.0, 2.0), (1.5, 3.5, 2.5)), "above the ceiling"),
    "next-door": (place("next-door", "shelf", (-4.0, 1.0, 1.0)), "beyond the wall on the left"),
}
ONE = {
    "cameras": ["vga-global-60"], "filters": ["long-pass-850"], "emitters": ["ir850-5mm-17"],
    "currents": ["20 mA"], "aim": "middle",
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_a_place_outside_is_left_out_whatever_the_order(name: str) -> None:
    bad, words = BAD[name]
    worth = []
    for places in itertools.permutations([bad, GOOD]):
        trials = Trials(space_of(room(list(places), **ONE), SHELF), (3, 2))
        assert [each.id for each in trials.space.places] == ["beam"]
        reason = next(each for each in trials.space.reasons if each.of == "place")
        assert reason.code == "outside-room" and words in reason.examples[0]
        assert reason.examples[0].startswith(f"{name} ")
        tried = trials.value(np.array([[0.0] * 5 + [0.5] * 5]))
        assert tried.allowed.all()
        worth.append(tried.objectives)
    assert np.array_equal(*worth)


def test_parts_are_judged_alike_wherever_the_first_place_is() -> None:
    """Some of this one is inside, but its middle is not."""
    long = place("long", "tripod", (0.5, 0.6, 3.0), (1.5, 0.7, 12.0))
    for places in ([long, GOOD], [GOOD, long]):
        trials = Trials(space_of(room(places, **ONE), SHELF), (3, 2))
        assert trials.misfits() == []


def test_where_all_are_outside_each_is_told() -> None:
    with pytest.raises(RushlightError) as refused:
        space_of(room([each for each, _ in BAD.values()], **ONE), SHELF)
    assert "leaves no place to choose from" in str(refused.value)
    for _, words in BAD.values():
        assert words in str(refused.value)


def test_what_no_part_can_mend_is_told_as_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(searching, "GRID", (3, 2))
    data = room_data([GOOD], **ONE)
    data["targets"]["coverage"] = "190 %"
    with pytest.raises(RushlightError) as refused:
        begin(validate(Rig, data, "rig.toml"), SHELF, None, 1, "rig.toml")
    assert [each.code for each in refused.value.findings] == ["share-above-all"]
    assert "go together" not in str(refused.value)
    with pytest.raises(RushlightError, match="no parts that go together"):
        begin(room([GOOD], **{**ONE, "currents": ["5 A", "6 A"]}), SHELF, None, 1, "rig.toml")


def test_two_places_of_one_name_are_refused() -> None:
    with pytest.raises(RushlightError, match=r"room\.places\[1\]\.id.*already"):
        space_of(room([GOOD, GOOD], **ONE), SHELF)


def found(data) -> dict[str, str]:
    rig = validate(Rig, data, "rig.toml")
    return {each.where: str(each) for each in check_rig(rig, SHELF) if each.severity == "error"}


@pytest.mark.parametrize("name", BAD)
def test_a_check_finds_places_outside_the_room(name: str) -> None:
    bad, words = BAD[name]
    errors = found(room_data([GOOD, bad]))
    assert list(errors) == ["rig.toml: room.places[1].corner"]
    assert words in errors["rig.toml: room.places[1].corner"]


def without_left(places) -> dict:
    """The room 10 m wide, the surface 2.4 m wide: x can only be -7.6 to 10 m."""
    data = room_data(places, **ONE)
    del data["room"]["left"]
    data["room"]["width"] = "10 m"
    return data


@pytest.mark.parametrize(
    ("x", "words"),
    [
        (12.0, "2.00 m beyond the wall on the right"),
        (-8.0, "0.40 m beyond the wall on the left"),
        (9.9, ""),
        (-7.5, ""),
    ],
)
def test_where_the_walls_are_not_known_the_room_s_width_still_bounds(x: float, words: str) -> None:
    far = place("far", "shelf", (x, 1.0, 1.0))
    data = without_left([GOOD, far])
    errors = found(data)
    assert list(errors) == (["rig.toml: room.places[1].corner"] if words else [])
    if words:
        told = errors["rig.toml: room.places[1].corner"]
        assert words in told and "x can only be -7.6 to 10 m" in told
    space = space_of(validate(Rig, data, "rig.toml"), SHELF)
    assert [each.id for each in space.places] == (["beam"] if words else ["beam", "far"])


def test_a_camera_beyond_where_a_wall_can_be_is_wrong_and_ruled_out() -> None:
    wide = place("wide", "shelf", (8.0, 1.0, 1.0), (12.0, 1.0, 1.0))
    data = without_left([wide])
    bounds = RoomBounds.of(validate(Rig, data, "rig.toml"))
    clear = bounds.clear_m(np.array([[9.0, 1.0, 1.0], [9.97, 1.0, 1.0], [-7.62, 1.0, 1.0]]))
    assert clear == pytest.approx([1.0, 0.03, -0.02])
    data["cameras"][0]["position"] = ["10.2 m", "1 m", "1 m"]
    assert "0.20 m beyond the wall on the right" in found(data)["rig.toml: cameras[0].position"]
    known = room_data([GOOD], **ONE)
    known["cameras"][0]["position"] = ["-9 m", "1 m", "1 m"]
    assert "beyond the wall on the left" in found(known)["rig.toml: cameras[0].position"]


def test_a_place_that_reaches_out_of_the_room_is_warned_of_and_searched() -> None:
    wide = place("wide", "tripod", (0.5, 0.6, 3.0), (1.5, 0.7, 7.0))
    rig = validate(Rig, room_data([wide], **ONE), "rig.toml")
    told = [each for each in check_rig(rig, SHELF) if each.code == "place-partly-outside"]
    assert [(each.severity, each.where) for each in told] == [
        ("warning", "rig.toml: room.places[0].opposite")
    ]
    assert found(room_data([wide])) == {}
    assert [each.id for each in space_of(rig, SHELF).places] == ["wide"]


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (["1.2 m", "1.95 m", "50 m"], "44.00 m behind the room's far wall"),
        (["1.2 m", "1.95 m", "-2 m"], ""),
        (["9 m", "1.95 m", "-2 m"], "beyond the wall on the right"),
    ],
)
def test_a_check_finds_a_projector_outside_the_room(at: list[str], words: str) -> None:
    data = room_data([GOOD])
    data["surfaces"][0]["projector"]["position"] = at
    errors = found(data)
    where = "rig.toml: surfaces[0].projector.position"
    assert words in errors.get(where, "") and (where in errors) == bool(words)


def test_a_check_finds_parts_that_a_search_names_and_nobody_has() -> None:
    names = {
        "cameras": ["nope", "vga-global-6"],
        "filters": ["none", "long-pas-850"],
        "emitters": ["ir850-5mm-71"],
        "cells": [{"part": "aa-alkalin", "cells": 2}],
    }
    errors = found(room_data([GOOD], **names))
    assert set(errors) == {
        f"rig.toml: search.{where}"
        for where in ("cameras[0]", "cameras[1]", "filters[1]", "emitters[0]", "cells[0].part")
    }
    assert 'write "vga-global-60" if that is meant' in errors["rig.toml: search.cameras[1]"]
    assert 'write "aa-alkaline" if that is meant' in errors["rig.toml: search.cells[0].part"]
    assert "use one of" in errors["rig.toml: search.cameras[0]"]


def warned(data) -> list[str]:
    rig = validate(Rig, data, "rig.toml")
    return [str(one) for one in check_rig(rig, SHELF) if one.code == "search-price-of-no-part"]


def test_a_price_of_no_part_is_warned_of_with_the_nearest_id() -> None:
    data = room_data([GOOD], **ONE)
    assert warned(data) == []
    price = {"amount": 9.0, "currency": "EUR", "date": "2026-03", "basis": "invented"}
    data["search"]["prices"] |= {"band-850-5": price, "wood-and-screws": price}
    near, own = warned(data)
    assert near.startswith("rig.toml: search.prices.band-850-5 is on no shelf")
    assert "added to every rig's cost" in near and 'write "band-850-50" if that is meant' in near
    assert "search.prices.wood-and-screws" in own and "write it under [prices]" in own
    data["prices"]["wood-and-screws"] = price
    assert len(warned(data)) == 1


def test_a_camera_on_no_shelf_is_named_by_its_field() -> None:
    data = room_data([GOOD])
    data["cameras"][0]["part"] = "vga-globl-60"
    with pytest.raises(RushlightError) as refused:
        begin(validate(Rig, data, "rig.toml"), SHELF, None, 1, "rig.toml")
    assert [each.where for each in refused.value.findings] == ["rig.toml: cameras[0].part"]
    assert 'write "vga-global-60" if that is meant' in str(refused.value)


def test_the_price_in_another_currency_is_named() -> None:
    data = room_data([GOOD], **ONE)
    data["search"]["prices"]["hd-rolling-30"]["currency"] = "CHF"
    with pytest.raises(RushlightError) as refused:
        begin(validate(Rig, data, "rig.toml"), SHELF, None, 1, "rig.toml")
    said = "CHF and EUR are several currencies (in CHF: search.prices.hd-rolling-30; in EUR: all"
    assert said in str(refused.value)
    data["search"]["prices"]["hd-rolling-30"]["currency"] = "EUR"
    data["search"]["budget"] = {"amount": 90, "currency": "USD"}
    with pytest.raises(RushlightError, match=r"in USD: search\.budget; in EUR: all else"):
        begin(validate(Rig, data, "rig.toml"), SHELF, None, 1, "rig.toml")
