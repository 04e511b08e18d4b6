"""What people do before the camera, and what a switched-off cause leaves out."""

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.physics.stylus import mean_direction
from rushlight.simulate import scripts
from rushlight.simulate.world import ALL_CAUSES, checked_causes


def lit_middles(line):
    return line.lit_s.mean(axis=1)


def goal_at(script, carried, time_s):
    (goal,) = [
        goal
        for goal in script.goals
        if goal.carried == carried and goal.from_ns <= time_s * 1e9 <= goal.until_ns
    ]
    return goal


def test_registration_touches_every_beacon_once_while_it_is_shown(make_world):
    script = scripts.registration(make_world())
    (line,) = script.timelines
    assert len(script.goals) == len(line.lit_s) == 9
    assert np.allclose(np.diff(line.lit_s, axis=1), scripts.REGISTRATION_HOLD_S)
    assert np.all(line.lit_s[1:, 0] - line.lit_s[:-1, 1] >= 0.99 * scripts.DARK_S)
    for spell in line.lit_s:
        goal = goal_at(script, "stylus-1", spell.mean())
        assert goal.from_ns <= spell[0] * 1e9 + 1
        assert goal.until_ns >= spell[1] * 1e9 - 1
        tip = line.at(spell)[0]
        assert np.allclose(tip[0], tip[1], atol=1e-12)
        assert np.linalg.norm(tip[0] - goal.place_m) < 6 * 0.002


def test_several_styli_touch_in_turn(make_world):
    script = scripts.registration(make_world(registering=None))
    spells = np.concatenate([line.lit_s for line in script.timelines])
    assert np.all(spells[1:, 0] > spells[:-1, 1])
    assert [goal.carried for goal in script.goals].count("stylus-2") == 9
    other = scripts.registration(make_world(registering=(1,)))
    assert {goal.carried for goal in other.goals} == {"stylus-2"}


def test_scatter_of_touches_is_as_the_rig_says(make_world):
    off = []
    for seed in range(60):
        script = scripts.registration(make_world(seed))
        line = script.timelines[0]
        places = np.array([goal.place_m for goal in script.goals])
        off.append(line.at(lit_middles(line))[0] - places)
    std_m = np.std(np.concatenate(off), axis=0)
    # 540 touches along each axis: one standard error is 3 %.
    assert np.allclose(std_m, 0.002, rtol=4 * 0.0304)


def test_without_its_cause_a_touch_is_exact_and_held_as_on_average(make_world):
    off = ALL_CAUSES - {"registration"}
    script = scripts.registration(make_world(causes=off))
    line = script.timelines[0]
    tip, way = line.at(lit_middles(line))
    assert np.allclose(tip, [goal.place_m for goal in script.goals], atol=1e-12)
    assert np.allclose(way, mean_direction([0.2, 0.7], -0.8, 0.5))


def test_the_grid_is_visited_exactly_by_all_styli_at_once(make_world):
    world = make_world()
    script = scripts.grid(world, 5, 3)
    assert len(script.goals) == 2 * 15
    first, second = script.timelines
    assert np.array_equal(first.lit_s, second.lit_s)
    for line, carried in ((first, "stylus-1"), (second, "stylus-2")):
        places = set()
        for time_s in lit_middles(line):
            goal = goal_at(script, carried, time_s)
            assert np.allclose(line.at(np.array([time_s]))[0][0], goal.place_m, atol=1e-12)
            places.add(goal.trial)
        assert places == set(range(15))
    apart = first.at(lit_middles(first))[0] - second.at(lit_middles(second))[0]
    assert np.linalg.norm(apart, axis=1).min() > 0.3


def test_ways_of_holding_scatter_in_the_grid_only_with_the_cause_tip(make_world):
    way = scripts.grid(make_world()).timelines[0]
    tilt = np.arccos(way.at(lit_middles(way))[1][:, 2])
    assert tilt.min() > 0.2
    assert tilt.max() < 0.7
    assert np.ptp(tilt) > 0.3
    off = ALL_CAUSES - {"tip"}
    frozen = scripts.grid(make_world(causes=off, registering=None)).timelines[0]
    # The mean over both styli: what their common registration absorbs.
    both = [mean_direction([0.2, 0.7], lean, 0.5) for lean in (-0.8, -2.3)]
    assert np.allclose(frozen.direction, np.mean(both, axis=0))


