"""Worked examples of pages, held to what the program really prints."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest


def steps_of(page: str) -> list[tuple[str, list[str]]]:
    """Each command of a page's worked examples, with the lines that it is said to print."""
    steps: list[tuple[str, list[str]]] = []
    for line in "".join(re.findall(r"```console\n(.*?)```", page, re.DOTALL)).splitlines():
        if line.startswith("$ "):
            steps.append((line[2:], []))
        elif line.strip() not in ("", "…"):
            steps[-1][1].append(line.rstrip())
    return steps


@pytest.fixture
def prints_what_it_says() -> Callable[[str, Path, int], None]:
    """Runs every command of a page in a folder; each said line must be printed, in order."""

    def check(page: str, folder: Path, least: int) -> None:
        steps = steps_of(page)
        assert len(steps) >= least
        for command, said in steps:
            program, *words = shlex.split(command)
            assert program == "rushlight"
            done = subprocess.run(
                [sys.executable, "-m", "rushlight", *words],
                capture_output=True,
                text=True,
                cwd=folder,
                timeout=300,
                env={**os.environ, "COLUMNS": "80"},
            )
            assert done.returncode == 0, f"{command}\n{done.stderr}"
            printed = iter([line.rstrip() for line in done.stdout.splitlines()])
            for line in said:
                assert line in printed, f"{command} does not print, in this order: {line!r}"

    return check
