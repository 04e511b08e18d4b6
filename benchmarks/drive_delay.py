"""How long a light takes from the camera to an event in a browser, and what of it is ours.

Made-up frames of 640 × 480 with two moving dots come at 120 Hz over a loopback socket from a
process of their own, each stamped with the host's monotonic clock as its picture is made: what is
measured is the delay beyond the frame's own period. They go through detection, linking, map and
outputs to a real headless Chromium, whose page notes every pointer event as its handler runs. The
page's clock is set by pings; the doubt of that is printed.

The peer: a bare server of the library websockets, in a process of its own too, that sends messages
of the same text at the same rate straight to the same browser, which parses them and dispatches
nothing. Its delay is that of any socket to any page on this machine, and the ratio is ours, from
the tracker's sending to the event, over it. Both run at the same time, under the same load.

The gate: the 95th percentile from capture to event is 8 ms or less, the median over the rounds in
which the machine was calm. Calm is a round in which the source of frames, which only sleeps until
each is due, woke within 1 ms in 95 of 100 cases: where even that is late, other work holds the
machine. Without a calm round the 95th percentile is not judged, and that is said; a median above
8 ms fails in any case. No camera and no display took part: what they add is not in these figures.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import multiprocessing
import shutil
import socket
import struct
import sys
import tempfile
import time
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.drive.output import Display, Results
from rushlight.drive.outputs import Outputs, open_outputs
from rushlight.drive.pointer import PointerOutput
from rushlight.records.dots import Frame
from rushlight.records.registration import CameraMap, Registration, Validity, Verdict
from rushlight.records.rig import Drive
from rushlight.see.detect import Detector
from rushlight.see.link import Linker
from rushlight.see.sensor import SensorNoise
from rushlight.track.filter import filter_maker
from rushlight.track.following import Follower
from rushlight.track.identity import Identity
from rushlight.track.mapping import SurfaceMap

RATE_HZ = 120.0
GOAL_MS = 8.0
CALM_MS = 1.0
WIDTH, HEIGHT = 640, 480
HEAD = struct.Struct("<qqq")
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu"]
SPAWN = multiprocessing.get_context("spawn")
SETTLING = 60  # frames and messages at the start of a round that are not counted

OURS_PAGE = """<!doctype html><body style="margin:0;height:100vh">
<script type="module">
import {state} from "URLpointer.js";
window.noted = []; window.state = state;
document.body.addEventListener("pointermove", e => {
  const now = performance.now();
  noted.push([now - e.rushlight.captureTime, now - e.rushlight.sentTime, e.pointerId]);
});
</script></body>"""

PEER_PAGE = """<!doctype html><body><script>
window.noted = []; window.doubt = 1e9;
const ws = new WebSocket("ws://127.0.0.1:PORT");
let offset = NaN, pings = 0;
ws.onopen = () => { const timer = setInterval(() => {
  ws.send(String(performance.now())); if (++pings > 20) clearInterval(timer); }, 25); };
ws.onmessage = ({data}) => {
  const now = performance.now(), m = JSON.parse(data);
  if ("pong" in m) {
    const trip = now - m.pong;
    if (trip / 2 < doubt) { doubt = trip / 2; offset = m.server_ms - (m.pong + now) / 2; }
  } else noted.push(now + offset - m.sent_ms);
};
</script></body>"""


def background() -> np.ndarray:
    """A dark picture with noise."""
    noise = np.random.default_rng(3).normal(12.0, 1.5, (HEIGHT, WIDTH))
    return np.clip(np.rint(noise), 0, 255).astype(np.uint8)


def picture(dark: np.ndarray, time_s: float) -> np.ndarray:
    """Two round dots that go in circles, once in two seconds, where they are at a time."""
    image = dark.copy()
    turn = np.pi * time_s
    for middle, way in ((180.0, 1.0), (460.0, -1.0)):
        x, y = middle + 90.0 * np.cos(way * turn), 240.0 + 90.0 * np.sin(way * turn)
        left, top = int(x) - 8, int(y) - 8
        rows, columns = np.mgrid[top : top + 17, left : left + 17]
        dot = 150.0 * np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / (2.0 * 1.6**2))
        image[top : top + 17, left : left + 17] += np.rint(dot).astype(np.uint8)
    return image


def camera(port: int, frames: int) -> None:
    """The process in the camera's stead; a frame shows the moment that it is stamped with."""
    dark = background()
    with socket.create_connection(("127.0.0.1", port)) as to:
        to.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        due_s = time.monotonic() + 0.1
        for index in range(frames):
            due_s += 1.0 / RATE_HZ
            waits = due_s > time.monotonic()
            time.sleep(max(0.0, due_s - time.monotonic()))
            shown_ns = time.monotonic_ns()
            late_ns = shown_ns - round(due_s * 1e9) if waits else 0
            pixels = picture(dark, shown_ns * 1e-9).tobytes()
            to.sendall(HEAD.pack(index, shown_ns, late_ns) + pixels)


