"""Jitter and lag of filters on trails whose noise and motion are known, against theory."""

import itertools

import numpy as np
import pytest

from rushlight.physics.smoothing import alpha_beta, kalata_gains, tracking_index
from rushlight.records.tuning import TunedPoint
from rushlight.track.ahead import ahead_rows
from rushlight.track.recorded import (
    PlaneMap,
    RawTrail,
    Stretch,
    Stretches,
    needed,
    noise_px,
    stretches,
)
from rushlight.track.tune import Setting, Tryout, all_settings, choose, default_setting, with_front

PERIOD_S, STD_PX = 0.01, 0.2
REST_S, MOVE_S = 6.0, 4.0
HERTZ = 0.5


def trail(seed, std_px=STD_PX, moves=True, period_s=PERIOD_S):
    """Rest, two swings to the side and back, rest; with noise that is drawn for every dot alike."""
    time_s = np.arange(0.0, 2 * REST_S + MOVE_S, period_s)
    turn = np.clip(time_s - REST_S, 0.0, MOVE_S) * moves
    share = 0.5 - 0.5 * np.cos(2.0 * np.pi * HERTZ * turn)
    x, y = 100.0 + 600.0 * share, 300.0 + 200.0 * share
    noise = np.random.default_rng(seed).normal(0.0, std_px, (len(time_s), 2))
    cov = np.tile(std_px**2 * np.eye(2), (len(time_s), 1, 1))
    return RawTrail(time_s, np.stack([x, y], axis=-1) + noise, cov)


@pytest.fixture(scope="module")
def trails():
    return [trail(seed) for seed in range(4)]


@pytest.fixture(scope="module")
def tryout(trails):
    return Tryout(trails, stretches(trails), None)


def test_noise_is_seen_beside_motion(trails):
    # 12 800 third differences: the median is known to a few per cent.
    assert noise_px(trails) == pytest.approx(STD_PX, rel=0.04)


def test_rest_and_motion_are_told_apart(trails):
    found = stretches(trails)
    assert len(found.rest) == 8
    for rest in found.rest:
        time_s = trails[rest.trail].time_s[rest.start : rest.end]
        assert time_s[-1] < REST_S + 0.1 or time_s[0] > REST_S + MOVE_S - 0.1
        assert np.ptp(time_s) == pytest.approx(REST_S - 0.5, abs=0.4)
    for move in found.moving:
        time_s = trails[move.trail].time_s[move.start : move.end]
        assert time_s[0] > REST_S - 0.1 and time_s[-1] < REST_S + MOVE_S + 0.1
    # Turning points are slow, and in neither kind.
    assert sum(move.end - move.start for move in found.moving) < 0.97 * 4 * MOVE_S / PERIOD_S


def test_only_rest_shows_no_motion():
    found = stretches([trail(seed, moves=False) for seed in range(3)])
    assert found.rest and not found.moving
    assert not stretches([]).rest


def test_gaps_end_a_stretch():
    whole = trail(0, moves=False)
    keep = (whole.time_s < 3.0) | (whole.time_s > 3.2)
    cut = RawTrail(whole.time_s[keep], whole.xy_px[keep], whole.cov_px2[keep])
    found = stretches([cut])
    assert len(found.rest) == 2
    assert cut.time_s[found.rest[0].end - 1] < 3.0 < cut.time_s[found.rest[1].start]


def test_no_filter_has_the_noise_of_the_dots_and_no_lag(tryout):
    point = tryout.try_setting(Setting("none"))
    # 4400 places along two axes: 1.1 % is one deviation.
    assert point.jitter == pytest.approx(np.sqrt(2.0) * STD_PX, rel=0.04)
    assert point.lag_ms == pytest.approx(0.0, abs=1e-3)
    assert point.stray < 1e-6
    assert point.jitter_low < np.sqrt(2.0) * STD_PX < point.jitter_high


