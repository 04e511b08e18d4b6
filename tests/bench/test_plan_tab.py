"""What a tab holds of a rig and has not saved: nothing done on another of its pages loses it."""

import shutil

import pytest
from tests.bench.test_take import ONE
from tests.planned_wall import write_plan

from rushlight.jobs.edit import edited
from rushlight.jobs.load import load_rig
from rushlight.jobs.take import with_candidate
from rushlight.records.search import SearchResult

LONG = 120_000
FLOOR = "surfaces[0].height_above_floor"
KEPT = "() => Object.keys(sessionStorage).some(key => key.startsWith('rushlight-draft'))"


def keep_search(rig):
    """A search kept for the rig as it stands, with one candidate; all of it made up."""
    document = load_rig(rig)[0]
    SearchResult(
        rig=document.content_hash(), rig_name="tab-wall", rig_basis="invented",
        surface_m=(2.4, 1.5), places=[], columns=2, rows=2, evaluated=8, generations=1,
        population=8, seed=1, currency="EUR", price_dates=("2026-01-01", "2026-01-01"), front=1,
        candidates=[ONE], own=None, chosen=ONE.number, closely=None, why=[], thrown_out=[],
        more=[], orders=[], sum_of_orders=0.0, cautions={}, assumptions=[],
    ).stamped("predicted").write(rig / "search" / "search.json")  # fmt: skip


def test_what_is_being_typed_stays_while_the_page_is_drawn_after_another_change(page, bench):
    page.goto(f"{bench.url}/rig/barn-wall/plan")
    page.locator(".room-camera").first.wait_for()
    page.locator("[data-path='cameras[0].position[2]']").fill("3.9 m")
    page.keyboard.press("Tab")
    rate = page.locator("[data-path='cameras[0].frame_rate']")
    rate.focus()
    page.keyboard.press("Control+a")
    page.keyboard.type("50.25 Hz", delay=250)
    assert rate.input_value() == "50.25 Hz"
    page.get_by_text("Not saved yet.").wait_for()


def test_a_plan_of_the_rig_before_it_was_saved_is_no_longer_shown(page, bench, serving):
    rig = bench.folder / "planned-wall"
    shutil.copytree(serving.scenarios / "barn-wall", rig)
    write_plan(rig, rig / "plan", (6, 4))
    page.goto(f"{bench.url}/rig/planned-wall/plan")
    page.get_by_text("What dominates the error").wait_for(timeout=LONG)
    slider = page.locator("[data-slide='cameras[0].position[1]']")
    slider.focus()
    page.keyboard.press("ArrowLeft")
    page.get_by_text("Save first: the plan is made of the saved rig.").wait_for(timeout=LONG)
    assert page.get_by_text("What dominates the error").is_visible()
    page.get_by_role("button", name="Save the rig").and_(page.locator(":enabled")).click()
    page.get_by_text("plan closely again").wait_for(timeout=LONG)
    assert not page.get_by_text("What dominates the error").is_visible()


def write_wall(bench, serving, name):
    """A barn wall of its own; its folder and text."""
    rig = bench.folder / name
    shutil.copytree(serving.scenarios / "barn-wall", rig)
    return rig, (rig / "rig.toml").read_text(encoding="utf-8")


def change(page, path, given):
    """Type a value on the page Plan, and wait until the tab keeps it."""
    typed = page.locator(f"[data-path='{path}']")
    if not typed.is_visible():
        page.locator("details", has=typed).locator("summary").click()
    typed.fill(given)
    page.keyboard.press("Tab")
    page.wait_for_function(KEPT)


def plan(page, address, rig):
    page.goto(f"{address}/rig/{rig.name}/plan")
    page.locator(".room-camera").first.wait_for()
    page.locator(".savebar .first").wait_for()


def take(page, address, rig):
    """Try the candidate on the page Plan; what its notice says."""
    page.goto(f"{address}/rig/{rig.name}/search")
    page.get_by_role("button", name=f"Try number {ONE.number} on the plan page").click()
    page.wait_for_url("**/plan")
    page.get_by_text("Not saved yet.").wait_for()
    return page.locator(".notice[role=status]").first.inner_text()


def is_text(page, words):
    page.wait_for_function("w => document.querySelector('textarea').value === w", arg=words)


@pytest.fixture(autouse=True)
def patient(page):
    page.set_default_timeout(LONG)


