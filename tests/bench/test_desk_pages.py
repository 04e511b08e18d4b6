"""Desk pages in a real browser: usable by everybody, by keys alone, in light and dark."""

import re
import shutil
import time

import pytest
from axe_playwright_python.sync_playwright import Axe
from tests.made_sitting import made_sitting
from tests.nudged_picture import nudged
from tests.served_bench import barriers, small

from rushlight.jobs.trials import keep_run
from rushlight.records.document import read_document
from rushlight.records.registration import DisplaySurvey, Registration

RIGS = ("barn-wall", "choir-baton")
PAGES = (
    "/",
    *(f"/rig/{rig}/plan" for rig in RIGS),
    "/rig/barn-wall/search",
    "/rig/barn-wall/survey",
    *(f"/rig/{rig}/{stage}" for stage in ("register", "watch", "ready") for rig in RIGS),
    "/rig/paper-theatre/register",
    "/rig/barn-wall/aim",
    "/rig/barn-wall/try",
    "/rig/paper-theatre/lookout",
    "/rig/choir-baton/lookout",
    "/rig/barn-wall/build",
    "/rig/barn-wall/results",
    "/rig/barn-wall/kit",
    "/rig/none-such/plan",
)


DRAWN = {
    "plan": ".room-camera",
    "search": ".room-camera",
    "build": ".ticks",
    "survey": ".survey-svg",
    "register": "[data-lens]",
    "watch": "[data-live]",
    "aim": ".aim-svg",
    "try": "[data-task]",
    "lookout": "[data-eye], .lead",
    "results": ".results .panel",
    "kit": ".preview",
}
"""Stage to what stands on its page once it is drawn; other pages are there at once."""


def settled(page, stage="plan"):
    """Wait until a page has drawn what its job told."""
    page.locator(DRAWN[stage]).first.wait_for(timeout=90_000)
    if stage == "kit":
        page.frame_locator(".preview").locator("h1").wait_for()


@pytest.fixture(scope="module", autouse=True)
def planned(bench):
    """Two rigs planned on a coarse grid, and kept, so that no page waits for that."""
    from rushlight.jobs.plan import planned_rig
    from rushlight.jobs.plan_space import planned_space

    wall, baton = (bench.folder / name for name in RIGS)
    for rig, made in (
        (wall, planned_rig(wall, (2, 2)).plan),
        (baton, planned_space(baton, cells=(2, 2, 2)).plan),
    ):
        made.stamped("predicted", inputs={"rig": made.rig}).write(rig / "plan" / "plan.json")


def opened(page, bench, path):
    page.goto(bench.url + path)
    stage = path.rsplit("/", 1)[1]
    if stage in DRAWN and "none-such" not in path:
        settled(page, stage)
    return page


USABLE = """() => {
  window.walk = [...document.querySelectorAll("*")];
  document.activeElement.blur();
  const own = "a[href], summary, [tabindex='0']:not(iframe), "
    + ":is(button, input, select, textarea):enabled";
  return walk.map((e, i) => [e, i]).filter(([e]) => e.checkVisibility() && e.matches(own)
    && !e.matches("[type=radio]:not(:checked)")).map(([, i]) => i);
}"""
FOCUSED = """() => {
  const at = document.activeElement, ring = getComputedStyle(at);
  return [at === document.body ? -1 : walk.indexOf(at), at.outerHTML.slice(0, 120),
          ring.outlineStyle !== "none" && parseFloat(ring.outlineWidth) >= 2];
}"""


def walk(page):
    """Go round a page by Tab alone: what has the focus is seen to have it, in the page's order, and
    nothing that can be used is left out."""
    wanted = page.evaluate(USABLE)
    reached = []
    for _ in range(400):
        page.keyboard.press("Tab")
        place, what, ringed = page.evaluate(FOCUSED)
        if place == -1 or place == (reached or [-1])[-1] or "<iframe" in what:
            continue  # within the kit's own page, or past the last
        if place < (reached or [0])[-1]:
            break  # once round
        assert ringed, what
        reached.append(place)
    missed = set(wanted) - set(reached)
    told = page.evaluate("all => all.map(i => walk[i].outerHTML.slice(0, 120))", sorted(missed))
    assert not missed, told


