"""Coded lights blink in simulated footage, and the tool reads their names in it."""

import dataclasses
import itertools

import numpy as np
import pytest

from rushlight.see.blink import Code, propose_codes
from rushlight.see.detect import Detector
from rushlight.see.link import Linker
from rushlight.see.sensor import SensorNoise
from rushlight.simulate import scripts
from rushlight.simulate.cast import Cast
from rushlight.simulate.expose import expose
from rushlight.simulate.footage import frames
from rushlight.simulate.hands import Timeline, blinking
from rushlight.simulate.scripts import Script
from rushlight.track.coding import Coding
from rushlight.track.filter import filter_maker
from rushlight.track.following import Follower
from rushlight.track.identity import Identity

BIT_S = 1 / 30
BITS = propose_codes(2)


def held(lit=((0.2, 1.5),)):
    return Timeline(
        emitter=0,
        time_s=np.array([0.0, 2.0]),
        tip_m=np.tile([1.0, 0.6], (2, 1)),
        direction=np.tile([0.2, -0.2, 0.95], (2, 1)),
        lit_s=np.array(lit, float).reshape(-1, 2),
    )


def blinking_cast():
    return dataclasses.replace(Cast.unnamed(2), codes=tuple((bits, BIT_S) for bits in BITS))


def test_spells_are_cut_where_the_code_is_dark():
    spells = blinking(held([(0.05, 0.95), (2.0, 2.05)]), "110", 0.1, -0.1).lit_s
    np.testing.assert_allclose(
        spells, [[0.05, 0.1], [0.2, 0.4], [0.5, 0.7], [0.8, 0.95], [2.0, 2.05]], atol=1e-12
    )
    assert blinking(held([(0.12, 0.18)]), "110", 0.1, -0.1).lit_s.shape == (0, 2)


def test_a_coded_light_is_dark_in_its_dark_bits_and_pressed_all_the_same(make_world):
    world = make_world(causes=(), cast=blinking_cast())
    time_s = np.arange(0.3, 1.4, 0.001)
    states = expose(world, Script("strokes", (held(),), (), 2.0), time_s).states
    shines = np.array([state.electrons[0] > 0 for state in states])
    assert all(state.lit[0] for state in states)
    assert shines.mean() == pytest.approx(BITS[0].count("1") / len(BITS[0]), abs=0.05)
    # It repeats itself, but for the moments of switching.
    period = round(len(BITS[0]) * BIT_S / 0.001)
    assert np.mean(shines[period:] == shines[:-period]) > 0.97


def test_where_a_code_begins_is_the_rooms_own_affair(make_world):
    one, other = (make_world(seed, cast=blinking_cast()).code(0) for seed in (3, 4))
    assert one != other
    assert one == make_world(3, cast=blinking_cast()).code(0)
    assert make_world(3).code(0) is None


def test_two_blinking_styluses_are_named_in_simulated_footage(make_world):
    world = make_world(5, cast=blinking_cast())
    codes = [
        Code(name, "light", bits, BIT_S)
        for name, bits in zip(world.cast.carried, BITS, strict=True)
    ]
    linker = Linker()
    names = [code.carried for code in codes]
    identity = Identity(names, None, 320.0, coded=names)
    follower = Follower(
        Detector(640, 480, SensorNoise(40.0, 6.0 / 40.0, 6.0)),
        linker,
        filter_maker("none"),
        identity,
        coding=Coding(codes, identity, linker, world.exposure_s),
    )
    right = wrong = 0
    for frame, state in itertools.islice(frames(world, scripts.strokes(world)), 260):
        followed = follower.step(frame)
        for link in followed.links:
            if link.carried is None or link.dot < 0 or link.frame != frame.index:
                continue
            gaps = np.linalg.norm(state.px - followed.dots.xy[link.dot], axis=1)
            nearest = int(np.nanargmin(gaps))
            right += world.cast.carried[nearest] == link.carried
            wrong += world.cast.carried[nearest] != link.carried
    assert right > 100
    assert wrong == 0