def ramp(seed):
    """A steady motion, aslant, with noise."""
    time_s = np.arange(0.0, 5.0, PERIOD_S)
    noise = np.random.default_rng(seed).normal(0.0, STD_PX, (len(time_s), 2))
    xy = np.array([50.0, 400.0]) + np.outer(time_s, [300.0, -100.0]) + noise
    return RawTrail(time_s, xy, np.tile(STD_PX**2 * np.eye(2), (len(time_s), 1, 1)))


@pytest.mark.parametrize("cutoff_hz", [2.0, 4.0, 8.0])
def test_a_one_pole_low_pass_lags_and_steadies_as_theory_says(tryout, cutoff_hz):
    """Lag τ = 1/(2π f); variance α/(2 − α) with α = T/(T + τ); computed here."""
    setting = Setting("one-euro", cutoff_hz, 0.0)
    tau_s = 1.0 / (2.0 * np.pi * cutoff_hz)
    steady = [ramp(seed) for seed in range(3)]
    # From 1.5 s on the filter has settled; one rest, of no meaning, is asked for.
    moving = tuple(Stretch(number, 150, 500) for number in range(3))
    found = Tryout(steady, Stretches((Stretch(0, 0, 50),), moving, 1.0, 1.0), None)
    lag = found.try_setting(setting)
    # One deviation of a lag is σ √2/(speed √N), about 0.03 ms here.
    assert lag.lag_ms == pytest.approx(1e3 * tau_s, abs=0.15)
    assert lag.lag_low_ms <= lag.lag_ms <= lag.lag_high_ms
    assert lag.lag_high_ms - lag.lag_low_ms < 0.5
    alpha = PERIOD_S / (PERIOD_S + tau_s)
    wanted = np.sqrt(2.0) * STD_PX * np.sqrt(alpha / (2.0 - alpha))
    # Neighbours go together over τ/T dots: 10 % is three deviations at the lowest cut-off.
    assert tryout.try_setting(setting).jitter == pytest.approx(wanted, rel=0.10)


@pytest.mark.parametrize("agility", [1e4, 1e5])
def test_a_kalman_filter_steadies_by_kalatas_gains_and_has_no_lag(tryout, agility):
    """Gains of the tracking index; the noise they pass is the sum of squares of the response."""
    point = tryout.try_setting(Setting("kalman", agility_px2_s3=agility))
    # White acceleration of density q is about one of deviation √(q/T) held for a frame.
    index = tracking_index(np.sqrt(agility / PERIOD_S), PERIOD_S, STD_PX)
    alpha, beta = kalata_gains(index)
    pulse = np.zeros(2000)
    pulse[1] = 1.0
    response, _ = alpha_beta(pulse, PERIOD_S * np.arange(2000), float(alpha), float(beta))
    wanted = np.sqrt(2.0) * STD_PX * np.sqrt(np.sum(response**2))
    assert point.jitter == pytest.approx(wanted, rel=0.08)
    assert abs(point.lag_ms) < 1.0


def test_speed_gain_trades_nothing_for_lag_where_there_is_motion(tryout):
    slow, quick = (tryout.try_setting(Setting("one-euro", 2.0, gain)) for gain in (0.0, 0.02))
    assert quick.lag_ms < 0.3 * slow.lag_ms
    assert quick.jitter < 1.5 * slow.jitter


def test_slow_motion_lags_more_where_a_filter_opens_with_speed(tryout):
    fixed, opening = (tryout.try_setting(Setting("one-euro", 4.0, gain)) for gain in (0.0, 0.02))
    assert opening.slow_lag_ms > 1.1 * opening.lag_ms
    assert fixed.slow_lag_ms == pytest.approx(fixed.lag_ms, rel=0.15)
    assert opening.late_ms >= opening.slow_lag_ms


def test_a_lag_beyond_those_tried_is_left_out(tryout):
    assert tryout.try_setting(Setting("one-euro", 0.5, 0.0)) is None


