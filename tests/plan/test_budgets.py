"""Beacons, delay, power and eyes."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.plan.beacons import choose_beacons, in_short_order, way_length
from rushlight.plan.delay import STAGES, delay_budget
from rushlight.plan.evaluate import evaluate
from rushlight.plan.grid import Standing, inset_ring
from rushlight.plan.planning import plan_rig
from rushlight.plan.power import power_lines
from rushlight.plan.sight import sharp_between, view_left
from rushlight.shelf.resolve import resolve

STANDING = Standing(
    np.array([0.1, 1.2]), np.array([1.2, 2.3]), np.array([1.0, -1.0]), np.array([0, 1])
)


def test_beacons_are_nine_whole_pixels_within_reach(make_wall) -> None:
    rig = make_wall(reach_m=[[1.0, 1.0]])
    beacons, suitable = choose_beacons(rig, STANDING, (0, 1))
    assert suitable
    assert beacons.shape == (9, 2)
    pitch = rig.surface.size_m[0] / rig.surface.display_px[0]
    pixel = beacons / pitch - 0.5
    np.testing.assert_allclose(pixel, np.round(pixel), atol=1e-6)
    assert np.all(beacons > 0)
    assert np.all(beacons < rig.surface.size_m[0])
    again, _ = choose_beacons(rig, STANDING, (0, 1))
    assert np.array_equal(beacons, again)


def test_chosen_beacons_tell_at_least_as_much_as_the_plain_nine(make_wall) -> None:
    rig = make_wall(reach_m=[[1.1, 1.1]])
    beacons, _ = choose_beacons(rig, STANDING, (0, 1))
    few = {"columns": 6, "rows": 4, "tilts": 2, "leans": 3}

    def volume(places):
        solved = evaluate(rig, beacons_m=places, **few).views[0].error.solved
        return np.linalg.slogdet(solved.information[0])[1]

    assert volume(beacons) >= volume(inset_ring(rig.surface.size_m)) - 0.05


def test_out_of_reach_is_said(make_wall) -> None:
    _, suitable = choose_beacons(make_wall(reach_m=[[0.3, 0.3]]), STANDING, (0, 1))
    assert not suitable


def test_short_order_is_the_shortest_for_a_few() -> None:
    places = np.random.default_rng(2).uniform(size=(6, 2))
    ordered = in_short_order(places)
    start = np.argmin(places[:, 0] - places[:, 1])
    rest = [i for i in range(6) if i != start]
    best = min(way_length(places[[start, *order]]) for order in itertools.permutations(rest))
    assert way_length(ordered) <= 1.1 * best
    assert np.array_equal(np.sort(ordered, axis=0), np.sort(places, axis=0))


def test_delay_by_hand(make_wall) -> None:
    rig = make_wall(row_time_s=[[20e-6]])
    budget = delay_budget(rig, np.array([4e-3]))
    rows, wait = 480 * 20e-6, 1 / 60 + 1 / 60
    assert budget.total_mean_s[0] == pytest.approx(2e-3 + rows / 2 + 8e-3 + 2e-3 + wait / 2 + 30e-3)
    assert budget.total_worst_s[0] == pytest.approx(2e-3 + rows + 8e-3 + 2e-3 + wait + 30e-3)
    assert tuple(budget.mean_s) == STAGES


def test_view_left_and_sharpness(wall, make_wall) -> None:
    left = view_left(wall, 0)[0]
    # The surface's picture by the shoelace of its projected corners would be the rest.
    assert 0.2 < left < 0.8
    near, far = sharp_between(wall, 0)
    assert near[0] < 2.7
    assert far[0] > 2.7


def barn_wall(examples):
    rig, shelf = load_rig(examples / "barn-wall")
    return rig, shelf, resolve(rig, shelf)


def test_power_by_hand(examples) -> None:
    rig, shelf, resolved = barn_wall(examples)
    lines = power_lines(rig, shelf, resolved)
    supply, forward = resolved.emitters.supply_v[0, 0], resolved.emitters.forward_v[0, 0]
    assert lines[0].current_a <= 0.020 * 1.0001
    assert lines[0].resistor_ohm >= (supply - forward) / 0.020 - 1e-9
    # The heat is that of fresh cells, which give more than their nominal voltage.
    assert lines[0].resistor_w > lines[0].current_a ** 2 * lines[0].resistor_ohm
    assert lines[0].rating_w == pytest.approx(2 * lines[0].resistor_w)
    assert lines[0].runtime_h > 40


def test_a_coin_cell_is_refused_for_a_strong_light(examples) -> None:
    rig, shelf, _ = barn_wall(examples)
    coin = next(
        cell for cell in map(shelf.cell, shelf.parts["cell"]) if cell.chemistry == "lithium coin"
    )
    carried = rig.carried[0].model_copy(update={"cell": coin.id, "cells": 1})
    changed = rig.model_copy(update={"carried": [carried, *rig.carried[1:]]})
    try:
        said = [finding.code for finding in plan_rig(changed, shelf, 2, 2).plan.findings]
    except RushlightError as error:
        said = [finding.code for finding in error.findings]
    assert "current-above-cell" in said


def test_no_cell_leaves_the_power_unknown(examples) -> None:
    rig, shelf, resolved = barn_wall(examples)
    carried = rig.carried[0].model_copy(update={"cell": None})
    changed = rig.model_copy(update={"carried": [carried, *rig.carried[1:]]})
    lines = power_lines(changed, shelf, resolved)
    assert np.isnan(lines[0].current_a)
    assert lines[1].current_a > 0
