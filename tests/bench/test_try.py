"""The page of trials in a real browser; whoever points here is a program, not a person."""

import shutil

import numpy as np
import pytest
from tests.bench.puppet import Puppet, until
from tests.served_bench import barriers, small

from rushlight.assess.trials import assess_sittings
from rushlight.jobs.trials_plan import RING_TARGETS, try_plan
from rushlight.records.document import read_document
from rushlight.records.trials import Sitting

PX_M = 2.4 / 1280  # the wall of 2.4 × 1.5 m on a page of 1280 × 800 px


@pytest.fixture(scope="module")
def served(tmp_path_factory, serving):
    folder = tmp_path_factory.mktemp("display")
    for name in ("barn-wall", "paper-theatre"):
        shutil.copytree(serving.scenarios / name, folder / name)
    with Puppet(folder) as live:
        yield live


@pytest.fixture
def kept(served):
    """The sitting at the wall that is kept while the test goes on."""
    folder = served.folder / "barn-wall" / "trials"
    before = set(folder.glob("sitting-*.json"))

    def found():
        (path,) = until(lambda: set(folder.glob("sitting-*.json")) - before)
        return read_document(Sitting, path)

    return found


def opened(page, served, task, rig="barn-wall"):
    page.goto(f"{served.url}/try?rig={rig}&task={task}&seed=1")
    page.wait_for_selector("body[data-ready]")
    return page


def begun(page, role="other", name="a mouse"):
    page.check("#consent")
    page.check(f"[name=role][value={role}]")
    if page.is_visible("#name"):
        page.fill("#name", name)
    page.click("#start")


def rig_begun(page, served):
    """The wall's own lights are tried, once the page has heard what goes on."""
    opened(page, served, "ring")
    # One socket for trials and one for pointers: both know by then that hands are invented.
    until(lambda: (state := served.state())["pages"] == 2 and state["ready"] == ["try"])
    begun(page, "rig")


def go(page):
    page.click("#go")
    page.wait_for_selector("#task:not([hidden])")


def goal(page):
    at = page.locator("circle.goal")
    return np.array([float(at.get_attribute("cx")), float(at.get_attribute("cy"))])


def sat(served, page, rig="barn-wall"):
    page.wait_for_selector("#result[data-told]", timeout=60_000)
    number = page.get_attribute("#result", "data-told")
    return read_document(Sitting, served.folder / rig / "trials" / f"sitting-{number}.json")


def test_a_ring_is_tapped_kept_and_assessed_by_the_command(page, served):
    opened(page, served, "ring")
    begun(page)
    go(page)
    rng = np.random.default_rng(5)
    aimed = []
    for _ in range(RING_TARGETS + 1):
        at = goal(page)
        off = np.round(rng.normal(0.0, 6.0, 2))
        aimed.append((at, at + off))
        page.mouse.click(*(at + off))
    page.wait_for_selector("#rest:not([hidden])")
    page.click("#end")
    sitting = sat(served, page)
    (run,) = sitting.runs
    assert (sitting.device, sitting.role, run.pointer_types) == ("a-mouse", "other", ["mouse"])
    assert sitting.participant.consent.taking_part and len(run.goals) == len(aimed)
    step = try_plan(served.folder / "barn-wall", "ring").steps[0]
    for target, press, (at, place), number in zip(
        run.goals, run.presses, aimed, step.block.order, strict=True
    ):
        np.testing.assert_allclose(target.place_m, [at[0] * PX_M, (800 - at[1]) * PX_M])
        np.testing.assert_allclose(target.place_m, step.block.goals[number].parameters_m[:2])
        # A mouse comes to whole pixels.
        np.testing.assert_allclose(
            press.place_m, [place[0] * PX_M, (800 - place[1]) * PX_M], atol=PX_M
        )
        assert target.from_ns <= press.down_ns <= press.up_ns and target.width_m > 0
    # The page shows what Python finds in the file, to three digits.
    found = assess_sittings([("it", sitting)])
    (block,) = found.taps
    assert block.n == RING_TARGETS
    row = page.locator("#figures tr").filter(has_text="throughput, mean").first
    shown = float(row.locator("td").first.text_content())
    assert shown == pytest.approx(block.throughput_bit_s, rel=5e-3)
    assert barriers(page) == []


