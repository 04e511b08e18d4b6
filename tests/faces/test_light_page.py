"""The page on light: its examples are what the program prints, its rig is planned, its table holds.

Also: every table of a plan fits a narrow terminal.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from rich.cells import cell_len
from typer.testing import CliRunner

from rushlight.cli import app, render
from rushlight.cli.plan_tables import tables
from rushlight.jobs.new import new
from rushlight.physics.light import filter_centre_at_angle
from rushlight.records.plan import Plan
from rushlight.shelf.catalogue import built_in_shelf
from rushlight.shelf.optics import ANGLES_RAD, filter_passage

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs/how-to-light.md").read_text("utf-8")


def with_markers(rig: str) -> str:
    """The rig with what the page's excerpt changes in it."""
    excerpt = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)[0]
    camera, carried = excerpt.split("[[carried]]\n", 1)
    lamps = next(line for line in camera.splitlines() if line.startswith("illuminator"))
    before, rest = rig.split("[[carried]]\n", 1)
    behind = rest[rest.index("# ---- The people") :]
    assert before.count('filter = "long-pass-850"\n') == 1
    before = before.replace('filter = "long-pass-850"\n', f'filter = "long-pass-850"\n{lamps}\n')
    return f"{before}[[carried]]\n{carried}\n{behind}"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("light")
    new(path / "markers")
    rig = path / "markers" / "rig.toml"
    rig.write_text(with_markers(rig.read_text("utf-8")), "utf-8")
    return path


def test_examples_print_what_they_say(folder, prints_what_it_says):
    prints_what_it_says(PAGE, folder, 4)


@pytest.mark.parametrize("rig", ["my-wall", "markers"])
@pytest.mark.parametrize("room", [80, 110])
def test_no_table_of_a_plan_is_clipped(folder, rig, room, monkeypatch, capsys):
    written = folder / rig / "plan" / "plan.json"
    if not written.exists():  # asked for alone, without the examples
        if not (folder / rig).exists():
            new(folder / rig)
        CliRunner().invoke(app, ["plan", str(folder / rig)])
    content = json.loads(written.read_text("utf-8"))
    monkeypatch.setenv("COLUMNS", str(room))
    shown = [table for table in tables(Plan.model_validate(content)) if table[2]]
    assert len(shown) >= 12
    for title, columns, rows in shown:
        render.table(title, columns, rows)
        printed = capsys.readouterr().out
        assert max(cell_len(line) for line in printed.splitlines()) <= room
        letters = re.sub(r"\s", "", printed)
        assert letters.startswith(re.sub(r"\s", "", title)), title
        words = {word for row in rows for cell in row for word in str(cell or "–").split()}
        words |= {word for name in columns for word in name.removesuffix(" [1]").split()}
        for word in words:
            assert word in printed, f"{title}: {word!r} is clipped or broken"


def test_the_table_of_the_filter_is_what_the_plan_reckons_with():
    shelf = built_in_shelf()
    band, emitter = shelf.filter("band-850-50"), shelf.emitter("ir850-5mm-17")
    _, shares = filter_passage(band, emitter)
    told = re.findall(r"^\| (\d+)° +\| (\d+) nm +\| (\d+) %", PAGE, re.MULTILINE)
    assert len(told) == 5
    for angle, centre, share in told:
        aslant = np.radians(float(angle))
        found = filter_centre_at_angle(band.centre.si, aslant, band.effective_index.si)
        assert round(1e9 * float(found)) == int(centre)
        assert round(100 * float(np.interp(aslant, ANGLES_RAD, shares))) == int(share)


def test_every_picture_is_there():
    for target in re.findall(r"\]\(([^)#]+)\)", PAGE):
        assert (ROOT / "docs" / target).exists(), target
