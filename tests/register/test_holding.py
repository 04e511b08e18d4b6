"""Touches found while they last are those that are found afterwards."""

import numpy as np
import pytest

from rushlight.records.dots import Dots
from rushlight.register.holding import Holding
from rushlight.register.holds import find_holds

FRAME_NS = 10_000_000


def dots(*places, flux=None, noise=0.0, rng=None):
    count = len(places)
    xy = np.array(places, float).reshape(-1, 2)
    if noise:
        xy = xy + noise * rng.standard_normal(xy.shape)
    return Dots(
        xy=xy,
        cov=np.tile(max(noise, 0.05) ** 2 * np.eye(2), (count, 1, 1)),
        flux=np.full(count, 500.0) if flux is None else np.array(flux, float),
        width=np.tile([1.0, 0.0, 1.0], (count, 1)),
        peak=np.full(count, 100.0),
        saturated=np.zeros(count, int),
        quality=np.ones(count),
        reason=np.zeros(count, int),
    )


def seen(holding, film, first=0):
    return [holding.see((first + index) * FRAME_NS, each) for index, each in enumerate(film)]


def test_a_hold_seen_live_is_the_hold_seen_afterwards():
    rng = np.random.default_rng(1)
    film = [dots()] * 10 + [dots((100, 80), noise=0.1, rng=rng) for _ in range(62)] + [dots()] * 20
    live = next(held.hold for held in seen(Holding(0.6), film, 1) if held.hold is not None)
    (after,), _ = find_holds([(index * FRAME_NS, each) for index, each in enumerate(film, 1)])
    assert np.linalg.norm(live.px - after.px) < 0.02
    assert live.from_ns == after.from_ns
    assert np.allclose(live.px_cov, after.px_cov, rtol=0.2)


def test_the_time_grows_while_it_is_held_and_begins_anew_when_it_moves():
    film = [dots((100, 80))] * 30 + [dots((103, 80))] * 30 + [dots()] * 20
    held_s = [held.held_s for held in seen(Holding(0.6), film, 1)]
    assert held_s[29] == pytest.approx(0.29)
    assert held_s[30] == 0.0
    assert held_s[59] == pytest.approx(0.29)
    assert held_s[-1] == 0.0


def test_a_light_may_flicker_out_for_a_moment():
    film = [dots((100, 80))] * 30 + [dots()] * 8 + [dots((100, 80))] * 40
    assert any(held.hold is not None for held in seen(Holding(0.6), film, 1))
    film = [dots((100, 80))] * 30 + [dots()] * 12 + [dots((100, 80))] * 40
    assert not any(held.hold is not None for held in seen(Holding(0.6), film, 1))


def test_what_rested_before_the_beacon_stood_is_none_of_its_touches():
    holding = Holding(0.6)
    seen(holding, [dots((300, 200))] * 100, 1)
    holding.begin(100 * FRAME_NS)
    room = [held.hold for held in seen(holding, [dots((300, 200))] * 100, 101)]
    assert room == [None] * 100
    both = [dots((300, 200), (50, 60), flux=(900.0, 400.0))] * 70
    (hold, *_) = [held.hold for held in seen(holding, both, 201) if held.hold is not None]
    assert np.allclose(hold.px, (50, 60))


def test_of_two_lights_the_brighter_is_taken():
    film = [dots((300, 200), (50, 60), flux=(400.0, 900.0))] * 70
    (hold, *_) = [held.hold for held in seen(Holding(0.6), film, 1) if held.hold is not None]
    assert np.allclose(hold.px, (50, 60))
