"""Pictures over HTTP, from a server of this test on the loopback: no camera was at hand."""

import io
import itertools
import math
import threading
import time
from email.message import Message
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from rushlight.capture.address import masked
from rushlight.capture.feed import SourceBroken
from rushlight.capture.jpeg_end import JpegEnd
from rushlight.capture.open_live import open_live
from rushlight.capture.parts import parts_of
from rushlight.errors import RushlightError


def jpeg(level, size_px=(64, 48)):
    """A picture of one grey level, as JPEG."""
    file = io.BytesIO()
    Image.new("L", size_px, level).save(file, "jpeg", quality=95)
    return file.getvalue()


class Server(ThreadingHTTPServer):
    """Sends pictures whose grey level counts up; can be cut and restored."""

    daemon_threads = True
    allow_reuse_address = True

    def __init__(self, port=0, **how):
        self.how = {"length": True, "stamp": False, "dashes": False, "period_s": 0.02,
                    "after": b"\r\n"} | how  # fmt: skip
        self.sent_ns = []
        self.cut = threading.Event()
        self.sent = 0
        super().__init__(("127.0.0.1", port), Handler)
        self.address = f"http://127.0.0.1:{self.server_port}/video"
        threading.Thread(target=self.serve_forever, args=(0.02,), daemon=True).start()

    def handle_error(self, request, client_address):
        """A client that went away is nothing to tell."""

    def close(self):
        self.cut.set()
        self.shutdown()
        self.server_close()


class Handler(BaseHTTPRequestHandler):
    def log_message(self, *args):
        """Tests keep quiet."""

    def do_GET(self):
        if self.path == "/moved":
            self.send_response(302)
            self.send_header("Location", "/video")
            self.end_headers()
        elif self.path == "/page":
            self.answer(200, "text/html", b"<html></html>")
        elif self.path == "/picture":
            self.answer(200, "image/jpeg", jpeg(9))
        elif self.path == "/locked" and self.headers["Authorization"] != "Basic YW5uOnNlc2FtZTQ=":
            self.answer(401, "text/plain", b"")
        elif self.path in ("/video", "/locked"):
            self.stream()
        else:
            self.answer(404, "text/plain", b"")

    def answer(self, code, kind, content):
        self.send_response(code)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(content)))
        self.end_headers()
        self.wfile.write(content)

    def stream(self):
        how, server = self.server.how, self.server
        boundary = "--frame" if how["dashes"] else "frame"
        self.send_response(200)
        self.send_header("Content-Type", f"multipart/x-mixed-replace; boundary={boundary}")
        self.end_headers()
        while not server.cut.wait(how["period_s"]):
            picture = jpeg(server.sent % 250)
            head = "--frame\r\nContent-Type: image/jpeg\r\n"
            if how["length"]:
                head += f"Content-Length: {len(picture)}\r\n"
            if how["stamp"]:
                head += f"X-Timestamp: {5000.0 + time.monotonic():.6f}\r\n"
            server.sent_ns.append(time.monotonic_ns())
            # Some cameras end a part only with the next: nothing follows the picture.
            self.wfile.write(head.encode() + b"\r\n" + picture + how["after"])
            server.sent += 1


@pytest.fixture
def serve():
    """Starts servers that are closed after the test."""
    servers = []

    def start(**how):
        servers.append(Server(**how))
        return servers[-1]

    yield start
    for server in servers:
        server.close()


def take(source, number):
    return [frame for frame, _ in zip(source, range(number), strict=False)]


@pytest.mark.parametrize("length", [True, False])
@pytest.mark.parametrize("dashes", [True, False])
def test_pictures_come_in_order_with_rising_times_whatever_the_form(serve, length, dashes):
    server = serve(length=length, dashes=dashes)
    with open_live(server.address) as source:
        frames = take(source, 8)
        assert (source.size_px, source.simulated) == ((64, 48), False)
    levels = [int(np.median(frame.image)) for frame in frames]
    assert np.array_equal(np.diff(levels), np.diff([frame.index for frame in frames]))
    assert (np.diff([frame.capture_ns for frame in frames]) > 0).all()
    assert all(math.isnan(frame.capture_std_ns) for frame in frames)
    assert source.times == "arrival, by the host's clock"


@pytest.mark.parametrize("after", [b"\r\n", b""])
def test_no_picture_waits_for_the_next_where_lengths_are_not_told(serve, after):
    server = serve(length=False, after=after, period_s=0.4)
    late_s = []
    with open_live(server.address) as source:
        for frame in itertools.islice(source, 5):
            number = int(np.median(frame.image))
            late_s.append((time.monotonic_ns() - server.sent_ns[number]) * 1e-9)
    # Half a frame at most, on a machine that may be busy; a frame late would be 0.4 s or more.
    assert np.median(late_s) < 0.2


