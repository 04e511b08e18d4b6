"""Codes are read surely, soon, and seldom wrongly, although dots fail and stray."""

import math
from functools import cache

import numpy as np
import pytest

from rushlight.records.rig import Carried
from rushlight.see.blink import (
    ERRATIC,
    STEADY,
    SURE,
    BlinkReader,
    Code,
    check_codes,
    codes_of,
    least_difference,
    propose_codes,
)

EXPOSURE_S = 0.004


def codes_for(count, bit_s, longest_dark=1):
    return [
        Code(f"stylus-{k}", "light", bits, bit_s)
        for k, bits in enumerate(propose_codes(count, longest_dark))
    ]


def on_off(random, code, rate_hz, seconds, drift=0.01, fails=0.005, recovers=0.25):
    """Whether each frame shows a light: (F,) times [s] and (F,) bool. Simulated.

    The code begins anywhere, its clock is off by up to a share `drift`; dots fail for some four
    frames on end, 1 % fail by themselves and 0.2 % are strays; a part-lit exposure shows a dot in
    proportion.
    """
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    start, pace = random.uniform(0, 10), 1 + random.uniform(-drift, drift)
    share = np.ones(len(time_s))
    if code is not None:
        within = time_s[:, None] + np.linspace(-0.5, 0.5, 9) * EXPOSURE_S
        bits = np.array([bit == "1" for bit in code.bits])
        index = np.floor((start + pace * within) / code.bit_s).astype(int)
        share = bits[index % len(bits)].mean(axis=1)
    lit = random.random(len(time_s)) < 0.99 * share
    failing = False
    for k in range(len(lit)):
        failing = random.random() > recovers if failing else random.random() < fails
        lit[k] &= not failing
    return time_s, lit | (random.random(len(time_s)) < 0.002)


def first_sure(codes, time_s, lit):
    """What is read first, and when [s]; neither where nothing is."""
    reader = BlinkReader(codes, EXPOSURE_S)
    for moment_s, one in zip(time_s, lit, strict=True):
        reader.seen(moment_s, bool(one))
        reading = reader.read()
        if reading.sure:
            return reading.code, moment_s
    return None, math.inf


@cache
def readings(rate_hz, bit_frames, count, longest_dark, runs=120):
    """(runs, 2) whether the first reading was right, and when it came, in lengths of the code."""
    random = np.random.default_rng(7)
    codes = codes_for(count, bit_frames / rate_hz, longest_dark)
    told = []
    for run in range(runs):
        truth = run % (count + 1)
        code = codes[truth] if truth < count else None
        read, when_s = first_sure(codes, *on_off(random, code, rate_hz, 8 * codes[0].length_s))
        told.append((read == (truth if code else STEADY), when_s / codes[0].length_s))
    return np.array(told, float)


SETTINGS = [(60, 2, 2, 1), (60, 2, 4, 2), (100, 3, 4, 1), (30, 2, 4, 2), (60, 3, 8, 2)]


def test_a_wrong_name_is_as_rare_as_the_confidence_says():
    right = np.concatenate([readings(*setting)[:, 0] for setting in SETTINGS])
    # A reading counts at 99.9 %. Of 600 readings 4 or more would be wrong once in 300 times.
    assert np.count_nonzero(right == 0) <= 3


@pytest.mark.parametrize("setting", SETTINGS)
def test_a_code_is_read_within_a_few_repetitions(setting):
    when = readings(*setting)[:, 1]
    assert when.min() >= 1.0 - 1e-9  # not before it was seen whole
    assert np.median(when) < 2.0
    assert np.quantile(when, 0.95) < 4.0


def test_what_flickers_anyhow_is_no_code():
    random = np.random.default_rng(9)
    codes = codes_for(4, 1 / 30)
    for _ in range(20):
        reader = BlinkReader(codes, EXPOSURE_S)
        lit = np.repeat(random.random(120) < 0.5, 1)
        for k, one in enumerate(lit):
            reader.seen(k / 60, bool(one))
        assert reader.read().code == ERRATIC


