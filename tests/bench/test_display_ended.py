"""Display pages say no more than is so: of what has ended, of other acts, and of a held key."""

import shutil
from types import SimpleNamespace

import pytest
from tests.bench.puppet import Puppet, until

from rushlight.bench.desk import page_lookout

FRAMES = """
const Line = window.WebSocket;
window.WebSocket = function (address) {
  return address.endsWith("/see") ? window.line = {close() {}} : new Line(address);
};
window.WebSocket.OPEN = Line.OPEN;
window.frame = number => {
  const head = new TextEncoder().encode(JSON.stringify(
    {frame: number, size_px: [640, 480], picture_px: null, dots: [[320, 240, "wren", true]]}));
  const data = new ArrayBuffer(4 + head.length);
  new DataView(data).setUint32(0, head.length);
  new Uint8Array(data, 4).set(head);
  line.onmessage({data});
};
"""
BEACON = {"number": 1, "of": 9, "x_px": 320.0, "y_px": 200.0, "dashes_left": 12}
BEACON |= {"carried": "stylus-wren"}


@pytest.fixture(scope="module")
def live(tmp_path_factory, serving):
    folder = tmp_path_factory.mktemp("ended")
    shutil.copytree(serving.scenarios / "barn-wall", folder / "wall")
    shutil.copytree(serving.scenarios / "paper-theatre", folder / "paper-theatre")
    with Puppet(folder) as started:
        yield started


def test_the_last_picture_of_what_has_ended_is_said_to_be_that(live, page):
    page.add_init_script(FRAMES)
    live.begin()
    page.goto(f"{live.url}/picture")
    page.wait_for_function("() => window.line?.onmessage")
    until(lambda: live.state()["ready"] == ["picture"])
    page.evaluate("frame(7)")
    page.get_by_text("1 dot, 1 followed, frame 7").wait_for()
    live.stop()
    page.get_by_text("Ended: this is the last frame.").wait_for()
    page.evaluate("frame(8)")  # which was on its way
    page.wait_for_selector("#shown[data-frame='8']")
    assert page.inner_text("#told") == "Ended: this is the last frame."
    page.wait_for_timeout(1000)
    live.begin()
    until(lambda: (page.evaluate("frame(1)"), "frame 1" in page.inner_text("#told"))[1])
    live.stop()


def test_only_a_failure_of_touches_is_told_on_the_page_of_beacons(live, page):
    page.goto(f"{live.url}/beacons")
    page.click("#begin")
    for act, told in (("run", 0), ("register", 1)):
        live.begin("wall", act)
        live.say(flood={"nonsense": True})  # which no act understands
        until(lambda: live.state()["stage"] == "failed")
        page.wait_for_timeout(500)
        assert page.get_by_text("It has failed.").count() == told, act


def test_a_held_key_passes_one_beacon_over(live, page):
    live.begin("wall", "register")
    page.goto(f"{live.url}/beacons")
    page.click("#begin")
    live.say(beacon=BEACON)
    page.wait_for_selector("#field .disc", state="attached")
    for _ in range(4):  # as a key that is held sends it
        page.keyboard.down("s")
    page.keyboard.up("s")
    page.keyboard.press("r")
    live.say(marker=1)
    until(lambda: {"marker": 1} in live.state()["heard"])
    page.wait_for_timeout(300)
    assert live.state()["heard"].count({"skip": True}) == 1
    live.stop()


@pytest.mark.parametrize(
    ("simulated", "rehearsed", "kind"),
    [(True, True, "rehearsed"), (True, False, "simulated"), (False, False, "camera")],
)
def test_a_head_is_said_to_be_rehearsed_only_where_one_is(simulated, rehearsed, kind):
    said = []
    lookout = page_lookout.LookoutPage.__new__(page_lookout.LookoutPage)
    lookout._live = SimpleNamespace(goes_on=True)
    lookout._head = SimpleNamespace(set_visibility=lambda _: None)
    lookout._show = lambda place, how: said.append((place, how))
    state = {"lit": [["head", 0.3, 0.2, 1.0]], "simulated": simulated, "rehearsed": rehearsed}
    lookout._heard(state)
    assert said == [([0.3, 0.2, 1.0], kind)]


PAGES = {
    "beacons": ("#sheet", "#begin", "#stage:not([hidden])", "n", "#sound:checked"),
    "steps": ("#sheet", "#start", "#stage:not([hidden])", "n", "#sound:checked"),
    "survey?rig=wall": ("#sheet", "#begin", ".thorn", "h", "#stage.bare"),
    "lookout?rig=paper-theatre": (
        "#notes", "#start", "#picture[data-drawn=true]", "s", "#still[aria-pressed=true]",
    ),
}  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_letters_act_unless_they_are_turned_off(live, page, path):
    around, start, begun, letter, acted = PAGES[path]

    def opened():
        page.goto(f"{live.url}/{path}")
        page.wait_for_selector("h1:not(:empty)")
        page.wait_for_selector(f"{start}:enabled")

    def begin():
        page.click(start)
        page.wait_for_selector(begun, state="attached")

    def letters(on):
        page.locator(f"{around} [data-letters]").set_checked(on)

    opened()
    if around == "#notes":
        begin()
    letters(False)
    told = page.locator("[aria-keyshortcuts]").evaluate_all(
        "all => all.flatMap(each => each.getAttribute('aria-keyshortcuts').split(' '))"
    )
    assert all(len(each) > 1 for each in told)
    opened()  # it is kept
    begin()
    assert not page.locator(f"{around} [data-letters]").is_checked()
    page.keyboard.press(letter)
    page.wait_for_timeout(200)
    assert page.locator(acted).count() == 0
    page.evaluate("document.querySelector('[data-letters]').click()")
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press(letter)
    page.wait_for_selector(acted, state="attached")


def test_enter_acts_although_letters_are_turned_off(live, page):
    live.begin("wall", "register")
    page.goto(f"{live.url}/beacons")
    page.wait_for_selector("h1:not(:empty)")
    page.locator("[data-letters]").set_checked(False)
    page.click("#begin")
    judged = {"stage": "judged", "touches": [{"number": 1}], "vouched": True, "reasons": [],
              "mean_mm": 1.0, "worst_mm": 2.0}  # fmt: skip
    live.say(tell={"register": judged})
    page.get_by_text("The registration is good.").wait_for()
    for key in ("r", "s", "Enter"):
        page.keyboard.press(key)
    until(lambda: {"finish": True} in live.state()["heard"])
    assert live.state()["heard"] == [{"finish": True}]
    live.stop()
