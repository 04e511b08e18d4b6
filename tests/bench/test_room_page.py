"""The plan page's pictures: room, error map and flat views against the job, budgets by rule."""

import re
import shutil
import tomllib

import matplotlib
import numpy as np
import pytest
from tests.served_bench import small

from rushlight.jobs.glance import glance
from rushlight.jobs.load import load_rig
from rushlight.records.document import read_document
from rushlight.records.plan import Plan


@pytest.fixture(scope="module")
def tab(browser, bench):
    """The plan page of the wall, which no test here changes, with its coarse plan kept."""
    from rushlight.jobs.plan import planned_rig

    folder = bench.folder / "drawn-wall"
    shutil.copytree(bench.folder / "barn-wall", folder, ignore=shutil.ignore_patterns("*.json"))
    made = planned_rig(folder, (2, 2)).plan
    made.stamped("predicted", inputs={"rig": made.rig}).write(folder / "plan" / "plan.json")
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    page.goto(f"{bench.url}/rig/{folder.name}/plan")
    page.locator(".room-camera").first.wait_for(timeout=90_000)
    yield page
    context.close()


@pytest.fixture(scope="module")
def rig(bench, tab):
    return load_rig(bench.folder / "drawn-wall")[0]


@pytest.fixture(scope="module")
def looked(bench, tab):
    folder = bench.folder / "drawn-wall"
    return glance((folder / "rig.toml").read_text(encoding="utf-8"), folder)


def seen_from(page, name):
    page.get_by_role("button", name=name, exact=True).click()
    page.get_by_role("button", name=name, exact=True, pressed=True).wait_for()
    page.wait_for_timeout(200)  # the drawing follows the button by one message


def outlines(page, kind):
    """Corners of every polygon of a kind (N, 4, 2) [px of the drawing]."""
    told = page.locator(f".room-svg polygon.{kind}").evaluate_all(
        "all => all.map(each => each.getAttribute('points'))"
    )
    return np.array([[pair.split(",") for pair in each.split()] for each in told], float)


def middles(page, what):
    """Centres of circles or squares (N, 2) [px of the drawing]."""
    return np.array(
        page.locator(f".room-svg {what}").evaluate_all(
            """all => all.map(each => { const {x, y, width, height} = each.getBBox();
                                        return [x + width / 2, y + height / 2]; })"""
        )
    )


def metre_px(page):
    """How long the drawn scale says that a metre is."""
    path = page.locator(".room-scale").get_attribute("d")
    words = page.locator(".room-scale + .room-label").text_content()
    return float(re.search(r"h([\d.]+)v-5", path)[1]) / float(words.removesuffix(" m"))


def surface_size(rig):
    return np.array([rig.surfaces[0].width.value, rig.surfaces[0].height.value])


