"""A camera that stops sending: what the user asks for meanwhile is heard all the same."""

import math
import time
from pathlib import Path
from queue import Empty, SimpleQueue

import numpy as np
import pytest

import rushlight.jobs as jobs
from rushlight.capture.feed import Arrival
from rushlight.capture.live import LiveFrames
from rushlight.errors import RushlightError
from rushlight.jobs.aim_live import aim_live
from rushlight.jobs.ready_watch import Checking
from rushlight.jobs.register_live import Wishes, register_live
from rushlight.see.detect import Detector

BARN_WALL = Path(jobs.__file__).parent / "scenarios" / "barn-wall"
SIZE = 640, 480
LONG_S = 60.0


class FallsSilent:
    """Dark pictures, then a word of the user, and nothing more until it is stopped."""

    name, camera, size_px, simulated, full_scale_dn = "by the test", "beam", SIZE, True, 255
    times, renewable = "by the test", False

    def __init__(self, asks, word):
        self.asks, self.word, self.findings, self.was_stopped = asks, word, [], False

    def arrivals(self, stopping):
        for _ in range(3):
            yield Arrival(time.monotonic_ns(), math.nan, np.zeros(SIZE[::-1], np.uint8))
            stopping.wait(0.02)
        if self.word is not None:
            self.asks.put(self.word)
        self.was_stopped = stopping.wait(LONG_S)


@pytest.mark.parametrize("word", ["finish", "stop"])
@pytest.mark.parametrize(
    ("act", "too_few"), [(register_live, "0 touches are too few"), (aim_live, "fewer than the 3")]
)
def test_an_end_is_heard_though_no_frames_come(act, too_few, word, tmp_path):
    asks = SimpleQueue()
    asks.put({"skip": True})
    feed = FallsSilent(asks, {word: True})
    with pytest.raises(RushlightError, match=too_few):
        act(BARN_WALL, tmp_path / "out.json", source=LiveFrames(feed), asks=asks)
    assert feed.was_stopped
    assert not (tmp_path / "out.json").exists()


@pytest.mark.parametrize(
    ("word", "patience_s", "why"),
    [
        ({"stop": True}, LONG_S, "was stopped before it was touched"),
        (None, 0.3, "was not touched: no frames came for 0.3 s"),
    ],
)
def test_a_morning_s_check_waits_for_no_silent_camera(word, patience_s, why):
    asks = SimpleQueue()
    feed = FallsSilent(asks, word)
    with LiveFrames(feed) as source:
        check = Checking(
            None, "stylus-wren", np.ones((2, 2)), None, Wishes(asks), patience_s, source
        )
        check.watch(Detector(*SIZE))
    source.stop()
    assert feed.was_stopped
    assert [each.allowed for each in check.findings] == [why]


def test_what_is_asked_while_an_end_is_looked_for_keeps_its_turn():
    class Asked(SimpleQueue):
        """Another thread asks for something more just as the last was taken."""

        def get_nowait(self):
            try:
                return super().get_nowait()
            except Empty:
                if late:
                    self.put(late.pop(0))
                raise

    late = [{"redo": 2}, {"finish": True}]
    asks = Asked()
    asks.put({"redo": 1})
    wishes = Wishes(asks)
    assert not wishes.end_asked()
    assert wishes.get_nowait() == {"redo": 1}
    assert not wishes.end_asked() and wishes.end_asked()
    assert [wishes.get_nowait() for _ in range(2)] == [{"redo": 2}, {"finish": True}]
    with pytest.raises(Empty):
        wishes.get_nowait()
