"""The barn-wall example, whole or with one line changed."""

import shutil
from pathlib import Path

import pytest

from rushlight.jobs.check import check

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"


@pytest.fixture
def barn(tmp_path):
    """A copy of the example's folder, to be changed."""
    folder = tmp_path / "barn"
    shutil.copytree(BARN_WALL, folder)
    return folder


@pytest.fixture
def edit(barn):
    """Replace a text of the rig, the first time it occurs, and return the folder."""

    def change(old, new):
        path = barn / "rig.toml"
        text = path.read_text("utf-8")
        assert old in text, f"the example no longer holds {old!r}"
        path.write_text(text.replace(old, new, 1), "utf-8")
        return barn

    return change


@pytest.fixture
def sentences(edit):
    """The sentences of one severity that a changed rig gives."""

    def found(old, new, severity="error"):
        return [str(each) for each in check(edit(old, new)).findings if each.severity == severity]

    return found