def received(connection: socket.socket) -> Any:
    """Frames from the loopback source and how late it woke [ns], until it ends."""
    size = HEAD.size + WIDTH * HEIGHT
    while True:
        buffer = bytearray(size)
        view, got = memoryview(buffer), 0
        while got < size:
            more = connection.recv_into(view[got:])
            if more == 0:
                return
            got += more
        index, capture_ns, late_ns = HEAD.unpack_from(buffer)
        image = np.frombuffer(buffer, np.uint8, offset=HEAD.size).reshape(HEIGHT, WIDTH)
        yield Frame("beam", index, capture_ns, 0.0, image), late_ns


def follower() -> Follower:
    """A tracker of an invented wall of 2.56 × 1.92 m."""
    registration = Registration(
        maps=[
            CameraMap(
                camera="beam",
                camera_matrix=[[500.0, 0, 320.0], [0, 500.0, 240.0], [0, 0, 1]],
                distortion=[0.0] * 5,
                surface_from_normalised=[[2.0, 0, 1.28], [0, -2.0, 0.96], [0, 0, 1]],
                camera_position_m=(1.28, 0.96, 2.0),
            )
        ],
        parameters=[],
        estimate=[],
        cov=[],
        flatness_m=[0.0] * 7,
        mean_height_m=0.0,
        clock_offset_ns=[0],
        touches=[],
        valid_for=Validity(
            camera="beam", size_px=(WIDTH, HEIGHT), surface="wall", surface_size_m=(2.56, 1.92)
        ),
        rms_residual_m=0.002,
        touch_std_m=0.002,
        verdict=Verdict(vouched=True, reasons=["invented"]),
    )
    return Follower(
        detect=Detector(WIDTH, HEIGHT, SensorNoise.unknown()),
        linker=Linker(),
        new_filter=filter_maker("none"),
        identity=Identity(["stylus-wren", "stylus-lark"], None, 3.0),
        surface_map=SurfaceMap(registration, "beam", (WIDTH, HEIGHT)),
    )


def our_round(page: Any, outputs: Outputs, frames: int) -> tuple[np.ndarray, float, float]:
    """Delays (N, 2) [ms] from capture and from sending to the event; the tracker's; lateness."""
    page.evaluate("noted.length = 0")
    tracker = follower()
    spent_ms, late_ms = [], []
    with socket.create_server(("127.0.0.1", 0)) as server:
        source = SPAWN.Process(
            target=camera, args=(server.getsockname()[1], frames + SETTLING), daemon=True
        )
        source.start()
        connection, _ = server.accept()
        with connection:
            for frame, late_ns in received(connection):
                followed = tracker.step(frame)
                outputs.put(Results(frame.index, frame.capture_ns, followed.fixes, followed.events))
                late_ms.append(late_ns * 1e-6)
                spent_ms.append((time.monotonic_ns() - frame.capture_ns) * 1e-6)
        source.join()
    page.wait_for_timeout(200)
    noted = np.array(page.evaluate("noted"), float)[2 * SETTLING :]
    return noted[:, :2], float(np.median(spent_ms)), float(np.quantile(late_ms, 0.95))


def peer_server(pipe: Connection, messages: int, text: str) -> None:
    """The bare server: answers pings, and sends the same text at the same rate when told."""
    from websockets.asyncio.server import serve

    async def main() -> None:
        pages: set[Any] = set()

        async def handle(ws: Any) -> None:
            pages.add(ws)
            with contextlib.suppress(Exception):
                async for asked in ws:
                    now_ms = time.monotonic_ns() * 1e-6
                    await ws.send(json.dumps({"pong": float(asked), "server_ms": now_ms}))

        loop = asyncio.get_running_loop()
        async with serve(handle, "127.0.0.1", 0, compression=None) as server:
            pipe.send(server.sockets[0].getsockname()[1])
            while await loop.run_in_executor(None, pipe.recv):
                due_s = time.monotonic()
                for _ in range(messages + SETTLING):
                    due_s += 1.0 / RATE_HZ
                    await asyncio.sleep(max(0.0, due_s - time.monotonic()))
                    sent_ms = round(time.monotonic_ns() * 1e-6, 3)
                    for ws in pages:
                        await ws.send(f'{{"sent_ms":{sent_ms},{text}}}')
                pipe.send("done")

    asyncio.run(main())


def peer_delays(page: Any, pipe: Connection) -> np.ndarray:
    """Delays (N,) [ms] from sending to the page's handler, of the round that was begun."""
    while not pipe.poll():
        page.wait_for_timeout(20)
    pipe.recv()
    page.wait_for_timeout(200)
    return np.array(page.evaluate("noted.splice(0)"), float)[SETTLING:]