def test_the_rigs_own_pointers_are_taken_and_no_other(page, served):
    served.begin("barn-wall")
    rig_begun(page, served)
    go(page)
    assert "invented hand" in page.text_content("#task-more")
    carried = page.evaluate("() => document.getElementById('carried').value")
    at = goal(page)
    page.mouse.click(*at)  # a mouse is not the rig
    assert np.array_equal(goal(page), at)
    served.say(obeys=True)
    served.say(steps=[[1, kind, *map(float, at)] for kind in ("down", "up")])
    page.wait_for_selector("#rest:not([hidden])")
    # The invented hand is told of every goal, in metres of the wall.
    wishes = until(
        lambda: told if (told := served.state()["heard"])[-1:] == [{"wander": True}] else None
    )
    invited = [each["invite"] for each in wishes if "invite" in each]
    assert [each["carried"] for each in invited] == [carried] * (RING_TARGETS + 1)
    # Other invented hands rest meanwhile: theirs are no taps of this one.
    assert [each["wander"] for each in wishes if "wander" in each] == [False, True]
    served.say(obeys=False)
    go(page)
    served.stop()
    page.wait_for_function(
        "() => document.getElementById('task-more').textContent.includes('not running')"
    )
    page.keyboard.press("Escape")
    page.click("#end")
    sitting = sat(served, page)
    assert sitting.device == carried and sitting.role == "rig"
    assert sitting.header.basis == "simulated"
    assert "invented hand" in page.text_content("#result-basis")
    (run,) = sitting.runs
    assert run.clock_doubt_ms is not None and run.pointer_types == ["pen"]
    for each, target, press in zip(invited, run.goals, run.presses, strict=True):
        np.testing.assert_allclose((each["x_m"], each["y_m"]), target.place_m)
        np.testing.assert_allclose(press.place_m, target.place_m, atol=1e-3 * PX_M)


def test_hands_that_come_after_the_mark_are_asked_to_it(page, served):
    served.begin("barn-wall", simulated=False)
    served.stop()
    opened(page, served, "grid")
    begun(page, "rig")
    go(page)
    assert "invented hand" not in page.text_content("#task-more")
    served.begin("barn-wall")
    told = until(lambda: [each for each in served.state()["heard"] if "invite" in each])
    np.testing.assert_allclose(
        (told[0]["invite"]["x_m"] / PX_M, 800 - told[0]["invite"]["y_m"] / PX_M), goal(page)
    )
    assert {"wander": False} in served.state()["heard"]
    assert "invented hand" in page.text_content("#task-more")
    page.keyboard.press("Escape")
    served.stop()


def test_a_light_that_is_called_off_and_comes_down_anew_was_no_second_tap(page, served):
    """So it goes when no frames come for a moment, on a computer with other things to do."""
    served.begin("barn-wall")
    rig_begun(page, served)
    go(page)

    def step(kind, at):
        served.say(steps=[[1, kind, float(at[0]), float(at[1])]])

    def stands(number):
        page.wait_for_function(
            f"() => document.getElementById('task-more').textContent.startsWith('{number} of')"
        )

    first = goal(page)
    step("down", first)
    stands(2)
    for kind in ("cancel", "down", "up"):
        step(kind, first + 3.0)
    second = goal(page)
    step("down", second)  # a second tap that was taken for one would have made this the third
    stands(3)
    step("cancel", second)
    step("down", (640, 400))  # far away it is one, and a miss
    stands(4)
    page.keyboard.press("Escape")
    page.click("#end")
    served.stop()


def test_a_mark_is_held_until_its_dashes_are_gone(page, served):
    opened(page, served, "grid")
    begun(page, name="a mouse")
    go(page)
    at = goal(page)
    page.mouse.move(*at)
    page.mouse.down()
    page.wait_for_function("() => document.querySelectorAll('line.dash').length < 10")
    page.mouse.up()  # let go too early: it begins anew
    page.wait_for_function("() => document.querySelectorAll('line.dash').length === 12")
    page.mouse.down()
    page.wait_for_function(
        "x => Math.abs(document.querySelector('circle.goal').getAttribute('cx') - x[0]) +"
        "Math.abs(document.querySelector('circle.goal').getAttribute('cy') - x[1]) > 1",
        arg=at.tolist(),
    )
    page.mouse.up()
    page.keyboard.press("Escape")  # a step that was stopped leaves nothing
    page.click("#end")
    page.wait_for_function(
        "() => document.getElementById('result-wait').textContent.startsWith('Nothing')"
    )


