"""The compiled filter is the one of `physics.motion`, and settings act on single trails."""

import importlib.util
from pathlib import Path

import numpy as np

from rushlight.physics.motion import kalman_predict, kalman_update, process_noise, transition
from rushlight.records.dots import Dots
from rushlight.see.link import STATES, Linker
from rushlight.see.link_frame import MARKS, correct, predict

_spec = importlib.util.spec_from_file_location("linked", Path(__file__).with_name("test_link.py"))
linked = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(linked)

PERIOD_NS = 10_000_000


def both_axes(matrix):
    return np.kron(matrix, np.eye(2))


def random_cov(random, size):
    root = random.normal(0, 1, (size, size))
    return root @ root.T + 0.1 * np.eye(size)


def test_prediction_is_that_of_the_textbook():
    random = np.random.default_rng(0)
    mean, cov = random.normal(0, 9, (5, 4)), np.array([random_cov(random, 4) for _ in range(5)])
    expected = kalman_predict(
        mean, cov, both_axes(transition(0.03)), both_axes(process_noise(0.03, 500.0))
    )
    marks = np.zeros((5, MARKS), np.int64)
    predict(mean, cov, np.ones((5, 2)), marks, 5, 30_000_000, 0, 500.0)
    np.testing.assert_allclose(mean, expected[0], rtol=1e-12)
    np.testing.assert_allclose(cov, expected[1], rtol=1e-12)


def test_a_light_that_fails_is_awaited_where_its_turning_leads():
    time_s = np.arange(30) * 0.01
    way = 300 + 150 * np.column_stack([np.cos(6 * time_s), np.sin(6 * time_s)])
    linker = Linker()
    for index, place in enumerate(way):
        dots = linked.dots_at([place]) if index < 22 else Dots.none()
        links = linker.step(index * PERIOD_NS, dots)
    speed_px_s, dark_s = 900.0, 0.08
    straight = way[21] + dark_s * speed_px_s * np.array([-np.sin(6 * 0.21), np.cos(6 * 0.21)])
    off_px = np.linalg.norm(links.xy[0] - way[-1])
    assert off_px < 0.5 * np.linalg.norm(straight - way[-1])


def test_correction_is_that_of_the_textbook():
    random = np.random.default_rng(1)
    observe = np.hstack([np.eye(2), np.zeros((2, 2))])
    for scale in (1.0, 1e-6):  # a dot far surer than its prediction spoils no digits
        mean, cov = random.normal(0, 9, (1, 4)), random_cov(random, 4)[None]
        spread, place = scale * random_cov(random, 2), random.normal(0, 9, 2)
        expected = kalman_update(mean[0], cov[0], place, observe, spread)
        correct(mean, cov, 0, place[0], place[1], spread[[0, 0, 1], [0, 1, 1]])
        np.testing.assert_allclose(mean[0], expected.mean, rtol=1e-9, atol=1e-9)
        np.testing.assert_allclose(cov[0], expected.cov, rtol=1e-6, atol=1e-9)
        assert np.array_equal(cov[0], cov[0].T)
        assert np.linalg.eigvalsh(cov[0]).min() > 0


def test_one_trail_may_coast_for_longer_than_the_others():
    linker = Linker(coast_s=0.05)
    for index in range(5):
        links = linker.step(index * PERIOD_NS, linked.dots_at([[20, 20], [200, 200]]))
    linker.let_coast(1, 0.2)
    linker.let_coast(99, 0.2)  # there is no such trail
    for index in range(5, 16):
        links = linker.step(index * PERIOD_NS, Dots.none())
    assert links.live.tolist() == [1]
    assert links.state.tolist() == [STATES.index("coasting")]
    links = linker.step(16 * PERIOD_NS, linked.dots_at([[200, 200]]))
    assert links.trail.tolist() == [1]


def test_there_is_room_for_any_number_of_dots():
    linker = Linker()
    across, up = np.meshgrid(np.arange(20) * 50.0, np.arange(15) * 50.0)
    places = np.column_stack([across.ravel(), up.ravel()])
    for index in range(4):
        links = linker.step(index * PERIOD_NS, linked.dots_at(places + index))
    assert links.trail.tolist() == list(range(300))
    assert np.allclose(links.xy, places + 3, atol=0.5)


def test_arrays_of_any_order_are_taken():
    linker = Linker()
    for index in range(3):
        dots = linked.dots_at([[30, 30], [90, 90 - index]])
        links = linker.step(index * PERIOD_NS, dots.replace(xy=np.asfortranarray(dots.xy)))
    assert links.trail.tolist() == [0, 1]
