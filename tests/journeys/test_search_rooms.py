"""Searching in many rooms: one process, a pool, and a real cluster that loses a worker."""

from __future__ import annotations

import csv
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import tomlkit
from tests.search_rooms import POINTS, room_data

from rushlight.errors import RushlightError
from rushlight.jobs import search_rooms as rooms
from rushlight.jobs.search_rooms import ROOMS_FILE, ROOMS_TABLE, STATE_FILE, search_rooms
from rushlight.records.document import read_document
from rushlight.records.search_rooms import RoomsResult

TABLE = """\
room,width,money
A1,2.4 m,200 EUR
A2,2.0 m,200 EUR
A3,2.2 m,5 EUR
"""


@pytest.fixture(scope="module")
def survey(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("survey")
    data = room_data(
        POINTS[:2], aim="middle", population=8, generations=1, currents=["10 mA"],
        cameras=["vga-global-120"], emitters=["ir850-5mm-17"],
    )  # fmt: skip
    (folder / "rig.toml").write_text(tomlkit.dumps(data), encoding="utf-8")
    (folder / "rooms.csv").write_text(TABLE, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def alone(survey: Path) -> RoomsResult:
    return search_rooms(survey, survey / "rooms.csv", survey / "alone", workers=1)


def same(one: RoomsResult, other: RoomsResult) -> bool:
    return one.model_dump(exclude={"header"}) == other.model_dump(exclude={"header"})


def test_every_room_is_answered_and_one_in_which_nothing_fits_says_why(survey, alone) -> None:
    assert [each.room for each in alone.rooms] == ["A1", "A2", "A3"]
    assert [each.taken is not None for each in alone.rooms] == [True, True, False]
    assert alone.rooms[2].why == [
        "The search finds no rig: each of the 4 candidates tried is ruled out, because it costs "
        "more than may be spent (4 of them; the cheapest combination of parts costs 50.70 EUR); "
        "raise search.budget."
    ]
    assert alone.fitting == 2 and alone.currency == "EUR"
    folder = survey / "alone"
    assert same(read_document(RoomsResult, folder / ROOMS_FILE), alone)
    with (folder / ROOMS_TABLE).open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["fits"] for row in rows] == ["yes", "yes", "no"]
    assert rows[2]["why"]
    assert not (folder / STATE_FILE).exists()


def test_rooms_that_are_done_are_not_searched_again(survey, alone, monkeypatch) -> None:
    searched: list[str] = []
    answer = rooms.answer_for

    def stopping(task):
        if len(searched) == 2:
            raise KeyboardInterrupt
        searched.append(task.room.name)
        return answer(task)

    monkeypatch.setattr(rooms, "answer_for", stopping)
    with pytest.raises(KeyboardInterrupt):
        search_rooms(survey, survey / "rooms.csv", survey / "again", workers=1)
    kept = (survey / "again" / STATE_FILE).read_text(encoding="utf-8").count("\n")
    assert kept >= 1 and not (survey / "again" / ROOMS_FILE).exists()
    searched.clear()

    def counted(task):
        searched.append(task.room.name)
        return answer(task)

    monkeypatch.setattr(rooms, "answer_for", counted)
    again = search_rooms(survey, survey / "rooms.csv", survey / "again", workers=1)
    assert len(searched) == 3 - kept
    assert same(again, alone)


def test_a_pool_finds_the_same(survey, alone) -> None:
    assert same(search_rooms(survey, survey / "rooms.csv", survey / "pool", workers=2), alone)


INTERRUPTIBLE = (
    # What a shell starts in the background would ignore the interrupt.
    "import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "
    "from rushlight.cli import main; main()"
)


def children_of(process: subprocess.Popen[str]) -> set[int]:
    """Processes that a process started and that run still."""
    listed = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    return {int(each) for each in listed.read_text().split()} if listed.exists() else set()


def runs(pid: int) -> bool:
    """Whether a process still runs; one that ended and that nobody asked about does not."""
    try:
        told = Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return False
    return told.rpartition(")")[2].split()[0] not in "ZX"


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="needs Linux's list of processes")
def test_an_interrupt_ends_the_pool_and_keeps_the_rooms_that_are_done(survey, alone) -> None:
    """The keyboard's signal to the whole group, as a terminal sends it, once a room is done."""
    table = survey / "many.csv"
    widths = [f"B{n},{2.0 + n / 100} m,200 EUR" for n in range(40)]
    table.write_text("\n".join([TABLE.strip(), *widths, ""]), encoding="utf-8")
    out = survey / "interrupted"
    process = subprocess.Popen(
        [sys.executable, "-c", INTERRUPTIBLE, "search", str(survey), "--rooms", str(table), "--out",
         str(out), "--workers", "2"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    state = out / STATE_FILE
    until = time.monotonic() + 240
    while process.poll() is None and time.monotonic() < until:
        if state.exists() and state.read_text(encoding="utf-8").count("\n"):
            break
        time.sleep(0.05)
    workers = children_of(process)
    assert len(workers) >= 2
    os.killpg(process.pid, signal.SIGINT)
    text, err = process.communicate(timeout=60)
    assert process.returncode == 130, err
    assert text == "" and "stopped by the user" in err and "Traceback" not in err
    until = time.monotonic() + 20
    while any(map(runs, workers)) and time.monotonic() < until:
        time.sleep(0.1)
    assert not any(map(runs, workers))
    assert not (out / ROOMS_FILE).exists()
    # The rooms that are done count, whatever table they stand in next.
    kept = state.read_text(encoding="utf-8").count("\n")
    assert 1 <= kept < 43
    again = search_rooms(survey, survey / "rooms.csv", out, workers=1)
    assert same(again, alone)


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="needs Linux's list of processes")
def test_workers_end_with_whoever_started_them_however_that_ended(survey, alone) -> None:
    """Killed, as when memory runs out: nobody is left to end the workers."""
    out = survey / "killed"
    command = [sys.executable, "-m", "rushlight", "search", str(survey), "--rooms",
               str(survey / "rooms.csv"), "--out", str(out), "--workers", "2"]  # fmt: skip
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    state = out / STATE_FILE
    until = time.monotonic() + 240
    while process.poll() is None and time.monotonic() < until:
        if state.exists() and state.read_text(encoding="utf-8").count("\n"):
            break
        time.sleep(0.01)
    workers = children_of(process)
    process.kill()
    process.wait()
    assert len(workers) >= 2
    until = time.monotonic() + 20
    while any(map(runs, workers)) and time.monotonic() < until:
        time.sleep(0.1)
    assert not any(map(runs, workers))
    assert same(search_rooms(survey, survey / "rooms.csv", out, workers=1), alone)


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A scheduler and two workers, each a process of its own, on loopback."""
    address = f"tcp://127.0.0.1:{free_port()}"
    place = ["--host", "127.0.0.1", "--no-dashboard"]
    commands = [["dask", "scheduler", "--port", address.rpartition(":")[2], *place]] + [
        ["dask", "worker", address, *place, "--no-nanny", "--nthreads", "1", "--name", name,
         "--local-directory", str(tmp_path / name)]
        for name in ("one", "two")
    ]  # fmt: skip
    program = [sys.executable, "-m"]
    running = [
        subprocess.Popen([*program, *command], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for command in commands
    ]
    try:
        yield address, running[1:]
    finally:
        for process in running:
            process.kill()
            process.wait()


def test_a_cluster_that_loses_a_worker_midway_finds_the_same(survey, alone, cluster) -> None:
    address, workers = cluster
    out = survey / "cluster"
    asked = subprocess.Popen(
        [sys.executable, "-m", "rushlight", "search", str(survey), "--rooms",
         str(survey / "rooms.csv"), "--out", str(out), "--scheduler", address],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "COLUMNS": "100"},
    )  # fmt: skip
    from distributed import Client

    # One of the workers is killed while it has a room in hand.
    until = time.monotonic() + 240
    with Client(address, timeout=60, set_as_default=False) as client:
        killed = None
        while killed is None and asked.poll() is None and time.monotonic() < until:
            busy = {key: tasks for key, tasks in client.processing().items() if tasks}
            for info_address, info in client.scheduler_info()["workers"].items():
                if info_address in busy and info["name"] == "one":
                    killed = info_address
            time.sleep(0.05)
        assert killed is not None
        workers[0].send_signal(signal.SIGKILL)
        workers[0].wait()
    text, err = asked.communicate(timeout=300)
    assert asked.returncode == 0, err
    assert "2 of 3 rooms" in text
    assert same(read_document(RoomsResult, out / ROOMS_FILE), alone)


def test_without_the_library_or_a_scheduler_one_sentence_says_what_to_do(
    survey, monkeypatch
) -> None:
    monkeypatch.setattr(rooms, "_CONNECT_S", 1.0)
    where = f"tcp://127.0.0.1:{free_port()}"
    with pytest.raises(RushlightError, match="answers to no scheduler"):
        search_rooms(survey, survey / "rooms.csv", survey / "none", scheduler=where)
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(RushlightError, match=r"rushlight\[cluster\]"):
        search_rooms(survey, survey / "rooms.csv", survey / "none", scheduler=where)


@pytest.mark.parametrize(
    "address", ["nonsense", "tcp://host", "tcp://:8786", "host:99999", "a b:1"]
)
def test_what_is_no_address_is_refused_at_once(survey, address) -> None:
    """By the command, in a process of its own: one sentence, and nothing after it."""
    ended = subprocess.run(
        [sys.executable, "-m", "rushlight", "search", str(survey), "--rooms",
         str(survey / "rooms.csv"), "--out", str(survey / "none"), "--scheduler", address],
        capture_output=True, text=True, check=False, env={**os.environ, "COLUMNS": "200"},
    )  # fmt: skip
    assert ended.returncode == 2, ended.stderr
    assert f'--scheduler = "{address}" is no address of a scheduler; give it as' in ended.stderr
    assert "Traceback" not in ended.stderr and "Exception" not in ended.stderr


LISTENING = """
import sys
from rushlight.jobs import search_rooms
search_rooms._CONNECT_S = 3.0
from rushlight.cli import main
main()
"""


@pytest.mark.parametrize("mute", [True, False])
def test_where_no_scheduler_answers_nothing_is_said_but_so(survey, mute) -> None:
    """Nobody listens there, or somebody who never says a word."""
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        if mute:
            door.listen()
        where = f"tcp://127.0.0.1:{door.getsockname()[1]}"
        ended = subprocess.run(
            [sys.executable, "-c", LISTENING, "search", str(survey), "--rooms",
             str(survey / "rooms.csv"), "--out", str(survey / "none"), "--scheduler", where],
            capture_output=True, text=True, check=False, timeout=300,
            env={**os.environ, "COLUMNS": "200"},
        )  # fmt: skip
    assert ended.returncode == 2, ended.stderr
    assert f'--scheduler = "{where}" answers to no scheduler; start one' in ended.stderr
    assert "Traceback" not in ended.stderr and "Exception" not in ended.stderr


def test_every_wrong_cell_is_told_at_once(survey) -> None:
    table = survey / "wrong.csv"
    table.write_text("room,width,money\nA1,2400,200 EUR\nA1,2 m,many\n", encoding="utf-8")
    with pytest.raises(RushlightError) as raised:
        search_rooms(survey, table, survey / "wrong", workers=1)
    said = [str(each) for each in raised.value.findings]
    assert len(said) == 3 and all("wrong.csv" in each for each in said)
    assert "2400" in said[0] and "many" in " ".join(said)
    assert not (survey / "wrong").exists()
