"""Cameras in the network, played by the tests: servers on loopback that can be cut and restored.

Forms: multipart over HTTP (RFC 2046, 5.1); RTSP (RFC 2326) with RTP inside its TCP connection,
and JPEG within RTP (RFC 2435, 3.1 and Appendix A; type 1 is 4:2:0, Q 255 sends its tables).
"""

from __future__ import annotations

import contextlib
import io
import socket
import struct
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from PIL import Image

LONGEST = 1300
"""Bytes of a payload in one RTP packet."""


def jpeg_of(picture, quality=95):
    """A grey picture (H, W) as JPEG with colours halved both ways, as cameras send it."""
    file = io.BytesIO()
    Image.fromarray(picture).convert("RGB").save(file, "jpeg", quality=quality, subsampling=2)
    return file.getvalue()


class Show:
    """What a camera sees: pictures at even times, over and over; it can be held still.

    Parameters
    ----------
    pictures
        JPEG files as bytes.
    rate_hz
        How many a second.
    """

    def __init__(self, pictures, rate_hz):
        self.pictures, self.rate_hz = pictures, rate_hz
        self._held = None
        self._number = 0

    def hold(self, number):
        """From now on show this picture alone; None goes on."""
        self._held = number

    def ticks(self, cut):
        """Numbers and pictures at their times, until it is cut."""
        began_s, tick = time.monotonic(), 0
        while not cut.wait(max(0.0, began_s + tick / self.rate_hz - time.monotonic())):
            if self._held is None:
                self._number += 1
            which = self._number % len(self.pictures) if self._held is None else self._held
            yield tick, self.pictures[which]
            tick += 1


class HttpCamera:
    """JPEG pictures over HTTP without their lengths."""

    def __init__(self, show, port=0):
        camera = self
        self.cut = threading.Event()

        class Handler(BaseHTTPRequestHandler):
            def log_message(self, *args):
                """Tests keep quiet."""

            def do_GET(self):
                self.send_response(200)
                self.send_header("Content-Type", "multipart/x-mixed-replace; boundary=frame")
                self.end_headers()
                for _, picture in show.ticks(camera.cut):
                    head = b"--frame\r\nContent-Type: image/jpeg\r\n\r\n"
                    self.wfile.write(head + picture + b"\r\n")

        class Server(ThreadingHTTPServer):
            daemon_threads = allow_reuse_address = True

            def handle_error(self, request, client_address):
                """A client that went away is nothing to tell."""

        self._server = Server(("127.0.0.1", port), Handler)
        self.port = self._server.server_port
        self.address = f"http://127.0.0.1:{self.port}/video"
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()

    def close(self):
        """Cut every connection."""
        self.cut.set()
        self._server.shutdown()
        self._server.server_close()


class RtspCamera:
    """The conversation of RTSP; what is described and played is a subclass's.

    Attributes
    ----------
    cut
        Set when every connection shall end.
    """

    def __init__(self, port=0):
        self.listener = socket.create_server(("127.0.0.1", port))
        self.port = self.listener.getsockname()[1]
        self.address = f"rtsp://127.0.0.1:{self.port}/live"
        self.cut = threading.Event()
        self.threads = [threading.Thread(target=self.accept, daemon=True)]
        self.threads[0].start()

    def description(self):
        """Lines of the session description (RFC 4566) from the media line on."""
        raise NotImplementedError

    def play(self, send):
        """Send RTP packets without their sequence: (payload kind, mark, stamp, payload)."""
        raise NotImplementedError

    def close(self):
        """Cut every connection."""
        self.cut.set()
        # Closing alone does not wake the thread that waits in accept.
        with contextlib.suppress(OSError):  # it was cut before
            self.listener.shutdown(socket.SHUT_RDWR)
        self.listener.close()
        for thread in self.threads:
            thread.join(3.0)

    def accept(self):
        while not self.cut.is_set():
            try:
                connection, _ = self.listener.accept()
            except OSError:
                return
            thread = threading.Thread(target=self.talk, args=(connection,), daemon=True)
            self.threads.append(thread)
            thread.start()

    def talk(self, connection):
        sequence = 65_500  # wraps soon

        def send(kind, mark, stamp, payload):
            nonlocal sequence
            packet = struct.pack(
                "!BBHII", 0x80, (0x80 if mark else 0) | kind, sequence & 0xFFFF,
                stamp & 0xFFFFFFFF, 42,
            ) + payload  # fmt: skip
            connection.sendall(struct.pack("!BBH", 0x24, 0, len(packet)) + packet)
            sequence += 1

        with connection, connection.makefile("rb") as asked:
            try:
                while self.answer(connection, asked) != "PLAY":
                    pass
                self.play(send)
            except (OSError, EOFError):
                return

    def answer(self, connection, asked):
        lines = []
        while (line := asked.readline().decode().strip()) or not lines:
            if not line:
                raise EOFError
            lines.append(line)
        method = lines[0].split()[0]
        fields = dict(line.split(": ", 1) for line in lines[1:])
        head, body = [], ""
        if method == "OPTIONS":
            head = ["Public: OPTIONS, DESCRIBE, SETUP, PLAY, TEARDOWN"]
        elif method == "DESCRIBE":
            own = ["v=0", "o=- 1 1 IN IP4 127.0.0.1", "s=test", "c=IN IP4 127.0.0.1", "t=0 0"]
            body = "\r\n".join([*own, *self.description(), "a=control:track1", ""])
            head = ["Content-Type: application/sdp", f"Content-Length: {len(body)}"]
        elif method == "SETUP":
            assert "RTP/AVP/TCP" in fields["Transport"]
            head = ["Transport: RTP/AVP/TCP;unicast;interleaved=0-1", "Session: 7"]
        elif method == "PLAY":
            head = ["Session: 7"]
        text = "\r\n".join(["RTSP/1.0 200 OK", f"CSeq: {fields['CSeq']}", *head, "", body])
        connection.sendall(text.encode())
        return method


class RtspJpegCamera(RtspCamera):
    """JPEG pictures within RTP."""

    def __init__(self, show, port=0):
        self.show = show
        super().__init__(port)

    def description(self):
        return ["m=video 0 RTP/AVP 26", "a=rtpmap:26 JPEG/90000"]

    def play(self, send):
        for number, picture in self.show.ticks(self.cut):
            stamp = round(90_000 * number / self.show.rate_hz)
            size_px, tables, coded = taken_apart(picture)
            for at in range(0, len(coded), LONGEST):
                piece = coded[at : at + LONGEST]
                sizes = (size_px[0] // 8, size_px[1] // 8)
                head = struct.pack("!IBBBB", at, 1, 255, *sizes)
                if at == 0:
                    head += struct.pack("!BBH", 0, 0, len(tables)) + tables
                send(26, at + len(piece) == len(coded), stamp, head + piece)


def taken_apart(picture):
    """Size, quantisation tables and coded data of a JPEG of one scan with the usual codes."""
    at, tables, size_px = 2, b"", None
    while True:
        code, length = picture[at + 1], int.from_bytes(picture[at + 2 : at + 4], "big")
        held = picture[at + 4 : at + 2 + length]
        if code == 0xDB:  # one or two tables of 64 bytes, each after its number
            tables += b"".join(held[k + 1 : k + 65] for k in range(0, len(held), 65))
        elif code == 0xC0:
            size_px = (int.from_bytes(held[3:5], "big"), int.from_bytes(held[1:3], "big"))
        at += 2 + length
        if code == 0xDA:
            return size_px, tables, picture[at:-2]
