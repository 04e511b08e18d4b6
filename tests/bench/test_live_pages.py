"""The display pages of the live process in a real browser, on a simulated camera in real time."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from tests.served_bench import small
from websockets.sync.client import connect

from rushlight.bench.live.control import live_file, start_live
from rushlight.records.document import read_document
from rushlight.records.registration import Registration

SCENARIO = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall/rig.toml"
PAGES = ("", "beacons", "steps", "planting", "picture")


@pytest.fixture(scope="module")
def live(tmp_path_factory):
    folder = tmp_path_factory.mktemp("rigs")
    (folder / "wall").mkdir()
    rig = SCENARIO.read_text().replace('outputs = ["session", "pointer"]', 'outputs = ["session"]')
    # Few frames a second, so that a busy machine keeps up.
    rig = rig.replace('frame_rate = "100 Hz"', 'frame_rate = "30 Hz"')
    (folder / "wall" / "rig.toml").write_text(rig)
    place = start_live(folder, "127.0.0.1:0")
    yield folder, place
    os.kill(place.pid, signal.SIGTERM)
    os.waitpid(place.pid, 0)
    assert not live_file(folder).exists()


def order(place, **message):
    """Tell the live process as a desk does."""
    with connect(place.control_url, compression=None) as desk:
        desk.send(json.dumps(message))
        desk.recv()


@pytest.mark.parametrize("name", PAGES)
def test_no_page_has_a_serious_fault_of_accessibility(live, page, name):
    from axe_playwright_python.sync_playwright import Axe

    faults = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.emulate_media(reduced_motion="reduce")
    page.goto(live[1].url + name)
    page.wait_for_selector("h1:not(:empty)")
    for theme in ("light", "dark"):
        page.emulate_media(color_scheme=theme)
        found = Axe().run(page).response["violations"]
        grave = [each["id"] for each in found if each["impact"] in ("serious", "critical")]
        assert not grave, theme
    assert not faults
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert not small(page)


def test_a_camera_is_registered_by_beacons_and_then_two_pointers_move_markers(live, page):
    folder, place = live
    page.goto(place.url + "beacons")
    page.get_by_role("button", name="Fill the display and begin").click()
    page.wait_for_selector("#stage:not([hidden])")
    order(
        place, do="start", act="register", rig="wall", source="rehearsal:7",
        options={"beacons": 6, "linger": True},
    )  # fmt: skip
    page.wait_for_selector("#field .disc", state="attached", timeout=120_000)
    assert page.locator("#field rect").count() == 12
    assert "of 12" in page.locator("#count").inner_text()
    page.wait_for_selector("#field .out", state="attached", timeout=60_000)
    page.wait_for_selector("#verdict:not([hidden])", timeout=180_000)
    assert page.locator("#simulated").is_visible()
    page.keyboard.press("Enter")
    page.wait_for_selector("#choices", state="hidden", timeout=60_000)
    assert page.locator("#judged").inner_text() == "The registration is good."
    registration = read_document(Registration, folder / "wall" / "registration.json")
    assert registration.verdict.vouched

    order(place, do="start", act="run", rig="wall", source="rehearsal:7", options={})
    page.goto(place.url + "planting")
    page.wait_for_selector('#held[data-most="2"]', timeout=90_000)
    other = page.context.new_page()
    other.goto(place.url + "picture")
    other.wait_for_selector("#shown[data-frame]")
    first = other.get_attribute("#shown", "data-frame")
    other.wait_for_selector(f"#shown:not([data-frame='{first}'])")
    assert other.locator("#simulated").is_visible()
    order(place, do="stop")


def test_a_number_is_told_in_its_own_plural(live, page):
    page.goto(live[1].url + "picture")
    told = page.evaluate(
        """async () => {
          const {counted} = await import("/display/texts.js");
          return [0, 1, 2].map(dots => counted("picture.dots", dots, {dots, lit: 0, frame: 7}));
        }"""
    )
    assert told == [f"{dots}, 0 followed, frame 7" for dots in ("0 dots", "1 dot", "2 dots")]


def test_markers_move_by_keyboard(live, page):
    _, place = live
    page.goto(place.url + "planting")
    marker = page.locator(".marker").first
    marker.focus()
    before = marker.locator("rect").get_attribute("x")
    page.keyboard.press("ArrowRight")
    assert float(marker.locator("rect").get_attribute("x")) > float(before)


def test_a_folder_that_is_not_there_is_refused_in_a_sentence():
    done = subprocess.run(
        [sys.executable, "-m", "rushlight.bench.live", "/nowhere"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2 and "is no folder" in done.stderr
