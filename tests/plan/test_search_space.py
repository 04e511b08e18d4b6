"""What may be chosen: parts, places, tools, country, money, and the reasons for the rest."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from tests.search_rooms import BOXES, POINTS, PRICES, room

from rushlight.errors import RushlightError
from rushlight.plan.search_sieve import tools_for
from rushlight.plan.search_space import space_of
from rushlight.plan.search_trial import parts_of
from rushlight.plan.searching import currency_of
from rushlight.records.sourced import Price
from rushlight.shelf.catalogue import Shelf, built_in_shelf
from rushlight.shelf.check import check_rig
from rushlight.shelf.cost import cost_figure


def shelf_with(kind: str, part_id: str, **changes: object) -> Shelf:
    shelf = built_in_shelf()
    part = shelf.parts[kind][part_id].model_copy(update=changes)
    parts = {**shelf.parts, kind: {**shelf.parts[kind], part_id: part}}
    return dataclasses.replace(shelf, parts=parts)


def lost(space, code: str) -> list[str]:
    return next((each.examples for each in space.reasons if each.code == code), [])


def test_every_part_of_known_price_may_be_chosen_and_no_other() -> None:
    space = space_of(room(BOXES), built_in_shelf())
    assert set(space.cameras) == {*PRICES, "vga-global-120"} & set(built_in_shelf().parts["camera"])
    assert set(space.emitters) == {"ir850-5mm-17", "ir850-5mm-60"}
    # The rig has a filter, and a bare camera would see the picture as well.
    assert set(space.filters) == {"long-pass-850", "long-pass-720"}
    assert "vga-rolling-30" in lost(space, "price-unknown")
    assert {each.of for each in space.reasons} == {"camera", "filter", "emitter"}


def test_no_filter_is_a_choice_when_it_is_listed() -> None:
    space = space_of(room(BOXES, filters=["none", "long-pass-850"]), built_in_shelf())
    assert space.filters == ("long-pass-850", None)


def test_what_the_builder_cannot_do_is_left_out_with_the_reason() -> None:
    shelf = shelf_with("emitter", "ir850-5mm-60", wired=True)
    space = space_of(room(BOXES, soldering=False, tools=["drill"]), shelf)
    assert space.emitters == ("ir850-5mm-60",)
    assert lost(space, "needs-soldering") == ["ir850-5mm-17"]
    assert [place.id for place in space.places] == ["tripod", "post"]
    assert lost(space, "no-ladder") == ["beam"]


def test_a_part_sold_elsewhere_is_left_out_and_one_of_which_nobody_said_stays() -> None:
    shelf = shelf_with("camera", "vga-global-60", sold_in=["NO", "DK"])
    assert "vga-global-60" not in space_of(room(BOXES, country="IS"), shelf).cameras
    assert "vga-global-60" in space_of(room(BOXES, country="DK"), shelf).cameras
    assert "vga-global-120" in space_of(room(BOXES, country="IS"), shelf).cameras


def test_tools_follow_kind_and_height() -> None:
    places = {each.id: each for each in room(POINTS).room.places}
    assert tools_for(places["middle"], 0.75) == ["ladder"]
    assert tools_for(places["low"], 0.75) == []
    assert tools_for(places["far"], 0.75) == ["ladder"]  # a shelf at 2.45 m
    wall = places["low"].model_copy(update={"kind": "wall"})
    assert tools_for(wall, 0.75) == ["drill"]


def test_an_exchanged_camera_takes_its_price_along() -> None:
    shelf = built_in_shelf()
    rig = room(BOXES)
    space = space_of(rig, shelf)
    camera = space.cameras.index("vga-global-60")
    filter_ = space.filters.index("long-pass-850")
    emitter = space.emitters.index("ir850-5mm-17")
    other = space.rig_of((camera, filter_, emitter, 0), [1.2, 1.6, 2.85], [1.2, 0.72, 0.0])
    assert cost_figure(other, shelf).value == pytest.approx(
        cost_figure(rig, shelf).value - 32.0 + 24.0
    )
    assert not [each for each in check_rig(other, shelf, "rig.toml") if each.severity == "error"]
    assert other.cameras[0].frame_rate.value == 60.0


def fed(*cells: tuple[str, int]) -> dict[str, object]:
    return {"cells": [{"part": part, "cells": count} for part, count in cells]}


PRICED_CELLS = {
    cell: {"amount": amount, "currency": "EUR", "date": "2026-03", "basis": "invented"}
    for cell, amount in (("aaa-alkaline", 0.5), ("cr2032", 0.9))
}


def test_cells_are_a_choice_and_take_their_price_and_hours_along() -> None:
    shelf = built_in_shelf()
    rig = room(BOXES, currents=["10 mA", "20 mA"], **fed(("aa-alkaline", 2), ("aaa-alkaline", 2)))
    prices = {**rig.search.prices, **validate_prices(PRICED_CELLS)}
    rig = rig.model_copy(update={"search": rig.search.model_copy(update={"prices": prices})})
    space = space_of(rig, shelf)
    assert len(space.drives) == space.counts[-1] == 4
    parts = [space.cameras.index("vga-global-120"), space.filters.index("long-pass-850"),
             space.emitters.index("ir850-5mm-17")]  # fmt: skip
    at = [1.2, 1.6, 2.85], [1.2, 0.72, 0.0]
    big, small = (parts_of(space.rig_of((*parts, drive), *at), shelf) for drive in (0, 1))
    # Two styli with two cells each: four cells of 0.10 EUR less.
    assert big.cost - small.cost == pytest.approx(0.4)
    assert big.battery_s > 1.5 * small.battery_s
    two = space.rig_of((*parts, 1), *at)
    assert {(each.cell, each.cells) for each in two.carried} == {("aaa-alkaline", 2)}
    assert "aa-alkaline" not in two.prices and "beam-clamp" in two.prices


def test_a_coin_cell_that_cannot_supply_is_no_rig() -> None:
    rig = room(BOXES, currents=["20 mA"], **fed(("cr2032", 1)))
    prices = {**rig.search.prices, **validate_prices(PRICED_CELLS)}
    rig = rig.model_copy(update={"search": rig.search.model_copy(update={"prices": prices})})
    space = space_of(rig, built_in_shelf())
    found = parts_of(space.rig_of((0, 0, 0, 0), [1.2, 1.6, 2.85], [1.2, 0.72, 0.0]), space.shelf)
    assert found.resolved is None and "cr2032" in found.why


def test_cells_without_a_price_or_of_no_shelf_are_told() -> None:
    with pytest.raises(RushlightError, match="leaves no cell to choose from"):
        space_of(room(BOXES, **fed(("aaa-alkaline", 2))), built_in_shelf())
    with pytest.raises(RushlightError, match=r'search.cells = "aaaa" is no cell'):
        space_of(room(BOXES, **fed(("aaaa", 2))), built_in_shelf())


def validate_prices(written: dict[str, dict[str, object]]) -> dict[str, Price]:
    return {what: Price.model_validate(price) for what, price in written.items()}


def test_candidates_stay_within_their_boxes() -> None:
    space = space_of(room(BOXES), built_in_shelf())
    rng = np.random.default_rng(1)
    for number, box in enumerate(space.corners_m):
        share = rng.random((50, 3))
        where = space.positions_m(np.full(50, number), share)
        assert np.all(where >= box[0] - 1e-12) and np.all(where <= box[1] + 1e-12)


def test_where_there_is_no_choice_two_candidates_are_one() -> None:
    space = space_of(room(POINTS, aim="middle"), built_in_shelf())
    rng = np.random.default_rng(2)
    made = space.whole(np.concatenate([np.zeros((9, 5)), rng.random((9, 5))], axis=1))
    assert len(np.unique(made, axis=0)) == 1


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"cameras": ["vga-globl-60"]}, 'search.cameras = "vga-globl-60" is no camera on the'),
        ({"cameras": ["vga-rolling-30"]}, "leaves no camera to choose from (vga-rolling-30: the"),
        ({"soldering": False}, "leaves no emitter to choose from"),
    ],
)
def test_what_cannot_be_searched_is_told_in_a_sentence(change: dict, says: str) -> None:
    with pytest.raises(RushlightError) as caught:
        space_of(room(BOXES, **change), built_in_shelf())
    assert says in str(caught.value)


def test_a_room_without_places_and_a_rig_of_two_cameras_are_refused() -> None:
    with pytest.raises(RushlightError, match=r"add a \[\[room.places\]\]"):
        space_of(room([]), built_in_shelf())
    rig = room(BOXES)
    two = rig.model_copy(update={"cameras": [rig.cameras[0]] * 2})
    with pytest.raises(RushlightError, match="looks for the place of one camera"):
        space_of(two, built_in_shelf())


def test_prices_in_two_currencies_are_not_added_up() -> None:
    rig = room(BOXES, budget={"amount": 100, "currency": "NOK"})
    with pytest.raises(RushlightError, match="EUR and NOK are several currencies"):
        currency_of(space_of(rig, built_in_shelf()))


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("spares", "120 %", "orders more spares than pieces"),
        ("currents", ["0 mA"], "above 0"),
        ("country", "Norway", "country"),
        ("population", 2, "population"),
    ],
)
def test_wrong_settings_are_refused_by_name(field: str, value: object, says: str) -> None:
    with pytest.raises(RushlightError, match=says):
        room(BOXES, **{field: value})


def test_a_rig_with_reflectors_is_refused() -> None:
    """The swift evaluation knows lights of their own only, and would call the marker dark."""
    rig = room(BOXES)
    emitter = rig.carried[0].emitters[0].model_dump(exclude={"part"}, exclude_none=True)
    marker = type(rig.carried[0].emitters[0]).model_validate({**emitter, "reflector": "12 mm"})
    carried = rig.carried[0].model_copy(update={"emitters": [marker]})
    rig = rig.model_copy(update={"carried": [carried, *rig.carried[1:]]})
    with pytest.raises(RushlightError, match="shines by a reflector"):
        space_of(rig, built_in_shelf())
