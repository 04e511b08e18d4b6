"""The whole job on the bench, from a rig's first look to its kit: by clicks and keys alone.

Keys alone lead from the start page through the plan; the rest is clicked: aim, register, watch with
two pointers, try, results, kit. The camera is simulated, at its own pace, as are the hands before
it; who taps the targets with the reference is a program.
"""

import json
import urllib.request
from pathlib import Path

import pytest
from tests.served_bench import chromium, start_bench, stop_bench

import rushlight
from rushlight.jobs.trials_plan import RING_TARGETS
from rushlight.records.document import read_document
from rushlight.records.registration import Registration

SCENARIO = Path(rushlight.__file__).parent / "jobs" / "scenarios" / "barn-wall" / "rig.toml"
LONG = 200_000


@pytest.fixture
def bench(tmp_path):
    """A served bench on a barn wall whose camera films slowly enough for any computer."""
    (tmp_path / "wall").mkdir()
    rig = SCENARIO.read_text(encoding="utf-8")
    for old, new in (
        ('outputs = ["session", "pointer"]', 'outputs = ["session"]'),
        ('frame_rate = "100 Hz"', 'frame_rate = "30 Hz"'),
    ):
        assert old in rig
        rig = rig.replace(old, new)
    (tmp_path / "wall" / "rig.toml").write_text(rig, encoding="utf-8")
    served = start_bench(tmp_path)
    yield served
    stop_bench(served)


@pytest.fixture
def page():
    """A tab of a real Chromium, or a loud skip."""
    with chromium() as browser:
        context = browser.new_context(viewport={"width": 1280, "height": 800})
        context.set_default_timeout(LONG)
        yield context.new_page()


def by_keys_to(page, wanted):
    """Press Tab until an element has the focus that the user looks for."""
    for _ in range(120):
        page.keyboard.press("Tab")
        if page.evaluate(f"document.activeElement.matches({wanted!r})"):
            return
    raise AssertionError(f"no key leads to {wanted}")


def display(page, name):
    """The display page that a link of the desk opens in a tab of its own."""
    page.get_by_text("Nothing goes on.").or_(page.get_by_text("It has ended.")).first.wait_for()
    with page.expect_popup() as popup:
        page.get_by_role("link", name=name).click()
    return popup.value


def stage(page, name):
    """Go to a stage of the rig."""
    page.locator(".desk-stages").get_by_role("link", name=name, exact=True).click()


def twin(bench, name):
    """A page as plain values."""
    with urllib.request.urlopen(f"{bench.url}/rig/wall/{name}.json", timeout=LONG / 1e3) as answer:
        return json.load(answer)