def test_the_map_is_drawn_cell_by_cell_as_the_job_tells_it(tab, rig, looked):
    seen_from(tab, "From the front")
    told = looked.maps[0]
    cells = outlines(tab, "room-cell")
    assert len(cells) == len(told.error_mm) == np.prod(told.shape)
    [frame] = outlines(tab, "room-frame")
    low, high = frame.min(axis=0), frame.max(axis=0)
    share = (cells.mean(axis=1) - low) / (high - low)
    columns = np.floor(share[:, 0] * told.shape[0]).astype(int)
    rows = np.floor((1 - share[:, 1]) * told.shape[1]).astype(int)  # the first row lies lowest
    assert len(set(zip(columns.tolist(), rows.tolist(), strict=True))) == len(cells)
    error = np.array(told.error_mm, float)
    want = matplotlib.colormaps["cividis"]((error - error.min()) / np.ptp(error))[:, :3] * 255
    painted = tab.locator(".room-cell").evaluate_all(
        "all => all.map(each => getComputedStyle(each).fill.match(/[0-9]+/g).map(Number))"
    )
    off = np.abs(np.array(painted) - want[rows * told.shape[0] + columns])
    # Ten anchors stand for the 256 colours of the map; its darkest bend between them.
    assert off.max() < 16 and off.mean() < 2.0
    assert np.ptp(error) > 0.5
    legend = tab.locator(".legend").inner_text()
    assert f"{error.min():.3g} to {error.max():.3g} mm" in legend
    lost = middles(tab, ".room-lost")
    where = (lost - low) / (high - low) * told.shape[:2]
    crossed = {(int(x), told.shape[1] - 1 - int(y)) for x, y in where}
    assert crossed == {
        (i % told.shape[0], i // told.shape[0]) for i, why in enumerate(told.lost) if why
    }
    assert crossed


@pytest.mark.parametrize(
    ("view", "across", "up"),
    [("From above", 0, 2), ("From the side", 2, 1), ("From the front", 0, 1)],
)
def test_flat_views_are_to_scale(tab, rig, looked, view, across, up):
    """The drawn surface and the camera's way from it are what the rig's file says, by the drawn
    metre."""
    seen_from(tab, view)
    metre = metre_px(tab)
    [frame] = outlines(tab, "room-frame")
    size = np.array([*surface_size(rig), 0.0])[[across, up]]
    np.testing.assert_allclose(np.ptp(frame, axis=0) / metre, size, atol=0.01)
    sign = 1 if view == "From above" else -1
    origin = [frame[:, 0].min(), frame[:, 1].min() if sign > 0 else frame[:, 1].max()]
    cameras = middles(tab, ".room-camera")
    want = [[rig.cameras[0].position[axis].value for axis in (across, up)]]
    np.testing.assert_allclose((cameras - origin) * [1, sign] / metre, want, atol=0.02)
    assert tab.locator(".room-ray").count() == 4 * len(rig.cameras)
    floor = looked.room["floor_m"]
    assert floor == pytest.approx(-rig.surfaces[0].height_above_floor.value)
    people = middles(tab, "circle.room-person")
    if view == "From the front":
        assert len(people) == 0  # they would hide the map
        return
    standing = [np.mean(each["standing_m"], axis=0) for each in looked.room["people"]]
    assert len(people) == len(standing) == len(rig.people)
    drawn = (people - origin) * [1, sign] / metre
    for person, (x, z), told in zip(drawn, standing, rig.people, strict=True):
        assert person[0] == pytest.approx(x if across == 0 else z, abs=0.02)
        if up == 2:
            assert person[1] == pytest.approx(z, abs=0.02)
        else:  # the middle of a head, under the stature
            assert 0.8 < (person[1] - floor) / told.stature.value < 1.0


def test_turned_freely_everything_is_there_and_no_scale_is_claimed(tab, rig, looked):
    seen_from(tab, "Turn freely")
    assert tab.locator(".room-scale").count() == 0
    assert tab.locator(".room-cell").count() == np.prod(looked.maps[0].shape)
    assert tab.locator("circle.room-person").count() == len(rig.people)
    assert tab.locator("polygon.room-person").count() == len(rig.people)
    assert tab.locator(".room-camera").count() == len(rig.cameras)
    before = outlines(tab, "room-frame")
    tab.locator(".room-svg").focus()
    tab.keyboard.press("ArrowRight")
    assert np.abs(outlines(tab, "room-frame") - before).max() > 1


def test_it_is_turned_and_brought_nearer_without_dragging(tab):
    seen_from(tab, "Turn freely")
    ways = ("Turn left", "Turn right", "Tilt up", "Tilt down", "Nearer", "Farther")
    buttons = {each: tab.get_by_role("button", name=each, exact=True) for each in ways}
    start = outlines(tab, "room-frame")
    for one, back in zip(ways[::2], ways[1::2], strict=True):
        buttons[one].press("Enter")
        moved = outlines(tab, "room-frame")
        assert np.abs(moved - start).max() > 1, one
        if one == "Nearer":
            assert np.ptp(moved[0], axis=0).max() > 1.1 * np.ptp(start[0], axis=0).max()
        buttons[back].press("Enter")
        np.testing.assert_allclose(outlines(tab, "room-frame"), start, atol=0.2)
    assert [each for each in small(tab) if "data-way" in each[1]] == []
    seen_from(tab, "From above")
    assert [each for each in ways if buttons[each].is_enabled()] == ["Nearer", "Farther"]
    seen_from(tab, "Turn freely")
    assert all(each.is_enabled() for each in buttons.values())


def test_a_zone_in_space_is_drawn_place_by_place(page, bench):
    folder = bench.folder / "choir-baton"
    text = (folder / "rig.toml").read_text(encoding="utf-8")
    looked = glance(text, folder)
    page.goto(f"{bench.url}/rig/choir-baton/plan")
    page.locator(".room-camera").first.wait_for(timeout=90_000)
    seen_from(page, "From above")
    assert page.locator(".room-ball").count() == sum(np.prod(each.shape) for each in looked.maps)
    lost = [why for each in looked.maps for why in each.lost if why]
    assert page.locator(".room-ball.lost").count() == len(lost)
    cameras = middles(page, ".room-camera") / metre_px(page)
    rig = tomllib.loads(text)
    assert len(cameras) == len(rig["cameras"]) == 2
    at = np.array([each["at_m"] for each in looked.room["cameras"]])[:, [0, 2]]
    np.testing.assert_allclose(np.diff(cameras, axis=0), np.diff(at, axis=0), atol=0.02)


def test_budgets_are_bars_what_rules_first_with_doubt_and_cautions(tab, bench):
    made = read_document(Plan, bench.folder / "drawn-wall" / "plan" / "plan.json")
    parts = tab.locator("[data-budget]")
    parts.first.wait_for()
    names = parts.evaluate_all("all => all.map(each => each.dataset.budget)")
    assert names == ["error", "delay", "current", "runtime", "eyes", "cost"]
    for name in names:
        part = tab.locator(f"[data-budget={name}]")
        bars = part.locator(".bar i").evaluate_all(
            "all => all.map(each => each.getBoundingClientRect().width)"
        )
        assert bars == sorted(bars, reverse=name != "runtime"), name
        assert max(bars) > 0
        doubts = part.locator("li .doubt").all_inner_texts()
        assert len(doubts) == len(bars) and all(
            "interval not known" in each or "of builds" in each for each in doubts
        )
    spans = tab.locator("[data-budget=error] .bar b")
    assert spans.count() == tab.locator("[data-budget=error] .bar").count()
    tab.get_by_text("Single values, whose interval the plan does not know").wait_for()
    eyes = tab.locator("[data-budget=eyes]")
    assert "a qualified person" in eyes.inner_text()
    target = eyes.locator(".caution a").first.get_attribute("href")
    assert tab.locator(target).count() == 1
    worst = max(each.ratio for each in made.eyes)
    bar = eyes.locator(".bar").first
    share = bar.evaluate("e => e.firstChild.getBoundingClientRect().width / e.clientWidth")
    assert share == pytest.approx(worst, abs=0.01)  # the whole bar is the limit
