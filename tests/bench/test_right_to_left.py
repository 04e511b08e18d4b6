"""Every page with longer words, written from right to left, at three sizes: nothing sticks out."""

import shutil

import pytest
from tests.bench.puppet import until
from tests.served_bench import start_bench, stop_bench

from rushlight.bench.live.control import read_place
from rushlight.bench.texts import PSEUDO_LOCALE

SIZES = ((1280, 800), (1920, 1080), (390, 844))
DESK = {
    "/": "h1",
    "/rig/barn-wall/plan": ".room-camera",
    "/rig/barn-wall/search": ".room-camera",
    "/rig/barn-wall/build": ".ticks",
    "/rig/barn-wall/aim": ".aim-svg",
    "/rig/barn-wall/survey": ".survey-svg",
    "/rig/barn-wall/register": "[data-lens]",
    "/rig/paper-theatre/register": "[data-word=begin]",
    "/rig/barn-wall/watch": "[data-live]",
    "/rig/barn-wall/ready": "h1",
    "/rig/barn-wall/try": "[data-task]",
    "/rig/paper-theatre/lookout": "[data-eye]",
    "/rig/barn-wall/results": "h1",
    "/rig/barn-wall/kit": "h1",
}
DISPLAY = {
    "try?rig=barn-wall&task=ring": "body[data-ready]",
    "lookout?rig=paper-theatre": "body[data-ready]",
    "survey?rig=barn-wall": "body[data-ready]",
    "beacons": "h1:not(:empty)",
    "steps": "h1:not(:empty)",
    "planting": "h1:not(:empty)",
    "picture": "h1:not(:empty)",
}
BEYOND = """() => {
  const within = e => {
    for (let up = e.parentElement; up && up !== document.body; up = up.parentElement)
      if (getComputedStyle(up).overflowX !== "visible") return true;
    return false;
  };
  return [...document.querySelectorAll("body *")].filter(e => {
    const {left, right, width} = e.getBoundingClientRect();
    return width > 1 && (left < -1 || right > innerWidth + 1)
      && e.checkVisibility({visibilityProperty: true}) && !e.closest(".skip") && !within(e);
  }).map(e => e.outerHTML.slice(0, 140));
}"""
"""What lies beyond an edge of the page, unless it is in a box that scrolls by itself or cuts it;
the link past the heading lies outside until it has the focus."""


@pytest.fixture(scope="module")
def turned(tmp_path_factory, serving):
    folder = tmp_path_factory.mktemp("turned")
    for name in ("barn-wall", "paper-theatre"):
        shutil.copytree(serving.scenarios / name, folder / name)
    started = start_bench(folder, RUSHLIGHT_LOCALE=PSEUDO_LOCALE)
    yield started
    stop_bench(started)


@pytest.fixture(scope="module")
def looker(browser):
    context = browser.new_context(reduced_motion="reduce")
    yield context.new_page()
    context.close()


def at_every_size(page):
    assert page.evaluate("document.documentElement.dir") == "rtl"
    assert page.locator("h1").first.inner_text().endswith("···]")
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(150)  # drawings follow the width
        across = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert across <= 0, (width, height)
        assert page.evaluate(BEYOND) == [], (width, height)


@pytest.mark.parametrize("path", DESK)
def test_desk_pages_hold_their_width(looker, turned, path):
    looker.goto(turned.url + path)
    looker.locator(DESK[path]).first.wait_for(timeout=90_000)
    at_every_size(looker)


@pytest.mark.parametrize("path", DISPLAY)
def test_display_pages_hold_their_width(looker, turned, path):
    if read_place(turned.folder) is None:  # which a desk page starts that has use for it
        looker.goto(turned.url + "/rig/barn-wall/watch")
    place = until(lambda: read_place(turned.folder))
    looker.goto(place.url + path)
    looker.wait_for_selector(DISPLAY[path])
    at_every_size(looker)
    if path.startswith("lookout"):
        looker.click("#start")
        looker.wait_for_selector("#picture[data-drawn=true]")
        at_every_size(looker)
    if path.startswith("survey"):
        looker.click("#begin")
        for key in ("ArrowRight", "e"):
            looker.keyboard.press(key)
            at_every_size(looker)