@pytest.fixture(scope="module")
def looker(browser):
    """A browser without a past that looks at one page after the other."""
    context = browser.new_context(reduced_motion="reduce")
    yield context
    context.close()


@pytest.mark.parametrize("path", PAGES)
def test_no_screen_is_too_narrow_no_barrier_is_grave_and_keys_lead_everywhere(looker, bench, path):
    page = looker.new_page()
    page.set_viewport_size({"width": 390, "height": 844})
    opened(page, bench, path)
    beyond = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    kinds = ":is(button, a.button, select, summary, textarea, input)"
    assert beyond <= 0
    assert not small(page, f".desk {kinds}, .desk :is(nav, footer) a, .wordmark")
    stage = page.locator(".desk-stages [aria-current]")
    if stage.count():  # stages scroll on a narrow screen; the one shown is in view
        box = stage.bounding_box()
        assert box["x"] >= -1 and box["x"] + box["width"] <= 391
    page.set_viewport_size({"width": 1280, "height": 800})
    found = {}
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        page.wait_for_function("s => document.documentElement.dataset.theme === s", arg=scheme)
        found[scheme] = [
            f"{each['id']}: {each['help']} {[node['target'] for node in each['nodes']][:3]}"
            for each in Axe().run(page).response["violations"]
            if each["impact"] in ("serious", "critical")
        ]
    walk(page)
    headings = page.locator("h1").all_inner_texts()
    page.close()
    assert found == {"light": [], "dark": []}
    assert len(headings) == 1, headings


def test_a_rig_is_changed_and_saved_by_keys_alone(page, bench):
    file = bench.folder / "barn-wall" / "rig.toml"
    before = file.read_text(encoding="utf-8")
    opened(page, bench, "/rig/barn-wall/plan")

    def tab_to(wanted):
        for _ in range(80):
            page.keyboard.press("Tab")
            if page.evaluate(f"document.activeElement.matches({wanted!r})"):
                return
        raise AssertionError(f"no key leads to {wanted}")

    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.classList.contains('skip')")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "content"
    tab_to("[data-slide='cameras[0].position[0]']")
    page.keyboard.press("ArrowRight")
    page.get_by_text("Not saved yet.").wait_for()
    tab_to(".savebar .first")
    page.keyboard.press("Enter")
    page.get_by_text("Saved.", exact=True).wait_for()
    after = file.read_text(encoding="utf-8")
    assert after == before.replace('["1.2 m", "1.6 m"', '["1.22 m", "1.6 m"')
    file.write_text(before, encoding="utf-8")


def test_a_step_is_ticked_off_by_keys_and_the_next_visit_knows(page, bench):
    opened(page, bench, "/rig/barn-wall/build")
    boxes = page.locator(".ticks input")
    page.get_by_text(f"0 of {boxes.count()} ticked off").wait_for()
    boxes.last.focus()
    page.keyboard.press("Space")
    page.get_by_text(f"1 of {boxes.count()} ticked off").wait_for()
    assert (bench.folder / "barn-wall" / "building.json").exists()
    opened(page, bench, "/rig/barn-wall/build")
    assert page.locator(".ticks input").last.is_checked()
    page.locator(".ticks input").last.uncheck()
    page.get_by_text(f"0 of {boxes.count()} ticked off").wait_for()


def test_a_kit_is_looked_at_made_and_opened(page, bench):
    opened(page, bench, "/rig/barn-wall/kit")
    preview = page.frame_locator(".preview")
    preview.get_by_text("How to wire").first.wait_for(timeout=60_000)
    page.get_by_role("button", name="Make the kit").press("Enter")
    page.get_by_text("Just this kit lies there already").wait_for(timeout=120_000)
    folder = bench.folder / "barn-wall" / "kit"
    assert (folder / "index.html").is_file()
    address = page.get_by_role("link", name="Open the kit").get_attribute("href")
    answer = page.request.get(bench.url + address)
    assert answer.body() == (folder / "index.html").read_bytes()
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    for path in ("%2e%2e%2frig.toml", "none-such.svg"):
        where = f"{bench.url}/rig/barn-wall/published/{path}"
        assert page.request.get(where).status == 404


