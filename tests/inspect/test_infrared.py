"""Does the camera see infrared: remote controls and known emitters of known truth."""

import numpy as np
import pytest

from rushlight.errors import RushlightError
from rushlight.inspect.expected import Setup, expected_flux_dn, expected_width_px
from rushlight.inspect.infrared import sees_infrared
from rushlight.shelf.catalogue import built_in_shelf

BLINK = ((np.arange(60) * 0.3) % 1 < 0.6).astype(float)


@pytest.fixture
def setup():
    shelf = built_in_shelf()
    return Setup(shelf.camera("vga-global-120"), emitter=shelf.emitter("ir850-3mm-20"))


def test_a_remote_control_that_blinks(sensor, take):
    rng = np.random.default_rng(0)
    result = sees_infrared([take("remote", sensor.dots(rng, 800 * BLINK, 1.5, 60))])
    assert result.verdict == "the camera sees infrared"
    # Named by the block of 8 px in which it stands.
    assert np.hypot(*np.subtract(result.extra["place_px"], (64, 50))) < 8


def test_nothing_seen_names_the_remedies_with_their_dangers(sensor, take):
    rng = np.random.default_rng(1)
    result = sees_infrared([take("remote", sensor.dots(rng, 0.0, 1.5, 60))])
    assert result.verdict == "no infrared seen"
    text = " ".join(result.reasons)
    assert "works" in text and "warranty" in text and "splinters" in text


def test_a_light_that_only_grows_cannot_tell(sensor, take):
    rng = np.random.default_rng(2)
    grows = take("remote", sensor.dots(rng, np.linspace(0, 900, 60), 1.5, 60))
    assert not sees_infrared([grows]).told


def test_a_room_that_blinks_cannot_tell(sensor, take):
    rng = np.random.default_rng(3)
    room = [sensor.flat(rng, 300 + 900 * on, 1)[0] for on in BLINK]
    assert "too much of the picture" in sees_infrared([take("remote", room)]).verdict


@pytest.mark.parametrize(
    ("passed", "verdict"),
    [(1.0, "no infrared-cut filter"), (0.02, "very likely in the way"), (0.15, "cannot tell")],
)
def test_a_known_emitter_tells_whether_a_filter_blocks(sensor, take, setup, passed, verdict):
    exposure_s = 4e-7 / passed
    flux_dn, _ = expected_flux_dn(setup, 1.0, exposure_s)
    rng = np.random.default_rng(4)
    lit = take(f"emitter 1 m {1e9 * exposure_s:.0f} ns", sensor.dots(rng, passed * flux_dn, 1.0))
    result = sees_infrared([lit], setup)
    assert verdict in result.verdict
    assert result.measures[0].interval.value == pytest.approx(passed, rel=0.05)


def test_a_known_emitter_not_seen_cannot_tell(sensor, take, setup):
    rng = np.random.default_rng(5)
    result = sees_infrared([take("emitter 1 m 1 ms", sensor.dots(rng, 0.0, 1.0))], setup)
    assert not result.told


def test_both_ways_together(sensor, take, setup):
    rng = np.random.default_rng(6)
    flux_dn, _ = expected_flux_dn(setup, 1.0, 4e-7)
    takes = [
        take("remote", sensor.dots(rng, 800 * BLINK, 1.5, 60)),
        take("emitter 1 m 400 ns", sensor.dots(rng, flux_dn, 1.0)),
    ]
    result = sees_infrared(takes, setup)
    assert "no infrared-cut filter" in result.verdict and len(result.reasons) >= 3


def test_what_a_known_emitter_needs_is_asked_for(sensor, take, setup):
    rng = np.random.default_rng(7)
    pictures = sensor.dots(rng, 400.0, 1.0)
    with pytest.raises(RushlightError, match="not of which emitter"):
        sees_infrared([take("emitter 1 m", pictures)])
    with pytest.raises(RushlightError, match="does not tell its exposure"):
        sees_infrared([take("emitter 1 m", pictures)], setup)
    with pytest.raises(RushlightError, match="wants one take of a remote"):
        sees_infrared([])


def test_expected_flux_follows_distance_exposure_and_gain(setup):
    flux, log_std = expected_flux_dn(setup, 1.0, 1e-4)
    assert expected_flux_dn(setup, 2.0, 2e-4)[0] == pytest.approx(flux / 2)
    louder = Setup(setup.camera, gain=3.0, emitter=setup.emitter)
    assert expected_flux_dn(louder, 1.0, 1e-4)[0] == pytest.approx(3 * flux)
    assert 0.3 < log_std < 1.0
    expected, least = expected_width_px(setup, 2.0)
    assert expected > least > 0