def test_the_cameras_own_stamps_are_taken_where_it_sends_them(serve):
    server = serve(stamp=True)
    with open_live(server.address, exposure_s=0.004, delay_s=0.010) as source:
        frames = take(source, 100)
        now_ns = time.monotonic_ns()
        assert source.rate_hz() == pytest.approx(50.0, rel=0.6)
    assert source.times == "the stream's stamps, on the host's clock"
    assert frames[-1].capture_std_ns < 20_000_000
    # Half the exposure and the delay are taken off.
    assert 12_000_000 <= now_ns - frames[-1].capture_ns < 100_000_000


def test_a_stream_cut_midway_is_found_again_when_its_server_is_back(serve):
    server = serve()
    port = server.server_port
    with open_live(server.address) as source:
        frames = take(source, 5)
        server.close()
        later = []
        taker = threading.Thread(target=lambda: later.extend(take(source, 5)))
        taker.start()
        time.sleep(0.5)
        assert len(later) < 5
        serve(port=port)
        taker.join(5.0)
        assert len(later) == 5
    assert source.reconnects >= 1
    assert later[-1].index > frames[-1].index
    assert [fault.kind for fault in source.faults[:2]] == ["fault", "fault"]
    assert [finding.code for finding in source.findings] == ["source-broke"]


def test_a_silent_stream_counts_as_broken(serve, monkeypatch):
    monkeypatch.setattr("rushlight.capture.multipart.SILENCE_S", 0.3)
    server = serve()
    with open_live(server.address) as source:
        take(source, 3)
        server.how["period_s"] = 30.0
        deadline_s = time.monotonic() + 5.0
        while not source.faults and time.monotonic() < deadline_s:
            time.sleep(0.02)
    assert "fell silent" in source.faults[0].detail


def test_a_slow_taker_misses_frames_and_knows_how_many(serve):
    server = serve()
    with open_live(server.address) as source:
        frames = []
        for frame in source:
            frames.append(frame)
            dropped = source.dropped
            time.sleep(0.1)
            if len(frames) == 6:
                break
    # All but those that came since the last was taken are either taken or counted.
    missing = frames[-1].index + 1 - len(frames)
    assert missing > 6
    assert 0 <= dropped - missing <= 1


def test_a_name_and_password_log_in_and_are_never_shown(serve):
    server = serve()
    open_address = server.address.replace("/video", "/locked")
    with pytest.raises(RushlightError, match="asks for a name and password that it accepts"):
        open_live(open_address)
    with open_live(open_address.replace("127", "ann:sesame4@127", 1)) as source:
        assert len(take(source, 2)) == 2
        assert source.name == open_address.replace("127", "ann:…@127", 1)
    with pytest.raises(RushlightError) as caught:
        open_live(open_address.replace("127", "ann:wrong@127", 1))
    assert "wrong" not in str(caught.value)
    assert masked("http://192.0.2.7/a@b:c") == "http://192.0.2.7/a@b:c"


def test_a_moved_stream_is_followed(serve):
    with open_live(serve().address.replace("/video", "/moved")) as source:
        assert len(take(source, 2)) == 2


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("/page", "gives a page instead of a stream of pictures; give the address of the stream"),
        ("/picture", "gives a single picture instead of a stream of pictures"),
        ("/nothing", "answers 404 Not Found; check the camera, its cable and its address"),
    ],
)
def test_what_is_no_stream_is_said_in_one_sentence(serve, path, said):
    with pytest.raises(RushlightError) as caught:
        open_live(serve().address.replace("/video", path))
    assert said in str(caught.value)
    assert str(caught.value).count("\n") == 0


def test_an_address_where_nothing_listens(serve):
    server = serve()
    server.close()
    with pytest.raises(RushlightError, match=r"cannot be reached \(Connection refused\)"):
        open_live(server.address)
    with pytest.raises(RushlightError, match="is not the address of a camera"):
        open_live("http://:80/")
    with pytest.raises(RushlightError, match="is not the address of a camera"):
        open_live("http://192.0.2.7:99999/")


contents = st.binary(max_size=200).filter(
    lambda content: b"--frame" not in content and JpegEnd().find(content) < 0
)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(contents, st.booleans()), max_size=6), st.booleans())
def test_every_part_comes_back_whole(parts, dashes):
    stream = b"preamble\r\n"
    for content, counted in parts:
        length = b"Content-Length: %d\r\n" % len(content) if counted else b""
        stream += b"--frame\r\n" + length + b"\r\n" + content + b"\r\n"
    stream += b"--frame--\r\n"
    read = list(parts_of(io.BytesIO(stream), b"--frame" if dashes else b"frame"))
    assert all(isinstance(headers, Message) for headers, _ in read)
    assert [content for _, content in read] == [content for content, _ in parts]


