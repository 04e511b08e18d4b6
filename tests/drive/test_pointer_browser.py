"""Pointer events in a real browser; the fixes are made up, and no hardware takes part."""

import socket
import time
from itertools import pairwise
from pathlib import Path

import pytest

from rushlight.drive.outputs import open_outputs
from rushlight.records.rig import Drive

HEARD = """
window.heard = [];
for (const type of ["over", "enter", "down", "move", "up", "cancel", "out", "leave"]) {
  document.body.addEventListener("pointer" + type, e => heard.push({
    type, id: e.pointerId, x: e.clientX, y: e.clientY, pressure: e.pressure, kind: e.pointerType,
    primary: e.isPrimary, button: e.button, buttons: e.buttons, target: e.target.id,
    carried: e.rushlight.carried, stamp: e.timeStamp, delay: e.rushlight.delay,
    stages: [e.rushlight.captureTime, e.rushlight.detectTime, e.rushlight.mapTime,
             e.rushlight.sentTime],
    merged: e.getCoalescedEvents().length, ahead: e.getPredictedEvents().map(p => p.clientX),
    now: performance.now()}));
}
"""

BOXES = """<body style="margin:0"><style>div{position:absolute;width:300px;height:300px}</style>
<div id="left" style="left:100px;top:100px"></div>
<div id="right" style="left:700px;top:100px"></div>
<script type="module" src="URLpointer.js"></script>
<script type="module">import {state} from "URLpointer.js"; window.state = state</script></body>"""

KNOWS_THE_TIME = "state.connection === 'connected' && state.doubt < 50"


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as asked:
        return asked.getsockname()[1]


def wait_until(true, page, seconds=20.0):
    """Let the page run until something is so."""
    until = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < until, "it did not come to be"
        page.wait_for_timeout(20)


def heard(page, carried=None, kinds=("down", "move", "up", "cancel")):
    every = page.evaluate("heard")
    return [e for e in every if e["type"] in kinds and carried in (None, e["carried"])]


class Wall:
    """Outputs with one pointer server, and a hand that puts fixes into them."""

    def __init__(self, display, make, port):
        self.address = f"127.0.0.1:{port}"
        self.url = f"http://{self.address}/"
        self._display, self._make, self._frame = display, make, 0
        self.outputs = None

    def open(self):
        self.outputs = open_outputs(["pointer"], self._display, Drive(pointer=self.address))
        return self

    @property
    def listening(self):
        return self.outputs.outputs[0].listening

    def put(self, places=(), ups=()):
        """Places as (carried, trail, x_px, y_px), and (carried, trail) that go up."""
        now = time.monotonic_ns()
        self._frame += 1
        fixes = [
            self._make.fix(carried, trail, x / 500.0, 1.5 - y / 500.0, now)
            for carried, trail, x, y in places
        ]
        events = [self._make.switched("switch-up", carried, trail, now) for carried, trail in ups]
        return self.outputs.put(self._make.results(self._frame, now, fixes, events))

    def call_off(self):
        """End what a test left lit."""
        steps = self.outputs._contacts.call_off()
        self.outputs.outputs[0].put(self._make.results(self._frame, 0), steps)


@pytest.fixture(scope="module")
def served(display, make, browser):
    made = Wall(display, make, free_port()).open()
    yield made
    made.outputs.close()


@pytest.fixture
def wall(served):
    """A wall that is shared, and empty at the beginning of every test."""
    yield served
    served.call_off()


@pytest.fixture
def own_wall(display, make, browser):
    """A wall whose server may be stopped."""
    made = Wall(display, make, free_port()).open()
    yield made
    made.outputs.close()


def boxes_on(page, wall, folder):
    """A stranger's page, opened as a file, that has nothing but our script."""
    file = Path(folder, "boxes.html")
    file.write_text(BOXES.replace("URL", wall.url))
    page.goto(file.as_uri())
    page.evaluate(HEARD)
    wait_until(lambda: wall.listening == 1 and page.evaluate(KNOWS_THE_TIME), page)
    return page


@pytest.fixture
def boxes(page, wall, tmp_path):
    return boxes_on(page, wall, tmp_path)


