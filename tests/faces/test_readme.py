"""The README's worked example is what the program really prints."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text()
SESSIONS = re.findall(r"```console\n(.*?)```", README, re.DOTALL)


def _steps() -> list[tuple[str, list[str]]]:
    """Each command of the worked example, with the lines that it is said to print."""
    steps: list[tuple[str, list[str]]] = []
    for line in "".join(SESSIONS).splitlines():
        if line.startswith("$ "):
            steps.append((line[2:], []))
        elif line.strip() not in ("", "…"):
            steps[-1][1].append(line.rstrip())
    return steps


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("readme")


def test_the_worked_example_prints_what_it_says(folder):
    steps = _steps()
    assert len(steps) >= 9
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


def test_every_file_it_points_to_is_there():
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / target).exists(), target
