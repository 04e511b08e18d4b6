"""The page on searching: its example is what the program prints, its place is the demo's."""

from __future__ import annotations

import re
import shutil
import tomllib
from pathlib import Path

from rushlight.plan.search_space import space_of
from rushlight.records.document import validate
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import load_shelf
from rushlight.shelf.check import check_rig

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs/how-to-search.md").read_text("utf-8")
BARN = ROOT / "src/rushlight/jobs/scenarios/barn-wall"


def test_example_prints_what_it_says(tmp_path, prints_what_it_says):
    shutil.copytree(BARN, tmp_path / "barn-wall")
    prints_what_it_says(PAGE, tmp_path, 1)


def test_its_table_can_be_searched_in_the_demo_s_room():
    table = tomllib.loads(re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)[1])
    data = tomllib.loads((BARN / "rig.toml").read_text("utf-8"))
    rig = validate(Rig, {**data, **table}, "rig.toml")
    shelf = load_shelf(BARN)
    space = space_of(rig, shelf)
    lost = {each.code: each.examples for each in space.reasons if each.of != "place"}
    assert lost == {} and space.counts[1:] == (3, 1, 1, 4)
    assert [each.where for each in check_rig(rig, shelf) if "search" in each.where] == []
    assert {"budget", "minutes", "tools", "soldering", "prices", "cells"} <= set(table["search"])


def test_its_place_is_one_of_the_demo_s():
    told = tomllib.loads(re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)[0])["room"]["places"]
    places = tomllib.loads((BARN / "rig.toml").read_text("utf-8"))["room"]["places"]
    assert told[0] in places
