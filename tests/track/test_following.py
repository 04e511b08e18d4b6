"""From dots to fixes and switchings, on lights whose way is known."""

import dataclasses
import importlib.util
from pathlib import Path

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.see.link import Linker
from rushlight.track.filter import filter_maker
from rushlight.track.following import Follower, follow
from rushlight.track.identity import Identity
from rushlight.track.mapping import SurfaceMap
from rushlight.track.warm import warm

_spec = importlib.util.spec_from_file_location("lights", Path(__file__).with_name("conftest.py"))
lights = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(lights)

THINGS = ["stylus-wren", "stylus-ash"]


def played(dots, registration=None, filter_name="none", things=THINGS, homes=None, **settings):
    """Everything that following these dots tells."""
    player = lights.Played(dots)
    surface_map = SurfaceMap(registration, "beam", (640, 480)) if registration else None
    follower = Follower(
        player,
        Linker(),
        filter_maker(filter_name),
        Identity(things, homes, 1.28 if registration else 320.0),
        surface_map,
        **settings,
    )
    return list(follow(player.frames(), follower))


def all_of(followed, name):
    return [each for one in followed for each in getattr(one, name)]


def tapping(frames, lit, place=(100.0, 100.0)):
    return [lights.dots_at([place] if k in lit else []) for k in range(frames)]


def test_switchings_bear_the_first_and_last_frame_of_the_light():
    followed = played(tapping(60, {*range(10, 22), *range(45, 57)}))
    events = all_of(followed, "events")
    assert [(event.kind, event.frame, event.time_ns) for event in events] == [
        ("switch-down", 10, 110_000_000),
        ("switch-up", 21, 220_000_000),
        ("switch-down", 45, 460_000_000),
    ]
    assert {event.carried for event in events} == {"stylus-wren"}
    assert all_of(followed, "fixes") == []


def test_a_light_that_fails_for_a_few_frames_stays_on():
    followed = played(tapping(40, set(range(10, 40)) - {20, 21, 22}))
    assert [event.kind for event in all_of(followed, "events")] == ["switch-down"]
    links = all_of(followed, "links")
    assert [link.frame for link in links if link.state == "coasting"] == [20, 21, 22]
    assert {link.dot for link in links if link.state == "coasting"} == {-1}


def test_a_flash_shorter_than_the_confirmation_is_nothing():
    followed = played(tapping(30, {10, 11}))
    assert all_of(followed, "events") == []
    assert all_of(followed, "links") == []


def test_every_dot_of_a_confirmed_trail_is_linked_and_fixed_once(registration):
    warm()  # compiling counts as mapping otherwise
    followed = played(tapping(30, set(range(5, 20))), registration)
    seen = [link.frame for link in all_of(followed, "links") if link.dot >= 0]
    assert seen == list(range(5, 20))
    fixes = [fix for fix in all_of(followed, "fixes") if not fix.predicted]
    assert [fix.frame for fix in fixes] == list(range(5, 20))
    assert all(np.allclose(fix.position_m[:2], [0.4, 1.52]) for fix in fixes)
    # The first two are only known with the third; how long the work took is not judged.
    assert len({fix.map_ns for fix in fixes[:3]}) == 1 and fixes[0].map_ns > fixes[2].capture_ns
    assert len({fix.map_ns for fix in fixes}) == 13
    assert all(fix.capture_ns < fix.detect_ns <= fix.map_ns for fix in fixes)


def test_a_fix_carries_the_mapped_covariance_and_its_own_rows_moment(registration):
    followed = played(tapping(6, set(range(6))), registration, row_time_s=20e-6)
    fix = all_of(followed, "fixes")[0]
    assert np.allclose(fix.cov[:2, :2], (0.004 * lights.STD_PX) ** 2 * np.eye(2))
    assert np.isnan(fix.cov[2:]).all()
    assert np.isnan(fix.position_m[2])
    assert fix.valid_ns - fix.capture_ns == round(20_000 * (100.0 - 239.5))
    assert (fix.surface, fix.point, fix.cameras, fix.switch) == ("wall", "tip", ("beam",), True)


def test_a_light_and_its_glow_are_one_spot(registration):
    """The detector may see the glow on the wall as a dot of its own, for a while."""
    light, glow = [320.0, 240.0], [322.4, 240.3]
    for first in (5, 12):  # together with its light, or later
        dots = [
            lights.dots_at([light] * (k >= 5) + [glow] * (first <= k < 30) if k < 40 else [])
            for k in range(80)
        ]
        followed = played(dots, registration)
        assert {fix.carried for fix in all_of(followed, "fixes")} == {"stylus-wren"}
        frames = [fix.frame for fix in all_of(followed, "fixes")]
        assert len(frames) == len(set(frames)) > 30
        kinds = [event.kind for event in all_of(followed, "events")]
        assert kinds == ["switch-down", "switch-up"]


