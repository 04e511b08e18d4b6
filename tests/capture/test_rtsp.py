"""Pictures over RTSP, from a server of this test on the loopback: no camera was at hand.

The server speaks what RFC 2326 (RTSP) asks of a player's partner, sends RTP (RFC 3550) within
the same connection (RFC 2326, 10.12), and packs H.264 by RFC 6184: single units, and fragments
FU-A where a unit is long.
"""

import base64
import importlib.util
import threading
import time
from pathlib import Path

import av
import numpy as np
import pytest

from rushlight.capture.open_live import open_live
from rushlight.errors import RushlightError

_spec = importlib.util.spec_from_file_location("streams", Path(__file__).parents[1] / "streams.py")
streams = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(streams)

SIZE_PX = (160, 128)
RATE_HZ = 50
LONGEST = 600  # bytes of a packet's payload, so short that key pictures come in fragments


def scene(number):
    """A grey picture with a bright block whose row of 16 px tells the number, modulo 8."""
    image = np.full((SIZE_PX[1], SIZE_PX[0]), 60, np.uint8)
    row = 16 * (number % 8)
    image[row : row + 16, 16:144] = 220
    return image


def shown(image):
    """The number that a picture tells."""
    return int(np.argmax(image.reshape(8, 16, -1).mean(axis=(1, 2))))


def encoder():
    """An H.264 encoder that holds nothing back and sends its parameters with every key picture."""
    codec = av.CodecContext.create("libx264", "w")
    codec.width, codec.height, codec.pix_fmt = *SIZE_PX, "yuv420p"
    codec.framerate, codec.gop_size = RATE_HZ, 25
    codec.options = {"tune": "zerolatency", "preset": "ultrafast", "x264-params": "log-level=-1"}
    return codec


def units(packet):
    """The units of an encoded picture, without the marks between them."""
    pieces = bytes(packet).replace(b"\0\0\0\1", b"\0\0\1").split(b"\0\0\1")
    return [piece for piece in pieces if piece]