def test_a_rig_goes_from_plan_to_kit_by_keys_and_clicks(bench, page):
    folder, url = bench.folder, bench.url
    file = folder / "wall" / "rig.toml"
    before = file.read_text(encoding="utf-8")

    page.goto(url)
    page.get_by_text("Planting map on a barn wall").wait_for()
    by_keys_to(page, "a[href='/rig/wall/plan']")
    page.keyboard.press("Enter")
    page.locator(".room-camera").first.wait_for()
    by_keys_to(page, "[data-slide='cameras[0].position[0]']")
    page.keyboard.press("ArrowRight")
    page.get_by_text("Not saved yet.").wait_for()
    by_keys_to(page, ".savebar .first")
    page.keyboard.press("Enter")
    page.get_by_text("Saved.", exact=True).wait_for()
    assert file.read_text(encoding="utf-8") == before.replace('["1.2 m", "1.6', '["1.22 m", "1.6')
    page.get_by_role("button", name="Plan closely").click()
    page.get_by_text("What dominates the error:").wait_for()

    stage(page, "Aim")
    page.get_by_role("button", name="Begin", exact=True).click()
    # The rehearsed builder does as advised until the predicted coverage is reached.
    page.locator(".verdict.good", has_text="✓ Leave it").wait_for()
    page.get_by_role("button", name="Keep it, and end").click()
    page.get_by_text("It has ended.").wait_for()
    aim = twin(bench, "aim")
    assert aim["reached"] and aim["coverage"]["now"] >= aim["coverage"]["wanted"] > 0.5
    assert (folder / "wall" / "aim.json").exists()

    stage(page, "Register")
    page.locator("[data-beacons]").select_option("6")
    beacons = display(page, "Open the beacons")
    beacons.get_by_role("button", name="Fill the display and begin").click()
    page.get_by_role("button", name="Begin to register").click()
    page.get_by_text("A rehearsal, simulated").wait_for()
    page.get_by_text("All is touched.").wait_for()
    page.get_by_role("button", name="Finish and keep it").click()
    page.get_by_text("✓ Vouched for").first.wait_for()
    assert read_document(Registration, folder / "wall" / "registration.json").verdict.vouched
    beacons.close()

    stage(page, "Watch")
    planting = display(page, "Open the planting map")
    page.get_by_role("button", name="Begin to follow").click()
    planting.wait_for_selector('#held[data-most="2"]')
    assert planting.locator("#simulated").is_visible()
    planting.close()
    page.get_by_role("button", name="End it").click()
    page.get_by_role("region", name="The newest run that was kept").wait_for()

    stage(page, "Try")
    page.locator("[data-role=reference]").check()
    page.get_by_label("What you call the device").fill("a mouse")
    page.locator("[data-open=try][href*='role=reference']").wait_for()
    with page.expect_popup() as popup:
        page.locator("[data-open=try]").click()
    tap_a_ring(popup.value)
    page.get_by_role("region", name="Sittings kept beside the rig").get_by_text(
        "a mouse"
    ).wait_for()

    page.locator("[data-role=rig]").check()
    page.locator("[data-task=grid]").check()
    page.get_by_role("button", name="Begin to follow").click()
    page.get_by_text("A rehearsal, simulated").wait_for()
    page.locator("[data-open=try][href*='role=rig'][href*='task=grid']").wait_for()
    with page.expect_popup() as popup:
        page.locator("[data-open=try]").click()
    sit_down(popup.value)
    # The rehearsed hand holds every mark.
    stand_up(popup.value)
    page.get_by_role("button", name="End it").click()
    page.get_by_text("It has ended.").wait_for()

    stage(page, "Results")
    page.get_by_role("heading", name="Trials on the page Try").wait_for()
    page.get_by_role("region", name="Pointing, block by block").wait_for()
    beside = page.get_by_role("region", name="Predicted beside found", exact=True)
    beside.wait_for()
    heads = beside.locator("thead th").all_inner_texts()
    shown = [row.locator("th, td").all_inner_texts() for row in beside.locator("tbody tr").all()]
    rows = [dict(zip(heads, each, strict=True)) for each in shown]
    kept = twin(bench, "results")["trials"]
    assert kept["basis"] == "simulated" and len(kept["compared"]) == len(rows) == 1
    # Nine marks of one hand at one build, beside what is expected of many.
    assert 0.4 < float(rows[0]["Found"]) / float(rows[0]["Predicted"]) < 2.5, rows

    stage(page, "Kit")
    page.get_by_role("button", name="Make the kit").click()
    page.get_by_role("link", name="Open the kit").wait_for()
    assert list((folder / "wall").rglob("index.html"))


def sit_down(page):
    """Agree at the page of trials, and begin its first task."""
    page.locator("#consent").check()
    page.locator("#start").click()
    page.locator("#go").click()
    page.locator("#task:not([hidden])").wait_for()


def stand_up(page):
    """Leave the page of trials once it has told what was reached."""
    page.locator("#result[data-told]").wait_for()
    page.close()


def tap_a_ring(page):
    """Tap all targets of a ring, not quite in their middle."""
    sit_down(page)
    goal = page.locator("circle.goal")
    for number in range(RING_TARGETS + 1):
        x, y = (float(goal.get_attribute(each)) for each in ("cx", "cy"))
        page.mouse.click(x + number % 5 - 2, y + number % 3 - 1)
    page.locator("#rest:not([hidden])").wait_for()
    page.locator("#end").click()
    stand_up(page)
