"""A new rig, as written and with a sharp camera: what the plan promises, the simulation shows."""

from __future__ import annotations

import importlib.resources

import pytest
from tests.planned_wall import write_plan

from rushlight.errors import RushlightError
from rushlight.jobs.assess import assess
from rushlight.jobs.register import register
from rushlight.jobs.run import run
from rushlight.jobs.simulate import simulate
from rushlight.records.figure import find_figure

TEMPLATE = (importlib.resources.files("rushlight.jobs") / "template_surface.toml").read_text()
SHARP = TEMPLATE.replace("vga-global-60", "mono-global-720p").replace("60 Hz", "30 Hz")
NEAR = SHARP.replace('distance_from_tip = "8 mm"', 'distance_from_tip = "5 mm"').replace(
    'spread = "60 %"', 'spread = "90 %"'
)


def _planned(folder, text):
    (folder / "rig.toml").write_text(text)
    return write_plan(folder, folder / "plan", (9, 6))


@pytest.mark.parametrize(("text", "seed"), [(TEMPLATE, 16), (NEAR, 1)])
def test_a_rig_that_the_plan_approves_of_registers_and_covers(tmp_path, text, seed):
    planned = find_figure(_planned(tmp_path, text).figures, "coverage").value
    plan_file = tmp_path / "plan" / "plan.json"
    _, touches = simulate(tmp_path, "registration", tmp_path / "touches", seed, plan=plan_file)
    registration = tmp_path / "registration.json"
    told = register(touches, tmp_path, registration).registration
    assert told.verdict.vouched
    assert len(told.touches) == 9
    _, grid = simulate(
        tmp_path, "grid", tmp_path / "grid", seed,
        plan=plan_file, columns=5, rows=4, frames_per_place=6,
    )  # fmt: skip
    run(grid, tmp_path / "grid.sqlite", tmp_path, registration)
    assessed = assess([tmp_path / "grid.sqlite"], plan_file, tmp_path, [grid / "truth.sqlite"])
    shown = find_figure(assessed.figures, "coverage").value
    # Twenty places: two of them more or less than expected.
    assert abs(shown - planned) <= 10.0


def test_a_plan_warns_where_tip_and_glow_are_seen_apart(tmp_path):
    told = _planned(tmp_path, SHARP.replace('"8 mm"', '"12 mm"'))
    assert "tip-and-glow-parted" in [each.code for each in told.findings]
    assert find_figure(told.figures, "coverage").value == 0.0
    # The warning is just: hardly a touch is found in simulation.
    _, touches = simulate(
        tmp_path, "registration", tmp_path / "touches", 1, plan=tmp_path / "plan" / "plan.json"
    )
    with pytest.raises(RushlightError, match="too few"):
        register(touches, tmp_path, tmp_path / "registration.json")
