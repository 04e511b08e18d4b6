"""What the live process keeps its promises under: slow pages, broken lines, other languages.

Server, hub and sockets are the bench's own; the act is told by the test what to say.
"""

import json
import socket
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from tests.bench.puppet import EASY, Puppet, until
from tests.served_bench import held_in_a_frame
from websockets.sync.client import connect

from rushlight.bench.live.control import live_file

SCENARIO = Path(__file__).parents[2] / "src/rushlight/jobs/scenarios/barn-wall"
BEACON = {"number": 1, "of": 9, "x_px": 320.0, "y_px": 200.0, "dashes_left": 12}
BEACON |= {"carried": "stylus-wren"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("rigs")
    (made / "wall").mkdir()
    (made / "wall" / "rig.toml").write_text((SCENARIO / "rig.toml").read_text())
    return made


@pytest.fixture(scope="module")
def live(folder):
    with Puppet(folder) as started:
        yield started.begin()
    assert not live_file(folder).exists()


@pytest.fixture
def shown(page):
    """A page that lets no fault pass, and counts the tones that it makes."""
    faults = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.add_init_script(
        "window.tones = 0; const kind = AudioContext.prototype, make = kind.createOscillator;"
        "kind.createOscillator = function () { tones++; return make.call(this); };"
    )
    yield page
    assert not faults


def events(place, **more):
    return connect(f"ws://{place.address}/events", **EASY, **more)


# A slow page ------------------------------------------------------------------------------------


def narrow_socket(place):
    """A socket that takes little at a time."""
    made = socket.socket()
    made.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    host, _, port = place.address.rpartition(":")
    made.connect((host, int(port)))
    return made


def frames_until_up(ws, pause_s=0.0):
    """Messages of frames until the last pointer went up, read at some pace."""
    got, ups = [], set()
    while len(ups) < 2:
        message = json.loads(ws.recv(60))
        if message.get("steps"):
            got.append(message)
            ups |= {row[0] for row in message["steps"] if row[2] == "up"}
            time.sleep(pause_s)
    return got


def test_a_slow_page_holds_up_nobody_and_loses_only_what_is_old(live):
    frames = 400
    slow = connect(
        f"ws://{live.place.address}/events", sock=narrow_socket(live.place),
        compression=None, max_size=None, max_queue=1, ping_interval=None,
    )  # fmt: skip
    with slow, events(live.place) as quick:
        before = live.state()["overtaken"]
        live.say(flood={"frames": frames, "length": 30_000})
        got = frames_until_up(slow, 0.02)
        seen = frames_until_up(quick)
        lost = live.state()["overtaken"] - before
    assert seen[-1]["frame"] == frames - 1 and len(seen) > len(got)
    # What lies in the sockets is old; then the newest comes, with every press.
    assert len(got) < frames - 50 and lost > 50
    assert got[-1]["frame"] == frames - 1
    numbers = [message["frame"] for message in got]
    assert numbers == sorted(set(numbers))
    for pointer in (1, 2):
        kinds = [row[2] for each in got for row in each["steps"] if row[0] == pointer]
        assert kinds[0] == "down" and kinds[-1] == "up" and kinds.count("down") == 1


# Broken lines ------------------------------------------------------------------------------------


def test_a_page_goes_on_by_itself_with_a_process_started_anew(folder_of_its_own, shown):
    with Puppet(folder_of_its_own).begin() as first:
        shown.goto(first.place.url + "planting")
        until(lambda: first.state()["ready"] == ["planting"])
        lights_on_first_marker(first)
        shown.get_by_text("stylus-1 moves a marker.").wait_for()
        first.kill()
        shown.get_by_text("The live process does not answer; trying again.").wait_for()
        # What is down is called off, since nobody tells any more where it is.
        shown.get_by_text("Nothing is held.").wait_for()
        address = first.place.address
    with Puppet(folder_of_its_own, address).begin() as second:
        shown.locator("#lost:empty").wait_for(state="attached")
        until(lambda: second.state()["ready"] == ["planting"])
        lights_on_first_marker(second)
        shown.get_by_text("stylus-1 moves a marker.").wait_for()


def lights_on_first_marker(puppet, x_px=0.44 * 1280, y_px=0.12 * 800):
    """A light comes down where the planting map has its first marker at first."""
    puppet.say(steps=[[1, "up", x_px, y_px]])
    puppet.say(steps=[[1, "down", x_px, y_px]])


@pytest.fixture
def folder_of_its_own(tmp_path):
    (tmp_path / "wall").mkdir()
    (tmp_path / "wall" / "rig.toml").write_text((SCENARIO / "rig.toml").read_text())
    return tmp_path


def test_two_display_pages_do_not_disturb_each_other(live, shown):
    other = shown.context.new_page()
    marker = ".marker:nth-of-type(1) rect"
    for page in (shown, other):
        page.goto(live.place.url + "planting")
        page.locator(marker).wait_for()
    until(lambda: live.state()["pages"] >= 2)
    lights_on_first_marker(live)
    for page in (shown, other):
        page.get_by_text("stylus-1 moves a marker.").wait_for()
    live.say(steps=[[1, "move", 640.0, 400.0]])
    live.say(steps=[[1, "up", 640.0, 400.0]])
    for page in (shown, other):
        page.get_by_text("Nothing is held.").wait_for()
    before = other.locator(marker).get_attribute("x")
    assert shown.locator(marker).get_attribute("x") == before
    shown.locator(".marker").first.focus()
    shown.keyboard.press("ArrowRight")
    assert float(shown.locator(marker).get_attribute("x")) > float(before)
    assert other.locator(marker).get_attribute("x") == before
    shown.goto("about:blank")
    live.say(steps=[[1, "down", 640.0, 400.0]])
    other.get_by_text("stylus-1 moves a marker.").wait_for()
    live.say(steps=[[1, "up", 640.0, 400.0]])


# Keys and tones ----------------------------------------------------------------------------------


def test_beacons_are_steered_by_keys_alone_and_heard(live, shown):
    live.begin(act="register")
    shown.goto(live.place.url + "beacons")
    shown.keyboard.press("Tab")
    assert shown.evaluate("document.activeElement.id") == "begin"
    shown.keyboard.press("Tab")
    shown.keyboard.press("Space")
    assert shown.locator("#sound").is_checked()
    shown.keyboard.press("r")  # not begun: nothing to be done again
    shown.keyboard.press("Shift+Tab")
    shown.keyboard.press("Enter")
    live.say(beacon=BEACON)
    disc = shown.locator("#field .disc")
    disc.wait_for(state="attached")
    assert float(disc.get_attribute("cx")) == pytest.approx(320 / 1280 * 1280)
    live.say(beacon={**BEACON, "dashes_left": 7})
    until(lambda: shown.evaluate("document.querySelectorAll('#field .out').length === 5"))
    until(lambda: shown.evaluate("tones === 1"))
    shown.keyboard.press("n")
    assert not shown.locator("#sound").is_checked()
    live.say(beacon={**BEACON, "dashes_left": 3})
    until(lambda: shown.evaluate("document.querySelectorAll('#field .out').length === 9"))
    assert shown.evaluate("tones") == 1
    shown.keyboard.press("n")
    live.say(beacon={**BEACON, "number": 2, "x_px": 960.0})
    shown.get_by_text("2 of 9").wait_for()
    until(lambda: shown.evaluate("tones === 2"))
    touches = [{"number": 1}]
    live.say(tell={"register": {"stage": "touching", "touches": touches}})
    until(lambda: live.state().get("register"))
    before = len(live.state()["heard"])
    shown.wait_for_timeout(300)
    for key in ("Control+r", "r", "s", "Enter"):
        if key == "Control+r":
            shown.evaluate("dispatchEvent(new KeyboardEvent('keydown', {key: 'r', ctrlKey: true}))")
        else:
            shown.keyboard.press(key)
    heard = until(lambda: live.state()["heard"][before + 1 :])
    assert live.state()["heard"][before:] == [{"redo": 1}, {"skip": True}], heard
    judged = {"stage": "judged", "touches": touches, "vouched": True, "reasons": [],
              "mean_mm": 1.0, "worst_mm": 2.0}  # fmt: skip
    live.say(beacon=None)
    live.say(tell={"register": judged})
    shown.get_by_text("The registration is good.").wait_for()
    shown.keyboard.press("Enter")
    until(lambda: live.state()["heard"][before:][-1] == {"finish": True})
    live.begin()


def test_every_full_screen_page_can_fill_the_display(live, shown):
    for name in ("planting", "picture"):
        shown.goto(live.place.url + name)
        shown.get_by_role("button", name="Fill the display").click()
        until(lambda: shown.evaluate("document.fullscreenElement !== null"))


# Languages from right to left --------------------------------------------------------------------


def test_pages_are_ready_for_languages_from_right_to_left(folder_of_its_own, browser):
    with Puppet(folder_of_its_own, RUSHLIGHT_LOCALE="xx-rtl").begin() as live:
        for size in ((1280, 800), (390, 844)):
            context = browser.new_context(viewport={"width": size[0], "height": size[1]})
            page = context.new_page()
            for name in ("", "beacons", "steps", "planting", "picture"):
                page.goto(live.place.url + name)
                page.wait_for_selector("h1:not(:empty)")
                assert page.evaluate("document.documentElement.dir") == "rtl"
                assert page.locator("h1").first.inner_text().endswith("···]")
                assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), name
                beyond = page.evaluate(
                    "[...document.querySelectorAll('h1, p, button, label, .mark, a')]"
                    ".filter(e => e.checkVisibility()).map(e => [e, e.getBoundingClientRect()])"
                    ".filter(([e, r]) => r.width && (r.left < 0 || r.right > innerWidth))"
                    ".map(([e]) => e.outerHTML)"
                )
                assert not beyond
            # Words turn round; the display's own places do not.
            page.goto(live.place.url + "beacons")
            page.locator("#begin").click()
            live.say(beacon=BEACON)
            middle = (
                "(() => { const r = document.querySelector('#field .disc')"
                ".getBoundingClientRect(); return r.x + r.width / 2; })()"
            )
            page.locator("#field .disc").wait_for(state="attached")
            assert page.evaluate(middle) == pytest.approx(size[0] / 4, abs=1)
            page.goto(live.place.url + "planting")
            marker = page.locator(".marker rect").first
            box = marker.bounding_box()
            at_px = (
                (box["x"] + box["width"] / 2) / size[0] * 1280,
                (box["y"] + box["height"] / 2) / size[1] * 800,
            )
            until(lambda: live.state()["ready"] == ["planting"])
            lights_on_first_marker(live, *at_px)
            page.locator(".marker.held").wait_for()
            live.say(steps=[[1, "up", *at_px]])
            context.close()


