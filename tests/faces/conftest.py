"""Worked examples of pages, held to what the program really prints."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from rushlight.cli import app


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
def prints_what_it_says(monkeypatch: pytest.MonkeyPatch) -> Callable[[str, Path, int], None]:
    """Runs every command of a page in a folder; each said line must be printed, in order."""

    def check(page: str, folder: Path, least: int) -> None:
        steps = steps_of(page)
        assert len(steps) >= least
        monkeypatch.chdir(folder)
        for command, said in steps:
            program, *words = shlex.split(command)
            assert program == "rushlight"
            done = CliRunner(env={"COLUMNS": "80"}).invoke(app, words, catch_exceptions=False)
            assert done.exit_code == 0, f"{command}\n{done.stderr}"
            # A column grows with a time that was measured on a busy machine: spaces do not count.
            printed = iter([" ".join(line.split()) for line in done.stdout.splitlines()])
            for line in said:
                told = " ".join(line.split())
                assert told in printed, f"{command} does not print, in this order: {line!r}"

    return check
