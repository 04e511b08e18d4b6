"""A film that tells nothing but its pictures: the plan's order and a list of marks do the rest.

The film is simulated here, for want of a real one, and its sidecar is left behind.
"""

from __future__ import annotations

import importlib.resources
import shutil

import pytest
from tests.planned_wall import write_plan

from rushlight.jobs.assess import assess
from rushlight.jobs.register import register
from rushlight.jobs.run import run
from rushlight.jobs.simulate import simulate
from rushlight.keep.session import SessionReader
from rushlight.records.figure import find_figure

TEMPLATE = (importlib.resources.files("rushlight.jobs") / "template_surface.toml").read_text()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    home = tmp_path_factory.mktemp("film")
    (home / "rig.toml").write_text(TEMPLATE)
    write_plan(home, home / "plan")
    return home


def film(folder, script, **more):
    """Only the pictures of a simulated script, and where its whole folder lies."""
    where = folder / script
    simulate(folder, script, where, 5, plan=folder / "plan" / "plan.json", **more)
    bare = folder / f"{script}.avi"
    shutil.copy(next(where.glob("*.avi")), bare)
    return bare, where


def test_register_run_and_assess_by_order_and_marks(folder):
    plan_file = folder / "plan" / "plan.json"
    touches, _ = film(folder, "registration")
    registration = folder / "registration.json"
    told = register(touches, folder, registration, plan_file)
    assert told.registration.verdict.vouched
    grid, whole = film(folder, "grid", columns=4, rows=3, frames_per_place=36)
    run(grid, folder / "bare.sqlite", folder, registration)
    run(whole, folder / "whole.sqlite", folder, registration)
    with SessionReader(folder / "whole.sqlite") as reader:
        goals = sorted(reader.header.goals, key=lambda goal: goal.from_ns)
    lines = "".join(
        f'{{place = ["{goal.place_m[0]:.4f} m", "{goal.place_m[1]:.4f} m"]}},' for goal in goals
    )
    marks = folder / "marks.toml"
    marks.write_text(f'schema = "rushlight/marks"\nversion = 1\nmarks = [{lines}]\n')
    by_hand = assess([folder / "bare.sqlite"], plan_file, folder, marks=marks)
    told_all = assess([folder / "whole.sqlite"], plan_file, folder)
    assert by_hand.basis == "simulated"
    ours, theirs = (
        find_figure(each.figures, "error", "all", "rms").value for each in (by_hand, told_all)
    )
    assert ours == pytest.approx(theirs, rel=0.05)
    assert "marks-by-hand" in [finding.code for finding in by_hand.findings]
