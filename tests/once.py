"""What is costly to make and the same for every worker is made once a run."""

from __future__ import annotations

import fcntl
import os
import pickle
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import pytest

Made = TypeVar("Made")


def once(
    factory: pytest.TempPathFactory, name: str, make: Callable[[Path], Made]
) -> tuple[Path, Made]:
    """The folder of that name that all workers of this run share, and what was returned.

    The first worker that asks makes it, in an empty folder; the others wait for it. Whoever
    takes it only reads: what a test changes, it copies first.

    Parameters
    ----------
    factory
        Of this worker.
    name
        One for each thing in all tests.
    make
        Is given the empty folder; what it returns is pickled for the other workers.

    Returns
    -------
    folder, made
        What `make` was given, and what it returned.
    """
    root = factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        root = root.parent  # each worker's own folder lies in that of the run
    folder, kept = root / f"once-{name}", root / f"once-{name}.pickle"
    # The system frees this lock with its process, however that ends.
    with (root / f"once-{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not kept.exists():
            shutil.rmtree(folder, ignore_errors=True)  # of a worker that failed at it
            folder.mkdir()
            unfinished = kept.with_suffix(".part")
            unfinished.write_bytes(pickle.dumps(make(folder)))
            unfinished.rename(kept)
    return folder, pickle.loads(kept.read_bytes())
