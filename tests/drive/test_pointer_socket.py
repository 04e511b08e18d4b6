"""The pointer server by bare sockets: who may listen, what is said, what a stuck page costs."""

import asyncio
import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from dataclasses import replace

import pytest
from websockets.asyncio.client import connect
from websockets.exceptions import ConnectionClosed, InvalidStatus

from rushlight.drive.listening import listen
from rushlight.drive.origin import may_listen
from rushlight.drive.output import Step
from rushlight.drive.pointer import PointerOutput
from rushlight.errors import RushlightError


@pytest.fixture(scope="module")
def served():
    from rushlight.drive.output import Display

    output = PointerOutput(Display((2.4, 1.5), (1200, 750), "wall"), "127.0.0.1:0")
    yield output
    output.close()


def step(kind, n, carried="wren"):
    return Step(kind, 1, carried, float(n), 20.0, time.monotonic_ns())


def socket_url(output):
    return output.url.replace("http", "ws") + "pointer"


async def join(output, sock=None, **headers):
    return await connect(
        socket_url(output), compression=None, additional_headers=headers, proxy=None, sock=sock
    )


def small_socket(output):
    """A connection that holds little that was not read."""
    made = socket.socket()
    made.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    made.connect(("127.0.0.1", int(output.url.rstrip("/").rpartition(":")[2])))
    return made


def test_the_words_on_the_wire(served, make):
    async def talk():
        async with await join(served, Origin="http://localhost:5000") as ws:
            hello = json.loads(await ws.recv())["hello"]
            asked = time.monotonic_ns() * 1e-6
            await ws.send(json.dumps({"ping": 12.5}))
            pong = json.loads(await ws.recv())
            while not served.listening:
                await asyncio.sleep(0.01)
            lit = replace(step("down", 10.12345), detect_ns=time.monotonic_ns())
            sent_ns = served.put(make.results(0, 0), [lit])
            steps = json.loads(await ws.recv())
            for nonsense in ("", "[]", '{"ping": "x"}', '{"ping": null}', "{"):
                await ws.send(nonsense)
            await ws.send(json.dumps({"ping": 13}))
            assert json.loads(await ws.recv())["pong"] == 13
            return hello, asked, pong, sent_ns, steps

    hello, asked, pong, sent_ns, steps = asyncio.run(talk())
    assert hello == {"version": 1, "display_px": [1200, 750], "surface_m": [2.4, 1.5]}
    assert pong["pong"] == 12.5
    assert asked - 0.001 <= pong["server_ms"] < asked + 5000.0
    assert steps["sent_ms"] == pytest.approx(sent_ns * 1e-6, abs=0.001)
    [[pointer, carried, kind, x, y, capture_ms, detect_ms, map_ms]] = steps["steps"]
    assert (pointer, carried, kind, x, y) == (1, "wren", "down", 10.123, 20.0)
    assert steps["sent_ms"] - 5000.0 < capture_ms <= detect_ms <= steps["sent_ms"]
    assert map_ms is None  # not told


@pytest.mark.parametrize(
    "origin", ["https://stranger.example", "http://10.0.0.7:8790", "http://127.0.0.1.example"]
)
def test_a_strangers_page_is_refused(served, origin):
    async def talk():
        await join(served, Origin=origin)

    with pytest.raises(InvalidStatus) as refused:
        asyncio.run(talk())
    assert refused.value.response.status_code == 403


@pytest.mark.parametrize("origin", ["null", "http://127.0.0.1:80", "http://[::1]:1"])
def test_pages_of_this_machine_may_listen(served, origin):
    async def talk():
        async with await join(served, Origin=origin) as ws:
            return json.loads(await ws.recv())

    assert "hello" in asyncio.run(talk())


def test_names_that_a_stranger_points_here_are_no_way_in():
    assert not may_listen("http://stranger.example:8790", "stranger.example:8790", True)
    assert may_listen("http://192.168.1.5:8790", "192.168.1.5:8790", True)
    assert not may_listen("http://192.168.1.5:8790", "192.168.1.5:8790", False)
    assert not may_listen("http://192.168.1.6", "192.168.1.5:8790", True)
    assert may_listen(None, "127.0.0.1:8790", False)
    assert not may_listen(None, None, False)
    assert not may_listen("http://[", "127.0.0.1", False)


def test_files_are_served_with_a_strict_policy(served):
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    with opener.open(served.url) as page:
        assert "default-src 'self'" in page.headers["Content-Security-Policy"]
        text = page.read().decode()
    assert "http" not in text  # nothing is fetched from elsewhere
    with opener.open(served.url + "pointer.js") as module:
        assert module.headers["Access-Control-Allow-Origin"] == "*"
        assert module.headers["Content-Type"].startswith("text/javascript")


def test_an_address_in_use_is_told_in_one_sentence(served, display):
    port = served.url.rstrip("/").rpartition(":")[2]
    with pytest.raises(RushlightError, match=r"drive\.pointer = .* cannot be served on"):
        PointerOutput(display, f"127.0.0.1:{port}")