def test_a_steady_light_that_goes_off_is_not_taken_for_a_code():
    codes = [Code("a", "light", "11111110", 1 / 30), Code("b", "light", "11111010", 1 / 30)]
    reader = BlinkReader(codes)
    for k in range(14):
        reader.seen(k / 60, True)
    for k in range(14, 30):
        reader.seen(k / 60, False)
        assert not reader.read().sure


def test_confidence_and_ratio_agree():
    codes = codes_for(3, 1 / 30)
    reader = BlinkReader(codes)
    for time_s, lit in zip(*on_off(np.random.default_rng(1), codes[1], 60, 0.3), strict=True):
        reader.seen(time_s, bool(lit))
    reading = reader.read()
    # All other answers together are at least as likely as the next best of them.
    assert reading.confidence <= 1.0 / (1.0 + math.exp(-reading.ratio)) + 1e-12
    assert SURE > 0.99


def test_a_changed_code_is_read_anew():
    codes = codes_for(2, 1 / 30)
    random = np.random.default_rng(2)
    reader = BlinkReader(codes, EXPOSURE_S)
    offset_s, read = 0.0, []
    for code in codes:
        time_s, lit = on_off(random, code, 60, 4.0)
        for moment_s, one in zip(time_s, lit, strict=True):
            reader.seen(offset_s + moment_s, bool(one))
        offset_s += 4.0
        read.append(reader.read().code)
    assert read == [0, 1]


@pytest.mark.parametrize("count", [1, 2, 5, 12])
@pytest.mark.parametrize("longest_dark", [1, 2])
def test_proposed_codes_keep_the_rules(count, longest_dark):
    codes = codes_for(count, 0.05, longest_dark)
    assert len(codes) == count
    assert check_codes(codes, 60.0, 3, longest_dark * 0.05) == []
    for k, one in enumerate(codes):
        assert least_difference(one, Code("", "", "1" * len(one.bits), 0.05)) >= 0.1 - 1e-9
        for other in codes[:k]:
            assert least_difference(one, other) >= 0.1 - 1e-9


def test_codes_that_cannot_be_told_apart_are_found():
    codes = [Code("wren", "l", "1110", 0.1), Code("ash", "l", "1011", 0.1)]
    assert [each.code for each in check_codes(codes, 60.0, 3, 0.5)] == ["codes-alike"]
    assert str(check_codes(codes, 60.0, 3, 0.5)[0]) == (
        'carried ash: code = "1011" is that of wren, "1110", begun at another bit; '
        "choose codes that differ in a bit however they are turned round."
    )
    twice = [Code("wren", "l", "1100", 0.1), Code("ash", "l", "10", 0.2)]
    assert least_difference(*twice) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("bits", "bit_s", "slug"),
    [
        ("11010", 0.02, "code-bit-short"),
        ("1111", 0.1, "code-does-not-blink"),
        ("101010", 0.04, "code-lit-short"),
        ("110000", 0.1, "code-dark-long"),
    ],
)
def test_a_code_that_cannot_be_followed_is_found(bits, bit_s, slug):
    found = check_codes([Code("wren", "light", bits, bit_s)], 60.0, 3, 0.3)
    assert slug in [each.code for each in found]


def test_runs_go_round_the_end():
    code = Code("", "", "01110", 0.1)
    assert (code.dark_s, code.lit_s) == (pytest.approx(0.2), pytest.approx(0.3))


def test_the_codes_of_a_rig():
    light = {"id": "light", "part": "ir-led", "current": "20 mA", "distance_from_tip": "2 cm"}
    things = [
        Carried.model_validate(
            {"id": "wren", "kind": "stylus", "solved_as": "point", "emitters": [light | extra]}
        )
        for extra in ({"drive": "coded", "code": "11010", "code_bit": "40 ms"}, {})
    ]
    assert codes_of(things) == [Code("wren", "light", "11010", 0.04)]
