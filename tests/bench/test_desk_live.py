"""Register, watch and check in the morning by keys alone, on a rehearsal in real time."""

import contextlib
import json
import os
import re
import signal
import urllib.request

import pytest
from playwright.sync_api import TimeoutError
from tests.served_bench import barriers, by_keys_to, press
from tests.slow_wall import SEED, command, register_slow_wall, write_slow_wall

from rushlight.bench.live.control import read_place

LONG = 300_000


@pytest.fixture(scope="module")
def wall(serving, tmp_path_factory):
    """A bench on a barn wall whose camera films slowly enough for any computer."""
    folder = tmp_path_factory.mktemp("rigs")
    write_slow_wall(folder / "wall")
    bench = serving.start(folder)
    yield bench
    serving.stop(bench)


@pytest.fixture
def registered(wall, tmp_path_factory):
    """The wall, registered by commands where no test before did it by clicks."""
    if not (wall.folder / "wall" / "registration.json").exists():
        register_slow_wall(tmp_path_factory, wall.folder / "wall")
    return wall


def opened(page, wall, stage):
    """A stage's page, once nothing goes on: what another test left going is ended."""
    page.goto(f"{wall.url}/rig/wall/{stage}")
    idle = page.get_by_text("Nothing goes on.").or_(page.get_by_text("It has ended."))
    end = page.get_by_role("button", name="End it")
    idle.or_(page.locator("button:enabled", has_text="End it")).first.wait_for(timeout=LONG)
    if end.is_enabled():
        end.click()
    idle.first.wait_for(timeout=LONG)


def display(page, name):
    """The display page that a link of the desk opens in a tab of its own."""
    with page.expect_popup() as popup:
        press(page, page.get_by_role("link", name=name))
    return popup.value


def twin(wall, stage):
    with urllib.request.urlopen(f"{wall.url}/rig/wall/{stage}.json") as answer:
        return json.load(answer)


def commanded(wall, *arguments):
    """What a command prints in the rig's folder."""
    return command(wall.folder / "wall", *arguments)


def test_the_beacons_are_touched_and_the_map_grows_on_the_desk(page, wall):
    opened(page, wall, "register")
    by_keys_to(page, page.locator("[data-beacons]"))
    page.keyboard.type("6")
    press(page, page.locator("[data-stylus]").last, "Space")
    beacons = display(page, "Open the beacons")
    press(beacons, beacons.get_by_role("button", name="Fill the display and begin"))
    press(page, page.get_by_role("button", name="Begin to register"))
    page.get_by_text("A rehearsal, simulated").wait_for(timeout=LONG)
    page.get_by_text("open and begun").wait_for()
    beacons.locator("#field .disc").wait_for(state="attached", timeout=LONG)
    page.locator(".touches li").first.wait_for(timeout=LONG)
    assert barriers(page) == []
    assert page.get_by_text("It goes on.").is_visible(), "it must run while it is looked at"
    page.get_by_text("All is touched.").wait_for(timeout=LONG)
    assert page.locator(".touches li").count() == 6
    assert page.locator(".growing svg rect").count() > 100
    press(page, page.get_by_role("button", name="Touch beacon 2 again"))
    page.get_by_text(re.compile("Beacon 2 of")).wait_for(timeout=LONG)
    page.get_by_text("All is touched.").wait_for(timeout=LONG)
    press(page, page.get_by_role("button", name="Finish and keep it"))
    page.get_by_text("✓ Vouched for").first.wait_for(timeout=LONG)
    told = twin(wall, "register")
    assert (told["basis"], told["vouched"], len(told["touches"])) == ("simulated", True, 6)
    beacons.close()


def test_two_lights_are_watched_and_move_markers_at_once(page, registered):
    wall = registered
    opened(page, wall, "watch")
    planting = display(page, "Open the planting map")
    press(page, page.get_by_role("button", name="Begin to follow"))
    # A busy computer drops frames, and then one hand may count twice for a moment.
    several = "canvas[data-lit]:not([data-lit='0']):not([data-lit='1'])"
    page.locator(several).wait_for(timeout=LONG)
    planting.wait_for_selector('#held[data-most="2"]', timeout=LONG)
    page.locator("canvas[data-frame]").wait_for(timeout=LONG)
    page.locator("[data-switchings] li").first.wait_for(timeout=LONG)
    page.get_by_role("region", name="Delay after the light, by stage").wait_for()
    page.get_by_role("region", name="Outputs that are on").get_by_text("bench").wait_for()
    assert barriers(page) == []
    assert page.get_by_text("It goes on.").is_visible(), "it must run while it is looked at"
    press(page, page.get_by_role("button", name="End it"))
    page.get_by_text("It has ended.").wait_for(timeout=LONG)
    page.get_by_role("region", name="The newest run that was kept").wait_for(timeout=LONG)
    page.get_by_text("Ended: this is the last frame.").wait_for(timeout=LONG)
    page.get_by_text("Nothing is lit on the surface.").wait_for(timeout=LONG)
    for figure in ("rate", "dots", "lit"):
        page.locator(f"[data-figure={figure}] dd", has_text="–").wait_for(timeout=LONG)
    assert page.locator("[data-figure=frames] dd").inner_text() != "0"
    told = twin(wall, "watch")
    assert told["live"] and told["basis"] == "simulated" and told["switch_downs"] > 0
    planting.close()


def test_a_morning_is_checked_with_one_button(page, registered):
    wall = registered
    opened(page, wall, "ready")
    beacons = display(page, "Open the beacons")
    press(beacons, beacons.get_by_role("button", name="Fill the display and begin"))
    page.get_by_text("open and begun").wait_for()
    for _ in range(2):  # one morning in a hundred is a false alarm
        press(page, page.get_by_role("button", name="Is it ready?"))
        page.get_by_text("Looking at the room").or_(page.get_by_text("Hold the light")).wait_for(
            timeout=LONG
        )
        assert page.get_by_text("open and begun").is_visible()
        page.get_by_text("It has ended.").wait_for(timeout=LONG)
        page.locator(".verdict").wait_for()
        assert page.get_by_text("Something went wrong").count() == 0
        if twin(wall, "ready")["go"]:
            break
    assert page.locator(".verdict").inner_text() == "✓ Go"
    assert twin(wall, "ready")["basis"] == "simulated"
    beacons.close()


def test_the_twins_are_what_the_commands_print(registered):
    wall = registered
    source = ("--camera", f"rehearsal:{SEED}")
    printed = commanded(wall, "ready", "--rig", ".", *source)
    assert twin(wall, "ready") == printed
    printed = commanded(
        wall, "run", *source, "--rig", ".", "--registration", "registration.json", "--for", "1 s"
    )
    assert twin(wall, "watch") == printed


def test_a_live_process_that_dies_is_told_and_started_again(page, wall):
    for _ in range(3):
        # On a busy machine the page may lose its own line and be loaded anew, which starts another.
        opened(page, wall, "ready")
        killed = read_place(wall.folder).pid
        os.kill(killed, signal.SIGKILL)
        with contextlib.suppress(TimeoutError):
            page.get_by_text("The live process does not answer.").wait_for(timeout=60_000)
            break
    else:
        raise AssertionError("the page never told that the live process had died")
    page.get_by_role("button", name="Is it ready?").click()
    page.get_by_text("A rehearsal, simulated").wait_for(timeout=LONG)
    assert read_place(wall.folder).pid != killed
