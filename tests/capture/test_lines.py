"""Sensors that send dots as lines, over a pseudo-terminal: no sensor was at hand."""

import contextlib
import math
import os
import socket
import threading
import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rushlight.capture.lines import GarbledLine, LineReader, _Unwrapped
from rushlight.capture.open_live import open_live
from rushlight.errors import RushlightError
from rushlight.records.dot_noise import DotNoise
from rushlight.records.rig import Camera, DotLines


def format_of(**fields):
    return DotLines(size_px=(1024, 768), **fields)


def camera_of(**fields):
    return Camera(
        id="eye",
        part="dot-sensor",
        position=("0 m", "0 m", "2 m"),
        look_at=("0 m", "0 m", "0 m"),
        frame_rate="100 Hz",
        exposure="2 ms",
        lines=format_of(**fields),
    )


LEARNT = DotNoise(
    camera="eye",
    frames=500,
    dots=1,
    duration_s=5.0,
    rate_hz=100.0,
    cov_px2=((0.25, 0.1), (0.1, 0.5)),
    step_px=(1.0, 1.0),
    drop_share=0.0,
    moved_px=0.1,
)


class Terminal:
    """A pseudo-terminal whose far end writes a sensor's lines."""

    def __init__(self):
        import tty

        self.far, self.near = os.openpty()
        tty.setraw(self.near)
        self.path = os.ttyname(self.near)
        self.stopping = threading.Event()
        self.thread = None

    def send(self, lines, period_s=0.01, wait_s=0.3):
        """Write lines for ever, in a thread, after a pause."""

        def work():
            self.stopping.wait(wait_s)
            number = 0
            while not self.stopping.wait(period_s):
                try:
                    os.write(self.far, lines(number))
                except OSError:
                    return
                number += 1

        self.thread = threading.Thread(target=work, daemon=True)
        self.thread.start()

    def close(self):
        self.stopping.set()
        if self.thread:
            self.thread.join(2.0)
        for end in (self.far, self.near):
            if end >= 0:
                os.close(end)


@pytest.fixture
def terminal():
    here = Terminal()
    yield here
    here.close()


def take(source, number):
    return [seen for seen, _ in zip(source, range(number), strict=False)]


@pytest.mark.parametrize(
    ("format", "text", "places", "clock", "count"),
    [
        ({}, "1.5,2.5,300,400", [(1.5, 2.5), (300, 400)], None, None),
        ({}, "", [], None, None),
        ({}, "10,20,", [(10, 20)], None, None),
        ({"separator": " "}, "  3\t 4   5 6 ", [(3, 4), (5, 6)], None, None),
        ({"absent": 1023}, "1023,1023,7,8,1023,1023", [(7, 8)], None, None),
        ({"fields": ["y", "skip", "x"]}, "5,0,6", [(6, 5)], None, None),
        ({"before": ["count", "time-us"]}, "12,3456,1,2", [(1, 2)], 3456, 12),
        ({"before": ["time-ms", "skip"], "separator": ";"}, "9;x;1;2", None, 9, None),
        ({"before": ["time-ms", "skip"], "separator": ";"}, "9;7;1;2", [(1, 2)], 9, None),
    ],
)
def test_a_line_says_what_its_format_declares(format, text, places, clock, count):
    reader = LineReader(format_of(**format))
    if places is None:
        with pytest.raises(GarbledLine):
            reader(text)
        return
    seen = reader(text)
    assert np.array_equal(seen.dots.xy, np.reshape(places, (-1, 2)))
    assert (seen.clock, seen.count) == (clock, count)
    assert np.isnan(seen.dots.flux).all()
    assert np.isnan(seen.dots.cov).all()
    assert (seen.dots.reason == 0).all()


def test_a_peak_is_kept_and_learnt_noise_becomes_the_covariance():
    dots = LineReader(format_of(fields=["x", "y", "size", "peak"]), LEARNT)(
        "1,2,3,77,4,5,6,88"
    ).dots
    assert dots.peak.tolist() == [77, 88]
    assert np.array_equal(dots.cov, [[[0.25, 0.1], [0.1, 0.5]]] * 2)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("1,2,3", "ends within a dot"),
        ("a,b", "is no number"),
        ("1,2,nan,3", "is no number"),
        ("1_0,2", "is no number"),
        ("1,,2", "is no number"),
        ("1,2,3,4,5,6,7,8,9,10", "more than 4 dots"),
        ("1024,5", "outside the sensor"),
        ("5,-1", "outside the sensor"),
        ("\ufffd\ufffd", "is no number"),
        ("١,٢", "is no number"),
    ],
)
def test_a_garbled_line_says_why(text, why):
    with pytest.raises(GarbledLine, match=why):
        LineReader(format_of())(text)


@given(st.text(max_size=60))
def test_no_line_whatever_crashes_the_reader(text):
    try:
        dots = LineReader(format_of(before=["count"]))(text).dots
    except GarbledLine:
        return
    assert (dots.xy >= -0.5).all()


def test_counters_go_on_past_their_end_and_a_restart_is_known():
    counter = _Unwrapped((2**8, 2**16, 2**32))
    assert [counter(value) for value in (250, 255, 3, 9)] == [250, 255, 259, 265]
    counter(100)
    counter(2)
    assert counter.restarted
    clock = _Unwrapped((2**32,))
    assert [clock(2**32 - 10), clock(20)] == [2**32 - 10, 2**32 + 20]


