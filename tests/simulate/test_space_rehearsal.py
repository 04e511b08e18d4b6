"""A head that obeys while it is filmed: where it goes, and what the chain finds of it."""

import itertools
from pathlib import Path

import numpy as np
import pytest

import rushlight.jobs as jobs
from rushlight.errors import RushlightError
from rushlight.jobs.rehearsal import SpaceRehearsalSource, open_rehearsal, space_world
from rushlight.see.detect import Detector
from rushlight.see.sensor import SensorNoise
from rushlight.simulate.hands import REACTION_S
from rushlight.simulate.space_rehearsal import SpaceRehearsal

SCENARIOS = Path(jobs.__file__).parent / "scenarios"


@pytest.fixture(scope="module")
def world():
    return space_world(SCENARIOS / "paper-theatre", 4)[0]


def filmed(frames, count):
    return list(itertools.islice(frames, count))


def test_a_head_that_is_asked_comes_without_a_jump_and_stays(world):
    rehearsal = SpaceRehearsal(world)
    frames, rate_hz = rehearsal.frames(), world.frame_rate_hz(0)
    thing = world.space.things[0]
    wanted = (0.25 * thing.low_m + 0.75 * thing.high_m).tolist()
    filmed(frames, 3)
    times_s = 3 / rate_hz + np.arange(0.0, 3.0, 1e-3)
    before = rehearsal.places_m(times_s)
    assert np.all((before > thing.low_m) & (before < thing.high_m))
    rehearsal.look(*wanted)
    way = rehearsal.places_m(times_s)
    # Nothing changes before anybody can react, then it moves no faster than people do.
    soon = times_s - times_s[0] < REACTION_S
    np.testing.assert_array_equal(way[soon], before[soon])
    assert np.max(np.linalg.norm(np.diff(way, axis=0), axis=1)) < 3e-3
    np.testing.assert_allclose(way[-1], wanted)
    rehearsal.look(99.0, -99.0, 99.0)
    filmed(frames, round(3 * rate_hz))
    far = rehearsal.places_m(np.array(9.0))
    np.testing.assert_allclose(far, [thing.high_m[0], thing.low_m[1], thing.high_m[2]])
    rehearsal.wander(True)
    assert np.ptp(rehearsal.places_m(np.linspace(20.0, 30.0, 50)), axis=0).max() > 0.02
    with pytest.raises(KeyError):
        rehearsal.look(0.0, 0.0, 1.0, carried="nobody")


def test_dots_are_found_where_its_lights_truly_fell(world):
    rehearsal = SpaceRehearsal(world)
    detect = Detector(*world.size_px(0), SensorNoise.unknown())
    found = 0
    for frame, state in filmed(rehearsal.frames(), 12):
        true = state.px[np.isfinite(state.px).all(axis=1) & (state.electrons > 0.0)]
        dots = detect(frame.image)
        for place in true:
            apart = np.linalg.norm(dots.xy - place, axis=1)
            found += apart.min(initial=np.inf) < 1.0
    assert found >= 20


def test_a_source_of_several_cameras_is_refused_and_one_alone_says_it_is_simulated(world):
    with pytest.raises(RushlightError, match="cannot be rehearsed together"):
        open_rehearsal("rehearsal:1", SCENARIOS / "choir-baton")
    source = SpaceRehearsalSource(world, paced=False)
    with source:
        frames = filmed(iter(source), 5)
    assert source.simulated and source.rehearsed and source.name == "rehearsal:4"
    assert [frame.index for frame in frames] == list(range(5))
    assert source.truth(frames[-1].capture_ns).px.shape[1] == 2
