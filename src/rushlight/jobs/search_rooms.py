"""Searching in many rooms: on this machine's processors, or on those of a cluster.

Every room's search takes the same seed and knows nothing of the others, so that neither their
order nor the number of workers changes what is found.
"""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import (
    FIRST_COMPLETED,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import rushlight
from rushlight.errors import RushlightError
from rushlight.jobs.cluster import check_address, client_of
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.rooms_csv import as_csv
from rushlight.jobs.rooms_table import SurveyRoom, read_rooms
from rushlight.jobs.search import check_numbers
from rushlight.plan.search import REVISION
from rushlight.plan.search_chance import care_of_taken
from rushlight.plan.search_space import space_of
from rushlight.plan.searching import ASSUMPTIONS, begin, currency_of, search_rig
from rushlight.plan.swift import processors
from rushlight.records.document import write_text
from rushlight.records.plan import PlanFinding
from rushlight.records.search import SearchSettings
from rushlight.records.search_rooms import RoomAnswer, RoomsResult
from rushlight.shelf.catalogue import Shelf

ROOMS_FILE, ROOMS_TABLE = "rooms.json", "rooms.csv"
STATE_FILE = "rooms.state.jsonl"
_FOUND_NOTHING = ("search-empty", "search-nothing-found")
_CONNECT_S, _LOOK_S = 30.0, 5.0
_KEPT = "the rooms done so far are kept, and the same command goes on from there"
_ONE_ROOM = threading.Lock()


@dataclass(frozen=True)
class Task:
    """One room's search, as it is sent to a worker; `key` tells it from every other search."""

    room: SurveyRoom
    shelf: Shelf
    seed: int
    generations: int
    version: str
    key: str


@dataclass(frozen=True)
class Crew:
    """Who works: an executor, how many at once, and whether anybody is there still."""

    executor: Executor
    size: int
    alive: Callable[[], bool]


def search_rooms(
    rig: Path,
    table: Path,
    out: Path,
    seed: int | None = None,
    generations: int | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    progress: Progress = silent,
) -> RoomsResult:
    """Search in every room of a table, and write a recommendation for each.

    Rooms that are done are kept in the folder until all are; an interrupted run is taken up
    there, and a room whose row, rig or parts have changed since is searched again.

    Parameters
    ----------
    rig
        The rig's file, or its folder: what holds where the table says nothing.
    table
        See `rooms_table.read_rooms`.
    out
        Folder to write ``rooms.json`` and ``rooms.csv`` to.
    seed, generations
        Of every room's search; by default as the rig says.
    workers
        Processes on this machine; by default one a processor.
    scheduler
        Address of a cluster's scheduler, whose workers are taken instead.
    progress
        Told how many rooms are done.

    Raises
    ------
    RushlightError
        When the rig, the table or a number is wrong, or the workers are lost.
    """
    check_numbers(seed, generations)
    _check_workers(workers, scheduler)
    document, shelf = load_rig(rig)
    rooms = read_rooms(table, document)
    currency = _checked(rooms, shelf, table.name)
    settings = document.search or SearchSettings()
    seed = settings.seed if seed is None else seed
    generations = settings.generations if generations is None else generations
    tasks = _tasks(rooms, shelf, seed, generations)
    state = out / STATE_FILE
    done = _kept(state)
    left = [task for task in tasks if task.key not in done]
    share = 1.0 - len(left) / len(tasks)
    progress("rooms", share)
    if left:
        with _crew(workers, scheduler, len(left)) as crew, _appended(state) as keep:
            for task, answer in _answers(left, crew):
                done[task.key] = answer
                keep(task.key, answer)
                share += 1.0 / len(tasks)
                progress("rooms", min(share, 1.0))
    # What was kept may have stood in another row of the table then.
    answers = [
        done[task.key].model_copy(update={"room": task.room.name, "row": task.room.row})
        for task in tasks
    ]
    costs = [each.taken.cost for each in answers if each.taken is not None]
    result = RoomsResult(
        rig=document.content_hash(),
        table=table.name,
        seed=seed,
        generations=generations,
        population=settings.population,
        rooms=answers,
        fitting=len(costs),
        currency=currency,
        sum_of_costs=round(sum(costs), 2),
        assumptions=list(ASSUMPTIONS),
    ).stamped("predicted", inputs={"rig": document.content_hash()}, seed=seed)
    write_text(out / ROOMS_TABLE, as_csv(result))
    result.write(out / ROOMS_FILE)
    state.unlink(missing_ok=True)
    return result


def default_folder(rig: Path) -> Path:
    """Where a survey is written unless said otherwise."""
    return rig_path(rig).parent / "search-rooms"


def answer_for(task: Task) -> RoomAnswer:
    """What a search recommends for one room; a room in which nothing fits says why.

    Raises
    ------
    ValueError
        When the worker runs another version than whoever sent the task.
    """
    if task.version != rushlight.__version__:
        raise ValueError(f"this worker runs Rushlight {rushlight.__version__}")
    room = task.room
    try:
        # A worker of a cluster may have several threads; a search is meant for one.
        with _ONE_ROOM:
            trials, ledger, seed, count = begin(
                room.rig, task.shelf, task.seed, task.generations, "rig.toml"
            )
            found = search_rig(trials, ledger, seed, count)
    except RushlightError as error:
        why = [
            f"The search {each.allowed}; {each.remedy}."
            if each.code in _FOUND_NOTHING
            else str(each)
            for each in error.findings
        ]
        return RoomAnswer(room=room.name, row=room.row, taken=None, why=why)
    return RoomAnswer(
        room=room.name,
        row=room.row,
        taken=found.closely,
        currency=found.currency,
        why=found.why,
        evaluated=found.evaluated,
        front=found.front,
        findings=[PlanFinding.of(each) for each in care_of_taken(trials.space, found)],
        cautions=found.cautions,
    )


def _check_workers(workers: int | None, scheduler: str | None) -> None:
    if workers is not None and scheduler is not None:
        raise RushlightError.of(
            "--workers", str(workers), "is for this machine, and --scheduler has its own workers",
            "give one of the two", "workers",
        )  # fmt: skip
    if scheduler is not None:
        check_address(scheduler)
    if workers is not None and not 1 <= workers <= 256:
        raise RushlightError.of(
            "--workers",
            str(workers),
            "is outside 1 to 256",
            "give about one a processor",
            "workers",
        )


def _checked(rooms: list[SurveyRoom], shelf: Shelf, table: str) -> str:
    """The one currency of all rooms, once every one of them can be searched at all."""
    currencies: dict[str, int] = {}
    for room in rooms:
        where = f"{table}: row {room.row}"
        try:
            currencies.setdefault(currency_of(space_of(room.rig, shelf, where)), room.row)
        except RushlightError as error:
            if error.findings[0].code == "search-currencies":
                raise RushlightError.of(
                    f"{where}, column money", error.findings[0].given,
                    "are several currencies, and costs cannot be compared across them",
                    "give money in the currency of the prices", "search-currencies",
                ) from None  # fmt: skip
            if error.findings[0].code not in _FOUND_NOTHING:
                raise
    return next(iter(currencies), "")


def _tasks(rooms: list[SurveyRoom], shelf: Shelf, seed: int, generations: int) -> list[Task]:
    parts = [part.model_dump_json() for kind in shelf.parts.values() for part in kind.values()]
    version = rushlight.__version__
    common = repr((version, REVISION, parts, seed, generations))
    return [
        Task(
            room, shelf, seed, generations, version,
            hashlib.sha256(f"{common}{room.rig.content_hash()}".encode()).hexdigest(),
        )
        for room in rooms
    ]  # fmt: skip


def _answers(tasks: list[Task], crew: Crew) -> Iterator[tuple[Task, RoomAnswer]]:
    """Every task with its answer, in the order in which they come; few are sent ahead."""
    waiting = iter(tasks)
    sent: dict[Future[RoomAnswer], Task] = {}
    quiet = False
    while True:
        while len(sent) < 2 * crew.size and (task := next(waiting, None)) is not None:
            sent[crew.executor.submit(answer_for, task)] = task
        if not sent:
            return
        ready, _ = wait(sent, timeout=_LOOK_S, return_when=FIRST_COMPLETED)
        if not ready and not crew.alive():
            if quiet:
                raise _lost("no worker is left", "start workers")
            quiet = True
        elif ready:
            quiet = False
        for future in ready:
            task = sent.pop(future)
            yield task, _answer_of(future, task)


def _answer_of(future: Future[RoomAnswer], task: Task) -> RoomAnswer:
    try:
        return future.result()
    except (BrokenProcessPool, CancelledError):
        raise _lost("a worker or the scheduler is gone", "look whether memory ran out") from None
    except Exception as error:
        if type(error).__name__ == "KilledWorker":
            raise _lost(
                f'several workers ended while they searched in room "{task.room.name}"',
                "look whether their memory ran out",
            ) from None
        if type(error) is ValueError and str(error).startswith("this worker runs"):
            raise _lost(
                f"{error}, and this is {task.version}", "install the same on all machines"
            ) from None
        raise


def _lost(what: str, remedy: str) -> RushlightError:
    return RushlightError.of("workers:", "", what, f"{remedy}; {_KEPT}", "workers-lost")


@contextmanager
def _crew(workers: int | None, scheduler: str | None, rooms: int) -> Iterator[Crew]:
    """The workers, for as long as they are needed."""
    if scheduler is not None:
        with _cluster(scheduler) as crew:
            yield crew
        return
    count = min(workers or processors(), rooms)
    if count == 1:
        yield Crew(_Here(), 1, lambda: True)
        return
    before = set(multiprocessing.active_children())
    # Fresh processes: a fork would take over threads that no longer run.
    pool = ProcessPoolExecutor(count, multiprocessing.get_context("spawn"), _as_worker)
    try:
        yield Crew(pool, count, lambda: True)
    except BaseException:
        for child in set(multiprocessing.active_children()) - before:
            child.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


class _Here(Executor):
    """Works in this very process, one task when it is sent."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        future.set_result(fn(*args, **kwargs))
        return future


def _as_worker() -> None:
    """Leave the keyboard's interrupt to the process that started this one, and end with it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """End this process once the one that started it is gone, killed or out of memory.

    Nobody else would: a worker of a pool waits for tasks on a pipe that it holds open itself.
    """
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


@contextmanager
def _cluster(address: str) -> Iterator[Crew]:
    with client_of(address, _CONNECT_S) as client:
        threads = client.nthreads()
        yield Crew(
            client.get_executor(pure=False),
            max(1, sum(threads.values())),
            lambda: bool(client.nthreads()),
        )


@contextmanager
def _appended(state: Path) -> Iterator[Callable[[str, RoomAnswer], None]]:
    """Keeps a room that is done at once, as a line of a file."""
    try:
        state.parent.mkdir(parents=True, exist_ok=True)
        file = state.open("a", encoding="utf-8")
    except OSError as error:
        raise RushlightError.of(
            str(state), "", f"cannot be written ({error.strerror})", "give another --out", "write"
        ) from None

    def keep(key: str, answer: RoomAnswer) -> None:
        file.write(json.dumps({"key": key, "answer": answer.model_dump(mode="json")}) + "\n")
        file.flush()

    with file:
        yield keep


def _kept(state: Path) -> dict[str, RoomAnswer]:
    """Answers by their key, as an interrupted run left them; a line cut short is taken away."""
    if not state.exists():
        return {}
    try:
        text = state.read_text(encoding="utf-8")
        whole = text[: text.rfind("\n") + 1]
        lines = [json.loads(line) for line in whole.splitlines()]
        kept = {line["key"]: RoomAnswer.model_validate(line["answer"]) for line in lines}
    except (OSError, ValueError, KeyError, TypeError):
        raise RushlightError.of(
            str(state), "", "is no state of a survey that can be read",
            "remove it to begin anew", "rooms-state",
        ) from None  # fmt: skip
    if whole != text:
        write_text(state, whole)
    return kept