def test_where_cameras_in_space_were_registered_is_drawn_with_its_doubt(page, bench):
    opened(page, bench, "/rig/choir-baton/register")
    page.get_by_role("button", name="Register", exact=True).click()
    page.get_by_text("by mounting, predicted").wait_for(timeout=60_000)
    drawing = page.get_by_role("img", name="The cameras as registered")
    assert drawing.evaluate("each => each.complete && each.naturalWidth > 300")
    rows = page.get_by_role("region", name="Cameras as registered").locator("tbody tr")
    assert rows.count() == 2
    assert "mm" in rows.nth(1).inner_text()
    for name in ("registration.json", "registration.svg", "registration.told.json"):
        (bench.folder / "choir-baton" / name).unlink()


@pytest.mark.parametrize("rig", RIGS)
def test_a_kept_plan_is_told_with_its_cautions(page, bench, rig):
    opened(page, bench, f"/rig/{rig}/plan")
    page.get_by_text("What dominates the error:").wait_for()
    page.get_by_text("Cheapest change that helps:").wait_for()
    page.locator(".cautions").get_by_text("Eyes and infrared light.").wait_for()
    if rig == "barn-wall":
        table = page.get_by_role("table", name="What serves all lights")
        settings = table.locator("tbody tr").all_inner_texts()
        assert [each for each in settings if each.startswith("current [mA]") and "else" in each]


def test_no_barrier_is_grave_where_a_plan_and_a_comparison_stand(page, bench):
    opened(page, bench, "/rig/barn-wall/plan")
    page.get_by_text("What dominates the error:").wait_for()
    page.get_by_role("button", name="Keep this as A").click()
    page.get_by_role("region", name="Compare two variants").wait_for()
    page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
    assert page.locator("details[open]").count() > 3
    assert barriers(page) == []


def test_no_barrier_is_grave_where_trials_are_told(page, bench):
    rig = bench.folder / "trials-wall"
    shutil.copytree(bench.folder / "barn-wall", rig, ignore=shutil.ignore_patterns("trials"))
    keep_run(rig, made_sitting("barn-wall"), simulated=False)
    opened(page, bench, f"/rig/{rig.name}/results")
    page.get_by_role("heading", name="Trials on the page Try").wait_for(timeout=90_000)
    page.get_by_role("region", name="Pointing, block by block").wait_for()
    page.locator(".pictures img, .pictures svg").first.wait_for(timeout=90_000)
    assert barriers(page) == []


def test_a_display_page_can_be_opened_only_once_there_is_one(page, serving, tmp_path):
    import shutil

    shutil.copytree(serving.scenarios / "barn-wall", tmp_path / "barn-wall")
    started = serving.start(tmp_path)
    try:
        # What is drawn first stays as long as nothing more comes from the desk.
        page.route_web_socket("**", lambda socket: socket.close())
        page.route("**/socket.io/**", lambda route: route.abort())
        page.goto(started.url + "/rig/barn-wall/register")
        shown = page.locator("[data-page=beacons]")
        shown.wait_for()
        assert shown.get_attribute("href") is None
        assert shown.get_attribute("aria-disabled") == "true"
        page.unroute_all()
        later = page.context.new_page()
        later.goto(started.url + "/rig/barn-wall/register")
        found = later.locator("[data-page=beacons][href]")
        found.wait_for(timeout=60_000)
        assert found.get_attribute("href").endswith("/beacons")
        assert found.get_attribute("aria-disabled") is None
    finally:
        serving.stop(started)


def test_cautions_stand_before_anything_that_can_hurt(page, bench):
    opened(page, bench, "/rig/barn-wall/build")
    words = page.locator("#content").inner_text()
    assert words.index("Mains voltage kills") < words.index("What to do")


def test_two_tabs_do_not_disturb_each_other(browser, bench):
    context = browser.new_context()
    first, second = context.new_page(), context.new_page()
    for page in (first, second):
        opened(page, bench, "/rig/barn-wall/plan")
    first.locator("[data-path='cameras[0].position[0]']").fill("0.9 m")
    first.keyboard.press("Tab")
    first.get_by_text("Not saved yet.").wait_for()
    assert second.locator("[data-path='cameras[0].position[0]']").input_value() == "1.2 m"
    assert second.locator(".savebar .first").is_disabled()
    context.close()


