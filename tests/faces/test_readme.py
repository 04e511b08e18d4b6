"""The README's worked example is what the program really prints."""

from __future__ import annotations

import re
from pathlib import Path

from rushlight.jobs.folder import find_rig
from rushlight.jobs.results import results

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text()


def test_the_worked_example_prints_what_it_says(tmp_path, prints_what_it_says):
    prints_what_it_says(README, tmp_path, 9)
    # And all that it made lies where the bench looks for it.
    place = find_rig(tmp_path, "my-wall")
    assert {"planned", "registered", "watched", "assessed", "published"} <= set(place.made)
    sessions = results(place.file, anew=True).sessions
    assert sessions is not None
    assert any(row.name == "error" for row in sessions.compared)


def test_every_file_it_points_to_is_there():
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / target).exists(), target