def test_a_ring_can_be_tapped_by_keyboard_alone(page, served, kept):
    opened(page, served, "ring")
    for key in ("Tab", "Tab", "Space"):  # the button for another person, the consent
        page.keyboard.press(key)
    assert page.is_checked("#consent")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    for _ in range(2):
        page.keyboard.press("ArrowDown")
    assert page.is_checked("[name=role][value=other]")
    page.keyboard.press("Tab")
    page.keyboard.type("keys")
    page.keyboard.press("Enter")
    page.wait_for_selector("#rest:not([hidden])")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_selector("#task:not([hidden])")
    pen = np.array(page.evaluate("() => [innerWidth / 2, innerHeight / 2]"))
    for number in range(RING_TARGETS + 1):
        # The first to the step, the others by large steps alone: these come within the mark too.
        step = 40 if number else 4
        way = np.round((goal(page) - pen) / step).astype(int)
        for count, keys in zip(
            way, (("ArrowLeft", "ArrowRight"), ("ArrowUp", "ArrowDown")), strict=True
        ):
            key = keys[int(count > 0)]
            large, small = (abs(count), 0) if number else divmod(abs(count), 10)
            for press in [f"Shift+{key}"] * large + [key] * small:
                page.keyboard.press(press)
        pen += step * way
        page.keyboard.press("Space")
    page.wait_for_selector("#rest:not([hidden])")
    run = kept().runs[0]
    assert run.pointer_types == ["keyboard"] and len(run.presses) == RING_TARGETS + 1
    for target, press in zip(run.goals, run.presses, strict=True):
        assert np.linalg.norm(np.subtract(target.place_m, press.place_m)) < target.width_m / 2


def test_marks_are_brought_in_line(page, served):
    opened(page, served, "align", "paper-theatre")
    begun(page, "other", "pointer as eye")
    go(page)
    assert "No camera" in page.text_content("#task-more")
    plan = try_plan(served.folder / "paper-theatre", "align", 1)
    for number in range(len(plan.steps[0].block.goals)):
        page.mouse.move(500 + 20 * number, 400)
        page.mouse.down()
        page.mouse.up()
    sitting = sat(served, page, "paper-theatre")
    assert len(sitting.runs[0].align) == len(plan.steps[0].block.goals)
    for trial, target in zip(sitting.runs[0].align, plan.steps[0].block.goals, strict=True):
        np.testing.assert_allclose([*trial.near_m, *trial.far_m], target.parameters_m)
        assert trial.said_ns > trial.shown_ns
    assert page.locator("#figures tr").filter(has_text="view angle").count() == 1


def test_only_what_a_rig_finds_is_kept_as_the_rig(page, served):
    opened(page, served, "ring", "paper-theatre")  # it follows an eye, and no pointer
    assert page.locator("[name=role][value=rig]").is_disabled()
    opened(page, served, "align", "paper-theatre")
    begun(page, "rig", "the theatre")
    page.get_by_text("No camera of this rig finds an eye now.").wait_for()

    served.begin("paper-theatre", simulated=False)
    served.say(views=[{"eye_m": [0.31, 0.22, 0.97]}])

    def begins():
        if page.is_visible("#start"):
            page.click("#start")
        return page.is_visible("#rest")

    until(begins)  # it has heard of the eye by then
    go(page)
    assert "No camera" not in page.text_content("#task-more")
    page.keyboard.press("Space")
    page.get_by_text("2 of ").wait_for()
    served.say(views=None)
    page.get_by_text("does not find the eye now").wait_for()
    page.mouse.move(500, 400)  # no pointer stands in for the rig's own eye
    page.keyboard.press("Space")
    assert page.text_content("#task-more").startswith("2 of")
    served.say(views=[{"eye_m": [0.3, 0.22, 0.97]}])
    page.wait_for_function(
        "() => !document.getElementById('task-more').textContent.includes('not find')"
    )
    goals = try_plan(served.folder / "paper-theatre", "align", 1).steps[0].block.goals
    for number in range(1, len(goals)):
        page.get_by_text(f"{number + 1} of ").wait_for()
        page.keyboard.press("Space")
    sitting = sat(served, page, "paper-theatre")
    assert (sitting.role, sitting.header.basis) == ("rig", "measured")
    assert sitting.runs[0].pointer_types == ["eye"] and len(sitting.runs[0].align) == len(goals)
    served.say(views=None)
    served.stop()


def test_what_another_rig_finds_is_not_taken_for_this_one(page, served):
    served.begin("paper-theatre")
    rig_begun(page, served)
    go(page)
    assert "not running" in page.text_content("#task-more")
    at = goal(page)
    served.say(steps=[[1, kind, *map(float, at)] for kind in ("down", "up")])
    page.evaluate("() => new Promise(done => setTimeout(done, 300))")
    assert np.array_equal(goal(page), at)
    served.begin("barn-wall")
    page.wait_for_function(
        "() => !document.getElementById('task-more').textContent.includes('not running')"
    )
    served.say(steps=[[1, kind, *map(float, at)] for kind in ("down", "up")])
    page.get_by_text("2 of ").wait_for()
    served.stop()


def test_nothing_is_kept_without_consent_or_from_a_stranger(page, served):
    opened(page, served, "ring")
    page.check("[name=role][value=other]")
    page.fill("#name", "a mouse")
    page.click("#start")
    assert page.is_visible("#ask")  # the browser asks for the consent
    headers = {"Content-Type": "application/json"}
    url = f"{served.url}/trials?rig=barn-wall"
    for origin, status in (("https://a.example", 403), ("null", 403), (served.url, 409)):
        answer = page.request.post(url, data="{}", headers={**headers, "Origin": origin})
        assert answer.status == status
    answer = page.request.post(url, data="{}", headers={**headers, "Content-Type": "text/plain",
                                                        "Origin": served.url})  # fmt: skip
    assert answer.status == 415