def test_a_server_started_anew_does_not_lose_what_is_unsaved(page, serving, tmp_path):
    shutil.copytree(serving.scenarios / "barn-wall", tmp_path / "barn-wall")
    first = serving.start(tmp_path)
    address = first.url.removeprefix("http://")
    try:
        opened(page, first, "/rig/barn-wall/plan")
        page.locator("[data-path='cameras[0].position[1]']").fill("1.45 m")
        page.keyboard.press("Tab")
        page.get_by_text("Not saved yet.").wait_for()
    finally:
        serving.stop(first)
    second = serving.start(tmp_path, address)
    try:
        page.get_by_text("What you had not saved was restored.").wait_for(timeout=60_000)
        typed = page.locator("[data-path='cameras[0].position[1]']")
        until = time.monotonic() + 20
        while typed.input_value() != "1.45 m" and time.monotonic() < until:
            page.wait_for_timeout(100)
        assert typed.input_value() == "1.45 m"
        assert '"1.6 m", "2.85 m"' in (tmp_path / "barn-wall" / "rig.toml").read_text("utf-8")
    finally:
        serving.stop(second)


def test_a_rig_is_begun_by_four_answers(page, bench):
    from rushlight.jobs.check import check
    from rushlight.jobs.load import load_rig

    page.goto(bench.url)
    page.locator("[data-answer=name]").fill("school-hall")
    page.locator("[data-answer=width]").fill("9 ft 2 in")
    page.locator("[data-answer=height]").fill("1.7 m")
    page.get_by_label("on a stand beside the display").check()
    page.get_by_label("4. What have you got?").select_option("vga-global-120")
    page.get_by_role("button", name="Make this rig").click()
    page.wait_for_url("**/rig/school-hall/plan")
    settled(page)
    file = bench.folder / "school-hall" / "rig.toml"
    assert check(file).passed
    rig = load_rig(file)[0]
    assert rig.surfaces[0].width.text == "9 ft 2 in"
    assert rig.cameras[0].part == "vga-global-120"
    assert rig.cameras[0].position[0].value < 0
    assert "#" in file.read_text(encoding="utf-8")


def test_a_wrong_answer_is_told_and_nothing_is_written(page, bench):
    page.goto(bench.url)
    page.locator("[data-answer=name]").fill("wrong-size")
    page.locator("[data-answer=width]").fill("1,5 m")
    page.get_by_role("button", name="Make this rig").click()
    page.get_by_text("uses a comma").wait_for()
    assert not (bench.folder / "wrong-size").exists()


def test_an_error_stands_at_its_field_and_going_back_drops_it_and_what_a_slider_had_to_say(
    page, bench
):
    opened(page, bench, "/rig/barn-wall/plan")
    slider = page.locator("[data-slide='cameras[0].position[1]']")
    slider.focus()
    page.keyboard.press("ArrowLeft")
    page.get_by_text("Not saved yet.").wait_for()
    for _ in range(5):
        page.keyboard.press("ArrowLeft")
    page.locator("summary", has_text="What you want").click()
    wanted = page.locator("[data-path='targets.worst_error']")
    wanted.fill("8")
    wanted.press("Tab")
    page.locator("[data-path='targets.worst_error'][aria-invalid=true]").wait_for()
    told = page.locator(f"[id='{wanted.get_attribute('aria-describedby')}']")
    assert 'Error: "8" is a bare number where a length' in told.inner_text()
    assert page.locator("[aria-invalid]").count() == 1
    page.get_by_text("It cannot be drawn as it stands").wait_for()
    assert not page.locator(".room-svg").is_visible()
    assert not page.locator(".figures").get_by_text(re.compile("wanted: .* not known")).count()
    page.get_by_role("button", name="Back to the saved rig").click()
    page.get_by_role("button", name="Plan closely").and_(page.locator(":enabled")).wait_for()
    page.wait_for_timeout(1000)
    assert not page.locator("[aria-invalid]").count() and not told.is_visible()
    assert page.locator(".room-svg").is_visible()
    assert page.locator("[data-path='cameras[0].position[1]']").input_value() == "1.6 m"
    assert page.locator(".savebar .first").is_disabled()


