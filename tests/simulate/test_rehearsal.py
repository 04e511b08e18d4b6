"""Hands that obey while they are filmed: where they go, when they light, what is true of it."""

import itertools

import numpy as np
import pytest

from rushlight.see.detect import Detector
from rushlight.simulate import rehearsal as rehearsing
from rushlight.simulate.hands import REACTION_S
from rushlight.simulate.rehearsal import Rehearsal


def filmed(frames, seconds, rate_hz=60.0):
    return list(itertools.islice(frames, round(seconds * rate_hz)))


@pytest.fixture
def still(make_world):
    """A rehearsal of two hands at rest."""
    rehearsal = Rehearsal(make_world())
    rehearsal.wander(False)
    return rehearsal


def test_an_invited_hand_comes_lights_up_and_stays_until_it_is_released(still):
    frames = still.frames()
    filmed(frames, 1.0)
    still.invite("stylus-2", 0.5, 0.9)
    coming = filmed(frames, 3.0)
    lit = [state.lit[1] for _, state in coming]
    first = lit.index(True)
    assert first / 60.0 > REACTION_S
    assert all(lit[first:])
    landed = np.array([state.tip_m[1] for _, state in coming[first:]])
    assert np.linalg.norm(landed.mean(axis=0) - [0.5, 0.9]) < 5 * 0.002
    assert 0.0 < landed.std(axis=0).max() < 0.001
    still.release("stylus-2")
    leaving = filmed(frames, 1.0)
    assert not leaving[-1][1].lit[1]
    assert not any(state.lit[0] for _, state in [*coming, *leaving])


def test_an_invited_hand_misses_by_its_scatter(make_world):
    misses = []
    for seed in range(30):
        rehearsal = Rehearsal(make_world(seed=seed))
        rehearsal.wander(False)
        frames = rehearsal.frames()
        rehearsal.invite("stylus-1", 1.0, 0.6)
        misses.append(filmed(frames, 2.0)[-1][1].tip_m[0] - [1.0, 0.6])
    # 60 normal numbers: their rms strays by 9 % one standard deviation.
    assert np.sqrt(np.mean(np.square(misses))) == pytest.approx(0.002, rel=0.3)


def test_hands_may_go_without_pressing_and_be_asked_elsewhere_on_the_way(still):
    frames = still.frames()
    still.invite("stylus-1", 0.3, 0.3, press=False)
    assert not any(state.lit[0] for _, state in filmed(frames, 2.0))
    still.invite("stylus-1", 1.8, 0.3)
    on_the_way = filmed(frames, 0.5)[-1][1].tip_m[0]
    assert 0.35 < on_the_way[0] < 1.75
    still.invite("stylus-1", 0.3, 1.0)
    end = filmed(frames, 2.0)
    ways = np.array([state.tip_m[0] for _, state in end])
    assert np.max(np.linalg.norm(np.diff(ways, axis=0), axis=1)) < 0.1  # it jumps nowhere
    assert end[-1][1].lit[0]
    assert np.allclose(ways[-1], [0.3, 1.0], atol=0.01)


def test_left_alone_every_hand_draws_on_the_surface(make_world):
    states = [state for _, state in filmed(Rehearsal(make_world()).frames(), 20.0)]
    lit = np.array([state.lit for state in states])
    tips = np.array([state.tip_m for state in states])
    assert np.all((lit.mean(axis=0) > 0.2) & (lit.mean(axis=0) < 0.8))
    assert np.any(lit.all(axis=1)), "never both at once"
    assert np.all((tips > -0.005) & (tips < [2.005, 1.205]))
    assert np.all(np.ptp(tips, axis=0) > 0.4)


def test_a_hand_goes_the_same_way_however_many_frames_are_filmed_in_one_go(make_world, monkeypatch):
    ways = []
    for ahead_s in (0.0, 0.15):  # a frame at a time, and nine
        monkeypatch.setattr(rehearsing, "_AHEAD_S", ahead_s)
        ways.append([state for _, state in filmed(Rehearsal(make_world()).frames(), 20.0)])
    one, other = (np.array([state.tip_m for state in way]) for way in ways)
    np.testing.assert_allclose(one, other, atol=1e-9)
    assert [state.lit.tolist() for state in ways[0]] == [state.lit.tolist() for state in ways[1]]


def test_dots_are_found_where_the_lights_truly_fell(make_world):
    world = make_world()
    detect = Detector(*world.size_px)
    apart = []
    for frame, state in filmed(Rehearsal(world).frames(), 6.0):
        dots = detect(frame.image).good()
        for px in state.px[(state.electrons > 0) & state.lit]:
            away = np.linalg.norm(dots.xy - px, axis=1)
            apart.append(away.min(initial=np.inf))
    assert len(apart) > 50
    assert np.median(apart) < 2.0  # the glow on the wall draws a dot aside


def test_the_same_seed_and_asks_give_the_same_frames(make_world):
    pictures = []
    for _ in range(2):
        rehearsal = Rehearsal(make_world())
        frames = rehearsal.frames()
        filmed(frames, 0.5)
        rehearsal.invite("stylus-1", 1.0, 0.6)
        pictures.append([frame.image for frame, _ in filmed(frames, 1.0)])
    assert np.array_equal(*pictures)


def test_nobody_holds_what_is_not_there(still):
    with pytest.raises(KeyError, match="wand"):
        still.invite("wand", 0.1, 0.1)
