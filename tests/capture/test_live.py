"""Live sources in general, on recordings replayed at their own pace: newest wins, drops counted."""

import math
import threading
import time

import numpy as np
import pytest

from rushlight.capture.feed import Arrival, SourceBroken
from rushlight.capture.live import LiveFrames
from rushlight.capture.open import open_footage
from rushlight.capture.open_live import open_live
from rushlight.capture.replay import replay, replay_session
from rushlight.errors import RushlightError
from rushlight.keep.writer import SessionWriter
from rushlight.records.dots import Dots, Frame
from rushlight.records.session import Clock, FootageHeader, SessionHeader


@pytest.fixture
def simulated(tmp_path, pictures, write_video):
    """A folder of simulated footage: twelve frames, 20 ms apart."""
    write_video(tmp_path / "footage.mkv", pictures)
    FootageHeader(
        picture="footage.mkv",
        camera="beam",
        size_px=(64, 48),
        capture_ns=[20_000_000 * (k + 1) for k in range(12)],
        exposure_ns=4_000_000,
        simulated=True,
    ).stamped("simulated").write(tmp_path / "footage.json")
    return tmp_path


class Scripted:
    """A feed of this test: each opening gives its numbers, then breaks, ends, or waits."""

    name, camera, size_px, simulated = "scripted", "camera", None, True
    times, renewable = "by the test", True

    def __init__(self, openings):
        self.openings, self.opened, self.findings = list(openings), [], []

    def arrivals(self, stopping):
        self.opened.append(time.monotonic())
        if not self.openings:
            stopping.wait()
            return
        opening = self.openings.pop(0)
        if opening == "broken":
            raise SourceBroken("does not answer")
        for value in opening:
            if stopping.wait(0.01):
                return
            image = np.full((48, 64), value, np.uint8)
            yield Arrival(time.monotonic_ns(), math.nan, image)


def test_a_replay_keeps_its_own_pace_and_its_pictures(simulated, pictures):
    with open_live(f"simulated:{simulated}") as source:
        assert (source.size_px, source.simulated, source.camera) == ((64, 48), True, "beam")
        assert math.isnan(source.rate_hz())
        began_ns = time.monotonic_ns()
        frames = list(source)
        took_ns = time.monotonic_ns() - began_ns
    indices = [frame.index for frame in frames]
    assert np.array_equal([frame.image for frame in frames], pictures[indices])
    steps_ns = np.diff([frame.capture_ns for frame in frames])
    assert np.array_equal(steps_ns, 20_000_000 * np.diff(indices))
    assert indices[-1] == 11
    assert 220_000_000 <= took_ns < 2_000_000_000  # a busy machine may take its time
    assert abs(frames[0].capture_ns - began_ns) < 1_000_000_000
    assert (source.dropped, source.reconnects) == (12 - len(frames), 0)
    assert source.rate_hz() == pytest.approx(50.0, rel=0.6)


def test_a_faster_replay_takes_less_time_and_a_loop_goes_on_evenly(simulated):
    with replay(open_footage(simulated), speed=4.0, loop=True) as source:
        frames = [frame for frame, _ in zip(source, range(30), strict=False)]
    steps_ns = np.diff([frame.capture_ns for frame in frames])
    assert np.array_equal(steps_ns, 5_000_000 * np.diff([frame.index for frame in frames]))
    with pytest.raises(RushlightError, match="is not above 0"):
        replay(open_footage(simulated), speed=0.0)


def test_a_slow_taker_gets_the_newest_and_the_count_of_what_it_missed(simulated):
    taken, ages_ns = [], []
    with replay(open_footage(simulated)) as source:
        for frame in source:
            ages_ns.append(time.monotonic_ns() - frame.capture_ns)
            taken.append(frame.index)
            time.sleep(0.05)
    assert taken[0] == 0
    assert taken[-1] == 11  # the last is handed out even after the recording ended
    assert 2 <= len(taken) <= 9  # one in 50 ms, and those that still wait at the end
    assert len(taken) + source.dropped == 12
    # A long queue's last frames would be 380 ms old; here they wait some 40 ms at most.
    assert max(ages_ns) < 250_000_000


class Released(Scripted):
    """One opening of numbers, each of which comes when the test lets it."""

    def __init__(self, count):
        super().__init__([range(count)])
        self.go, self.given = threading.Semaphore(0), threading.Semaphore(0)

    def arrivals(self, stopping):
        for value in self.openings.pop(0):
            self.go.acquire()
            yield Arrival(time.monotonic_ns(), math.nan, np.full((48, 64), value, np.uint8))
            self.given.release()
        stopping.wait()

    def give(self, count):
        for _ in range(count):
            self.go.release()
            self.given.acquire()