class Rtsp(streams.RtspCamera):
    """A server of one stream of H.264; can be cut and restored on the same port."""

    def __init__(self, port=0):
        self.sent_ns = {}
        super().__init__(port)

    def description(self):
        codec = encoder()
        frame = av.VideoFrame.from_ndarray(scene(0), format="gray").reformat(format="yuv420p")
        found = [unit for packet in codec.encode(frame) for unit in units(packet)]
        sets = ",".join(
            base64.b64encode(unit).decode() for unit in found if unit[0] & 0x1F in (7, 8)
        )
        return [
            "m=video 0 RTP/AVP 96",
            "a=rtpmap:96 H264/90000",
            f"a=fmtp:96 packetization-mode=1;sprop-parameter-sets={sets}",
        ]

    def play(self, send):
        codec = encoder()
        began_s = time.monotonic()
        number = 0
        while not self.cut.wait(max(0.0, began_s + number / RATE_HZ - time.monotonic())):
            frame = av.VideoFrame.from_ndarray(scene(number), format="gray")
            frame = frame.reformat(format="yuv420p")
            frame.pts = number
            payloads = [
                payload
                for packet in codec.encode(frame)
                for unit in units(packet)
                for payload in self.packed(unit)
            ]
            self.sent_ns[number] = time.monotonic_ns()
            for place, payload in enumerate(payloads):
                send(96, place == len(payloads) - 1, 90_000 * number // RATE_HZ, payload)
            number += 1

    @staticmethod
    def packed(unit):
        """A unit as it is, or in fragments FU-A (RFC 6184, 5.8)."""
        if len(unit) <= LONGEST:
            return [unit]
        pieces = [unit[k : k + LONGEST] for k in range(1, len(unit), LONGEST)]
        indicator, kind = unit[0] & 0xE0 | 28, unit[0] & 0x1F
        marks = [kind] * len(pieces)
        marks[0] |= 0x80
        marks[-1] |= 0x40
        return [bytes([indicator, mark]) + piece for mark, piece in zip(marks, pieces, strict=True)]


@pytest.fixture
def serve():
    """Starts servers that are closed after the test."""
    servers = []

    def start(port=0):
        servers.append(Rtsp(port))
        return servers[-1]

    yield start
    for server in servers:
        if not server.cut.is_set():
            server.close()


def test_pictures_packed_as_jpeg_are_those_that_were_sent():
    """Smooth ones, so that what the coder takes away is little."""
    down, across = np.mgrid[0:96, 0:160]
    pictures = [
        np.clip(40 + 8 * n + down + 0.3 * across, 0, 255).astype(np.uint8) for n in range(8)
    ]
    show = streams.Show([streams.jpeg_of(picture) for picture in pictures], RATE_HZ)
    server = streams.RtspJpegCamera(show)
    try:
        with open_live(server.address) as source:
            assert source.size_px == (160, 96)
            frames = take(source, 16)
    finally:
        server.close()
    off = np.array(
        [[np.abs(frame.image.astype(float) - one).mean() for one in pictures] for frame in frames]
    )
    assert off.min(axis=1).max() < 1.5
    numbers = off.argmin(axis=1)
    indices = np.array([frame.index for frame in frames])
    assert len(set((numbers - indices) % 8)) == 1


def take(source, number):
    return [frame for frame, _ in zip(source, range(number), strict=False)]


def test_pictures_come_whole_and_at_even_times_by_the_streams_own_stamps(serve):
    server = serve()
    with open_live(server.address) as source:
        assert (source.size_px, source.simulated) == (SIZE_PX, False)
        frames = take(source, 120)
        assert source.rate_hz() == pytest.approx(RATE_HZ, rel=0.6)
    numbers = np.array([shown(frame.image) for frame in frames])
    indices = np.array([frame.index for frame in frames])
    # Pictures tell their number modulo 8, however many were replaced before they were taken.
    assert len(set((numbers - indices) % 8)) == 1
    assert {int(frame.image.max()) // 20 for frame in frames} == {11}  # 220 within the coding
    # Once the line has settled, times are even to far less than the arrivals' own jitter.
    late = slice(60, None)
    even_ns = np.diff([frame.capture_ns for frame in frames[late]]) / np.diff(indices[late])
    assert np.abs(even_ns - 1e9 / RATE_HZ).max() < 5_000_000
    assert frames[-1].capture_std_ns < 20_000_000
    assert source.times == "the stream's stamps, on the host's clock"


def test_a_frame_is_told_to_be_as_old_as_it_is(serve):
    server = serve()
    with open_live(server.address) as source:
        frames = take(source, 100)
    server.close()
    # Which of the sent pictures it was is known modulo 8: the nearest in time is meant.
    wrong_ns = []
    for frame in frames[50:]:
        sent = [ns for number, ns in server.sent_ns.items() if number % 8 == shown(frame.image)]
        wrong_ns.append(min((frame.capture_ns - ns for ns in sent), key=abs))
    assert abs(np.median(wrong_ns)) < 30_000_000


def test_a_stream_cut_midway_is_found_again_when_its_server_is_back(serve):
    server = serve()
    with open_live(server.address) as source:
        frames = take(source, 5)
        server.close()
        later = []
        taker = threading.Thread(target=lambda: later.extend(take(source, 5)))
        taker.start()
        time.sleep(0.5)
        serve(server.port)
        taker.join(10.0)
        assert len(later) == 5
    assert source.reconnects >= 1
    assert later[-1].index > frames[-1].index
    assert source.findings[0].code == "source-broke"


def test_an_address_where_nothing_listens(serve):
    server = serve()
    server.close()
    with pytest.raises(RushlightError, match=r"cannot be opened \(Connection refused\)") as caught:
        open_live(server.address.replace("127", "ann:sesame4@127", 1))
    assert "sesame4" not in str(caught.value)
