"""Lights in the dark: foretold while they coast, then off, then forgotten; simulated motion."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from rushlight.records.dots import Dots
from rushlight.see.blink import Code
from rushlight.see.link import COAST_S, Linker
from rushlight.track.coding import Coding
from rushlight.track.filter import filter_maker
from rushlight.track.following import Follower, follow
from rushlight.track.identity import Identity
from rushlight.track.mapping import SurfaceMap
from rushlight.track.switch import RELEASE_S

_spec = importlib.util.spec_from_file_location("lights", Path(__file__).with_name("conftest.py"))
lights = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(lights)

THINGS = ["stylus-wren", "stylus-ash"]
M_PER_PX = 0.004  # of the wall in `conftest`


def follower_of(player, registration, filter_name="none", codes=(), **settings):
    linker, identity = Linker(), Identity(THINGS, None, 1.28, coded=[c.carried for c in codes])
    return Follower(
        player,
        linker,
        filter_maker(filter_name),
        identity,
        SurfaceMap(registration, "beam", (640, 480)),
        coding=Coding(codes, identity, linker),
        **settings,
    )


def played(dots, registration, filter_name="none", period_ns=10_000_000, **settings):
    player = lights.Played(dots, period_ns)
    follower = follower_of(player, registration, filter_name, **settings)
    return list(follow(player.frames(), follower)), follower


def all_of(followed, name):
    return [each for one in followed for each in getattr(one, name)]


def moving(frames, dark=(), speed_px=2.0, noise=None):
    """One light that goes right, in so many frames."""
    return [
        Dots.none() if k in dark else lights.dots_at([[100.0 + speed_px * k, 200.0]], noise)
        for k in range(frames)
    ]


def told(events):
    return [(event.kind, event.frame, event.trail, event.carried) for event in events]


def test_a_light_that_comes_back_is_pressed_anew_under_its_name_and_trail(registration):
    dark = range(40, 65)  # longer than a release, shorter than the linker's memory
    assert RELEASE_S < len(dark) * 0.01 < COAST_S
    followed, _ = played(moving(100, dark), registration)
    assert told(all_of(followed, "events")) == [
        ("switch-down", 0, 0, "stylus-wren"),
        ("switch-up", 39, 0, "stylus-wren"),
        ("switch-down", 65, 0, "stylus-wren"),
    ]
    # Off is told once the release is over, on again with the third dot in a row.
    assert [one.frame.index for one in followed if one.events] == [2, 50, 67]
    seen = [fix for fix in all_of(followed, "fixes") if not fix.predicted]
    assert [fix.frame for fix in seen] == [k for k in range(100) if k not in dark]
    assert [link.frame for link in all_of(followed, "links") if link.state == "lost"] == [50]


def test_its_filter_begins_afresh(registration):
    noise = np.random.default_rng(3)
    dots = moving(90, range(40, 65), 6.0, noise)
    followed, _ = played(dots, registration, "one-euro")
    first = next(fix for fix in all_of(followed, "fixes") if fix.frame == 65)
    raw_m = np.array([1.28, 0.96]) + M_PER_PX * (dots[65].xy[0] - [320.0, 240.0]) * [1.0, -1.0]
    assert np.allclose(first.position_m[:2], raw_m, atol=1e-9)


def test_two_dots_in_a_row_bring_nothing_back(registration):
    dark = {*range(40, 60), *range(62, 64), *range(66, 200)}
    followed, _ = played(moving(200, dark), registration)
    assert [kind for kind, *_ in told(all_of(followed, "events"))] == ["switch-down", "switch-up"]
    assert max(fix.frame for fix in all_of(followed, "fixes") if not fix.predicted) == 39


def test_what_was_dark_for_longer_is_forgotten(registration):
    dark = range(40, 40 + round(100 * COAST_S) + 5)
    followed, _ = played(moving(120, dark, speed_px=0.0), registration)
    kinds = [(kind, trail) for kind, _, trail, _ in told(all_of(followed, "events"))]
    assert kinds == [("switch-down", 0), ("switch-up", 0), ("switch-down", 1)]
    # It went off once, and was not lost a second time when it was forgotten.
    assert [link.state for link in all_of(followed, "links")].count("lost") == 1


def test_names_are_kept_by_motion_when_two_lights_cross_in_the_dark(registration):
    # By place alone each would be taken for the other one.
    ways = [[[140.0 + 2.0 * k, 200.0], [380.0 - 2.0 * k, 210.0]] for k in range(110)]
    dots = [
        Dots.none() if 40 <= k < 75 else lights.dots_at(places) for k, places in enumerate(ways)
    ]
    followed, _ = played(dots, registration)
    seen = [fix for fix in all_of(followed, "fixes") if not fix.predicted]
    assert len(seen) == 2 * (110 - 35)
    for fix in seen:
        x_px = ways[fix.frame][THINGS.index(fix.carried)][0]
        assert fix.position_m[0] == pytest.approx(M_PER_PX * x_px, abs=0.01)
    assert [event.trail for event in all_of(followed, "events")] == [0, 1] * 3


def test_slow_frames_that_all_show_the_light_are_one_press(registration):
    followed, _ = played(moving(20, speed_px=1.0), registration, period_ns=150_000_000)
    assert [kind for kind, *_ in told(all_of(followed, "events"))] == ["switch-down"]


@pytest.mark.parametrize(("dark", "ups"), [(range(50, 53), []), (range(50, 80), [(60, 39)])])
def test_in_frames_that_were_lost_no_light_is_missed(registration, dark, ups):
    """As long as a release they are lost; dark for three frames after them is no release."""
    player = lights.Played(moving(80, dark, speed_px=1.0), 10_000_000)
    follower = follower_of(player, registration)
    frames = [frame for frame in player.frames() if not 40 <= frame.index < 50]
    followed = list(follow(frames, follower))
    told_at = [
        (one.frame.index, event.frame)
        for one in followed
        for event in one.events
        if event.kind == "switch-up"
    ]
    assert told_at == ups
    assert sum(event.kind == "switch-down" for event in all_of(followed, "events")) == 1
    # That it was dark is told of each of these frames all the same.
    coasting = {fix.frame for fix in all_of(followed, "fixes") if not fix.cameras}
    assert coasting == {k for k in dark if not ups or k < 60}


def test_a_coasting_light_is_foretold_with_growing_doubt_until_it_counts_as_off(registration):
    followed, _ = played(moving(80, range(40, 80)), registration)
    coasted = [fix for fix in all_of(followed, "fixes") if fix.predicted]
    assert [fix.frame for fix in coasted] == list(range(40, 50))
    assert {(fix.cameras, fix.switch, fix.carried) for fix in coasted} == {
        ((), True, "stylus-wren")
    }
    spread = np.array([fix.cov[0, 0] for fix in coasted])
    assert np.all(np.diff(spread) > 0) and spread[0] > (M_PER_PX * lights.STD_PX) ** 2
    x_m = np.array([fix.position_m[0] for fix in coasted])
    true_m = 1.28 + M_PER_PX * (100.0 + 2.0 * np.arange(40, 50) - 320.0)
    assert np.all(np.abs(x_m - true_m) < 2 * np.sqrt(spread))
    assert not any(fix.predicted or not fix.cameras for fix in all_of(followed[:40], "fixes"))
    states = [link.state for link in all_of(followed[40:], "links")]
    assert states == ["coasting"] * 10 + ["lost"]


@pytest.mark.parametrize("filter_name", ["one-euro", "kalman"])
def test_what_is_foretold_does_not_jump_away_from_a_smoothed_place(registration, filter_name):
    followed, _ = played(moving(60, range(40, 60), speed_px=5.0), registration, filter_name)
    fixes = {fix.frame: fix.position_m[0] for fix in all_of(followed, "fixes")}
    steps = np.diff([fixes[k] for k in range(30, 50)])
    assert np.allclose(steps, 5.0 * M_PER_PX, rtol=0.15)


def hand(random, time_s):
    """A hand's way in the picture: three sines below 2 Hz along each axis (invented)."""
    way = np.tile([320.0, 240.0], (len(time_s), 1))
    for axis in range(2):
        for _ in range(3):
            hertz = random.uniform(0.2, 2.0)
            size = 118.0 * random.uniform(0.3, 1.0) / (1.0 + hertz)
            way[:, axis] += size * np.sin(2 * np.pi * (hertz * time_s + random.uniform()))
    return way