# Strangers ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["", "planting", "state.json", "texts.json", "pointer.js"])
@pytest.mark.parametrize(
    "headers",
    [{"Host": "stranger.example"}, {"Origin": "https://stranger.example"}, {"Origin": "null"}],
)
def test_strangers_see_no_page(live, path, headers):
    asked = urllib.request.Request(live.place.url + path, headers=headers)
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(asked, timeout=20)
    refused.value.close()
    assert refused.value.code == 403


@pytest.fixture
def holder(live):
    """A server on this machine whose page holds a display page in a frame."""
    with held_in_a_frame(f"{live.place.url}planting", host="") as port:
        yield port


@pytest.mark.parametrize(("host", "allowed"), [("localhost", True), ("127.0.0.2", False)])
def test_only_a_desk_on_this_machine_may_hold_a_display_page(live, holder, page, host, allowed):
    said = []
    page.on("console", lambda message: said.append(message.text))
    page.goto(f"http://{host}:{holder}/")
    inner = page.frame_locator("iframe").locator("#map")
    if allowed:
        inner.wait_for()
        assert not said
    else:
        until(lambda: (page.wait_for_timeout(50), "frame-ancestors" in "".join(said))[1])
        assert inner.count() == 0


def test_two_people_who_move_markers_at_once_are_told_by_name_at_once(live, shown):
    shown.goto(live.place.url + "planting")
    held = shown.locator("#held")
    shown.locator(".marker rect").first.wait_for()
    places = {1: (0.44 * 1280, 0.12 * 800), 2: (0.84 * 1280, 0.32 * 800)}

    def both(kind, right_px=0.0):
        live.say(steps=[[who, kind, x + right_px, y] for who, (x, y) in places.items()])

    both("up")
    both("down")
    shown.get_by_text("stylus-1, stylus-2 move markers at the same time.").wait_for()
    holders = shown.locator(".marker.held .holder")
    assert sorted(holders.all_text_contents()) == ["stylus-1", "stylus-2"]
    before = marker_places(shown)
    both("move", -200.0)
    moved = until(lambda: moved_from(shown, before))
    assert [old - new for old, new in zip(before, moved, strict=True)] == pytest.approx([200] * 2)
    assert held.inner_text() == "stylus-1, stylus-2 move markers at the same time."
    x, y = places[1]
    live.say(steps=[[1, "up", x - 200, y]])
    shown.get_by_text("stylus-2 moves a marker.").wait_for()
    assert holders.all_text_contents() == ["stylus-2"]
    x, y = places[2]
    live.say(steps=[[2, "up", x - 200, y]])
    shown.get_by_text("Nothing is held.").wait_for()


def moved_from(page, before):
    """Where the held markers are once both have moved."""
    now = marker_places(page)
    return now if all(old != new for old, new in zip(before, now, strict=True)) else None


def marker_places(page):
    """Left edges [px] of the markers that are held."""
    rects = page.locator(".marker.held rect")
    return [float(each.get_attribute("x")) for each in rects.all()]


def test_no_word_of_an_act_overwrites_what_is_told_of_pages(live, shown):
    """Desks ask the list of pages that are begun; an act that told a word of that name lost it."""
    shown.goto(live.place.url + "planting")
    until(lambda: live.state()["ready"] == ["planting"])
    live.say(tell={"ready": {"stage": "looking"}, "pages": "many", "heard_of": 7})
    until(lambda: live.state().get("heard_of") == 7)
    state = live.state()
    assert (state["ready"], state["is"]) == (["planting"], "state") and state["pages"] != "many"
