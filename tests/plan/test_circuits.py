"""Circuits of a plan: strings, supplies, hours and warmth, each from the numbers of the parts."""

from pathlib import Path

import numpy as np
import pytest

from rushlight.jobs.load import load_rig
from rushlight.physics.diode import string_current
from rushlight.plan.power import plan_circuits
from rushlight.plan.power_report import power_findings

BARN_WALL = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall/rig.toml"
RING = """
[cameras.illuminator]
part = "ir850-5mm-17"
count = 12
current = "50 mA"
ring_radius = "25 mm"
feed = { part = "usb-supply" }
wiring = { in_series = 2, strings = 6 }
"""


@pytest.fixture
def circuits(tmp_path):
    def of(old="", new=""):
        text = BARN_WALL.read_text("utf-8")
        assert old in text
        (tmp_path / "rig.toml").write_text(text.replace(old, new, 1), "utf-8")
        return plan_circuits(*load_rig(tmp_path / "rig.toml"))

    return of


def test_currents_are_those_of_the_loop(circuits):
    wren, ash = circuits()
    assert (wren.name, ash.name) == ("stylus-wren", "stylus-ash")
    (branch,) = wren.branches
    for volts, current in ((3.0, branch.nominal_a), (3.2, branch.fresh_a), (1.8, branch.spent_a)):
        expected = string_current(volts, branch.resistor_ohm, 1, 0.05, 1.5, 1.8)
        assert current == pytest.approx(float(expected))
    assert branch.spent_a < branch.nominal_a <= branch.planned_a < branch.fresh_a


def test_hours_lie_between_those_of_the_fresh_and_of_the_spent_current(circuits):
    wren = circuits()[0]
    # 2.165 Ah of the data sheet, lit for three tenths of the time.
    bounds = [2.165 / (0.3 * wren.branches[0].fresh_a), 2.165 / (0.3 * wren.branches[0].spent_a)]
    assert bounds[0] < wren.half_light_h < wren.runtime_h < bounds[1]
    spent = wren.branches[0].spent_a / wren.branches[0].fresh_a
    assert wren.light_left == pytest.approx(spent, rel=0.02)


def test_a_second_light_on_the_same_cells_shortens_their_life(circuits):
    second = """
[[carried.emitters]]
id = "tail"
part = "ir850-5mm-17"
distance_from_tip = "42 mm"
current = "20 mA"
duty = "30 %"

[[carried]]
id = "stylus-ash"
"""
    alone = circuits()[0].runtime_h
    both = circuits('[[carried]]\nid = "stylus-ash"\n', second)[0]
    assert len(both.branches) == 2
    assert both.runtime_h == pytest.approx(alone / 2, rel=0.02)


def test_diodes_at_one_place_make_one_stronger_light(circuits, tmp_path):
    from rushlight.shelf.cost import parts_used
    from rushlight.shelf.resolve import resolve

    circuits('current = "20 mA"\n', 'current = "20 mA"\nwiring = { strings = 2 }\n')
    rig, shelf = load_rig(tmp_path / "rig.toml")
    intensity = resolve(rig, shelf).emitters.intensity_w_sr[0]
    assert intensity[0] == pytest.approx(2 * intensity[1])
    assert parts_used(rig).count(("emitter", "ir850-5mm-17")) == 3


def test_an_illuminator_on_a_supply_that_is_not_used_up(circuits):
    ring = circuits('filter = "long-pass-850"\n', 'filter = "long-pass-850"\n' + RING)[-1]
    assert (ring.kind, ring.name, ring.feed) == ("illuminator", "beam", "usb-supply")
    (branch,) = ring.branches
    # 5 V less 2 × 1.5 V at 50 mA: 40 Ω, next of series E24 43 Ω.
    assert branch.resistor_ohm == 43
    assert ring.peak_a == pytest.approx(6 * branch.fresh_a)
    assert ring.runtime_h is None and ring.light_left is None


def test_pulses_draw_their_average_and_heat_by_it(circuits):
    pulsed = 'current = "100 mA"\ndrive = "pulsed"\nduty = "5 %"\npulse = "500 us"\n'
    steady = 'current = "20 mA"\ndrive = "switched"\nduty = "30 %"\n'
    wren = circuits(steady, pulsed)[0]
    (branch,) = wren.branches
    assert wren.mean_a == pytest.approx(0.05 * branch.fresh_a)
    # Resistor for the pulse, heat by the average.
    assert branch.resistor_ohm == pytest.approx((3.0 - 1.626) / 0.1, abs=2.0)
    assert branch.resistor_w == pytest.approx(0.05 * branch.fresh_a**2 * branch.resistor_ohm)


def test_without_a_cell_nothing_is_told_of_it(circuits):
    wren = circuits('cell = "aa-alkaline"\ncells = 2\n', "")[0]
    assert wren.runtime_h is wren.peak_a is wren.branches[0].resistor_ohm is None
    assert wren.branches[0].junction_c > wren.ambient_c


def test_fading_is_told_of_where_it_comes_before_the_wanted_hours(circuits):
    found = circuits()
    assert power_findings(found, 40.0, "rig.toml") == []
    assert power_findings(found, None, "rig.toml") == []
    late = power_findings(found, found[0].half_light_h + 1, "rig.toml")
    assert {(each.severity, each.code) for each in late} == {("warning", "light-fades")}


def test_a_hot_resistor_is_told(circuits):
    strong = circuits('current = "20 mA"\n', 'current = "95 mA"\n')[0]
    found = power_findings([strong], None, "rig.toml")
    assert "hot enough to burn" in str(found[-1]) and np.isfinite(strong.branches[0].resistor_c)