def test_tapping_goes_round_two_rings_with_the_light_on_at_each_selection(make_world, people):
    script = scripts.tapping(make_world(cast=people))
    blocks = {goal.block for goal in script.goals}
    assert blocks == {"ring-1-1", "ring-2-1", "ring-1-2", "ring-2-2"}
    for line in script.timelines:
        assert len(line.lit_s) == 2 * (scripts.RING_TARGETS + 1)
        carried = f"stylus-{line.emitter + 1}"
        misses = []
        for spell in line.lit_s:
            goal = goal_at(script, carried, spell.mean())
            tip = line.at(spell)[0]
            assert np.allclose(tip[0], tip[1], atol=1e-12)
            misses.append(np.linalg.norm(tip[0] - goal.place_m) / goal.width_m)
        assert 0.05 < np.mean(misses) < 0.5
    left, right = script.timelines
    assert left.tip_m[:, 0].max() < right.tip_m[:, 0].min()


def test_strokes_cross_while_both_lights_are_on(make_world):
    script = scripts.strokes(make_world())
    first, second = script.timelines
    assert np.allclose(first.lit_s, second.lit_s)
    start, end = first.lit_s[0] + [0.01, -0.01]
    apart = [first.at(np.array(t))[0][0] - second.at(np.array(t))[0][0] for t in (start, end)]
    assert apart[0] < 0 < apart[1]


def test_scripts_of_one_seed_share_the_room_but_not_the_hands(make_world):
    world = make_world(11)
    again = make_world(11, causes=("centre",))
    other = make_world(12)
    full = make_world(11)
    assert np.array_equal(world.lens, full.lens)
    assert np.array_equal(world.bends_m, full.bends_m)
    assert np.array_equal(world.hot_pixels, again.hot_pixels)
    assert not np.array_equal(world.lens, other.lens)
    assert world.hand("grid").random() != world.hand("registration").random()
    assert world.hand("grid").random() != world.sensor("grid").random()


@pytest.mark.parametrize(("cause", "field"), [("lens", "lens"), ("flatness", "bends_m")])
def test_switching_one_cause_off_leaves_the_others_as_drawn(make_world, cause, field):
    full, less = make_world(4), make_world(4, causes=ALL_CAUSES - {cause})
    nominal = {"lens": less.rig.cameras.distortion[0, 0], "bends_m": np.zeros(7)}[field]
    assert np.array_equal(getattr(less, field), nominal)
    assert not np.array_equal(getattr(full, field), nominal)
    other = "bends_m" if field == "lens" else "lens"
    assert np.array_equal(getattr(full, other), getattr(less, other))


def test_walls_depart_from_flat_as_the_rig_says(make_world):
    places = scripts.grid_places(np.array([2.0, 1.2]), 24, 16)
    square = [np.mean(make_world(seed).wall_height(places) ** 2) for seed in range(300)]
    # Mean square of seven modes of equal variance: relative spread √(2/7) a wall.
    assert np.mean(square) == pytest.approx(0.004**2, rel=4 * np.sqrt(2 / 7 / 300))


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (
            lambda world: scripts.registration(world, [(0.5, 0.5), (2.5, 0.5)]),
            "beacons[1] = (2.500, 0.500) m lies off the surface of 2.000 × 1.200 m; "
            "give the plan of this rig.",
        ),
        (
            lambda world: scripts.grid(world, 0, 3),
            "grid = 0 × 3 has no places; give at least 1 column and 1 row.",
        ),
    ],
)
def test_impossible_scripts_are_refused_in_one_sentence(make_world, call, sentence):
    with pytest.raises(RushlightError) as caught:
        call(make_world())
    assert str(caught.value) == sentence


def test_unknown_causes_and_unsettled_exposures_are_refused(make_world):
    with pytest.raises(RushlightError, match='causes = "wind" is no cause of error'):
        checked_causes(["lens", "wind"])
    with pytest.raises(RushlightError, match="exposure is not settled; give the plan"):
        make_world(cameras={"exposure_s": [[np.nan]]})
    with pytest.raises(RushlightError, match=r"exposure = 20.0 ms is longer than the 16.7 ms"):
        make_world(cameras={"exposure_s": [[0.02]]})