def test_a_second_stylus_that_begins_beside_the_first_is_known_once_it_is_away(registration):
    way = np.linspace([324.0, 240.0], [424.0, 240.0], 51)
    dots = [lights.dots_at([[320.0, 240.0], way[max(0, k - 20)]]) for k in range(71)]
    followed = played(dots, registration)
    names = [{fix.carried for fix in one.fixes} for one in followed]
    assert names[20] == {"stylus-wren"}
    assert names[40] == names[-1] == set(THINGS)
    downs = [event for event in all_of(followed, "events") if event.kind == "switch-down"]
    assert [event.carried for event in downs] == THINGS


def test_a_stylus_that_presses_again_beside_the_other_keeps_its_name(registration):
    apart = np.linspace([420.0, 240.0], [324.0, 240.0], 40)
    dots = [lights.dots_at([[320.0, 240.0], at]) for at in apart]
    dots += [lights.dots_at([[320.0, 240.0]])] * 14 + [
        lights.dots_at([[320.0, 240.0], apart[-1]])
    ] * 20
    followed = played(dots, registration)
    assert {fix.carried for fix in followed[-1].fixes} == set(THINGS)


@pytest.mark.parametrize("filter_name", ["none", "one-euro", "kalman"])
def test_all_filters_end_where_the_light_rests(registration, filter_name):
    noise = np.random.default_rng(5)
    dots = [lights.dots_at([[100.0, 100.0]], noise) for _ in range(80)]
    fixes = all_of(played(dots, registration, filter_name), "fixes")
    assert len(fixes) == 80
    assert np.allclose(fixes[-1].position_m[:2], [0.4, 1.52], atol=5 * 0.004 * lights.STD_PX)


def crossing(seed, frames=120):
    """Two hands that cross in the middle of the picture, and the dots that can be told apart."""
    random = np.random.default_rng(seed)
    t = np.linspace(0.0, 1.0, frames)[:, None]
    smooth = 10 * t**3 - 15 * t**4 + 6 * t**5
    ways = []
    for side in (-1, 1):
        start = [320 - side * 200, 240 + random.uniform(-60, 60)]
        end = [320 + side * 200, 240 + random.uniform(-60, 60)]
        bow = random.uniform(-40, 40) * np.sin(np.pi * t)
        ways.append(start + (np.array(end) - start) * smooth + bow * [0.0, 1.0])
    true = np.stack(ways, axis=1)
    dots = []
    for pair in true:
        melted = np.linalg.norm(pair[0] - pair[1]) < 4.0
        dots.append(lights.dots_at(pair.mean(axis=0) if melted else pair, random))
    return dots


def test_identity_is_kept_when_two_styluses_cross(registration):
    kept, crossings = 0, 30
    for seed in range(crossings):
        dots = crossing(seed)
        fixes = all_of(played(dots, registration), "fixes")
        last = {fix.carried: fix for fix in fixes if fix.frame >= 110}
        first = {fix.carried: fix for fix in fixes if fix.frame <= 5}
        assert set(first) == set(last) == set(THINGS)
        who = {name: int(first[name].position_m[0] > 1.28) for name in THINGS}
        ends = {name: int(last[name].position_m[0] > 1.28) for name in THINGS}
        kept += all(who[name] != ends[name] for name in THINGS)
    # All of 60 were kept when this was written. The linker is to keep 95 % (its own tests): then
    # 23 or fewer of 30 come once in two thousand runs of other seeds.
    assert kept >= 24


def test_each_persons_first_press_is_told_by_where_they_stand(registration):
    dots = [
        lights.dots_at([[500.0, 200.0]] if k < 20 else [[120.0, 220.0], [500.0, 200.0]])
        for k in range(40)
    ]
    homes = [np.array([0.6, 0.96]), np.array([1.9, 0.96])]
    fixes = all_of(played(dots, registration, homes=homes), "fixes")
    names = {(fix.carried, round(fix.position_m[0], 2)) for fix in fixes}
    assert names == {("stylus-ash", 2.0), ("stylus-wren", 0.48)}


def test_more_lights_than_things_leave_some_nameless(registration):
    dots = [lights.dots_at([[100.0, 100.0], [300.0, 100.0], [500.0, 100.0]])] * 20
    followed = played(dots, registration)
    events = all_of(followed, "events")
    assert sorted(event.kind for event in events) == ["found", "switch-down", "switch-down"]
    assert {fix.carried for fix in all_of(followed, "fixes")} == set(THINGS)


def test_dots_without_known_doubt_are_followed_all_the_same(registration):
    vague = dataclasses.replace(lights.dots_at([[100.0, 100.0]]), cov=np.full((1, 2, 2), np.nan))
    fixes = all_of(played([vague] * 10, registration), "fixes")
    assert len(fixes) == 10
    assert all(np.isfinite(fix.cov[:2, :2]).all() for fix in fixes)


def test_a_registration_for_another_camera_or_size_is_refused(registration):
    with pytest.raises(RushlightError, match="640×480 is not the footage's 320×240 px"):
        SurfaceMap(registration, "beam", (320, 240))
    with pytest.raises(RushlightError, match='holds no map of the camera "shelf"'):
        SurfaceMap(registration, "shelf", (640, 480))
