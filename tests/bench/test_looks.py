"""How pages look where a fault was seen once: nothing clipped, too small, covered or told twice."""

import shutil

import pytest
from tests.bench.puppet import Puppet

LONG = 90_000
LEAST_PX = 11
"""Of letters in a drawing on a telephone; our own choice, a little above where they blur."""
TOUCHES = [
    {"number": 1, "x_m": 1.2, "y_m": 0.5, "used": True},
    {"number": 2, "x_m": 2.2, "y_m": 1.4, "used": True},
    {"number": 3, "x_m": 2.2, "y_m": 1.4, "used": False},
    {"number": 4, "x_m": 0.1, "y_m": 1.4, "used": True},
    {"number": 5, "x_m": 0.1, "y_m": 1.4, "used": True},
]


@pytest.fixture(scope="module")
def served(tmp_path_factory, serving):
    folder = tmp_path_factory.mktemp("display")
    for name in ("barn-wall", "paper-theatre"):
        shutil.copytree(serving.scenarios / name, folder / name)
    with Puppet(folder) as live:
        yield live


@pytest.mark.parametrize("size", [(1280, 800), (1920, 1080), (390, 844)])
def test_the_lookout_is_begun_without_scrolling(page, served, size):
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.goto(f"{served.url}/lookout?rig=paper-theatre")
    page.wait_for_selector("body[data-ready]")
    assert page.evaluate("document.documentElement.scrollHeight - innerHeight") <= 0
    for button in ("#start-filled", "#start"):
        box = page.locator(button).bounding_box()
        assert box["y"] + box["height"] <= size[1]


def test_a_pressed_button_of_a_display_page_looks_pressed(page, served):
    page.goto(f"{served.url}/lookout?rig=paper-theatre")
    page.wait_for_selector("body[data-ready]")
    page.click("#start")
    look = "each => getComputedStyle(each).boxShadow"
    before = page.locator("#still").evaluate(look)
    page.click("#still")
    assert page.locator("#still[aria-pressed=true]").evaluate(look) != before


def test_a_marker_goes_over_the_notes_of_the_planting_map_and_under_its_button(page, served):
    page.goto(f"{served.url}/planting")
    page.locator(".marker rect").first.wait_for()
    # What takes no touches is not found at a place, however high it lies.
    page.evaluate("document.getElementById('notes').style.pointerEvents = 'auto'")
    words = page.locator("#notes p.small").first.bounding_box()
    at = [words["x"] + words["width"] / 2, words["y"] + words["height"] / 2]
    button = page.locator("#fill").bounding_box()
    found = "([x, y]) => document.elementsFromPoint(x, y)[0].id"
    assert page.evaluate(found, at) == "map"
    assert page.evaluate(found, [button["x"] + 9, button["y"] + 9]) == "fill"


@pytest.mark.parametrize("width", [390, 1280])
def test_every_touch_is_seen_on_the_growing_map(page, bench, width):
    page.set_viewport_size({"width": width, "height": 800})
    page.goto(f"{bench.url}/rig/barn-wall/register")
    page.locator(".growing svg").wait_for(timeout=LONG)
    none = page.locator(".growing-none")
    assert none.evaluate(LETTERS) >= LEAST_PX
    page.evaluate(
        "touches => rushlightGrowing(document.querySelector('.growing').id,"
        " {size_m: [2.4, 1.5], map: null, touches, beacon: null, words: ''})",
        TOUCHES,
    )
    boxes = [each.bounding_box() for each in page.locator(".growing-touch").all()]
    assert len(boxes) == len(TOUCHES)
    middles = [(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2) for box in boxes]
    for number, (x, y) in enumerate(middles):
        for a, b in middles[:number]:
            assert max(abs(x - a), abs(y - b)) > 0.8 * boxes[0]["width"]
    for each in page.locator(".growing-number").all():
        assert each.evaluate(LETTERS) >= LEAST_PX


LETTERS = """each => parseFloat(getComputedStyle(each).fontSize)
  * each.ownerSVGElement.getScreenCTM().a"""


def test_what_a_camera_sees_is_drawn_whole(page, bench):
    for rig in ("barn-wall", "paper-theatre"):
        page.goto(f"{bench.url}/rig/{rig}/plan")
        page.locator(".room-camera").first.wait_for(timeout=LONG)
        room = page.locator(".room svg").first.bounding_box()
        lines = [each.bounding_box() for each in page.locator(".room-view").all()]
        assert len(lines) == 4
        for box in lines:
            assert box["x"] >= room["x"] and box["y"] >= room["y"]
            assert box["x"] + box["width"] <= room["x"] + room["width"]
            assert box["y"] + box["height"] <= room["y"] + room["height"]