def percentiles(values: np.ndarray) -> tuple[float, float]:
    """Median and 95th percentile."""
    return float(np.median(values)), float(np.quantile(values, 0.95))


def run(rounds: int, seconds: float) -> int:
    """Measure, print, judge; the exit code."""
    from playwright.sync_api import sync_playwright

    frames = round(seconds * RATE_HZ)
    display = Display((2.56, 1.92), (1280, 960), "wall")
    own_row = '[1,"stylus-wren","move",612.345,333.123,123456.789]'
    text = f'"steps":[{own_row},{own_row}]'
    pipe, theirs = SPAWN.Pipe()
    peer = SPAWN.Process(target=peer_server, args=(theirs, frames, text), daemon=True)
    peer.start()
    port = pipe.recv()
    tracker, dark = follower(), background()
    for index in range(20):  # kernels are loaded outside the measurement
        at_s = index / RATE_HZ
        tracker.step(Frame("beam", index, round(at_s * 1e9), 0.0, picture(dark, at_s)))
    table = []
    with (
        open_outputs(["pointer"], display, Drive(pointer="127.0.0.1:0")) as outputs,
        sync_playwright() as playwright,
        tempfile.TemporaryDirectory() as folder,
    ):
        pointer = outputs.outputs[0]
        assert isinstance(pointer, PointerOutput)
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        pages = []
        for name, body in (
            ("ours", OURS_PAGE.replace("URL", pointer.url)),
            ("peer", PEER_PAGE.replace("PORT", str(port))),
        ):
            file = Path(folder, f"{name}.html")
            file.write_text(body)
            page = browser.new_context(viewport={"width": 1280, "height": 960}).new_page()
            page.goto(file.as_uri())
            page.wait_for_timeout(1500)
            pages.append(page)
        print(f"Chromium {browser.version}, {frames} frames a round at {RATE_HZ:.0f} Hz, two dots")
        print(
            "round  capture→event p50 p95   tracker p50   sent→event p50 p95   bare p50 p95  [ms]"
        )
        for number in range(1, rounds + 1):
            pipe.send(True)
            delays, tracker_ms, late_ms = our_round(pages[0], outputs, frames)
            bare = peer_delays(pages[1], pipe)
            whole, ours, theirs_ms = (
                percentiles(each) for each in (delays[:, 0], delays[:, 1], bare)
            )
            table.append((*whole, *ours, *theirs_ms, len(delays), late_ms))
            print(
                f"{number:5d}  {whole[0]:17.2f} {whole[1]:4.2f} {tracker_ms:13.2f} {ours[0]:16.2f} "
                f"{ours[1]:4.2f} {theirs_ms[0]:13.2f} {theirs_ms[1]:4.2f} {late_ms:10.2f}"
            )
        doubts = pages[0].evaluate("state.doubt"), pages[1].evaluate("doubt")
        browser.close()
    pipe.send(False)
    peer.join(5.0)
    rows = np.array(table)
    calm = rows[rows[:, 7] <= CALM_MS]
    print(f"doubt of the pages' clocks: ours ±{doubts[0]:.2f} ms, the peer's ±{doubts[1]:.2f} ms")
    p50, p95 = (float(np.median(rows[:, ours] / rows[:, ours + 2])) for ours in (2, 3))
    print(f"ratio, sent→event over the bare socket, median of rounds: p50 {p50:.2f}, p95 {p95:.2f}")
    expected = 2 * frames
    noted = rows[:, 6]
    print(
        f"moves noted: {noted.min():.0f} to {noted.max():.0f} of {expected} a round; "
        f"{pointer.lost} places were overtaken by newer ones on their way"
    )
    print(f"goal: p95 of capture→event ≤ {GOAL_MS:.0f} ms; ", end="")
    if noted.max() < 0.5 * expected or np.median(rows[:, 0]) > GOAL_MS:
        print("NOT MET: too few events, or even the median is above it")
        return 1
    if len(calm) == 0:
        print("NOT JUDGED: the machine was busy with other work in every round")
        return 0
    p95_ms = float(np.median(calm[:, 1]))
    met = p95_ms <= GOAL_MS
    print(
        f"{p95_ms:.2f} ms in {len(calm)} calm of {len(rows)} rounds:", "met" if met else "NOT MET"
    )
    return 0 if met else 1


def main() -> int:
    """Read the options."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="under a minute")
    quick = parser.parse_args().quick
    if not Path(CHROMIUM).exists():
        print("no Chromium here: the delay to a browser was NOT measured", file=sys.stderr)
        return 1
    return run(*((7, 2.0) if quick else (20, 6.0)))


if __name__ == "__main__":
    sys.exit(main())
