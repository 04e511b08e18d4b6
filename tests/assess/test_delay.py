"""Known lags of motion, of switches and of computing are found again."""

import numpy as np
import pytest

from rushlight.assess.assessing import assess_recordings
from rushlight.assess.delay import motion_lag_s, switch_delays_s
from rushlight.assess.recording import read_recordings
from rushlight.records.session import Event


def place(seconds):
    return np.array([1.2 + 0.8 * np.sin(1.7 * seconds), 0.7 + 0.3 * np.cos(2.3 * seconds)])


def strokes(build, folder, lag_s, noise_m=0.0, shift_m=(0.0, 0.0), still=False):
    rng = np.random.default_rng(0)
    frames = np.arange(0, 4_000_000_000, build.period_ns)
    fixes, truth = [], []
    for index, at in enumerate(frames.tolist()):
        seconds = 0.0 if still else at * 1e-9
        truth.append(build.fix(at, index, "stylus-wren", place(seconds)))
        found = place(0.0 if still else seconds - lag_s) + shift_m + rng.normal(0, noise_m, 2)
        fixes.append(build.fix(at, index, "stylus-wren", found))
    session = folder / f"s-{len(list(folder.iterdir()))}.sqlite"
    build.write(session, build.header(script="strokes"), frames, fixes)
    true = build.write(
        session.with_name(f"true-{session.name}"), build.header("truth"), frames, truth
    )
    return read_recordings([session], [true])[0]


@pytest.mark.parametrize("lag_s", [0.0, 0.0123, 0.08])
def test_the_lag_of_a_motion(build, tmp_path, lag_s):
    recording = strokes(build, tmp_path, lag_s, noise_m=0.001)
    found, bound, n = motion_lag_s(recording)
    # One standard error of the lag is σ/(v √N), about 0.06 ms here.
    assert found == pytest.approx(lag_s, abs=0.0004)
    assert bound < 0.003 and n > 300


def test_the_bound_holds_what_errors_of_places_can_do(build, tmp_path):
    found, bound, _ = motion_lag_s(strokes(build, tmp_path, 0.02, shift_m=(0.004, -0.002)))
    assert abs(found - 0.02) <= bound


def test_no_lag_without_motion(build, tmp_path):
    assert motion_lag_s(strokes(build, tmp_path, 0.0, noise_m=0.001, still=True)) is None


def test_error_while_moving(build, tmp_path):
    found = assess_recordings([strokes(build, tmp_path, 0.0, shift_m=(0.003, 0.004))])
    figure = next(each for each in found.figures if each.scope.condition == "moving, filter none"
                  and (each.name, each.statistic) == ("error", "rms"))  # fmt: skip
    assert figure.value == pytest.approx(5.0, abs=1e-6)
    lag = next(each for each in found.figures if each.scope.condition == "motion, filter none")
    assert lag.name == "delay" and "display" in lag.method


def test_switches(build, tmp_path):
    frames = np.arange(0, 2_000_000_000, build.period_ns)
    downs = [200_000_000, 700_000_000, 1_200_000_000]
    late = [4_000_000, 8_000_000, 12_000_000]
    truth = [build.fix(int(at), n, "stylus-wren", (1, 1)) for n, at in enumerate(frames)]
    fixes, events = [], []
    for trail, (down, delay) in enumerate(zip(downs[:2], late[:2], strict=True)):
        events.append(Event(down + delay, "switch-down", "stylus-wren", trail))
        fixes.append(build.fix(down + delay, 0, "stylus-wren", (1, 1.002), trail=trail))
    # One elsewhere, which is another press.
    events.append(Event(downs[2] + late[2], "switch-down", "stylus-wren", 9))
    fixes.append(build.fix(downs[2] + late[2], 0, "stylus-wren", (2, 1), trail=9))
    session, true = tmp_path / "s.sqlite", tmp_path / "true.sqlite"
    build.write(session, build.header(script="tapping"), frames, fixes, events)
    true_events = [Event(down, "switch-down", "stylus-wren", 0) for down in downs]
    build.write(true, build.header("truth"), frames, truth, true_events)
    (recording,) = read_recordings([session], [true])
    delays, missed = switch_delays_s(recording)
    assert delays.tolist() == pytest.approx([0.004, 0.008]) and missed == 1


def test_computing_is_timed_from_the_latest_picture(build, tmp_path):
    # Three fixes that share one mapping were traced back; only the last had not waited.
    fixes = [build.fix(at * 10_000_000, at, "stylus-wren", (1, 1), detect_ns=21_000_000,
                       map_ns=23_000_000) for at in range(3)]  # fmt: skip
    fixes.append(build.fix(30_000_000, 3, "stylus-wren", (1, 1), map_ns=31_000_000))
    frames = np.arange(0, 100_000_000, build.period_ns)
    path = build.write(tmp_path / "s.sqlite", build.header(goals=[]), frames, fixes)
    found = assess_recordings(read_recordings([path], []))
    figure = next(each for each in found.figures if each.cause == "computing")
    assert figure.value == pytest.approx(2.0) and figure.n == 2 and figure.basis == "measured"
