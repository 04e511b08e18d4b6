"""The aim page's drawings, and the act of the live process that it begins."""

import re

import pytest

from rushlight.bench.desk.aim_drawing import ABOVE, SIDE, places_svg, room_svg
from rushlight.bench.desk.page_aim import _meter_html
from rushlight.bench.texts import has_text
from rushlight.jobs.aim import aim_sketch
from rushlight.jobs.aim_telling import AimState
from rushlight.jobs.rehearsal import askew
from rushlight.plan.light import FULLEST_PEAK


@pytest.fixture
def sketch(bench):
    return aim_sketch(bench.folder / "barn-wall")


def test_the_room_is_drawn_to_scale_with_both_cameras(sketch):
    """The drawn metre and the drawn surface of 2.4 m are as one to 2.4."""
    found = {"at_m": [1.3, 1.6, 2.9], "view_m": sketch["planned"]["view_m"]}
    told = {"planned": sketch["planned"], "found": found}
    drawn = room_svg(sketch, told, ABOVE)
    metre = float(re.search(r"h([\d.]+)v-5", drawn)[1])
    ends = re.search(r'x1="([\d.]+)"[^>]*x2="([\d.]+)"[^>]*aim-surface', drawn)
    assert (float(ends[2]) - float(ends[1])) / metre == pytest.approx(2.4, rel=0.01)
    assert drawn.count("<circle") == 1
    assert drawn.count("<rect") == 1
    assert "<circle" not in room_svg(sketch, None, SIDE)


def test_each_place_is_drawn_with_its_state_and_named(sketch):
    states = {"centre": "held", "upper-left": "passed over"}
    drawn = places_svg(sketch["places"], states, "lower-left", 0.5)
    assert drawn.count("✓") == 1
    assert drawn.count("aim-held") == 1
    for each in sketch["places"]:
        assert has_text(f"aim.place.{each['name']}")
        assert has_text(f"aim.mark.{each['name']}")


@pytest.mark.parametrize(("over", "full"), [(-0.01, False), (0.01, True)])
def test_the_meter_is_full_from_the_limit_that_the_job_tells(over, full):
    level = FULLEST_PEAK + over
    state = AimState("holding", 0, "stylus-wren", "centre", 0.5, 1, 3, {}, level, 40.0).as_dict()
    assert state["level_full"] is full
    drawn = _meter_html({**state, "level_limit": 0.6})
    assert ('class="aim-meter full"' in drawn) is full
    assert "--fullest:60%" in drawn
    unlit = AimState("holding", 0, "stylus-wren", "centre", 0.5, 1, 3, {}).as_dict()
    assert unlit["level_full"] is False and "width:0%" in _meter_html(unlit)


def test_only_a_plain_rehearsal_is_hung_askew():
    assert askew("rehearsal:7") == "rehearsal:7:askew"
    assert askew("rehearsal:7:askew") == "rehearsal:7:askew"
    assert askew("camera:0") == "camera:0"
    assert askew(None) is None


def test_a_rehearsed_aim_is_begun_on_the_page_and_tells_what_to_do(page, bench):
    folder = bench.folder / "slow-wall-aimed"
    folder.mkdir()
    text = (bench.folder / "barn-wall" / "rig.toml").read_text(encoding="utf-8")
    slow = text.replace('rate = "100 Hz"', 'rate = "15 Hz"')
    (folder / "rig.toml").write_text(slow, encoding="utf-8")
    page.goto(f"{bench.url}/rig/{folder.name}/aim")
    page.locator("[data-source=seed]").fill("10")
    page.get_by_role("button", name="Begin", exact=True).click()
    page.get_by_text("Keep every light off").wait_for(timeout=120_000)
    page.get_by_text(re.compile("Hold stylus-.* still at")).wait_for(timeout=60_000)
    page.locator(".verdict").wait_for(timeout=120_000)
    page.locator(".aim-lens.found").first.wait_for()
    page.get_by_text("Coverage as the camera stands, predicted").wait_for()
    page.get_by_role("button", name="Keep it, and end").click()
    page.get_by_text("It has ended.").wait_for(timeout=60_000)
    assert (folder / "aim.json").exists()
