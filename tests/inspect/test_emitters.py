"""Emitters of known brightness and beam."""

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.inspect.emitters import emitters

HALF_DEG = 22.0
EXPONENT = np.log(0.5) / np.log(np.cos(np.radians(HALF_DEG)))


def lobe(angle_deg):
    return np.cos(np.radians(angle_deg)) ** EXPONENT


def test_brightness_beside_the_mean_is_corrected_for_distance(sensor, take):
    rng = np.random.default_rng(0)
    takes = [
        take("wren 1 m", sensor.dots(rng, 720.0, 1.2)),
        take("dipper 2 m", sensor.dots(rng, 0.75 * 720.0 / 4, 1.2)),
    ]
    result = emitters(takes)
    values = {each.name.split(",")[0]: each.interval for each in result.measures}
    assert values["wren"].low <= 1 / 0.875 <= values["wren"].high
    assert values["dipper"].low <= 0.75 / 0.875 <= values["dipper"].high
    assert result.verdict.startswith("2 alive")


def test_a_dark_emitter_is_named_with_what_to_look_at(sensor, take):
    rng = np.random.default_rng(1)
    takes = [
        take("wren 1 m", sensor.dots(rng, 700.0, 1.2)),
        take("dunlin 1 m", sensor.dots(rng, 0.0, 1.2)),
    ]
    result = emitters(takes)
    assert result.verdict == "not seen: dunlin"
    found = next(each for each in result.findings if each.code == "emitter-dark")
    assert "right way round" in found.remedy and "cell flat" in found.remedy


def test_an_emitter_that_shines_with_its_leads_changed_over_is_wired_wrongly(sensor, take):
    rng = np.random.default_rng(4)
    takes = [
        take("wren 1 m", sensor.dots(rng, 700.0, 1.2)),
        take("wren swapped 1 m", sensor.dots(rng, 0.0, 1.2)),
        take("dunlin 1 m", sensor.dots(rng, 0.0, 1.2)),
        take("dunlin swapped 1 m", sensor.dots(rng, 700.0, 1.2)),
        take("knot 1 m", sensor.dots(rng, 0.0, 1.2)),
        take("knot swapped 1 m", sensor.dots(rng, 0.0, 1.2)),
    ]
    result = emitters(takes)
    assert result.verdict == "the wrong way round: dunlin; not seen: knot"
    codes = [(each.code, each.where) for each in result.findings]
    assert ("emitter-reversed", "emitters: dunlin") in codes
    assert ("emitter-dark", "emitters: knot") in codes
    assert ("emitter-dark", "emitters: dunlin") not in codes
    assert "wren: the right way round, and dark with its leads changed over" in result.reasons
    assert any("knot: dark either way round" in reason for reason in result.reasons)
    # Takes with changed leads count for polarity only.
    assert not any("brightness" in measure.name for measure in result.measures)


def test_an_emitter_filmed_only_with_its_leads_changed_over(sensor, take):
    rng = np.random.default_rng(5)
    result = emitters([take("wren swapped 1 m", sensor.dots(rng, 700.0, 1.2))])
    assert result.verdict == "the wrong way round: wren"
    dark = emitters([take("wren swapped 1 m", sensor.dots(rng, 0.0, 1.2))])
    assert dark.verdict == "as wired, none was filmed"


def test_a_white_emitter_is_alive_but_not_measured(sensor, take):
    rng = np.random.default_rng(2)
    result = emitters([take("wren 1 m", sensor.dots(rng, 9000.0, 1.2))])
    assert "alive" in result.verdict and not result.measures
    assert "emitter-white" in {finding.code for finding in result.findings}


def test_the_half_angle_of_a_lobe_taken_askew(sensor, take):
    held = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        takes = [
            take(
                f"wren 1 m {angle} deg",
                sensor.dots(rng, 700 * lobe(angle - 2) * rng.normal(1, 0.02), 1.2, 8),
            )
            for angle in (-40, -30, -20, -10, 0, 10, 20, 30, 40)
        ]
        value = emitters(takes).measures[-1]
        assert value.field == "half_angle" and value.unit == "deg"
        held += value.interval.low <= HALF_DEG <= value.interval.high
        assert value.interval.std < 1.0
    assert held >= 16  # binomial at 95 %: fewer once in 400 trials


def test_a_beam_that_is_no_lobe_is_read_off_between_the_angles(sensor, take):
    rng = np.random.default_rng(3)

    def box(angle):
        return 1.0 if abs(angle) < 25 else 0.1

    takes = [
        take(f"wren 1 m {angle} deg", sensor.dots(rng, 700 * box(angle), 1.2, 8))
        for angle in (-40, -30, -20, -10, 0, 10, 20, 30, 40)
    ]
    value = emitters(takes).measures[-1].interval
    assert "read off" in value.method and 20 < value.value < 30


def test_intensity_beside_a_reference(sensor, take):
    rng = np.random.default_rng(4)
    takes = [
        take("wren 1 m", sensor.dots(rng, 600.0, 1.2)),
        take("reference 1 m", sensor.dots(rng, 400.0, 1.2)),
    ]
    result = emitters(takes, 0.020, 0.020)
    values = {each.field: each.interval for each in result.measures}
    assert values["intensity"].low <= 30.0 <= values["intensity"].high
    assert values["test_current"].value == pytest.approx(20.0)
    untold = emitters(takes, 0.020)
    assert "intensity" not in {each.field for each in untold.measures}


def test_names_must_tell_alike(sensor, take):
    rng = np.random.default_rng(5)
    takes = [
        take("wren 1 m", sensor.dots(rng, 600.0, 1.2)),
        take("dipper", sensor.dots(rng, 600.0, 1.2)),
    ]
    with pytest.raises(RushlightError, match="does not tell its distance"):
        emitters(takes)
    with pytest.raises(RushlightError, match="no take"):
        emitters([])