def test_two_pointers_at_once(wall, boxes):
    for n in range(20):
        sent = wall.put([("wren", 1, 150.0 + 5 * n, 200.25), ("lark", 2, 900.0 - 5 * n, 300.0)])
        assert "pointer" in sent
        boxes.wait_for_timeout(8)
    wall.put([("lark", 2, 805.0, 300.0)], [("wren", 1)])
    wall.put([], [("lark", 2)])
    wait_until(lambda: len(heard(boxes, kinds=("up",))) == 2, boxes)
    wren, lark = heard(boxes, "wren"), heard(boxes, "lark")
    for events, number, target in ((wren, 1001, "left"), (lark, 1002, "right")):
        kinds = [e["type"] for e in events]
        assert kinds == ["down", *["move"] * (len(kinds) - 2), "up"]
        assert len(kinds) > 10
        assert {e["id"] for e in events} == {number}
        assert {e["target"] for e in events} == {target}
        assert {e["kind"] for e in events} == {"pen"}
        assert [e["pressure"] for e in events] == [*[0.5] * (len(kinds) - 1), 0]
        assert [e["buttons"] for e in events] == [*[1] * (len(kinds) - 1), 0]
        assert [e["button"] for e in events] == [0, *[-1] * (len(kinds) - 2), 0]
    assert (wren[0]["x"], wren[0]["y"]) == pytest.approx((150.0, 200.25), abs=1.0)
    assert (wren[-1]["x"], wren[-1]["y"]) == pytest.approx((245.0, 200.25), abs=1.0)
    assert (lark[0]["x"], lark[0]["y"]) == pytest.approx((900.0, 300.0), abs=1.0)
    assert (lark[-1]["x"], lark[-1]["y"]) == pytest.approx((805.0, 300.0), abs=1.0)
    assert {e["primary"] for e in wren} == {True}
    assert {e["primary"] for e in lark} == {False}
    # Both are down together: the last to come is down before the first to go is up.
    order = [(e["type"], e["carried"]) for e in heard(boxes, kinds=("down", "up"))]
    assert order == [("down", "wren"), ("down", "lark"), ("up", "wren"), ("up", "lark")]


def test_times_are_those_of_the_capture(wall, boxes):
    for n in range(20):
        wall.put([("wren", 1, 150.0 + 5 * n, 200.0)])
        boxes.wait_for_timeout(10)
    wait_until(lambda: len(heard(boxes)) >= 5, boxes)
    events = heard(boxes)
    stamps = [e["stamp"] for e in events]
    assert stamps == sorted(stamps)
    for e in events:
        assert e["delay"] == pytest.approx(e["now"] - e["stamp"], abs=5.0)
        assert -0.01 <= e["delay"] < 2000.0  # nothing is heard before it was; times are rounded
        captured, found, mapped, sent = e["stages"]
        assert captured == e["stamp"]
        # The fixes say that all was done as it was seen; clocks are set anew on the way.
        assert (found, mapped) == pytest.approx((captured, captured), abs=5.0)
        assert found - 0.01 <= sent <= e["now"] + 0.01
    foretold = 0
    for before, e in pairwise(events):
        assert e["merged"] == 1
        if e["stamp"] - before["stamp"] < 50.0:  # after a longer gap there is no speed to go by
            assert e["x"] < e["ahead"][0] < e["ahead"][1]
            foretold += 1
    assert foretold >= 2


def test_capture_as_the_standard_tells(wall, boxes):
    boxes.evaluate("""window.seen = [];
        for (const type of ["gotpointercapture", "lostpointercapture"])
          document.body.addEventListener(type, e => seen.push([type, e.target.id]));
        const right = document.getElementById("right");
        document.getElementById("left").addEventListener("pointerdown", e => {
          seen.push(["implicit", e.target.hasPointerCapture(e.pointerId)]);
          right.setPointerCapture(e.pointerId);
          seen.push(["asked", right.hasPointerCapture(e.pointerId)]);
        });""")
    wall.put([("wren", 1, 200.0, 200.0)])
    wall.put([("wren", 1, 210.0, 200.0)])
    wall.put([], [("wren", 1)])
    wait_until(lambda: len(heard(boxes, kinds=("up",))) == 1, boxes)
    assert [e["target"] for e in heard(boxes)] == ["left", "right", "right"]
    assert boxes.evaluate("seen") == [
        ["implicit", True],
        ["asked", True],
        ["gotpointercapture", "right"],
        ["lostpointercapture", "right"],
    ]


def test_a_short_press_is_a_click_and_a_stroke_is_none(wall, boxes):
    boxes.evaluate("""window.clicks = [];
        document.body.addEventListener("click", e => clicks.push([e.target.id, e.pointerId]))""")
    wall.put([("wren", 1, 200.0, 200.0)])
    wall.put([], [("wren", 1)])
    wall.put([("wren", 2, 200.0, 200.0)])
    wall.put([("wren", 2, 300.0, 200.0)])
    wall.put([], [("wren", 2)])
    wait_until(lambda: len(heard(boxes, kinds=("up",))) == 2, boxes)
    assert boxes.evaluate("clicks") == [["left", 1001]]