def test_hands_in_the_dark_are_missed_by_no_more_than_is_stated(registration):
    squares = []
    for seed in range(60):
        random = np.random.default_rng(seed)
        way = hand(random, np.arange(60) * 0.01)
        dots = [
            lights.dots_at([place], random) if k < 50 else Dots.none()
            for k, place in enumerate(way)
        ]
        followed, _ = played(dots, registration)
        coasted = [fix for fix in all_of(followed, "fixes") if fix.predicted]
        assert len(coasted) == 10
        for fix in coasted:
            true_m = np.array([1.28, 0.96]) + M_PER_PX * (way[fix.frame] - [320.0, 240.0]) * [
                1.0,
                -1.0,
            ]
            squares.append((fix.position_m[:2] - true_m) ** 2 / np.diag(fix.cov)[:2])
    rms = np.sqrt(np.mean(np.reshape(squares, (60, 10, 2)), axis=(0, 2)))
    # Hands are credited with more turning than these do, so as to lose nobody.
    assert np.all(rms < 1.0) and np.all(rms > 0.05)


def test_a_light_that_blinks_is_read_anew_after_a_lift(registration):
    wren = Code("stylus-wren", "light", "1110100", 2 / 60)
    ash = Code("stylus-ash", "light", "1101111", 2 / 60)

    def lit(code, k):
        return code.bits[int(k / 2) % 7] == "1"

    # Both are lifted, and ash comes back where wren was.
    dots = [
        lights.dots_at([[200.0, 200.0]])
        if (k < 100 and lit(wren, k)) or (k >= 116 and lit(ash, k))
        else Dots.none()
        for k in range(240)
    ]
    followed, _ = played(dots, registration, period_ns=round(1e9 / 60), codes=(wren, ash))
    names = [(fix.carried, fix.frame >= 116) for fix in all_of(followed, "fixes")]
    assert set(names) == {("stylus-wren", False), ("stylus-ash", True)}


def test_a_run_that_ends_while_lights_are_on_tells_their_ends(registration):
    both = [lights.dots_at([[100.0, 100.0], [300.0, 100.0], [500.0, 300.0]])] * 20
    _, follower = played(both, registration)
    ends = follower.finish()
    assert sorted((event.kind, event.carried) for event in ends if event.carried) == [
        ("switch-up", "stylus-ash"),
        ("switch-up", "stylus-wren"),
    ]
    assert [event.kind for event in ends].count("lost") == 1
    assert {(event.frame, event.time_ns, event.detail) for event in ends} == {
        (19, 200_000_000, "the run ended")
    }
    assert follower.finish() == []
    # Nothing is on once all has gone off, so nothing ends.
    _, dark = played(moving(80, range(40, 80)), registration)
    assert dark.finish() == []
