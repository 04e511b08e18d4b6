"""The survey's marks on the display: at the very pixels that `survey` takes them to be at, legible,
by keys alone, as typed at the desk; and a window that does not fit its display is told.
"""

import io
import os
import shutil
import signal

import numpy as np
import pytest
from PIL import Image
from tests.served_bench import barriers, press, small

from rushlight.bench.live.control import start_live
from rushlight.jobs.survey_marks import survey_marks

READINGS = """
schema = "rushlight/survey-readings"
version = 1
surface = "wall"
[marks]
cross = [100, 100]
post = [333, 517]
[[lengths]]
between = ["cross", "lower-right"]
length = "2.1 m"
[[lengths]]
between = ["upper-left", "lower-left"]
length = ""
[[gaps]]
between = ["left-middle", "right-middle"]
at = "centre"
gap = ""
"""
PIXELS = (1280, 800)
PAPER, INK = 246.0, 38.5  # mean of the colours' channels in the light theme
NEAR, FAR, ASIDE = 8, 24, 6  # where a thorn is looked at: along it, and to its sides [px]


@pytest.fixture(scope="module")
def live(tmp_path_factory, serving):
    folder = tmp_path_factory.mktemp("marked")
    shutil.copytree(serving.scenarios / "barn-wall", folder / "wall")
    (folder / "wall" / "readings.toml").write_text(READINGS, encoding="utf-8")
    place = start_live(folder, "127.0.0.1:0")
    yield folder, place
    os.kill(place.pid, signal.SIGTERM)
    os.waitpid(place.pid, 0)


@pytest.fixture
def shown(live, browser):
    """Opens the page in a window of its own, and begins it."""
    contexts = []

    def show(css=PIXELS, ratio=1.0, screen=None, script="", begun=True):
        context = browser.new_context(
            viewport=dict(zip(("width", "height"), css, strict=True)),
            screen=dict(zip(("width", "height"), screen or css, strict=True)),
            device_scale_factor=ratio,
            color_scheme="light",
        )
        contexts.append(context)
        page = context.new_page()
        page.faults = []
        page.on("pageerror", lambda error: page.faults.append(str(error)))
        if script:
            page.add_init_script(script)
        page.goto(f"{live[1].url}survey?rig=wall")
        page.wait_for_selector("body[data-ready]")
        if begun:
            page.click("#begin")
            page.wait_for_selector(".thorn", state="attached")
        return page

    yield show
    for context in contexts:
        context.close()


def tip(ink, x, y):
    """Where the thorn that points along the columns at about (x, y) comes to nothing [px].

    As wide as its distance from the tip has it grow, whether all of it is on the display or half.
    """
    columns = np.arange(x + NEAR, x + FAR) if x < ink.shape[1] / 2 else np.arange(x - FAR, x - NEAR)
    rows = ink[max(y - ASIDE, 0) : y + ASIDE]
    slope, start = np.polyfit(columns + 0.5, rows[:, columns].sum(axis=0), 1)
    return -start / slope


@pytest.mark.parametrize(("css", "ratio"), [(PIXELS, 1.0), ((640, 400), 2.0), ((1024, 640), 1.25)])
def test_marks_are_drawn_at_the_display_pixels_that_the_survey_expects(shown, live, css, ratio):
    page = shown(css, ratio)
    page.keyboard.press("h")
    shot = np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("RGB"), float)
    assert shot.shape[:2] == PIXELS[::-1]
    ink = (PAPER - shot.mean(axis=-1)) / (PAPER - INK)
    expected = {
        "upper-left": (0, 0), "upper-middle": (640, 0), "upper-right": (1280, 0),
        "left-middle": (0, 400), "centre": (640, 400), "right-middle": (1280, 400),
        "lower-left": (0, 800), "lower-middle": (640, 800), "lower-right": (1280, 800),
        "cross": (100, 100), "post": (333, 517),
    }  # fmt: skip
    assert survey_marks(live[0] / "wall").marks_px == expected
    for name, (x, y) in expected.items():
        found = tip(ink, x, y), tip(ink.T, y, x)
        assert found == pytest.approx((x, y), abs=1.0), name


def judgement(page):
    return page.get_attribute("#judged", "data-judged"), page.inner_text("#judged")


def test_a_window_that_fills_the_display_is_told_so(shown):
    page = shown()
    assert judgement(page) == ("good", "The window fills the display, pixel for pixel.")
    assert page.inner_text("#beside") == ""
    assert "1280\u00a0×\u00a0800 px" in page.inner_text("#size")


def test_a_scaled_window_is_told_with_what_programs_count(shown):
    key, words = judgement(page := shown((1024, 640), 1.25))
    assert key == "scaled" and "programs count 1024\u00a0×\u00a0640 px" in words
    assert "each 1.25 display pixels wide" in page.inner_text("#size")


def test_a_screen_of_other_pixels_is_told(shown):
    key, words = judgement(shown((1920, 1080)))
    assert key == "other" and words.startswith("Do not measure yet")
    assert "1920\u00a0×\u00a01080 pixels, the rig's display 1280\u00a0×\u00a0800" in words


def test_a_window_that_does_not_fill_its_screen_is_told_also_where_words_are_hidden(shown):
    assert judgement(shown(PIXELS, screen=(1920, 1080)))[0] == "window"
    page = shown()
    page.keyboard.press("h")
    assert not page.locator("#judged").is_visible()
    page.set_viewport_size({"width": 1200, "height": 800})
    page.locator("#judged").wait_for()
    assert judgement(page)[0] != "good"