def test_a_stuck_page_holds_up_nobody_and_loses_places_only(served, make):
    """One page never reads; the other hears everything, and putting stays short."""

    async def talk():
        stuck = await join(served, small_socket(served))
        stuck.transport.pause_reading()
        async with await join(served) as ws:
            await ws.recv()
            while served.listening < 2:
                await asyncio.sleep(0.01)
            spent, heard = [], []

            async def listen():
                while not heard or heard[-1][2] != "up":
                    heard.extend(json.loads(await ws.recv())["steps"])

            listening = asyncio.create_task(listen())
            frames = 4000
            for n in range(frames):
                began = time.perf_counter()
                kind = "down" if n == 0 else "up" if n == frames - 1 else "move"
                served.put(make.results(n, n), [step(kind, n, 400 * "w")])
                spent.append(time.perf_counter() - began)
                if n % 8 == 0:
                    await asyncio.sleep(0)
            for _ in range(2000):  # what waits for room leaves with the next frame
                served.put(make.results(frames, frames), [])
                if listening.done():
                    break
                await asyncio.sleep(0.01)
            await asyncio.wait_for(listening, 20.0)
            assert served.listening == 2
            # The stuck page's losses are told while it is there, not only as it leaves.
            assert served.lost > 0
            stuck.transport.abort()
            return spent, heard

    spent, heard = asyncio.run(talk())
    assert heard[0][2] == "down"
    assert {row[2] for row in heard[1:-1]} == {"move"}
    places = [row[3] for row in heard]
    assert places == sorted(places)
    assert places[-1] == 3999
    until = time.monotonic() + 10.0
    while served.listening:
        assert time.monotonic() < until
        time.sleep(0.02)
    # The median, because the machine may be busy with other things.
    assert sorted(spent)[len(spent) // 2] < 1e-3


def test_the_end_closes_every_connection(display):
    output = PointerOutput(display, "127.0.0.1:0")

    async def talk():
        async with await join(output) as ws:
            await ws.recv()
            await asyncio.to_thread(output.close)
            with pytest.raises(ConnectionClosed):
                await asyncio.wait_for(ws.recv(), 10.0)

    asyncio.run(talk())
    output.close()
    assert output.put(None, [step("down", 1)]) == -1
    assert output.listening == 0


def test_opening_to_the_network_is_told(display):
    output = PointerOutput(display, "0.0.0.0:0")
    output.close()
    assert [finding.code for finding in output.findings] == ["pointer-open"]
    assert "everyone in it can watch" in str(output.findings[0])


def test_a_server_that_died_ends_the_output_with_one_finding(display, make):
    output = PointerOutput(display, "127.0.0.1:0")
    output._process.kill()
    output._process.join()
    for n in range(3):
        assert output.put(make.results(n, n), [step("move", n)]) == -1
    assert [finding.code for finding in output.findings] == ["output-ended"]
    output.close()


TRACKER = """
import os, signal, sys
from rushlight.drive.output import Display
from rushlight.drive.pointer import PointerOutput
if __name__ == "__main__":
    output = PointerOutput(Display((2.4, 1.5), (1200, 750)), "127.0.0.1:0")
    print(output.url, output._process.pid, flush=True)
    sys.stdin.readline()
    os.kill(os.getpid(), signal.SIGKILL)
"""


def test_a_killed_tracker_leaves_no_server_behind(tmp_path):
    program = tmp_path / "tracker.py"
    program.write_text(TRACKER)
    with subprocess.Popen(
        [sys.executable, str(program)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as running:
        url, _ = running.stdout.readline().split()
        port = int(url.rstrip("/").rpartition(":")[2])
        socket.create_connection(("127.0.0.1", port)).close()
        running.stdin.write("\n")
        running.stdin.flush()
        assert running.wait(20) == -signal.SIGKILL
    until = time.monotonic() + 10.0
    while True:
        try:
            socket.create_connection(("127.0.0.1", port)).close()
        except OSError:
            break
        assert time.monotonic() < until, "the server is still there"
        time.sleep(0.05)


@pytest.mark.skipif(sys.platform == "win32", reason="a group of processes is told otherwise there")
def test_ctrl_c_leaves_the_end_to_the_tracker(tmp_path):
    """Ctrl-C reaches the server as well; it must not die before the tracker has called off."""
    program = tmp_path / "tracker.py"
    program.write_text(
        TRACKER.replace(
            "    os.kill(os.getpid(), signal.SIGKILL)",
            "    import time; time.sleep(0.5)\n"
            "    print(output._process.is_alive(), flush=True)\n"
            "    output.close()\n"
            "    print(output._process.exitcode, flush=True)",
        )
    )
    with subprocess.Popen(
        [sys.executable, str(program)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as running:
        _, server = running.stdout.readline().split()
        os.kill(int(server), signal.SIGINT)
        running.stdin.write("\n")
        running.stdin.flush()
        assert running.stdout.read().split() == ["True", "0"]
        assert running.wait(20) == 0


def test_small_packets_do_not_wait_for_one_another():
    """Asyncio switches that waiting off for sockets whose protocol is named, and no others."""
    with listen("127.0.0.1", 0, "", "", "", "") as listening:
        assert listening.proto == socket.IPPROTO_TCP
