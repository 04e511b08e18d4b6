"""A rig in space registered on the bench: steps on the desk, their marks on the display, by a
rehearsed head, and then followed. Everything before the camera is simulated.
"""

import contextlib
import json
import shutil
import urllib.request

import pytest
from playwright.sync_api import TimeoutError
from tests.served_bench import barriers, by_keys_to, press, small

from rushlight.jobs.load import load_rig
from rushlight.plan.space_design import design_of
from rushlight.records.document import read_document
from rushlight.records.space_registration import SpaceRegistration
from rushlight.shelf.resolve_space import resolve_space

RIG, STEPS = "paper-theatre", 6
ARRIVES_MS = 3000
"""From a step's words until the rehearsed head is at rest, on a busy computer too [ms]."""
LONG_MS = 90_000
DISPLAY_PX = {"width": 1920, "height": 1080}


@pytest.fixture(scope="module")
def desk(tmp_path_factory, serving):
    """A bench on the theatre, whose camera films slowly enough for any computer."""
    folder = tmp_path_factory.mktemp("steps")
    shutil.copytree(serving.scenarios / RIG, folder / RIG)
    file = folder / RIG / "rig.toml"
    text = file.read_text("utf-8")
    assert '"100 Hz"' in text
    file.write_text(text.replace('"100 Hz"', '"20 Hz"'), "utf-8")
    started = serving.start(folder)
    yield started
    serving.stop(started)


@pytest.fixture
def pages(browser, desk):
    """The desk's page, and the marks that its link opens, with their faults."""
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    context.set_default_timeout(LONG_MS)
    page = context.new_page()
    page.faults = []
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.goto(f"{desk.url}/rig/{RIG}/register")
    page.locator("[data-page=steps][href]").wait_for()
    with context.expect_page() as opened:
        page.locator("[data-page=steps]").click()
    display = opened.value
    display.on("pageerror", lambda error: page.faults.append(str(error)))
    display.set_viewport_size(DISPLAY_PX)
    display.wait_for_selector("h1:not(:empty)")
    yield page, display
    assert not page.faults
    if (end := page.get_by_role("button", name="End it")).is_enabled():
        end.click()
    context.close()


def marks_of(desk):
    rig, shelf = load_rig(desk.folder / RIG)
    return design_of(resolve_space(rig, shelf)).marks


def middle_px(page):
    """Where the points of the thorns meet [CSS px]."""
    for _ in range(20):
        box = page.locator(".thorn").bounding_box()
        if box is not None:  # as in the moment in which it is drawn anew
            return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.wait_for_timeout(100)
    raise AssertionError("no thorns are shown")


def made(page, display, number, of, key):
    """Begin a step by a key of the display, or by the desk, until it counts.

    On a busy computer a page may lose its line for a moment: then what was pressed is dropped, as
    old wishes mislead, and it is pressed again.
    """
    came = page.locator(f"[data-step='{number}'][data-came=counts]")
    for _ in range(6):
        display.wait_for_timeout(ARRIVES_MS)
        if came.count():
            return
        if key is None:
            page.locator("[data-word=begin]").click()
        else:
            display.keyboard.press(key)
        with contextlib.suppress(TimeoutError):
            page.get_by_text(f"Step {number} of {of}: hold still for 1 s.").wait_for(timeout=8_000)
            display.get_by_text("Hold still.").wait_for(timeout=8_000)
            display.locator(".out").first.wait_for(state="attached", timeout=8_000)
            page.locator("[data-word=begin]:enabled").wait_for()
        if came.count():
            return
    raise AssertionError(f"step {number} did not count")


