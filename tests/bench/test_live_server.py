"""The live process over its sockets: a real server on loopback, and a simulated camera."""

import contextlib
import json
import os
import shutil
import signal
import socket
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from rushlight.bench.live.control import live_file, read_place, start_live
from rushlight.bench.live.pages import see_parts

SCENARIO = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall/rig.toml"
RIG = "wall"
WAIT_S = 90.0
# A test that waits for one socket leaves another unread, which must not count as its end.
EASY = {"compression": None, "max_size": None, "max_queue": None, "ping_interval": None}


def heard(ws, true, seconds=WAIT_S):
    """The first message that is so."""
    until = time.monotonic() + seconds
    while True:
        message = json.loads(ws.recv(max(0.01, until - time.monotonic())))
        if true(message):
            return message


def stage(name):
    return lambda message: message.get("is") == "state" and message["stage"] == name


def ended(pid, seconds=10.0):
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        try:
            if os.waitpid(pid, os.WNOHANG)[0] == pid:
                return True
        except ChildProcessError:
            return True
        time.sleep(0.02)
    return False


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("rigs")
    (made / RIG).mkdir()
    rig = SCENARIO.read_text().replace('outputs = ["session", "pointer"]', 'outputs = ["session"]')
    (made / RIG / "rig.toml").write_text(rig)
    return made


@pytest.fixture(scope="module")
def registered(folder):
    """The rig is registered on simulated footage, so that places on the wall are known."""
    from rushlight.jobs.register import register
    from rushlight.jobs.simulate import simulate

    rig = folder / RIG / "rig.toml"
    footage = folder / "footage"
    simulate(rig, "registration", footage, seed=5)
    register(footage, rig, folder / RIG / "registration.json")
    shutil.rmtree(footage)


@pytest.fixture
def place(folder):
    started = start_live(folder, "127.0.0.1:0")
    yield started
    with contextlib.suppress(OSError):
        os.kill(started.pid, signal.SIGTERM)
    assert ended(started.pid)
    assert not live_file(folder).exists()


@pytest.fixture(scope="module")
def kept_place(tmp_path_factory):
    """One that no test changes."""
    folder = tmp_path_factory.mktemp("kept")
    started = start_live(folder, "127.0.0.1:0")
    yield started
    os.kill(started.pid, signal.SIGTERM)
    assert ended(started.pid)


@pytest.fixture
def desk(place):
    with connect(place.control_url, **EASY) as ws:
        yield ws


def start(desk, **more):
    order = {"do": "start", "act": "run", "rig": RIG, "source": "rehearsal:7", **more}
    desk.send(json.dumps(order))


def socket_of(place, name, **more):
    return connect(f"ws://{place.address}/{name}", **EASY, **more)


def test_only_the_user_reads_the_token(place, folder):
    assert stat.S_IMODE(live_file(folder).stat().st_mode) == 0o600
    assert start_live(folder) == place


@pytest.mark.parametrize(
    ("path", "headers"),
    [
        ("events", {"Origin": "https://stranger.example"}),
        ("events", {"Origin": "null"}),
        ("see", {"Host": "stranger.example"}),
        ("control?token=wrong", {}),
        ("control", {}),
        ("control?token=TOKEN", {"Origin": "http://HOST"}),
    ],
)
def test_strangers_are_turned_away(kept_place, path, headers):
    place = kept_place
    path = path.replace("TOKEN", place.token)
    headers = {name: each.replace("HOST", place.address) for name, each in headers.items()}
    host = headers.pop("Host", place.address)
    sock = socket.create_connection(("127.0.0.1", int(place.address.rpartition(":")[2])))
    with (
        pytest.raises(InvalidStatus) as refused,
        connect(f"ws://{host}/{path}", additional_headers=headers, sock=sock),
    ):
        pass
    assert refused.value.response.status_code == 403


def test_an_unknown_rig_or_act_is_refused_in_a_sentence(desk):
    start(desk, rig="../elsewhere")
    told = heard(desk, lambda message: message["is"] == "failed")
    assert "is no rig in" in told["findings"][0]["allowed"]
    start(desk, act="dance")
    told = heard(desk, lambda message: message["is"] == "failed")
    assert told["findings"][0]["code"] == "act-unknown"