def segment(code, held=b""):
    """A marker with its segment."""
    return bytes([0xFF, code]) + (len(held) + 2).to_bytes(2, "big") + held


@st.composite
def made_jpegs(draw):
    """Bytes built as JPEG prescribes, with nothing that a decoder could see in them."""
    picture = b"\xff\xd8"
    for _ in range(draw(st.integers(0, 4))):
        code = draw(st.sampled_from([0xC0, 0xC4, 0xDB, 0xE0, 0xE1, 0xFE]))
        # A thumbnail's own end within a segment is none of the picture.
        held = draw(st.binary(max_size=40)) + draw(st.sampled_from([b"", b"\xff\xd8\xff\xd9"]))
        picture += draw(st.sampled_from([b"", b"\xff", b"\xff\xff"])) + segment(code, held)
    for _ in range(draw(st.integers(0, 3))):
        picture += segment(0xDA, draw(st.binary(max_size=8)))
        coded = draw(st.binary(max_size=120)).replace(b"\xff", b"\xff\x00")
        picture += coded + draw(st.sampled_from([b"", b"\xff\xd3", b"\xff\xd0\x07"]))
    return picture + b"\xff\xd9"


@settings(max_examples=300, deadline=None)
@given(made_jpegs(), st.binary(max_size=40), st.data())
def test_the_end_of_a_picture_is_found_as_its_bytes_come(picture, after, data):
    stream = picture + after
    cuts = data.draw(st.lists(st.integers(0, len(stream)), max_size=6).map(sorted))
    end = JpegEnd()
    for cut in cuts:
        assert end.find(stream[:cut]) == (len(picture) if cut >= len(picture) else -1)
    assert end.find(stream) == len(picture)
    assert not end.lost


@pytest.mark.parametrize(
    "how",
    [
        {"progressive": True},
        {"optimize": True},
        {"restart_marker_rows": 1},
        {"exif": b"Exif\0\0" + jpeg(3)},
        {"comment": b"\xff\xd9"},
    ],
)
def test_the_end_of_an_encoders_pictures(how):
    noise = np.random.default_rng(4).integers(0, 256, (48, 64), dtype=np.uint8)
    file = io.BytesIO()
    Image.fromarray(noise).save(file, "jpeg", quality=90, **how)
    whole = file.getvalue()
    assert JpegEnd().find(whole + b"\xff\xd9 and more") == len(whole)
    assert JpegEnd().find(whole[:-1]) == -1


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=200), st.lists(st.integers(0, 200), max_size=4))
def test_the_end_of_rubbish_is_never_beyond_it_and_does_not_depend_on_the_pieces(content, cuts):
    for rubbish in (content, b"\xff\xd8" + content):
        whole = JpegEnd().find(rubbish)
        assert -1 <= whole <= len(rubbish)
        pieces = JpegEnd()
        found = [pieces.find(rubbish[:cut]) for cut in sorted(cuts)]
        assert all(end in (-1, whole) for end in found)
        assert pieces.find(rubbish) == whole


class Trickle(io.BytesIO):
    """Gives a few bytes at a time, as a network may."""

    def read1(self, amount=-1):
        return super().read1(3)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(made_jpegs(), st.booleans()), max_size=4), st.booleans())
def test_pictures_without_lengths_come_whole_whatever_ends_their_parts(pictures, trickle):
    pictures = [(picture, ended) for picture, ended in pictures if b"--frame" not in picture]
    stream = b""
    for picture, ended in pictures:
        stream += b"--frame\r\n\r\n" + picture + (b"\r\n" if ended else b"")
    opened = (Trickle if trickle else io.BytesIO)(stream)  # ends without a last boundary
    assert [content for _, content in parts_of(opened, b"frame")] == [each for each, _ in pictures]


def test_a_picture_cut_short_ends_at_the_next_boundary():
    whole = jpeg(9)
    stream = b"--frame\r\n\r\n" + whole[:-40] + b"\r\n--frame\r\n\r\n" + whole + b"\r\n"
    assert [content for _, content in parts_of(io.BytesIO(stream), b"frame")] == [
        whole[:-40],
        whole,
    ]


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=400))
def test_rubbish_is_survived(content):
    stream = b"--frame\r\nContent-Length: 7\r\n\r\n1234567" + content
    try:
        first, *_ = parts_of(io.BytesIO(stream), b"frame")
    except SourceBroken:
        return
    assert first[1] == b"1234567"
