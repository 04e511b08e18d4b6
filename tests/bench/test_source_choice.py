"""Where frames come from is chosen for one tab: what a page shows is what it begins."""

import json
import urllib.request

import pytest
from tests.bench.puppet import until
from tests.slow_wall import SEED, register_slow_wall, write_slow_wall

from rushlight.bench.live.control import read_place

LONG = 200_000
NONE = "simulated:none-such"


@pytest.fixture(scope="module")
def wall(serving, tmp_path_factory):
    """A bench on a registered barn wall whose camera films slowly enough for any computer."""
    folder = tmp_path_factory.mktemp("rigs")
    register_slow_wall(tmp_path_factory, write_slow_wall(folder / "wall"))
    bench = serving.start(folder)
    yield bench
    serving.stop(bench)


@pytest.fixture
def tabs(browser):
    """Two tabs of one browser."""
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    context.set_default_timeout(LONG)
    yield context.new_page(), context.new_page()
    context.close()


def state(bench):
    """How the live process says that it stands."""
    with urllib.request.urlopen(f"{read_place(bench.folder).url}state.json") as answer:
        return json.load(answer)


def kind(page, name):
    return page.locator(f"[data-source={name}][type=radio]")


def shows_other(page):
    """The page shows the source that was typed in its tab."""
    page.locator("[data-source=other][type=radio]:checked").first.wait_for()
    typed = page.locator("[data-source=other][type=text]").first
    typed.wait_for()
    return typed.input_value() == NONE and not kind(page, "rehearsal").first.is_checked()


def test_a_tab_begins_what_it_shows_whatever_another_tab_chose(tabs, wall):
    first, second = tabs
    for page in tabs:
        page.goto(f"{wall.url}/rig/wall/watch")
        page.get_by_text("Nothing goes on.").wait_for()
        assert kind(page, "rehearsal").is_checked()
    kind(first, "other").check()
    first.locator("[data-source=other][type=text]").fill(NONE)
    first.wait_for_function("w => Object.values(sessionStorage).some(v => v.includes(w))", arg=NONE)

    assert kind(second, "rehearsal").is_checked()
    second.get_by_role("button", name="Begin to follow").click()
    until(lambda: state(wall)["stage"] in ("running", "failed"), 300)
    told = state(wall)
    assert (told["stage"], told["source"]) == ("running", f"rehearsal:{SEED}")
    second.get_by_text("A rehearsal, simulated").wait_for()
    second.get_by_role("button", name="End it", exact=True).click()
    second.get_by_text("It has ended.").wait_for()

    # The other tab begins what it shows too: there is no such footage.
    first.get_by_role("button", name="Begin to follow").click()
    first.get_by_text("none-such").first.wait_for()
    assert state(wall)["stage"] != "running"


def test_a_choice_goes_from_page_to_page_of_its_tab_alone(tabs, wall):
    first, second = tabs
    for page in tabs:
        page.goto(f"{wall.url}/rig/wall/watch")
    kind(first, "other").check()
    first.locator("[data-source=other][type=text]").fill(NONE)
    first.wait_for_function("w => Object.values(sessionStorage).some(v => v.includes(w))", arg=NONE)
    first.reload()
    assert shows_other(first)
    first.locator(".desk-stages").get_by_role("link", name="Register").click()
    first.wait_for_url("**/register")
    assert shows_other(first)
    second.goto(f"{wall.url}/rig/wall/register")
    second.locator("button:enabled", has_text="Begin to register").wait_for()
    assert kind(second, "rehearsal").first.is_checked()
