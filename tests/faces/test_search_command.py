"""The command `rushlight search`: what it prints, writes, refuses, and takes up again."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest
import tomlkit
from tests.search_rooms import BARN_WALL

from rushlight.cli import main
from rushlight.jobs.search import STATE_FILE
from rushlight.plan import search, searching
from rushlight.records.document import read_document
from rushlight.records.search import SearchResult

PLACES = """
[[room.places]]
id = "beam"
kind = "ceiling"
corner = ["0.4 m", "1.5 m", "2.4 m"]
opposite = ["2.0 m", "1.7 m", "3.2 m"]

[[room.places]]
id = "tripod"
kind = "tripod"
corner = ["-0.5 m", "0.5 m", "1.5 m"]
opposite = ["2.9 m", "1.2 m", "4.0 m"]

[search]
population = 8
generations = 4

[search.prices]
vga-global-60 = { amount = 24.00, currency = "EUR", date = "2026-02", basis = "invented" }
"""
SLOWLY = (
    # What a shell starts in the background would ignore it.
    "import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "
    "import time, rushlight.plan.search_trial as t; value = t.Trials.value; "
    "t.Trials.value = lambda self, rows: (time.sleep(0.3), value(self, rows))[1]; "
    "import rushlight.plan.searching as s, rushlight.plan.search as r; "
    "s.GRID = (3, 2); r.ROUNDS = 1; r.ROUND_SHARE = 2; "
    "from rushlight.cli import main; main()"
)
"""The command on a coarse grid, for what is tested here does not hang on how closely it looks;
each generation held up, so that there is time to interrupt it."""


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    """The demo's rig with places and a search of the test's own."""
    data = tomllib.loads(BARN_WALL.read_text(encoding="utf-8"))
    own = tomllib.loads(PLACES)
    data["room"]["places"], data["search"] = own["room"]["places"], own["search"]
    (tmp_path / "rig.toml").write_text(tomlkit.dumps(data), encoding="utf-8")
    return tmp_path


def started(*words: str) -> subprocess.Popen[str]:
    """The slow command, in a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-c", SLOWLY, "search", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "COLUMNS": "160"},
    )


@pytest.fixture
def ran(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]):
    """Runs the command on the same grid, in this process: how it ends, and what it prints."""
    monkeypatch.setattr(searching, "GRID", (3, 2))
    monkeypatch.setattr(search, "ROUNDS", 1)
    monkeypatch.setattr(search, "ROUND_SHARE", 2)
    monkeypatch.setenv("COLUMNS", "160")

    def run(*words: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["rushlight", "search", *words])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capfd.readouterr()
        return ended.value.code, out, err

    return run


def test_stopped_and_taken_up_again_it_finds_the_same(rig: Path, ran) -> None:
    """A real interrupt from the keyboard's signal, in the middle of the search."""
    process = started(str(rig))
    state = rig / "search" / STATE_FILE
    until = time.monotonic() + 300
    while not state.exists() and process.poll() is None and time.monotonic() < until:
        time.sleep(0.02)
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 130, err
    assert "stopped by the user" in err and "Traceback" not in err
    assert state.exists() and not (rig / "search" / "search.json").exists()
    left = state.read_bytes()

    code, out, err = ran(str(rig), "--draws", "20")
    assert code == 0, err
    assert not state.exists()
    for words in (
        "what was found",
        "Winners:",
        "All targets met",
        "of 20",
        "Thrown out",
        "To order for",
        "← ",
    ):
        assert words in out
    code, _, err = ran(str(rig), "--out", str(rig / "whole"), "--draws", "20")
    assert code == 0, err
    again, whole = (
        read_document(SearchResult, rig / folder / "search.json") for folder in ("search", "whole")
    )
    assert again.header.content_hash == whole.header.content_hash
    assert again.model_dump(exclude={"header"}) == whole.model_dump(exclude={"header"})
    assert again.candidate(again.chosen).chance.draws == 20

    # The state of this search is no state of one with another seed.
    state.write_bytes(left)
    code, out, err = ran(str(rig), "--seed", "9")
    assert code == 2 and out == ""
    assert "was left by an interrupted search of another rig, shelf, seed or size" in err
    state.write_bytes(left[:500])
    code, out, err = ran(str(rig))
    assert code == 2 and "remove it to begin anew" in err and "Traceback" not in err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--seed", "-1"], "--seed = -1 is below 0; give a whole number from 0 on."),
        (["--generations", "0"], "--generations = 0 is outside 1 to 10000; give more for"),
        (["--draws", "5"], "--draws = 5 is neither 0 nor 20 to 10000; give 64, more for"),
        (
            ["--draws", "64", "--rooms", "t.csv"],
            "--draws = 64 is for a search on a surface, in one",
        ),
    ],
)
def test_wrong_numbers_are_refused_and_nothing_is_written(
    rig: Path, ran, words: list[str], says: str
) -> None:
    code, out, err = ran(str(rig), *words)
    assert (code, out) == (2, "")
    assert says in err
    assert [path.name for path in rig.iterdir()] == ["rig.toml"]


def test_a_rig_without_places_is_told_what_to_add(tmp_path: Path, ran) -> None:
    text = BARN_WALL.read_text(encoding="utf-8")
    before, _, after = text.partition("\n[[room.places]]")
    bare = before + "\n[ambient]" + text.partition("\n[ambient]")[2] if after else text
    (tmp_path / "rig.toml").write_text(bare)
    code, out, err = ran(str(tmp_path))
    assert (code, out) == (2, "")
    assert "room.places is missing" in err and "add a [[room.places]]" in err
    assert [path.name for path in tmp_path.iterdir()] == ["rig.toml"]


def test_json_is_what_is_written(rig: Path, ran) -> None:
    code, out, err = ran(str(rig), "--json", "--generations", "1", "--draws", "0")
    assert code == 0, err
    assert json.loads(out) == json.loads((rig / "search" / "search.json").read_text())


def test_prices_to_write_are_whole_lines_of_toml(rig: Path, ran, monkeypatch) -> None:
    text = (rig / "rig.toml").read_text(encoding="utf-8")
    data = tomlkit.parse(text)
    camera = data["cameras"][0]["part"]
    data["search"]["cameras"] = ["hd-rolling-30"]
    data["search"]["prices"]["hd-rolling-30"] = dict(data["search"]["prices"]["vga-global-60"])
    (rig / "rig.toml").write_text(tomlkit.dumps(data), encoding="utf-8")
    monkeypatch.setenv("COLUMNS", "60")
    code, out, _ = ran(str(rig), "--draws", "0")
    assert code == 0
    (line,) = [each for each in out.splitlines() if each.startswith("  hd-rolling-30 = {")]
    told = tomllib.loads(line)["hd-rolling-30"]
    assert (told["amount"], told["currency"], told["date"]) == (24.0, "EUR", "2026-02")
    assert f"take out of [prices], for it would be counted as bought too: {camera}" in " ".join(
        out.split()
    )
