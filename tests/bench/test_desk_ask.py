"""Nothing that goes on is ended by a page of another rig or act unless its user said so."""

import json
import urllib.request

import pytest
from tests.bench.puppet import until
from tests.served_bench import barriers, press
from tests.slow_wall import register_slow_wall, write_slow_wall

from rushlight.bench.live.control import read_place

LONG = 200_000
LEAVE, END = "Leave it running", "End it and begin"


@pytest.fixture(scope="module")
def two(serving, tmp_path_factory):
    """A bench on two barn walls whose cameras film slowly enough for any computer."""
    folder = tmp_path_factory.mktemp("two")
    for name in ("wall", "shed"):
        register_slow_wall(tmp_path_factory, write_slow_wall(folder / name))
    bench = serving.start(folder)
    yield bench
    serving.stop(bench)


@pytest.fixture(scope="module")
def tabs(browser):
    """A context whose pages wait long enough for any computer."""
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    context.set_default_timeout(LONG)
    yield context
    context.close()


def state(bench):
    """How the live process says that it stands."""
    with urllib.request.urlopen(f"{read_place(bench.folder).url}state.json") as answer:
        return json.load(answer)


def goes_on(bench):
    """What goes on: act, rig and frames."""
    told = state(bench)
    return told["act"], told["rig"], told["stage"], told.get("frames", 0)


def runs(bench, act, rig):
    return goes_on(bench)[:3] == (act, rig, "running")


@pytest.fixture
def running(tabs, two):
    """The wall is followed, begun on its page Watch; nothing went on before, so none asked."""
    page = tabs.new_page()
    page.goto(f"{two.url}/rig/wall/watch")
    begin = page.get_by_role("button", name="Begin to follow")
    idle = page.get_by_text("Nothing goes on.").or_(page.get_by_text("It has ended."))
    idle.first.wait_for()
    press(page, begin)
    until(lambda: runs(two, "run", "wall") and state(two).get("frames"), 120)
    assert not page.locator("dialog[open]").count()
    yield page
    page.get_by_role("button", name="End it", exact=True).click()
    until(lambda: state(two)["stage"] in ("done", "failed"), 120)
    page.close()


def asked(tabs, two, path, begin):
    """Another page on which the act is asked for, and its question."""
    page = tabs.new_page()
    page.goto(two.url + path)
    page.get_by_text("you are asked").first.wait_for()
    button = page.get_by_role("button", name=begin, exact=True)
    press(page, button)
    question = page.get_by_role("dialog", name="End what goes on?")
    question.wait_for()
    return page, question, button


def focused(page):
    return page.evaluate("document.activeElement.innerText")


def test_what_goes_on_is_named_and_left_running(tabs, two, running):
    page, question, button = asked(tabs, two, "/rig/shed/register", "Begin to register")
    assert "Following the lights of Planting map on a barn wall (wall)" in question.inner_text()
    assert barriers(page) == []
    # The focus is on what ends nothing, and no Tab leads out of the question.
    ring = [focused(page)]
    for key in ("Tab", "Tab", "Shift+Tab", "Shift+Tab"):
        page.keyboard.press(key)
        ring.append(focused(page))
    assert ring == [LEAVE, END, LEAVE, END, LEAVE]
    for leaving in ("Escape", "Enter"):
        page.keyboard.press(leaving)
        question.wait_for(state="hidden")
        assert button.evaluate("each => each === document.activeElement")
        before = goes_on(two)
        assert before[:3] == ("run", "wall", "running")
        until(lambda: goes_on(two)[3] > before[3] + 5)  # noqa: B023
        assert goes_on(two)[:3] == ("run", "wall", "running")
        page.keyboard.press("Enter")
        question.wait_for()
    page.close()


@pytest.mark.parametrize(
    ("path", "begin", "act", "rig"),
    [
        ("/rig/shed/register", "Begin to register", "register", "shed"),
        ("/rig/wall/aim", "Begin", "aim", "wall"),
    ],
)
def test_it_is_ended_and_the_other_begins(tabs, two, running, path, begin, act, rig):
    page, question, _ = asked(tabs, two, path, begin)
    page.keyboard.press("Tab")
    assert focused(page) == END
    page.keyboard.press("Enter")
    question.wait_for(state="hidden")
    until(lambda: runs(two, act, rig), 120)
    assert list((two.folder / "wall").glob("*.sqlite")), "what was followed is kept"
    page.close()


def test_each_page_asks_and_one_where_that_act_goes_on_cannot_begin_it_twice(tabs, two, running):
    for path, begin in (
        ("/rig/shed/watch", "Begin to follow"),
        ("/rig/shed/try", "Begin to follow"),
        ("/rig/shed/ready", "Is it ready?"),
        ("/rig/shed/aim", "Begin"),
        ("/rig/wall/register", "Begin to register"),
    ):
        page, question, _ = asked(tabs, two, path, begin)
        assert "(wall)" in question.inner_text()
        page.close()
    assert running.get_by_role("button", name="Begin to follow").is_disabled()
    assert runs(two, "run", "wall")


def test_a_question_that_names_another_than_what_goes_on_now_ends_nothing(tabs, two, running):
    page, question, _ = asked(tabs, two, "/rig/shed/aim", "Begin")
    other, its, _ = asked(tabs, two, "/rig/shed/register", "Begin to register")
    its.get_by_role("button", name=END).click()
    until(lambda: runs(two, "register", "shed"), 120)
    question.get_by_role("button", name=END).click()
    page.get_by_role("dialog").get_by_text("The registration of").wait_for()
    assert runs(two, "register", "shed")
    for each in (page, other):
        each.close()


def test_what_has_ended_is_not_asked_about(tabs, two, running):
    running.get_by_role("button", name="End it", exact=True).click()
    until(lambda: state(two)["stage"] == "done", 120)
    page = tabs.new_page()
    page.goto(f"{two.url}/rig/shed/aim")
    page.get_by_text("Nothing goes on.").wait_for()
    page.get_by_role("button", name="Begin", exact=True).click()
    until(lambda: runs(two, "aim", "shed"), 120)
    assert not page.locator("dialog[open]").count()
    page.close()
