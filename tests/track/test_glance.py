"""Windows about foretold places: the same dots in less time, and nothing new missed for long."""

from __future__ import annotations

import numpy as np
import pytest

from rushlight.records.dots import Frame
from rushlight.see.detect import Detector
from rushlight.see.link import Linker
from rushlight.see.sensor import SensorNoise
from rushlight.track.glance import GREATEST_REACH_PX, LEAST_REACH_PX, Glance, foretold_windows

WIDTH, HEIGHT, RATE_HZ = 320, 240, 200.0
NOISE = SensorNoise(45.0, 0.8, 5.0)


class Counting:
    """A detector that notes which way it was asked."""

    def __init__(self):
        self.detector = Detector(WIDTH, HEIGHT, NOISE)
        self.asked = []

    def __call__(self, image):
        self.asked.append("whole")
        return self.detector(image)

    def near(self, image, places_px, reach_px):
        self.asked.append("windows")
        return self.detector.near(image, places_px, reach_px)


def picture(rng, places, peak=120.0, sigma=1.4):
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    level = np.full((HEIGHT, WIDTH), 5.0)
    for at in places:
        level += peak * np.exp(-((x - at[0]) ** 2 + (y - at[1]) ** 2) / (2 * sigma**2))
    level += rng.standard_normal(level.shape) * np.sqrt(0.64 + (level - 5.0) / 45.0)
    return np.clip(np.rint(level), 0, 255).astype(np.uint8)


def lights(frame):
    """Two lights on their ways [px]."""
    turn = 2 * np.pi * frame / 120.0
    return np.array(
        [[80 + 40 * np.cos(turn), 120 + 40 * np.sin(turn)], [230.0, 60.0 + 0.6 * frame]]
    )


def follow(glance, frames, places_of, rate_hz=RATE_HZ, seed=5):
    """Dots and links of every frame, the follower's way."""
    rng, linker, linked, begun = np.random.default_rng(seed), Linker(), None, False
    told = []
    for index in range(frames):
        image = picture(rng, places_of(index))
        frame = Frame("c", index, round((index + 1) * 1e9 / rate_hz), 0.0, image)
        dots = glance(frame, linked, begun)
        linked = linker.step(frame.capture_ns, dots)
        begun = bool(np.any((linked.trail < 0) & (linked.shared[:, 0] < 0) & (dots.reason == 0)))
        told.append((dots, image))
    return told


def test_windows_show_the_same_dots_as_whole_pictures():
    counting = Counting()
    glance = Glance(counting, short_share=0.0)
    told = follow(glance, 80, lights)
    whole = Detector(WIDTH, HEIGHT, NOISE)
    for dots, image in told:
        expected = whole(image).good()
        good = dots.good()
        assert len(good) == len(expected) == 2
        for one, place in zip(good.xy, good.cov, strict=True):
            nearest = int(np.argmin(np.linalg.norm(expected.xy - one, axis=1)))
            assert one == pytest.approx(expected.xy[nearest], abs=1e-9)
            assert place == pytest.approx(expected.cov[nearest], rel=1e-9)
    assert glance.windows + glance.whole == 80
    # At 200 Hz three of four frames do not make a light wait for longer than 20 ms.
    assert glance.windows >= 0.7 * (80 - 12)


def test_a_new_light_waits_no_longer_than_said():
    for begins in range(40, 48):
        counting = Counting()
        glance = Glance(counting, short_share=0.0, longest_wait_s=0.02)

        def places(index, begins=begins):
            both = lights(index)
            return both if index >= begins else both[:1]

        told = follow(glance, begins + 8, places)
        counts = [len(dots.good()) for dots, _ in told]
        seen = counts.index(2)
        assert (seen - begins) / RATE_HZ <= 0.0201
        # Once it has begun, it is confirmed without windows in between.
        assert counts[seen : seen + 3] == [2, 2, 2]


def test_a_light_that_goes_off_is_looked_for_everywhere():
    glance = Glance(Counting(), short_share=0.0)
    ways = []

    def places(index):
        ways.append(glance.whole)
        return lights(index)[: 1 if index == 51 else 2]

    follow(glance, 60, places)
    whole = np.flatnonzero(np.diff(ways) > 0)
    # Frame 51 misses a dot, and before frame 52 a trail coasts: both are searched whole.
    assert {51, 52} <= set(whole.tolist())
    assert len(whole) < 45


def test_with_time_to_spare_every_picture_is_searched_whole():
    counting = Counting()
    follow(Glance(counting), 40, lights, rate_hz=2.0)
    assert set(counting.asked) == {"whole"}


def test_slow_cameras_never_make_a_new_light_wait():
    counting = Counting()
    follow(Glance(counting, short_share=0.0), 40, lights, rate_hz=30.0)
    assert set(counting.asked) == {"whole"}  # one frame of 33 ms is too long


def test_windows_grow_with_doubt_and_time():
    linker = Linker(confirm_frames=1)
    image = picture(np.random.default_rng(1), lights(0))
    linked = linker.step(10**9, Detector(WIDTH, HEIGHT, NOISE)(image))
    places, soon = foretold_windows(linked, 10**9 + 1_000_000)
    assert places == pytest.approx(linked.xy, abs=1e-6)
    _, late = foretold_windows(linked, 10**9 + 15_000_000)
    assert np.all((soon >= LEAST_REACH_PX) & (soon < late) & (late <= GREATEST_REACH_PX))


def test_a_frame_without_a_picture_is_refused():
    with pytest.raises(ValueError, match="expected an image"):
        Glance(Counting())(Frame("c", 0, 1, 0.0, None), None)