def test_a_picture_is_surveyed_by_keys_alone_while_it_is_typed(page, bench):
    folder = bench.folder / "barn-wall"
    opened(page, bench, "/rig/barn-wall/survey")
    page.locator("[data-reading=read-0]").focus()
    for length in ("2412 mm", "2440 mm", "1500 mm", "4 ft 11 in", "2842 mm"):
        page.keyboard.type(length)
        for _ in range(3):  # past its doubt, and what takes the line away
            page.keyboard.press("Tab")
    page.get_by_text("Not vouched for", exact=True).wait_for(timeout=60_000)
    page.keyboard.type("2851 mm")
    page.keyboard.press("Tab")
    page.get_by_text("Vouched for", exact=True).wait_for()
    assert page.locator("[data-reading=read-3]").input_value() == "4 ft 11 in"
    assert page.locator(".survey-found").count() == 2
    assert not (folder / "survey.json").exists()
    page.get_by_role("button", name="Keep this survey").press("Enter")
    page.get_by_text("Kept beside the rig.").wait_for()
    assert (folder / "survey.json").exists() and (folder / "readings.toml").exists()
    page.reload()
    page.get_by_text("Vouched for", exact=True).wait_for()
    assert page.locator("[data-reading=read-3]").input_value() == "4 ft 11 in"
    for name in ("survey.json", "survey.svg", "readings.toml"):
        (folder / name).unlink()


def test_touches_take_the_place_of_a_ruler(page, bench):
    folder = bench.folder / "barn-wall"
    before = {each.name for each in folder.iterdir()}
    nudged(folder)
    opened(page, bench, "/rig/barn-wall/survey")
    page.get_by_text("By touches instead of a ruler").click()
    page.locator("[data-field='survey.touches.from']").fill("nothing-here")
    page.get_by_role("button", name="Read the touches").click()
    page.get_by_text("nothing-here").first.wait_for(timeout=60_000)
    page.locator("[data-field='survey.touches.from']").fill("touches")
    page.get_by_role("button", name="Read the touches").click()
    page.get_by_text("they tell of no real picture").wait_for(timeout=60_000)
    page.get_by_text("Vouched for", exact=True).wait_for()
    page.get_by_text("was made without a survey").wait_for()
    assert not (folder / "survey.json").exists()
    page.get_by_role("button", name="Keep this survey").click()
    page.get_by_text("Kept beside the rig.").wait_for()
    kept = read_document(DisplaySurvey, folder / "survey.json")
    assert kept.header.basis == "simulated"
    registration = read_document(Registration, folder / "registration.json")
    assert kept.header.inputs["registration"] == registration.content_hash()
    for each in list(folder.iterdir()):
        if each.name not in before:
            shutil.rmtree(each) if each.is_dir() else each.unlink()


def test_a_wrong_length_is_told_where_it_stands(page, bench):
    opened(page, bench, "/rig/barn-wall/survey")
    page.locator("[data-reading=read-0]").fill("2,4 m")
    page.keyboard.press("Tab")
    page.get_by_text("uses a comma").wait_for(timeout=60_000)


def test_a_rig_that_cannot_be_read_or_is_gone_is_told_on_every_page(page, serving, tmp_path):
    shutil.copytree(serving.scenarios / "barn-wall", tmp_path / "barn-wall")
    file = tmp_path / "barn-wall" / "rig.toml"
    whole = file.read_text("utf-8")
    started = serving.start(tmp_path)
    try:
        file.write_text(whole.replace('"2.4 m"', '"1.2 kg"'), "utf-8")
        for stage in ("aim", "register", "ready", "kit"):
            page.goto(f"{started.url}/rig/barn-wall/{stage}")
            page.get_by_text("1.2 kg").wait_for()
            page.get_by_role("link", name="Mend it on the plan page").wait_for()
        file.write_text(whole, "utf-8")
        opened(page, started, "/rig/barn-wall/survey")
        shutil.rmtree(tmp_path / "barn-wall")
        page.locator("input[type=text]").first.fill("2.4 m")
        page.keyboard.press("Tab")
        page.locator("[role=alert]").get_by_text("does not exist").wait_for()
    finally:
        serving.stop(started, may_fail=True)