def test_of_frames_of_one_moment_the_last_is_kept_and_none_comes_twice():
    class Together(Scripted):
        def arrivals(self, stopping):
            for moment, value in ((1, 0), (2, 1), (2, 2), (3, 3)):
                yield Arrival(moment, math.nan, np.full((48, 64), value, np.uint8))
            done.set()
            go_on.wait()
            yield Arrival(3, math.nan, np.full((48, 64), 4, np.uint8))
            stopping.wait()

    done, go_on = threading.Event(), threading.Event()
    source = LiveFrames(Together([]))
    source.begin_taking()
    assert done.wait(10)
    taken = [source.take_now() for _ in range(3)]
    assert [(each.capture_ns, int(each.image[0, 0])) for each in taken] == [(1, 0), (2, 2), (3, 3)]
    go_on.set()
    until_s = time.monotonic() + 10
    while source.dropped < 2 and time.monotonic() < until_s:
        time.sleep(0.001)
    assert source.take_now() is None and source.dropped == 2
    source.stop()


@pytest.mark.parametrize("waits_s, left, dropped", [(60.0, [1, 2, 3, 4], 0), (-1.0, [4], 3)])
def test_frames_wait_for_a_taker_that_hesitates_but_not_for_long(
    monkeypatch, waits_s, left, dropped
):
    monkeypatch.setattr("rushlight.capture.live.WAITING_S", waits_s)
    feed = Released(5)
    feed.go.release()  # the frame that tells the size
    with LiveFrames(feed).open() as source:
        source.begin_taking()
        feed.given.acquire()
        feed.give(4)
        taken = []
        while (frame := source.take_now()) is not None:
            taken.append(int(frame.image[0, 0]))
    assert (taken, source.dropped) == (left, dropped)


def test_stop_ends_a_waiting_iteration_from_another_thread():
    source = LiveFrames(Scripted([[1]])).open()
    frames = []
    taker = threading.Thread(target=lambda: frames.extend(source))
    taker.start()
    time.sleep(0.1)
    assert taker.is_alive()
    source.stop()
    taker.join(1.0)
    assert not taker.is_alive()
    assert list(source) == []


def test_what_came_before_anybody_asked_is_neither_handed_out_nor_counted():
    source = LiveFrames(Scripted([[7] * 10 + [8] * 10])).open()
    time.sleep(0.05)
    with source:
        first = next(iter(source))
    assert first.index == 0
    assert source.dropped == 0


def test_a_broken_source_is_opened_again_after_growing_pauses():
    feed = Scripted([[1, 2, 3], "broken", "broken", [4, 5]])
    with LiveFrames(feed).open() as source:
        frames = []
        for frame in source:
            frames.append(frame)
            if len(frames) == 4:
                break
    assert [int(frame.image[0, 0]) for frame in frames][-1] >= 4
    assert frames[-1].index > frames[0].index
    assert source.reconnects == 1
    pauses_s = np.diff(feed.opened)[:3]
    assert pauses_s[1] >= 0.19
    assert pauses_s[2] >= 0.39
    assert [finding.code for finding in source.findings] == ["source-broke"]
    broke, back = source.faults[:2]
    assert (broke.kind, broke.detail) == ("fault", "scripted broke: ended")
    assert "is back after 0." in back.detail
    assert back.time_ns > broke.time_ns


def test_a_source_that_stays_away_is_given_up_when_patience_ends():
    feed = Scripted([[1], *["broken"] * 9])
    with LiveFrames(feed, patience_s=0.25).open() as source:
        list(source)
    assert [finding.code for finding in source.findings] == ["source-broke", "source-gone"]
    assert "does not answer and did not come back in 0.25 s" in str(source.findings[-1])


def test_a_source_that_cannot_be_opened_says_so_at_once():
    with pytest.raises(RushlightError, match=r"^scripted does not answer; check the camera"):
        LiveFrames(Scripted(["broken"])).open()
    with pytest.raises(RushlightError, match=r"gave no frame in 0\.2 s"):
        LiveFrames(Scripted([])).open(0.2)


def test_a_fault_of_the_program_in_the_thread_is_raised_where_frames_are_taken():
    class Faulty(Scripted):
        def arrivals(self, stopping):
            yield from super().arrivals(stopping)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        list(LiveFrames(Faulty([[1]])).open())


