"""Things that look alike: names are right, or the weight that is told says they may not be."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from space_runs import Run, rig, true_cameras, two_batons

from rushlight.records.space import within_zone
from rushlight.simulate import space_scripts as scripts
from rushlight.simulate.space_world import draw_space
from rushlight.track.space_names import Followed, Names
from rushlight.track.space_pose import Found, Named
from rushlight.track.space_thing import ThingAt

SEEDS = (1, 2, 3, 4, 5)


def told_names(space, seed, seconds=1.2):
    """By thing, of all its fixes: the moment [s], the weight, and whether the name is right."""
    world = draw_space(space, seed, ["centre"])
    script = scripts.motion(world, seconds)
    run = Run(world, script)
    found = {}
    for path in script.paths:
        fixes = [fix for fix in run.fixes[path.thing] if not fix.predicted]
        rows = []
        for fix in fixes:
            away = {
                each.thing: np.linalg.norm(
                    fix.position_m - each.at(np.array(fix.valid_ns * 1e-9))[0]
                )
                for each in script.paths
            }
            assert sum(fix.hypotheses) == pytest.approx(1.0, abs=1e-3)
            right = min(away, key=away.get) == path.thing
            rows.append((fix.valid_ns * 1e-9, fix.hypotheses[0], right))
        found[path.thing] = np.array(rows).reshape(-1, 3)
    return found


def test_two_batons_that_nothing_tells_apart_share_the_weight_of_their_names():
    space, right = two_batons(), []
    for seed in SEEDS:
        for rows in told_names(space, seed, 0.8).values():
            assert len(rows) > 30
            # When it is sought anew, each could also be where the other's dot is.
            assert rows[:, 1].max() == 0.5 and np.mean(rows[:, 1] == 0.5) > 0.9
            right.append(rows[-1, 2])
    # Names are given by chance, then: some are wrong, and a weight of 1 would have been untrue.
    assert 0 < sum(right) < len(right)


def test_zones_that_overlap_in_part_name_batons_once_one_is_where_the_other_cannot_be():
    zones = {"high": ["0.2 m", "1.7 m", "0.7 m"]}, {"low": ["-0.2 m", "1 m", "0.2 m"]}
    space = two_batons({"zone": zones[1]}, {"zone": zones[0]})
    sure = shared = 0
    for seed in SEEDS:
        for rows in told_names(space, seed).values():
            assert rows[rows[:, 1] == 1.0, 2].all()
            sure += np.sum(rows[:, 1] == 1.0)
            shared += np.sum(rows[:, 1] == 0.5)
    assert sure > 100 and shared > 100


def test_zones_apart_name_batons_from_the_start():
    zones = {"high": ["-0.2 m", "1.7 m", "0.7 m"]}, {"low": ["0.2 m", "1 m", "0.2 m"]}
    space = two_batons({"zone": zones[1]}, {"zone": zones[0]})
    for rows in told_names(space, 1, 0.6).values():
        assert len(rows) > 25 and np.all(rows[:, 1:] == 1.0)


def test_codes_name_batons_once_they_are_read():
    coded = {"drive": "coded", "code_bit": "50 ms", "duty": "50 %"}
    space = two_batons(
        {"emitter": coded | {"code": "11101000"}}, {"emitter": coded | {"code": "11110010"}}
    )
    wrong = 0
    for seed in (1, 2, 3):
        for rows in told_names(space, seed, 2.5).values():
            # Before a code is read the dots may be claimed by the wrong baton, for less weight.
            assert rows[0, 1] <= 0.5 and rows[rows[:, 1] == 1.0, 2].all()
            assert np.mean(rows[rows[:, 0] > 1.8, 1] == 1.0) > 0.7
            wrong += np.sum(rows[:, 2] == 0.0)
    assert wrong > 0


def test_a_baton_beside_a_body_keeps_its_whole_name():
    world = draw_space(rig("ferry-model"), 2, ["centre"])
    fixes = Run(world, scripts.motion(world, 0.3)).fixes["ferry"]
    assert fixes and all(fix.hypotheses == (1.0,) for fix in fixes[5:])


LOST = Followed(None, False, False, 0.0, [None, None])
BOTH, LEFT, RIGHT = 0.0, -0.4, 0.4  # x [m] where either may be, and one alone


def at(x_m, was=True, anew=False, reach_m=0.02, predicted=False):
    """A baton seen whole at a place, by a dot that no code names."""
    pose = np.eye(4)
    pose[:3, 3] = [x_m, 1.35, 0.45]
    nothing = np.zeros(0, int)
    named = Named(nothing, nothing, nothing, np.zeros((0, 2)), np.zeros((0, 2, 2)))
    found = Found(pose, np.eye(6), named, np.zeros(0), 0.0)
    return Followed(ThingAt(found, (1.0,), predicted, anew), was, anew, reach_m, [None, None])


def names_of_two():
    zones = {"high": ["0.1 m", "1.7 m", "0.7 m"]}, {"low": ["-0.1 m", "1 m", "0.2 m"]}
    space = two_batons({"zone": zones[1]}, {"zone": zones[0]})
    baton, second = space.things
    poses = np.array([at(x_m).at.found.pose for x_m in (BOTH, LEFT, RIGHT)])
    assert within_zone(baton, poses).tolist() == [True, True, False]
    assert within_zone(second, poses).tolist() == [True, False, True]
    return Names(true_cameras(draw_space(space, 1, ["centre"])), space.things)


def told(names, baton, second):
    names.step({"baton": baton, "second": second})
    assert names.shared("baton") == names.shared("second")
    return names.shared("baton")


def test_names_are_open_from_a_start_until_a_place_tells_and_kept_while_followed():
    names = names_of_two()
    assert told(names, at(BOTH, was=False, anew=True), LOST) == 2
    assert told(names, at(BOTH), at(BOTH + 0.1, was=False, anew=True)) == 2
    assert told(names, at(BOTH), at(BOTH + 0.1)) == 2
    # A place where it is merely supposed tells nothing.
    assert told(names, at(LEFT, predicted=True), at(BOTH)) == 2
    assert told(names, at(LEFT), at(BOTH)) == 1
    assert told(names, at(BOTH), at(BOTH + 0.1)) == 1
    # Found again while the other was followed all along, it can only be itself.
    assert told(names, LOST, at(BOTH)) == 1
    assert told(names, at(BOTH, was=False, anew=True), at(BOTH + 0.1)) == 1


def test_names_are_open_again_after_a_meeting_and_after_both_were_out_of_sight():
    names = names_of_two()
    assert told(names, at(LEFT, was=False, anew=True), LOST) == 1
    assert told(names, at(BOTH), at(RIGHT, was=False, anew=True)) == 1
    assert told(names, at(BOTH), at(BOTH + 0.03)) == 1
    assert told(names, at(BOTH), at(BOTH + 0.01)) == 2
    assert told(names, at(BOTH), at(BOTH + 0.1)) == 2
    assert told(names, at(BOTH), at(RIGHT)) == 1
    # Wherever it was sought, the other's dot may have been taken.
    assert told(names, at(BOTH, reach_m=np.inf), at(BOTH + 0.1)) == 2
    assert told(names, at(LEFT), at(RIGHT)) == 1
    # Coasted while the other was out of sight: what is found may be that.
    assert told(names, at(BOTH, anew=True), LOST) == 2