def test_nothing_can_be_ticked_before_all_of_the_form_is_there(page, served):
    """On a slow computer a box would move away under the pointer, or a choice be overwritten."""
    waiting = []
    page.route("**/try.json?*", lambda route: waiting.append(route))
    page.goto(f"{served.url}/try?rig=barn-wall&task=ring&role=other&name=a+pen")
    until(lambda: page.evaluate("() => true") and waiting)
    assert not page.is_visible("#consent") and not page.is_visible("#start")
    assert page.evaluate("() => document.getElementById('form').autocomplete") == "off"
    waiting.pop().continue_()
    page.check("#consent")  # waits until it can be seen, and finds it ticked then
    assert page.is_checked("[name=role][value=other]") and page.input_value("#name") == "a pen"
    assert not page.is_checked("#publish")


def test_a_run_waits_until_it_is_kept(page, served, kept):
    opened(page, served, "ring")
    page.route("**/trials?*", lambda route: route.abort())
    begun(page)
    go(page)
    for _ in range(RING_TARGETS + 1):
        page.mouse.click(*goal(page))
    page.wait_for_function(
        "() => document.getElementById('unsent').textContent.includes('not yet kept')"
    )
    assert page.text_content("#unsent").startswith("One block is not yet kept")
    page.click("#end")
    page.wait_for_selector("#result:not([hidden])")
    assert page.is_disabled("#again")  # it would be lost with the page
    page.unroute("**/trials?*")
    page.wait_for_function("() => document.getElementById('unsent').textContent === ''")
    assert len(kept().runs) == 1
    page.wait_for_selector("#again:enabled")


@pytest.mark.parametrize(("simulated", "basis"), [(True, "simulated"), (False, "measured")])
def test_a_run_is_kept_as_what_it_was_begun_as_whatever_goes_on_by_then(
    page, served, kept, simulated, basis
):
    served.begin("barn-wall", simulated=simulated)
    page.route("**/trials?*", lambda route: route.abort())
    rig_begun(page, served)
    go(page)
    invented = "() => document.getElementById('task-more').textContent.includes('invented hand')"
    assert page.evaluate(invented) == simulated
    served.begin("barn-wall", simulated=False)  # a real hand takes over before the first tap
    page.wait_for_function(f"() => !({invented})()")
    for number in range(RING_TARGETS + 1):
        page.wait_for_function(
            "n => document.getElementById('task-more').textContent.startsWith(`${n} of`)",
            arg=number + 1,
        )
        served.say(steps=[[1, kind, *map(float, goal(page))] for kind in ("down", "up")])
    page.wait_for_function(
        "() => document.getElementById('unsent').textContent.includes('not yet kept')"
    )
    page.unroute("**/trials?*")
    assert kept().header.basis == basis
    served.stop()


def test_each_press_of_a_hold_that_is_called_off_has_its_own_end(page, served):
    """A light that comes down anew begins another press, which is what its lift ends."""
    opened(page, served, "grid")
    presses = page.evaluate(
        """async () => {
          const {hold} = await import("/display/try_tasks.js");
          const hooks = {}, place = [400, 300], begun = performance.now();
          const sheet = document.createElementNS("http://www.w3.org/2000/svg", "svg");
          const map = {filled: true, px: at => at, metres: at => at, width: innerWidth,
            height: innerHeight, ratio: devicePixelRatio};
          const goal = {parameters_m: place, dwell_s: 0.05};
          const done = hold({kind: "grid", block: {id: "grid", goals: [goal], order: [0]}}, {
            sheet, map, hooks, pointer: {x: 400, y: 300, pen: null}, device: "a light",
            invite() {}, say() {},
          });
          const down = (after, again) => hooks.down({x: 400, y: 300, time: begun + after, again});
          const up = after => hooks.up({time: begun + after});
          down(10, false), up(20), down(30, true), up(40), down(50, false);
          const {presses} = await done;
          return presses.map(each => [each.down_ns, each.up_ns].map(
            ns => Math.round(ns / 1e6 - begun)));
        }"""
    )
    assert presses[:2] == [[10, 20], [30, 40]] and presses[2][0] == 50
    assert presses[2][1] >= 100 and len(presses) == 3


def test_no_barrier_is_found_before_and_during_a_task(page, served):
    opened(page, served, "check")
    for step in (lambda _: None, begun, go):
        step(page)
        assert barriers(page) == []
        assert not small(page)
