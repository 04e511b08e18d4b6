"""The bare command: it starts at once, names its verbs, and ends plainly on wrong input."""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys

import pytest

from rushlight.cli import VERBS


def _run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "rushlight", *words], capture_output=True, text=True, timeout=60
    )


def _children_s() -> float:
    """Processor time of all processes that were started and have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def test_the_bare_command_starts_in_half_a_second():
    _run("--version")  # fills the caches of the file system
    seconds = []
    for _ in range(5):
        start_s = _children_s()
        assert _run("--version").returncode == 0
        seconds.append(_children_s() - start_s)
    # Of the processor, the least of five: a busy machine adds to the clock's and to the others.
    assert min(seconds) < 0.5, statistics.median(seconds)


def test_heavy_libraries_are_not_loaded_by_help():
    code = (
        "import sys, rushlight.cli; "
        "print([m for m in ('numpy', 'numba', 'pydantic', 'pint', 'matplotlib', 'av', 'duckdb') "
        "if m in sys.modules])"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert shown.stdout.strip() == "[]"


def test_the_library_of_statistics_is_loaded_where_a_job_asks_for_it():
    """It takes as long to load as a quarter of a whole job's start."""
    code = (
        "import sys, rushlight.jobs.demo, rushlight.jobs.register_live, rushlight.jobs.ready; "
        "print('scipy.stats' in sys.modules)"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert shown.stdout.strip() == "False", shown.stderr


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_explains_itself(verb):
    shown = _run(verb, "--help")
    assert shown.returncode == 0
    assert "Usage" in shown.stdout


@pytest.mark.parametrize(
    "words",
    [
        ("check", "nowhere/rig.toml"),
        ("plan", "nowhere/rig.toml"),
        ("simulate", "nowhere/rig.toml", "--script", "grid"),
        ("register", "--footage", "nowhere", "--rig", "nowhere/rig.toml"),
        ("run", "--footage", "nowhere"),
        ("assess", "nowhere.sqlite"),
        ("kit", "nowhere/rig.toml"),
        ("new", "somewhere", "--kind", "hologram"),
        ("demo", "--scenario", "hologram"),
        ("parts", "--rig", "nowhere/rig.toml"),
    ],
)
def test_what_is_not_there_is_told_in_one_sentence(words, tmp_path):
    shown = subprocess.run(
        [sys.executable, "-m", "rushlight", *words],
        capture_output=True,
        text=True,
        timeout=60,
        cwd=tmp_path,
    )
    assert shown.returncode == 2
    assert "Traceback" not in shown.stderr
    told = shown.stderr or shown.stdout  # findings are what `check` is asked for
    (sentence,) = [line for line in told.splitlines() if line and "…" not in line]
    assert sentence.endswith(".")
    assert list(tmp_path.iterdir()) == []