@pytest.fixture
def watching(page, bench):
    """What a desk page shows of a running act, on sockets that a test speaks through."""
    page.add_init_script(
        "window.WebSocket = class { constructor() { window.lines = this; } close() {"
        " this.over = 1; } }"
    )
    page.goto(f"{bench.url}/display/link.js")  # any page of the bench that is not its own
    page.set_content(
        '<div><canvas id="here"></canvas><p data-places></p><ol data-switchings></ol></div>'
        '<div><canvas id="seen"></canvas><p data-told></p><p data-mark></p>'
        "<input data-bright></div>"
    )
    page.add_script_tag(url=f"{bench.url}/desk/watching.js", type="module")
    page.wait_for_function("() => Boolean(window.rushlightPlaces)")
    page.evaluate(WATCHING)
    return page


WATCHING = """() => {
  window.words = {none: "none", ended: "ended", place: "{name} at {x}", kinds: {}, switching: "",
                  unnamed: "a light", dots: {other: "{dots} dots"}};
  window.drawn = () => new Promise(
    done => requestAnimationFrame(() => requestAnimationFrame(done)));
  window.told = name => document.querySelector(`[data-${name}]`).textContent;
  window.spots = async rows => {
    rushlightPlaces("here", "http://nowhere/", words);
    for (const message of [{hello: {surface_m: [2.4, 1.5]}}, {spots: rows}])
      lines.onmessage({data: JSON.stringify(message)});
    await drawn();
  };
  window.dots = async rows => {
    rushlightSee("seen", "http://nowhere/", words);
    const head = new TextEncoder().encode(JSON.stringify(
      {frame: 7, size_px: [640, 480], picture_px: null, dots: rows}));
    const data = new ArrayBuffer(4 + head.length);
    new DataView(data).setUint32(0, head.length);
    new Uint8Array(data, 4).set(head);
    lines.onmessage({data});
    await drawn();
  };
  window.beside = [];
  const pen = CanvasRenderingContext2D.prototype, fill = pen.fillText;
  pen.fillText = function (...all) { beside.push(this.textAlign); fill.apply(this, all); };
}"""


def test_one_hand_is_told_once_however_many_trails_it_has(watching):
    watching.evaluate(
        """() => spots([["wren", 0.5, 0.5, true], ["ash", 1, 1, true], ["wren", 0.6, 0.5, true],
                       [null, 2, 1, false], [null, 2.1, 1, false]])"""
    )
    told = watching.evaluate("told('places')")
    assert told == "wren at 0.60; ash at 1.00; a light at 2.00; a light at 2.10"


def test_a_name_stands_beside_its_dot_whichever_way_words_run(watching):
    """Places do not turn round with the language, and "start" does: it would cover the dot."""
    watching.evaluate("document.documentElement.dir = 'rtl'")
    watching.evaluate("() => spots([['wren', 0.5, 0.5, true], ['ash', 2.39, 1, true]])")
    watching.evaluate("() => dots([[320, 240, 'wren', true], [630, 240, 'ash', true]])")
    assert watching.evaluate("beside") == ["left", "right"] * 2


def test_what_has_ended_is_not_shown_as_live(watching):
    for time in (1, 2):  # and begins anew, at the same address
        watching.evaluate("() => spots([['wren', 0.5, 0.5, true]])")
        watching.evaluate("window.places = lines")
        watching.evaluate("() => dots([[320, 240, 'wren', true]])")
        assert watching.evaluate("[told('places'), told('told')]") == ["wren at 0.50", "1 dots"]
        watching.evaluate("rushlightRest('here'); rushlightRest('seen')")
        assert watching.evaluate("[told('places'), told('told')]") == ["none", "ended"], time
        assert watching.evaluate("[places.over, lines.over]") == [1, 1]


@pytest.mark.parametrize(
    ("stage", "words"),
    [
        ("survey", "This rig has no display whose picture could be surveyed."),
        ("try", "This rig has no display to try a task on."),
    ],
)
def test_a_stage_without_use_for_a_rig_says_so_calmly(page, bench, stage, words):
    page.goto(f"{bench.url}/rig/choir-baton/{stage}")
    page.get_by_text(words).wait_for(timeout=LONG)
    assert page.locator("h1").inner_text() in ("Survey", "Try")
    assert page.locator("li.error").count() == 0


def test_a_rig_that_points_at_nothing_offers_no_task_with_itself(page, bench):
    page.goto(f"{bench.url}/rig/ferry-model/try")
    page.locator("[data-role=reference]:checked").wait_for(timeout=LONG)
    assert page.locator("[data-role]").count() == 2
    page.goto(f"{bench.url}/rig/paper-theatre/try")
    page.locator("[data-role=rig]:checked").wait_for(timeout=LONG)
