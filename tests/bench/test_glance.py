"""The quick look beside the plan that it stands in for; both are predictions of one program."""

import importlib.resources
from pathlib import Path

import numpy as np
import pytest

from rushlight.jobs.glance import glance
from rushlight.jobs.plan import planned_rig

SCENARIOS = Path(str(importlib.resources.files("rushlight.jobs") / "scenarios"))


def text_of(scenario):
    return (SCENARIOS / scenario / "rig.toml").read_text(encoding="utf-8")


def test_it_agrees_with_the_plan_on_a_surface():
    looked = glance(text_of("barn-wall"), SCENARIOS / "barn-wall")
    planned = planned_rig(SCENARIOS / "barn-wall")
    error_mm = 1e3 * float(planned.evaluation.overall_error_m()[0])
    # Other beacons and a finer grid: close, not equal.
    assert looked.error_mm == pytest.approx(error_mm, rel=0.1)
    assert looked.coverage == pytest.approx(float(planned.evaluation.coverage[0]), abs=0.1)
    assert next(iter(looked.causes_mm)) == planned.plan.dominant


@pytest.mark.parametrize(
    ("key", "lax", "strict"),
    [
        ("worst_error", '"1 m"', '"0.01 mm"'),
        ("coverage", '"1 %"', '"100 %"'),
        ("delay", '"10 s"', '"0.1 ms"'),
    ],
)
def test_each_target_is_judged_by_itself(key, lax, strict):
    text = text_of("barn-wall")
    head, targets = text.split("[targets]\n")
    rest = "\n".join(line for line in targets.splitlines() if not line.startswith(key))
    at = {"worst_error": "error_mm", "coverage": "coverage", "delay": "delay_ms"}[key]
    for given, met in ((lax, True), (strict, False)):
        looked = glance(f"{head}[targets]\n{key} = {given}\n{rest}", SCENARIOS / "barn-wall")
        assert looked.met[at] is met, looked.findings
    assert glance("kinds = 3", SCENARIOS / "barn-wall").met == {}


def test_what_has_no_greatest_error_is_not_judged_by_it():
    looked = glance(text_of("ferry-model"), SCENARIOS / "ferry-model")
    assert looked.worst_mm is None and looked.met["error_mm"] is None
    assert looked.met["delay_ms"] is (looked.delay_ms <= looked.targets["delay_ms"])


@pytest.mark.parametrize("scenario", ["paper-theatre", "ferry-model", "choir-baton"])
def test_a_rig_of_space_has_a_map_of_each_zone(scenario):
    looked = glance(text_of(scenario), SCENARIOS / scenario)
    assert looked.maps and looked.room["zones"]
    for each in looked.maps:
        assert len(each.error_mm) == len(each.lost) == np.prod(each.shape)
        assert all(value is None or value > 0 for value in each.error_mm)


def test_a_camera_looks_at_the_wall_around_what_it_looks_at():
    room = glance(text_of("barn-wall"), SCENARIOS / "barn-wall").room
    corners = np.array(room["cameras"][0]["corners_m"])
    assert np.allclose(corners[:, 2], 0.0)
    assert np.all(corners[:, :2].min(axis=0) < [1.2, 0.72])
    assert np.all(corners[:, :2].max(axis=0) > [1.2, 0.72])


def test_a_camera_turned_aside_covers_less():
    text = text_of("barn-wall")
    aside = text.replace('look_at = ["1.2 m"', 'look_at = ["2.4 m"')
    straight, turned = (glance(each, SCENARIOS / "barn-wall") for each in (text, aside))
    assert turned.coverage < straight.coverage - 0.1
    columns = np.reshape([bool(cell) for cell in turned.maps[0].lost], (12, 18)).mean(axis=0)
    assert columns[0] > columns[-3]


def test_a_camera_turned_away_is_told():
    text = text_of("barn-wall").replace('"0.72 m", "0 m"]', '"0.72 m", "6 m"]')
    looked = glance(text, SCENARIOS / "barn-wall")
    assert "away from the wall" in str(looked.findings[0])


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [('"2.4 m"', '"2.4"', "quantity"), ("[ambient]", "[ambient", "toml")],
)
def test_a_wrong_text_is_told_in_place(old, new, code):
    looked = glance(text_of("barn-wall").replace(old, new, 1), SCENARIOS / "barn-wall")
    assert looked.room is None
    assert code in {finding.code for finding in looked.findings}
