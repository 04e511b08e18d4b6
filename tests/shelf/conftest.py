"""The examples, whole or with a few words changed."""

import shutil
from pathlib import Path

import pytest

from rushlight.jobs.check import check

SCENARIOS = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios"
BARN_WALL = SCENARIOS / "barn-wall"


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


@pytest.fixture
def changed(tmp_path):
    """The findings of a copy of an example, some of whose text is replaced."""

    def found(scenario, *replacements):
        folder = tmp_path / scenario
        shutil.copytree(SCENARIOS / scenario, folder, dirs_exist_ok=True)
        path = folder / "rig.toml"
        text = path.read_text("utf-8")
        for old, new in replacements:
            assert old in text, f"the example no longer holds {old!r}"
            text = text.replace(old, new)
        path.write_text(text, "utf-8")
        return check(folder).findings

    return found