def test_a_second_monitor_is_told(shown):
    script = (
        "Object.defineProperty(window, 'screenX', {get: () => 1920});"
        "Object.defineProperty(window, 'screenY', {get: () => 0});"
        "Object.defineProperty(Screen.prototype, 'isExtended', {get: () => true});"
    )
    words = shown(script=script).inner_text("#beside")
    assert "more than one monitor" in words
    assert "begins at 1920, 0 on the desktop, in the readings at 0, 0" in words


def test_readings_are_gone_through_by_keys_alone(shown):
    page = shown(begun=False)
    press(page, page.locator("#begin"))
    page.wait_for_selector(".thorn", state="attached")
    assert page.evaluate("document.fullscreenElement !== null")
    assert page.inner_text("#asked") == "All marks"
    assert page.locator(".thorn").count() == 11 and not page.locator(".thorn.now, .way").count()

    def lit():
        return page.locator(".thorn.now").evaluate_all("all => all.map(e => e.dataset.mark)")

    page.keyboard.press("ArrowRight")
    assert page.inner_text("#asked").replace("\u2011", "-") == "cross to lower-right"
    assert page.inner_text("#says").startswith("1 of 3. The rig says 2573 mm. Already read.")
    assert sorted(lit()) == ["cross", "lower-right"]
    assert page.locator(".way.read").count() == 1
    page.keyboard.press("ArrowRight")
    assert "The rig says 1500 mm. Not read yet." in page.inner_text("#says")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert "straight edge" in page.inner_text("#asked")
    assert sorted(lit()) == ["centre", "left-middle", "right-middle"]
    page.keyboard.press("ArrowLeft")
    assert sorted(lit()) == ["lower-left", "upper-left"]
    page.keyboard.press("e")
    assert page.locator(".bar").count() == 20 and page.inner_text("#asked") == "Are edges cut off?"
    page.keyboard.press("e")
    assert not page.locator(".bar").count()
    paper = "getComputedStyle(document.getElementById('stage')).backgroundColor"
    light = page.evaluate(paper)
    press(page, page.locator("#dark"))
    assert page.evaluate(paper) != light
    press(page, page.locator("#hide"))
    assert not page.locator("#guide").is_visible()
    page.mouse.click(900, 200)
    assert page.locator("#guide").is_visible()
    assert not page.faults


def test_no_state_of_the_page_keeps_people_out(shown):
    page = shown(begun=False)
    assert barriers(page) == [] and not small(page)
    page.click("#begin")
    page.keyboard.press("ArrowRight")
    assert barriers(page) == [] and not small(page)
    page.keyboard.press("e")
    assert barriers(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_what_cannot_be_shown_is_told_in_a_sentence_and_what_was_shown_stays(shown, live):
    page = shown()
    readings = live[0] / "wall" / "readings.toml"
    readings.write_text(READINGS.replace("[333, 517]", "[3330, 517]"), encoding="utf-8")
    page.get_by_text("marks.post = [3330.0, 517.0] lies outside the picture").first.wait_for(
        state="attached"
    )
    assert page.locator(".thorn").count() == 11
    readings.write_text(READINGS.replace("333, 517", "640, 517"), encoding="utf-8")
    page.wait_for_function("() => document.querySelector('[data-mark=post]').getBBox().x > 400")
    assert page.inner_text("#beside") == ""
    readings.write_text(READINGS, encoding="utf-8")
    page.goto(f"{live[1].url}survey?rig=none-such")
    page.wait_for_selector("body[data-ready]")
    assert "holds no rig of that name" in page.inner_text("#fault")
    assert page.locator("#begin").is_disabled()


def test_marks_follow_what_is_typed_at_the_desk_until_its_page_is_left(browser, bench, serving):
    rig = bench.folder / "marked-wall"
    shutil.copytree(serving.scenarios / "barn-wall", rig)
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    context.set_default_timeout(90_000)
    desk = context.new_page()
    desk.goto(f"{bench.url}/rig/{rig.name}/survey")
    way = desk.locator("[data-open=survey]")
    with context.expect_page() as opened:
        way.press("Enter")
    display = opened.value
    display.locator("#begin:enabled").click()
    assert display.locator(".thorn").count() == 9
    desk.get_by_text("Picture: overscan").click()
    desk.get_by_role("button", name="Add four marks inside the picture").click()
    display.locator("[data-mark=inner-upper-left]").wait_for(state="attached")
    display.get_by_text("As typed at the desk, not kept yet.").wait_for()
    assert not (rig / "readings.toml").exists()
    desk.locator("[data-reading=read-0]").fill("1.92 m")
    desk.keyboard.press("Tab")
    display.keyboard.press("ArrowRight")
    display.get_by_text("Already read.").wait_for()
    desk.close()
    display.locator("[data-mark=inner-upper-left]").wait_for(state="detached")
    assert display.locator(".thorn").count() == 9
    context.close()


def test_reading_the_page_starts_no_live_process_and_going_to_the_marks_does(
    page, serving, tmp_path
):
    shutil.copytree(serving.scenarios / "barn-wall", tmp_path / "barn-wall")
    started = serving.start(tmp_path)
    try:
        page.goto(f"{started.url}/rig/barn-wall/survey")
        page.locator(".survey-svg").wait_for(timeout=90_000)
        page.wait_for_timeout(1500)
        assert not (tmp_path / ".bench").exists()
        assert page.request.get(f"{started.url}/rig/none-such/marks").status == 409
        page.goto(f"{started.url}/rig/barn-wall/marks")
        page.wait_for_selector("body[data-ready]")
        assert page.url.endswith("/survey?rig=barn-wall") and started.url not in page.url
    finally:
        serving.stop(started)