def test_a_known_delay_is_measured_between_the_frames(trails):
    """A filter that answers with the place of a little while before."""
    tryout = Tryout(trails, stretches(trails), None)
    delay_s = 0.0234

    class Delay(Setting):
        @property
        def maker(self):
            truth = trail(0, std_px=0.0)

            def late(time_s, xy, cov):
                at = time_s - delay_s
                return np.array(
                    [np.interp(at, truth.time_s, truth.xy_px[:, axis]) for axis in (0, 1)]
                ), cov

            return lambda: late

    point = tryout.try_setting(Delay("none"))
    assert point.lag_ms == pytest.approx(1e3 * delay_s, abs=0.1)
    assert point.lag_low_ms < 1e3 * delay_s + 0.1 and point.lag_high_ms > 1e3 * delay_s - 0.1


def test_few_stretches_give_no_interval(trails):
    found = stretches(trails[:1])
    short = Stretches(found.rest, found.moving[:1], 1.0, 1.0)
    point = Tryout(trails[:1], short, None).try_setting(Setting("none"))
    assert (point.jitter_low, point.lag_low_ms) == (None, None)
    assert np.isfinite(point.late_ms)


def test_millimetres_are_pixels_by_the_map(trails, tryout):
    plane = PlaneMap(np.diag([2.0, 2.0, 1.0]), 0.0)
    found = Tryout(trails, stretches(trails), [plane] * len(trails))
    in_px, in_mm = (each.try_setting(Setting("none")) for each in (tryout, found))
    assert in_mm.jitter == pytest.approx(2.0 * in_px.jitter)
    assert found.speed == pytest.approx(2.0 * tryout.speed)


def point(late_ms, jitter, name="one-euro"):
    return TunedPoint(
        filter=name, jitter=jitter, jitter_low=None, jitter_high=None, lag_ms=late_ms,
        lag_low_ms=None, lag_high_ms=None, slow_lag_ms=None, stray=0.0, stray_ms=0.0,
        late_ms=late_ms, front=False,
    )  # fmt: skip


def test_front_and_choice():
    points = with_front(
        [point(0.0, 1.0, "none"), point(5.0, 0.3), point(6.0, 0.4), point(20.0, 0.2)]
    )
    assert [each.front for each in points] == [True, True, False, True]
    assert choose(points, 30.0) == 3
    assert choose(points, 15.0) == 1
    assert choose(points, 1.0) == 0
    assert choose(points, None) == 1
    assert choose(with_front([point(0.0, 1.0, "none")]), None) == 0


def test_the_defaults_are_among_what_is_tried():
    tried = all_settings()
    assert len(tried) == len(set(tried))
    for name in ("none", "one-euro", "kalman"):
        assert default_setting(name) in tried


def test_needed_trails_are_numbered_anew(trails):
    found = stretches(trails)
    numbers, kept = needed(trails, found, 10**9)
    assert numbers == [0, 1, 2, 3] and kept == found
    only = Stretches((Stretch(2, 0, 50),), (Stretch(3, 0, 50),), 1.0, 2.0)
    numbers, kept = needed(trails, only, 0)
    assert numbers == [2, 3]
    assert (kept.rest[0].trail, kept.moving[0].trail) == (0, 1)


def test_foretelling_beats_standing_still_and_its_error_grows(trails):
    found = stretches(trails)
    plane = PlaneMap(np.diag([2.0, 2.0, 1.0]), 0.0)
    pieces = Tryout(trails, found, [plane] * 4).pieces
    rows = ahead_rows(trails, [plane] * 4, pieces)
    assert [row.ahead_ms for row in rows] == pytest.approx([5, 10, 20, 30, 50, 80])
    for row in rows[1:]:
        assert row.foretold < 0.6 * row.held
        assert row.foretold_low <= row.foretold <= row.foretold_high
    for before, after in itertools.pairwise(rows):
        assert after.foretold > before.foretold and after.stated > before.stated
    # Standing still, the error is speed times time.
    speed_mm_s = Tryout(trails, found, [plane] * 4).speed
    assert rows[2].held == pytest.approx(0.020 * speed_mm_s, rel=0.05)