def test_a_second_live_process_in_the_folder_is_refused(place, folder):
    second = subprocess.run(
        [sys.executable, "-m", "rushlight.bench.live", str(folder), "--address", "127.0.0.1:0"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert second.returncode == 2 and place.url in second.stderr
    assert "Traceback" not in second.stderr


def test_pointers_picture_and_state_of_a_run_reach_two_pages_and_the_desk(
    registered, place, desk, folder
):
    start(desk, options={"length": "6 s"})
    with socket_of(place, "events") as page, socket_of(place, "pointer") as other:
        with socket_of(place, "see") as see:
            hello = heard(page, lambda message: "hello" in message)["hello"]
            assert hello["display_px"] == [1280, 800] and hello["surface_m"] == [2.4, 1.5]
            assert heard(page, lambda message: message.get("simulated") is True)
            steps = heard(page, lambda message: message.get("steps"))
            assert steps["spots"] and steps["capture_ms"] <= steps["sent_ms"]
            assert heard(other, lambda message: message.get("steps"))["steps"][0][2] == "down"
            head, picture = see_parts(see.recv(WAIT_S))
            assert head["size_px"] == [640, 480] == head["picture_px"] and head["simulated"]
            assert picture[:2] == b"\xff\xd8"
            page.send(json.dumps({"ping": 12.5}))
            pong = heard(page, lambda message: "pong" in message)
            assert pong["pong"] == 12.5
            page.send("nonsense")
            page.send(json.dumps({"page": "planting", "ready": True}))
            told = heard(desk, lambda message: message.get("ready") == ["planting"])
            assert told["simulated"] and told["pages"] == 2 and told["lookers"] == 1
        done = heard(desk, lambda message: message["is"] == "done")
        assert done["result"]["basis"] == "simulated" and done["result"]["mapped"]
        assert (folder / RIG / done["result"]["session"]).exists()


def test_the_run_goes_on_without_its_desk_and_is_found_again(registered, place, desk, folder):
    start(desk)
    heard(desk, stage("running"))
    desk.close()
    with socket_of(place, "events") as page:
        assert heard(page, lambda message: message.get("steps"))
    found = read_place(folder)
    with connect(found.control_url, **EASY) as again:
        frames = heard(again, lambda message: message.get("frames"))["frames"]
        assert heard(again, lambda message: message.get("frames", 0) > frames)
        again.send(json.dumps({"do": "stop"}))
        assert heard(again, lambda message: message["is"] == "done")


def test_a_work_that_is_killed_is_told_of_and_another_can_begin(registered, place, desk):
    start(desk)
    heard(desk, stage("running"))
    children = Path(f"/proc/{place.pid}/task/{place.pid}/children").read_text().split()
    working = [
        int(pid) for pid in children if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()
    ]
    os.kill(working[-1], signal.SIGKILL)
    told = heard(desk, lambda message: message["is"] == "failed")
    assert told["findings"][0]["code"] == "work-died"
    assert heard(desk, stage("failed"))["findings"][0]["code"] == "work-died"
    start(desk, options={"length": "1 s"})
    assert heard(desk, lambda message: message["is"] == "done")


def test_what_a_job_refuses_is_told_in_its_own_sentence(desk):
    start(desk, source="camera:nowhere")
    told = heard(desk, lambda message: message["is"] == "failed")
    assert told["findings"][0]["remedy"]


def test_hands_of_a_rehearsal_are_asked_by_pages_of_its_own_only(registered, place, desk):
    start(desk)
    heard(desk, stage("running"))
    ask = {"invite": {"carried": "stylus-wren", "x_m": 1.2, "y_m": 0.75}}

    def near(message):
        # Names may be told wrong before the first press at home, so that any stylus counts.
        return any(
            abs(spot[1] - 1.2) < 0.02 and abs(spot[2] - 0.75) < 0.02
            for spot in message.get("spots") or ()
        )

    with socket_of(place, "events", additional_headers={"Origin": place.url[:-1]}) as page:
        page.send(json.dumps({"wander": False}))
        page.send(json.dumps(ask))
        for _ in range(20):
            assert heard(page, near)
    desk.send(json.dumps({"do": "stop"}))
    heard(desk, lambda message: message["is"] == "done")