def test_frames_of_another_size_are_passed_over_and_told():
    class Turned(Scripted):
        def arrivals(self, stopping):
            yield Arrival(1, math.nan, np.zeros((48, 64), np.uint8))
            stopping.wait(0.4)
            yield Arrival(2, math.nan, np.zeros((64, 48), np.uint8))
            yield Arrival(3, math.nan, np.zeros((48, 64), np.uint8))
            stopping.wait()

    with LiveFrames(Turned([])).open() as source:
        frame = next(iter(source))
    assert (frame.index, frame.capture_ns, source.dropped) == (1, 3, 1)
    assert "48×64 px is not of the size of the first, 64×48 px" in str(source.findings[0])


def test_a_damaged_recording_ends_with_its_own_sentence(tmp_path, pictures):
    from PIL import Image

    for number in range(3):
        Image.fromarray(pictures[number]).save(tmp_path / f"{number}.png")
    (tmp_path / "1.png").write_bytes(b"no picture")
    with (
        replay(open_footage(tmp_path)) as source,
        pytest.raises(RushlightError, match="is not a picture that can be read"),
    ):
        list(source)


@pytest.mark.parametrize("text", ["", "camera", "camera:", "usb:0", "serial:", "simulated:"])
def test_words_that_name_no_source_are_answered_with_those_that_do(text):
    with pytest.raises(RushlightError, match=r"is no source of frames; give one such as camera:0"):
        open_live(text)


def test_importing_live_sources_loads_no_heavy_library():
    import subprocess
    import sys

    code = (
        "import sys, rushlight.capture.open_live\n"
        "print([name for name in ('cv2', 'av', 'serial', 'PIL') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def recorded(path, basis):
    """A session of this test: thirty frames at 100 Hz, one dot in each but the dark tenth."""
    header = SessionHeader(
        cameras=["beam"], carried=["pen"], clocks=[Clock(id="host", kind="simulated")]
    )
    with SessionWriter(path, header, basis) as session:
        for index in range(30):
            session.put_frame(Frame("beam", index, 10_000_000 * index + 777, 0.0, None))
            dots = Dots.none() if index == 10 else dot_at(100.0 + index, 50.0)
            session.put_dots("beam", index, dots)
    return path


def dot_at(x_px, y_px):
    return Dots(
        xy=[[x_px, y_px]],
        cov=[np.eye(2)],
        flux=[500.0],
        width=[[1.0, 0.0, 1.0]],
        peak=[90.0],
        saturated=[0],
        quality=[1.0],
        reason=[0],
    )


def test_a_session_is_replayed_as_dots(tmp_path):
    path = recorded(tmp_path / "a.session", "simulated")
    with open_live(f"session:{path}", size_px=(640, 480)) as source:
        assert (source.gives_dots, source.simulated, source.size_px) == (True, True, (640, 480))
        seen = list(source)
    assert len(seen) + source.dropped == 30
    assert len(seen[-1][1]) == 1
    for frame, dots in seen:
        assert dots.xy.tolist() == ([[100.0 + frame.index, 50.0]] if frame.index != 10 else [])
    steps_ns = np.diff([frame.capture_ns for frame, _ in seen])
    assert np.array_equal(steps_ns, 10_000_000 * np.diff([frame.index for frame, _ in seen]))


def test_a_session_without_a_rig_spans_its_dots_and_says_so(tmp_path):
    path = recorded(tmp_path / "a.session", "measured")
    source = replay_session(path, speed=5.0)
    assert (source.size_px, source.simulated) == ((130, 51), False)
    assert [finding.code for finding in source.findings] == ["size-assumed"]
    with pytest.raises(RushlightError, match='holds no frame of camera "other"'):
        replay_session(path, "other")


def test_silence_is_told_while_nothing_comes_and_only_then():
    class Feed:
        name, camera, size_px = "made here", "camera", (8, 8)
        simulated, times, renewable = True, "the host's clock", False

        def __init__(self):
            self.findings = []

        def arrivals(self, stopping):
            for index in range(30):
                if index == 15:
                    time.sleep(0.5)
                time.sleep(0.005)
                yield Arrival(time.monotonic_ns(), float("nan"), np.zeros((8, 8), np.uint8))

    silences = []
    with LiveFrames(Feed()) as source:
        source.on_silence = lambda: silences.append(time.monotonic())
        came = []
        for _ in source:
            came.append(time.monotonic())
    gaps = np.diff(came)
    longest = int(np.argmax(gaps))
    assert gaps[longest] > 0.4
    inside = [at for at in silences if came[longest] < at < came[longest + 1]]
    assert len(inside) >= 3 and inside[0] - came[longest] < 0.3
