"""A new rig says in comments how to search it; taken in, they are a search that runs."""

from __future__ import annotations

import importlib.resources
import re
import tomllib
from pathlib import Path

import pytest

from rushlight.plan.search_space import choices_of
from rushlight.records.document import validate
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import load_shelf
from rushlight.shelf.check import check_rig

PAGE = (Path(__file__).resolve().parents[2] / "docs/how-to-search.md").read_text("utf-8")
COMMENTED = re.compile(r"^# (?=.* = |\[)", re.MULTILINE)


def template(kind):
    return importlib.resources.files("rushlight.jobs").joinpath(f"template_{kind}.toml").read_text()


def searched(text, folder):
    rig, shelf = validate(Rig, tomllib.loads(text), "rig.toml"), load_shelf(folder)
    assert [each.where for each in check_rig(rig, shelf) if "search" in each.where] == []
    space = choices_of(rig, shelf)
    assert {each.code: each.examples for each in space.reasons} == {}
    return space


@pytest.mark.parametrize("kind", ["surface", "viewpoint", "body", "volume"])
def test_a_new_rig_s_commented_search_is_whole(kind, tmp_path):
    before, section = template(kind).split("# ---- Searching")
    section, after = section.split("# ---- What it costs")
    section = COMMENTED.sub("", section.split("\n#\n", 1)[1])
    space = searched(f"{before}{section}\n# {after}", tmp_path)
    assert max(space.counts) > 1


def test_what_needs_a_price_is_told_as_the_search_does_it():
    """A part that is named needs one; the rig's own cell and display are tried without."""
    text = " ".join(template("surface").replace("\n#", " ").split())
    assert "A part named here that has no price, here or below, is not tried." in text
    assert "own cell and display are kept and need none" in text
    assert "without `cells`, its own cells, is kept with or without a price" in " ".join(
        PAGE.split()
    )


def test_the_page_s_search_is_whole_in_a_new_rig(tmp_path):
    place, table = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)[:2]
    searched(f"{template('surface')}\n{place}\n{table}", tmp_path)
