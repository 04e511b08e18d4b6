"""The page on searching: its example is what the program prints, its place is the demo's."""

from __future__ import annotations

import re
import shutil
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs/how-to-search.md").read_text("utf-8")
BARN = ROOT / "src/rushlight/jobs/scenarios/barn-wall"


def test_example_prints_what_it_says(tmp_path, prints_what_it_says):
    shutil.copytree(BARN, tmp_path / "barn-wall")
    prints_what_it_says(PAGE, tmp_path, 1)


def test_its_place_is_one_of_the_demo_s():
    told = tomllib.loads(re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)[0])["room"]["places"]
    places = tomllib.loads((BARN / "rig.toml").read_text("utf-8"))["room"]["places"]
    assert told[0] in places
