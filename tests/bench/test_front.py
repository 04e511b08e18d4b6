"""The picture of what a search found, by itself: what a finger near a dot means."""

import pytest

DRAW = """async (base) => {
  await import(base + "/desk/front.js");
  window.picked = [];
  window.emitEvent = (_, {number}) => picked.push(number);
  document.body.innerHTML =
    '<div id="front" style="position:absolute;left:40px;top:30px;width:500px;height:400px"></div>';
  const point = (number, cost, error_mm) =>
    ({number, cost, error_mm, coverage: 0.2, words: `Number ${number}`});
  const points = [point(1, 10, 5), point(2, 10.6, 5), point(3, 20, 2), point(0, 15, 3.5)];
  rushlightFront("front", {points, words: "w", across: "a", up: "u", picked: 0, chosen: 0});
}"""


@pytest.fixture
def front(page, bench):
    page.goto(bench.url)
    page.evaluate(DRAW, bench.url)
    return page


def middle(page, number):
    box = page.locator(f".front-dot[data-number='{number}']").bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_a_finger_beside_a_dot_means_the_nearest_one(front):
    one, two, three = (middle(front, number) for number in (1, 2, 3))
    assert 10 < two[0] - one[0] < 44  # both within the reach of what comes between
    for at, wanted in (
        ((three[0] - 14, three[1] + 14), 3),
        ((one[0] - 18, one[1]), 1),
        ((two[0] + 18, two[1]), 2),
        (((0.6 * one[0] + 0.4 * two[0]), one[1] + 12), 1),
        (((0.4 * one[0] + 0.6 * two[0]), one[1] + 12), 2),
    ):
        front.evaluate("picked.length = 0")
        front.mouse.click(*at)
        assert front.evaluate("picked") == [wanted], at
    front.evaluate("picked.length = 0")
    front.mouse.click(three[0] - 40, three[1] + 5)
    assert front.evaluate("picked") == []


def test_the_reach_of_a_touch_is_44_px_and_readers_aloud_pick_the_dot_itself(front):
    sides = front.locator(".front-hit").evaluate_all(
        "all => all.map(each => each.getBoundingClientRect().width)"
    )
    assert len(sides) == 3 and min(sides) >= 43.99  # what has no number cannot be picked
    front.locator("[data-number='2']").evaluate(
        "each => each.dispatchEvent(new MouseEvent('click', {bubbles: true}))"
    )
    front.locator("[data-number='3']").press("Enter")
    assert front.evaluate("picked") == [2, 3]