def test_a_candidate_comes_into_what_is_not_saved_yet_and_says_so(page, bench, serving):
    rig, first = write_wall(bench, serving, "tab-wall")
    keep_search(rig)
    said = take(page, bench.url, rig)
    assert said == "Number 3 of the search stands here; save it to keep it."
    is_text(page, with_candidate(first, ONE))
    page.get_by_role("button", name="Back to the saved rig").click()
    page.wait_for_function(f"() => !({KEPT})()")

    plan(page, bench.url, rig)
    change(page, FLOOR, "0.71 m")
    mine = edited(first, FLOOR, "0.71 m")
    is_text(page, mine)
    assert "was put into what you had not saved" in take(page, bench.url, rig)
    is_text(page, with_candidate(mine, ONE))
    # Told once: what is found after a reload was restored indeed.
    page.reload()
    page.get_by_text("What you had not saved was restored.").wait_for()
    is_text(page, with_candidate(mine, ONE))
    assert (rig / "rig.toml").read_text(encoding="utf-8") == first


def test_a_draft_that_no_candidate_fits_is_left_as_it_is(page, bench, serving):
    rig, first = write_wall(bench, serving, "torn-wall")
    keep_search(rig)
    plan(page, bench.url, rig)
    torn = first.replace('part = "', 'parts = "')
    page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
    page.locator("textarea").fill(torn)
    page.get_by_role("button", name="Use this text").click()
    page.wait_for_function(KEPT)
    page.goto(f"{bench.url}/rig/{rig.name}/search")
    page.get_by_role("button", name=f"Try number {ONE.number} on the plan page").click()
    page.get_by_text("is not there; write it into the file first").wait_for()
    plan_address = f"{bench.url}/rig/{rig.name}/plan"
    page.goto(plan_address)
    page.get_by_text("What you had not saved was restored.").wait_for()
    is_text(page, torn)


def test_a_variant_outlives_a_reload_and_a_server_that_is_started_anew(page, serving, tmp_path):
    shutil.copytree(serving.scenarios / "barn-wall", tmp_path / "barn-wall")
    rig = tmp_path / "barn-wall"
    first = (rig / "rig.toml").read_text(encoding="utf-8")
    started = serving.start(tmp_path)
    address = started.url
    swap = page.get_by_role("button", name="Let A and now change places")
    try:
        plan(page, address, rig)
        page.get_by_role("button", name="Keep this as A").click()
        swap.wait_for()
        change(page, FLOOR, "0.71 m")
        mine = edited(first, FLOOR, "0.71 m")
        is_text(page, mine)
        page.reload()
        swap.click()
        is_text(page, first)  # and what was not saved is A now
        page.wait_for_function(f"() => !({KEPT})()")
    finally:
        serving.stop(started)
    started = serving.start(tmp_path, address.removeprefix("http://"))
    try:
        page.goto(f"{address}/rig/barn-wall/plan")
        swap.click()
        page.get_by_text("Not saved yet.").wait_for()
        is_text(page, mine)
        assert (rig / "rig.toml").read_text(encoding="utf-8") == first
    finally:
        serving.stop(started)


def test_a_text_that_is_not_in_use_yet_outlives_changed_fields_and_a_reload(page, bench, serving):
    rig, words = write_wall(bench, serving, "text-wall")
    plan(page, bench.url, rig)
    page.get_by_text("The whole rig as text").click()
    box = page.get_by_role("textbox", name="rig.toml")
    box.press("Control+Home")
    box.press_sequentially("# mine\n")
    page.get_by_text("What you typed here is not in use yet").wait_for()
    change(page, FLOOR, "0.7 m")
    page.get_by_text("Not saved yet.").wait_for()
    assert box.input_value() == "# mine\n" + words

    page.reload()
    page.get_by_text("What you typed here is not in use yet").wait_for()
    assert box.is_visible() and box.input_value() == "# mine\n" + words
    page.get_by_role("button", name="Back to the text of the fields").click()
    is_text(page, edited(words, FLOOR, "0.7 m"))
    assert not page.get_by_text("What you typed here is not in use yet").is_visible()

    box.press("Control+Home")
    box.press_sequentially("# mine\n")
    page.get_by_role("button", name="Use this text").click()
    page.get_by_text("What you typed here is not in use yet").wait_for(state="detached")
    page.get_by_role("button", name="Save the rig").and_(page.locator(":enabled")).click()
    page.get_by_text("Saved.", exact=True).wait_for()
    assert (rig / "rig.toml").read_text() == "# mine\n" + edited(words, FLOOR, "0.7 m")