def test_looks_are_made_by_keys_and_clicks_and_the_rig_is_followed(pages, desk):
    page, display = pages
    marks = marks_of(desk)
    assert page.locator("[data-word]:enabled").count() == 0
    press(display, display.locator("#start"))
    display.get_by_text("Waiting for the desk to begin.").wait_for()
    press(page, page.get_by_role("button", name="Begin to register"))
    for number, mark in enumerate(marks[:STEPS], 1):
        display.get_by_text(f"{number} of {len(marks)}").wait_for()
        page.get_by_text(f"Step {number} of {len(marks)}: wear cap").wait_for()
        at = mark.to_m[0] / 0.6 * 1920, (1.0 - mark.to_m[1] / 0.34) * 1080
        assert middle_px(display) == pytest.approx(at, abs=1.0)
        assert display.locator("rect.dash").count() == 12
        if number == 1:
            by_keys_to(display, display.locator("#begin"))
        begin = "Enter" if number % 2 else "PageDown"
        made(page, display, number, len(marks), None if number % 3 == 0 else begin)
    page.locator("[data-word=back]").click()
    page.locator(f"[data-step='{STEPS}']").wait_for(state="detached")
    display.get_by_text(f"{STEPS} of {len(marks)}").wait_for()
    made(page, display, STEPS, len(marks), "Enter")
    display.keyboard.press("s")
    page.get_by_text(f"Step {STEPS + 1} was passed over.").first.wait_for()
    page.get_by_role("button", name="Finish and keep it").click()
    page.get_by_text("by looks, simulated").wait_for()
    kept = read_document(SpaceRegistration, desk.folder / RIG / "registration.json")
    assert kept.method == "looks" and len(kept.rows) == STEPS
    good = kept.verdict.vouched
    words = "The registration is good." if good else "The registration is not good enough yet."
    display.get_by_text(words).wait_for()
    assert display.locator("#reasons li").all_inner_texts() == kept.verdict.reasons
    assert page.get_by_text("✓ Vouched for" if good else "✕ Not vouched for").first.is_visible()
    assert not display.locator(".thorn").count() and not display.locator("#choices").is_visible()
    with urllib.request.urlopen(f"{desk.url}/rig/{RIG}/register.json") as answer:
        assert json.load(answer)["reasons"] == kept.verdict.reasons
    page.goto(f"{desk.url}/rig/{RIG}/watch")
    page.get_by_role("button", name="Begin to follow").click()
    page.locator("[data-figure=lit]", has_text="cap (").wait_for()
    page.get_by_role("button", name="End it").click()
    page.get_by_text("It has ended.").wait_for()


def test_no_step_keeps_people_out_and_a_window_of_other_pixels_is_told(pages):
    page, display = pages
    assert barriers(display) == [] and not small(display)
    display.locator("#start").click()
    page.get_by_role("button", name="Begin to register").click()
    display.locator(".thorn").wait_for(state="attached")
    page.locator("[data-word=begin]:enabled").wait_for()
    assert display.inner_text("#fits") == ""
    for each in (page, display):
        assert barriers(each) == [] and not small(each)
        assert each.evaluate("document.documentElement.scrollWidth <= innerWidth")
    display.set_viewport_size({"width": 1280, "height": 800})
    display.get_by_text("The mark does not stand at its place").wait_for()
    # What tells no camera is told in a sentence, on both.
    page.locator("[data-word=finish]").click()
    page.get_by_text("0 steps were made, which tells no camera").wait_for()
    display.get_by_text("It has failed.").wait_for()
    assert not display.locator(".thorn").count()


def test_a_swing_has_no_mark_and_a_rig_with_nothing_to_swing_has_no_steps(page, bench, serving):
    page.set_default_timeout(LONG_MS)
    page.goto(f"{bench.url}/rig/choir-baton/register")
    page.get_by_text("A bar is swung once").wait_for()
    assert not page.locator("[data-page=steps]").count()
    page.locator("[data-page=picture][href]").first.wait_for()  # so that the live process is known
    rig = bench.folder / "bare-ferry"
    rig.mkdir()
    text = (serving.scenarios / "ferry-model" / "rig.toml").read_text("utf-8")
    start, end = text.index("[[surfaces]]"), text.index("[[cameras]]")
    (rig / "rig.toml").write_text(text[:start] + text[end:], "utf-8")
    page.goto(f"{bench.url}/rig/bare-ferry/register")
    page.get_by_role("button", name="Register", exact=True).wait_for()
    assert not page.locator("[data-word]").count()
    shutil.rmtree(rig)
