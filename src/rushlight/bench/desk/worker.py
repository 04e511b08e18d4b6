"""Processes in which the desk lets jobs run, so that no page waits for another's job."""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from multiprocessing.connection import wait
from typing import TYPE_CHECKING, ParamSpec, TypeVar

from rushlight.errors import RushlightError

if TYPE_CHECKING:
    from nicegui import Client

P = ParamSpec("P")
T = TypeVar("T")

_LEFT = "the page was left"

_pools: dict[str, ProcessPoolExecutor] = {}


def _pool(name: str) -> ProcessPoolExecutor:
    if name not in _pools:
        spawn = multiprocessing.get_context("spawn")
        _pools[name] = ProcessPoolExecutor(1, spawn, _begin)
    return _pools[name]


YIELDS = 3
"""By how much more a worker yields the processor than what follows lights beside it, as `os.nice`
counts; our own choice."""


def _begin() -> None:
    """Let this worker give way to live runs, and end when its desk does, however that ends."""
    if hasattr(os, "nice"):
        os.nice(YIELDS)
    desk = multiprocessing.parent_process()
    assert desk is not None, "a worker is started by a desk"
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the desk, which ends its workers

    def watch() -> None:
        wait([desk.sentinel])
        os._exit(1)

    threading.Thread(target=watch, daemon=True, name="desk's end").start()


def end_workers() -> None:
    """End the workers, whatever they are at; without this a desk would wait for their jobs."""
    for worker in multiprocessing.active_children():
        worker.terminate()


async def quickly(job: Callable[P, T], *given: P.args, **named: P.kwargs) -> T:
    """Run a job of a fraction of a second; slow ones never stand before it."""
    return await _run("quick", job, *given, **named)


async def slowly(job: Callable[P, T], *given: P.args, **named: P.kwargs) -> T:
    """Run a job of some seconds or more."""
    return await _run("slow", job, *given, **named)


async def warm_up() -> None:
    """Let the quick process load what it needs before anybody waits for it."""
    from rushlight.jobs.glance import warm

    await quickly(warm)


def _page() -> Client | None:
    """The page that waits for a job, if one does; one that is gone waits no more."""
    from nicegui.slot import Slot

    stack = Slot.get_stack()
    try:
        return stack[0].parent.client if stack else None  # the first is the page itself
    except RuntimeError:  # what asked stands no more, and its page neither
        raise asyncio.CancelledError(_LEFT) from None


async def _run(pool: str, job: Callable[P, T], *given: P.args, **named: P.kwargs) -> T:
    """Let a worker do it.

    The desk forgets a page some seconds after it was left. Nothing can be drawn into it then, so
    whatever waits for the job on its behalf is cancelled, as if it had been told so; the job itself
    is done to its end, for what it keeps.
    """
    page = _page()
    try:
        return await _in_worker(pool, job, *given, **named)
    finally:
        if page is not None and page.is_deleted:
            raise asyncio.CancelledError(_LEFT)


async def _in_worker(pool: str, job: Callable[P, T], *given: P.args, **named: P.kwargs) -> T:
    loop = asyncio.get_running_loop()
    for _ in range(2):  # what ended a worker may have had nothing to do with this job
        workers = _pool(pool)
        try:
            return await loop.run_in_executor(workers, partial(job, *given, **named))
        except BrokenProcessPool:
            if _pools.get(pool) is workers:  # of several that waited, the first makes a new one
                del _pools[pool]
    raise RushlightError.of(
        "bench",
        "",
        "lost the process that worked on this, twice: the computer may be short of memory",
        "close other programs, and try again",
        "worker-lost",
    )
