"""A new rig goes by keys alone from the start page through plan and registration to being watched.

Tab leads to everything, and Enter, Space, arrow keys and letters do it; no pointer is used. The
camera is simulated, at its own pace, and so are the people who hold the lights.
"""

import json
import urllib.request

import pytest
from tests.served_bench import by_keys_to, chromium, press, start_bench, stop_bench

from rushlight.bench.live.control import read_place
from rushlight.records.document import read_document
from rushlight.records.registration import Registration

LONG = 200_000
RATE = "cameras[0].frame_rate"


@pytest.fixture
def bench(tmp_path):
    """A served bench on a folder without any rig."""
    served = start_bench(tmp_path)
    yield served
    stop_bench(served)


@pytest.fixture
def page():
    """A tab of a real Chromium whose pointer cannot be used."""
    with chromium() as browser:
        context = browser.new_context(viewport={"width": 1280, "height": 800})
        context.set_default_timeout(LONG)
        page = context.new_page()
        context.add_init_script(
            "for (const kind of ['pointerdown', 'mousedown']) addEventListener(kind, event => {"
            " if (event.isTrusted) throw new Error('a pointer was used'); }, true);"
        )
        faults = []
        page.on("pageerror", lambda error: faults.append(str(error)))
        yield page
        assert not faults


def stage(page, name):
    """Go to a stage of the rig."""
    press(page, page.locator(".desk-stages").get_by_role("link", name=name, exact=True))
    page.get_by_role("link", name=name, exact=True).and_(page.locator("[aria-current]")).wait_for()


def state(bench):
    """How the live process says that it stands."""
    with urllib.request.urlopen(f"{read_place(bench.folder).url}state.json") as answer:
        return json.load(answer)


def test_a_new_rig_is_planned_registered_and_watched_by_keys_alone(bench, page):
    rig = bench.folder / "barn-wall"
    page.goto(bench.url)
    press(page, page.get_by_role("button", name="Add this example: The barn wall"))
    page.wait_for_url("**/rig/barn-wall/plan")
    page.locator(".room-camera").first.wait_for()
    before = (rig / "rig.toml").read_text(encoding="utf-8")

    # Slowly enough for any computer: the field stands in a group that keys open.
    typed = page.locator(f"[data-path='{RATE}']")
    group = page.locator("details", has=typed)
    if group.get_attribute("open") is None:
        press(page, group.locator("summary"))
    by_keys_to(page, typed)
    page.keyboard.press("Control+A")
    page.keyboard.type("30 Hz")
    page.keyboard.press("Tab")
    page.get_by_text("Not saved yet.").wait_for()
    by_keys_to(page, page.locator("[data-slide='cameras[0].position[0]']"))
    page.keyboard.press("ArrowRight")
    press(page, page.locator(".savebar .first"))
    page.get_by_text("Saved.", exact=True).wait_for()
    after = (rig / "rig.toml").read_text(encoding="utf-8")
    assert after == before.replace('"100 Hz"', '"30 Hz"').replace(
        '["1.2 m", "1.6', '["1.22 m", "1.6'
    )
    press(page, page.get_by_role("button", name="Plan closely").and_(page.locator(":enabled")))
    page.get_by_text("What dominates the error:").wait_for()
    assert (rig / "plan" / "plan.json").exists()

    stage(page, "Register")
    by_keys_to(page, page.locator("[data-beacons]"))
    page.keyboard.type("6")
    press(page, page.locator("[data-stylus]").last, "Space")
    # Another source, and back to the rehearsal: choices are made by arrow keys.
    rehearsal = page.locator("[data-source=rehearsal]").first
    by_keys_to(page, rehearsal)
    page.keyboard.press("ArrowUp")
    assert page.locator("[data-source=other][type=radio]").first.is_checked()
    page.keyboard.press("ArrowDown")
    assert rehearsal.is_checked()
    press(page, page.get_by_role("button", name="Begin to register"))
    page.get_by_text("A rehearsal, simulated").wait_for()
    page.get_by_text("All is touched.").wait_for()
    press(page, page.get_by_role("button", name="Finish and keep it"))
    page.get_by_text("✓ Vouched for").first.wait_for()
    kept = read_document(Registration, rig / "registration.json")
    assert kept.verdict.vouched and kept.header.basis == "simulated"

    stage(page, "Watch")
    page.get_by_text("It has ended.").or_(page.get_by_text("Nothing goes on.")).first.wait_for()
    pointer = page.locator("[data-output=pointer]")
    assert pointer.is_checked()
    press(page, pointer, "Space")
    assert not pointer.is_checked()
    press(page, page.get_by_role("button", name="Begin to follow"))
    page.get_by_text("A rehearsal, simulated").wait_for()
    page.locator("canvas[data-lit]:not([data-lit='0'])").wait_for()
    told = state(bench)
    assert (told["act"], told["rig"], told["stage"]) == ("run", "barn-wall", "running")
    page.get_by_role("region", name="Outputs that are on").get_by_text("bench").wait_for()
    press(page, page.get_by_role("button", name="End it"))
    page.get_by_text("It has ended.").wait_for()
    page.get_by_role("region", name="The newest run that was kept").wait_for()
    assert list(rig.glob("*.sqlite"))