def test_over_and_out_surround_a_press(wall, boxes):
    wall.put([("wren", 1, 200.0, 200.0)])
    wall.put([], [("wren", 1)])
    wait_until(lambda: len(heard(boxes, kinds=("out",))) == 1, boxes)
    order = [e["type"] for e in boxes.evaluate("heard") if e["target"] == "left"]
    assert order == ["over", "down", "up", "out"]
    assert [e["type"] for e in boxes.evaluate("heard") if e["target"] == ""] == ["enter", "leave"]


def test_a_cut_calls_off_and_a_restart_resumes(own_wall, page, tmp_path):
    wall, boxes = own_wall, boxes_on(page, own_wall, tmp_path)
    wall.put([("wren", 1, 200.0, 200.0), ("lark", 2, 800.0, 200.0)])
    wait_until(lambda: len(heard(boxes)) == 2, boxes)
    wall.outputs.outputs[0]._process.kill()  # the server dies in the middle of both strokes
    wait_until(lambda: len(heard(boxes, kinds=("cancel",))) == 2, boxes)
    assert [(e["type"], e["pressure"]) for e in heard(boxes, "wren")] == [
        ("down", 0.5), ("cancel", 0)
    ]  # fmt: skip
    wall.outputs.outputs[0]._process.join()
    assert wall.put([("wren", 1, 210.0, 200.0)]) == {}
    assert [finding.code for finding in wall.outputs.findings] == ["output-ended"]
    wall.outputs.close()
    wall.open()
    wait_until(lambda: wall.listening == 1, boxes)
    # The light of a stroke that was cut is still on: the page is told so by a new press.
    wall.put([("wren", 1, 220.0, 200.0)])
    wall.put([("wren", 1, 230.0, 200.0)])
    wait_until(lambda: len(heard(boxes, "wren")) == 4, boxes)
    assert [e["type"] for e in heard(boxes, "wren")] == ["down", "cancel", "down", "move"]


def test_a_page_that_comes_late_gets_a_press_first(wall, boxes):
    wall.put([("wren", 1, 200.0, 200.0)])
    wait_until(lambda: len(heard(boxes)) == 1, boxes)
    boxes.reload()
    boxes.evaluate(HEARD)
    wait_until(lambda: wall.listening == 1 and boxes.evaluate(KNOWS_THE_TIME), boxes)
    wall.put([("wren", 1, 210.0, 200.0)])
    wait_until(lambda: len(heard(boxes)) == 1, boxes)
    assert [e["type"] for e in heard(boxes)] == ["down"]


def test_the_end_of_a_run_calls_off(own_wall, page, tmp_path):
    wall, boxes = own_wall, boxes_on(page, own_wall, tmp_path)
    wall.put([("wren", 1, 200.0, 200.0)])
    wait_until(lambda: len(heard(boxes)) == 1, boxes)
    wall.outputs.close()
    wait_until(lambda: len(heard(boxes, kinds=("cancel",))) == 1, boxes)


def test_our_own_page_draws_and_tells_in_words(own_wall, page):
    wall = own_wall
    troubles = []
    page.on("pageerror", lambda error: troubles.append(str(error)))
    page.on("console", lambda said: troubles.append(said.text) if said.type == "error" else None)

    def says(part, words):
        wait_until(lambda: words in page.inner_text(part), page)

    def inked():
        return page.evaluate("""() => { const c = document.getElementById('sheet');
            const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
            let n = 0; for (let i = 3; i < d.length; i += 4) n += d[i] > 0; return n; }""")

    page.goto(wall.url)
    says("#connection", "Connected.")
    for n in range(10):
        wall.put([("wren", 1, 600.0 + 10 * n, 600.0), ("lark", 2, 900.0, 300.0 + 10 * n)])
        page.wait_for_timeout(10)
    says("#pens", "Lit: wren, lark.")
    says("#connection", "From camera to page")
    wait_until(lambda: inked() > 500, page)
    wall.put([], [("wren", 1), ("lark", 2)])
    says("#pens", "No stylus is lit.")
    page.keyboard.press("c")
    wait_until(lambda: inked() == 0, page)
    for key in ("ArrowRight", " ", "ArrowRight", "ArrowDown", " "):
        page.keyboard.press(key)
    wait_until(lambda: inked() > 100, page)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "clear"
    page.keyboard.press("h")
    assert not page.is_visible("#notes")
    wall.outputs.close()
    says("#connection", "does not answer")
    assert [text for text in troubles if "WebSocket" not in text] == []