def test_dots_come_from_a_terminal_with_the_half_line_at_the_start_passed_over(terminal):
    def lines(number):
        return b"%d,40,500,600\r\n" % (number % 900) if number else b"0,600\r\n"

    terminal.send(lines)
    with open_live(f"serial:{terminal.path}", camera_of()) as source:
        assert (source.gives_dots, source.camera, source.size_px) == (True, "eye", (1024, 768))
        seen = take(source, 20)
    assert [frame.image for frame, _ in seen] == [None] * 20
    first = seen[0][1].xy[0, 0] - seen[0][0].index
    assert [(dots.xy - [[first, 0], [0, 0]]).tolist() for _, dots in seen] == [
        [[frame.index, 40], [500, 600]] for frame, _ in seen
    ]
    assert (np.diff([frame.capture_ns for frame, _ in seen]) > 0).all()
    assert [finding.code for finding in source.findings] == ["noise-unlearnt"]


def test_garbage_is_counted_and_told_and_the_rest_comes_through(terminal):
    def lines(number):
        return b"1\x00\xff2,#\n" if number % 5 == 4 else b"10,20\n"

    terminal.send(lines)
    with open_live(f"serial:{terminal.path}", camera_of()) as source:
        seen = take(source, 40)
    assert all(dots.xy.tolist() == [[10, 20]] for _, dots in seen)
    assert seen[-1][0].index == pytest.approx(40 * 5 / 4, abs=3)  # the garbled count as lost
    finding = source.findings[-1]
    assert finding.code == "lines-garbled"
    garbled, whole = (int(word) for word in finding.given.split() if word.isdigit())
    assert garbled == pytest.approx(whole / 5, abs=2)


def test_a_wrong_format_is_told_after_the_first_lines(terminal):
    terminal.send(lambda number: b"x=5 y=6\n")
    with open_live(f"serial:{terminal.path}", camera_of()) as source:
        deadline_s = time.monotonic() + 5.0
        while len(source.findings) < 2 and time.monotonic() < deadline_s:
            time.sleep(0.02)
    assert str(source.findings[1]) == (
        f"serial:{terminal.path} = 'x=5 y=6' holds what is no number, as do all the first 20 "
        "lines; compare the rig's table lines with what the sensor sends, and its baud."
    )


def test_the_sensors_clock_and_count_tell_times_and_losses(terminal):
    def lines(number):
        count = number + number // 10  # every tenth is missing
        return b"%d %d 100 200\n" % ((250 + count) % 256, (4_294_900_000 + 10_000 * count) % 2**32)

    terminal.send(lines, period_s=0.0105)
    camera = camera_of(separator=" ", before=["count", "time-us"])
    with open_live(f"serial:{terminal.path}", camera, delay_s=0.003) as source:
        seen = take(source, 250)
        now_ns = time.monotonic_ns()
    frames = [frame for frame, _ in seen]
    indices = np.array([frame.index for frame in frames])
    assert indices[-1] > len(frames) + 15
    assert source.dropped >= indices[-1] + 1 - len(frames)
    # The sensor stamps 10 ms a count, while it sends a little slower: its own clock is shown.
    even_ns = (np.diff([frame.capture_ns for frame in frames]) / np.diff(indices))[-50:]
    assert np.abs(even_ns - 10_000_000).max() < 2_500_000
    assert frames[-1].capture_std_ns > 0
    assert now_ns - frames[-1].capture_ns >= 4_000_000  # half the exposure and the delay
    assert source.times == "the sensor's clock, on the host's"


def test_a_cut_line_is_found_again():
    def serve(listener, stopping):
        while not stopping.is_set():
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            with connection:
                for _ in range(30):
                    with contextlib.suppress(OSError):
                        connection.sendall(b"10,20\n")
                    time.sleep(0.01)

    listener = socket.create_server(("127.0.0.1", 0))
    stopping = threading.Event()
    server = threading.Thread(target=serve, args=(listener, stopping), daemon=True)
    server.start()
    address = f"serial:socket://127.0.0.1:{listener.getsockname()[1]}"
    with open_live(address, camera_of()) as source:
        seen = take(source, 60)
    stopping.set()
    listener.shutdown(socket.SHUT_RDWR)
    listener.close()
    server.join(3.0)
    assert len(seen) == 60
    assert source.reconnects >= 1
    assert source.faults[0].detail.startswith(f"{address} broke: ")


def test_a_terminal_pulled_out_is_a_break_and_no_crash(terminal):
    terminal.send(lambda number: b"10,20\n")
    with open_live(f"serial:{terminal.path}", camera_of(), patience_s=0.3) as source:
        take(source, 5)
        terminal.stopping.set()
        terminal.thread.join()
        os.close(terminal.far)
        terminal.far = -1  # the near end stays, so that nobody else is given its number
        list(source)
    codes = [finding.code for finding in source.findings]
    assert codes == ["noise-unlearnt", "source-broke", "source-gone"]


def test_a_port_that_is_not_there_and_a_rig_without_lines_are_said_so():
    with pytest.raises(RushlightError, match=r"^serial:/dev/none is not there; "):
        open_live("serial:/dev/none", camera_of())
    with pytest.raises(RushlightError, match=r'give its camera a table "lines" with fields'):
        open_live("serial:/dev/none")


def test_a_sensor_whose_noise_is_learnt_is_not_asked_to_learn_it(terminal):
    terminal.send(lambda number: b"10,20\n")
    with open_live(f"serial:{terminal.path}", camera_of(), noise=LEARNT) as source:
        take(source, 3)
        assert source.findings == []


def test_a_silent_sensor_is_open_and_can_be_stopped(terminal):
    with open_live(f"serial:{terminal.path}", camera_of()) as source:
        assert math.isnan(source.rate_hz())
        threading.Timer(0.2, source.stop).start()
        assert list(source) == []
