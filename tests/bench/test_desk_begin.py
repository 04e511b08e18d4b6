"""By clicks: a rig begun from an example stands in the folder, and two variants stand side by side.

What a page shows of a variant is what the job tells of the same rig.
"""

import re
import tomllib

import pytest
from tests.served_bench import held

from rushlight.jobs.edit import edited
from rushlight.jobs.glance import glance

LONG = 120_000
SWAP = "Let A and now change places"


@pytest.fixture(scope="module")
def empty(serving, tmp_path_factory):
    """A bench on a folder without any rig."""
    bench = serving.start(tmp_path_factory.mktemp("empty"))
    yield bench
    serving.stop(bench)


@pytest.mark.parametrize(
    ("scenario", "example"),
    [("ferry-model", "The ferry model"), ("choir-baton", "The choir baton")],
)
def test_a_rig_made_of_an_example_stands_in_the_folder_and_on_the_page(
    page, empty, serving, scenario, example
):
    folder, own = empty.folder / scenario, serving.scenarios / scenario
    title = tomllib.loads((own / "rig.toml").read_text(encoding="utf-8"))["title"]
    page.set_default_timeout(LONG)
    page.goto(empty.url)
    page.get_by_role("heading", name="Begin a new rig").wait_for()
    assert not folder.exists()
    assert not page.get_by_role("heading", name=title).count()
    page.get_by_role("button", name=re.compile(f"Add this example: {example}")).click()
    page.wait_for_url(f"**/rig/{scenario}/plan")
    page.locator(".room-camera").first.wait_for()
    page.get_by_text(title).first.wait_for()
    made = {each.name: each.read_bytes() for each in folder.glob("*.toml")}
    assert made == {each.name: each.read_bytes() for each in own.glob("*.toml")}
    assert "rig.toml" in made

    page.get_by_role("link", name="Rushlight").click()
    card = page.locator(".cards > li", has=page.get_by_role("heading", name=title))
    card.get_by_text("invented rig").wait_for()
    assert scenario in card.inner_text()
    # It cannot be made over itself, and the page says so instead of offering it.
    page.get_by_text("in this folder already").first.wait_for()
    assert not page.get_by_role("button", name=re.compile(example)).count()


def figure(words):
    """A shown number without its unit."""
    return float(re.match(r"[\d.]+", words)[0])


def shown_beside(page):
    """The open comparison: what each row is of, then its numbers of A and of now."""
    rows = page.get_by_role("region", name="Compare two variants").locator("tbody tr")
    cells = [row.locator("td").all_inner_texts() for row in rows.all()]
    return {what: (figure(a), figure(now)) for what, a, now in cells}


def told(text, folder):
    """What the job tells of a variant, under the words of the page, as digits that count."""
    looked = glance(text, folder)
    return {
        "Error over all places": looked.error_mm,
        "Largest error": looked.worst_mm,
        "Covered": 100 * looked.coverage,
        "Mean delay": looked.delay_ms,
    }


def test_two_variants_stand_side_by_side_with_the_numbers_of_both(page, bench):
    rig = bench.folder / "barn-wall"
    first = (rig / "rig.toml").read_text(encoding="utf-8")
    page.set_default_timeout(LONG)
    page.goto(f"{bench.url}/rig/barn-wall/plan")
    page.locator(".room-camera").first.wait_for()
    page.get_by_role("button", name="Keep this as A").click()
    page.get_by_role("button", name=SWAP).wait_for()
    assert len({value for pair in shown_beside(page).values() for value in pair}) == 4

    changes = {"cameras[0].position[2]": "4.4 m", "cameras[0].frame_rate": "50 Hz"}
    second = first
    for path, given in changes.items():
        second = edited(second, path, given)
        typed = page.locator(f"[data-path='{path}']")
        if not typed.is_visible():
            page.locator("details", has=typed).locator("summary").click()
        typed.fill(given)
        page.keyboard.press("Tab")
    page.get_by_text("Not saved yet.").wait_for()
    a, now = told(first, rig), told(second, rig)
    assert all(a[what] != now[what] for what in a), "the variants must differ in every row"

    def agrees():
        shown = shown_beside(page)
        assert shown.keys() == a.keys()
        for what, pair in shown.items():
            digits = 0.5 if what == "Covered" else None  # whole per cent; three digits elsewhere
            close = {"abs": digits} if digits else {"rel": 5e-3}
            if pair != pytest.approx((a[what], now[what]), **close):
                return what, pair, (a[what], now[what])
        return None

    for _ in range(100):  # the rest is drawn once the fields rest
        if agrees() is None:
            break
        page.wait_for_timeout(200)
    assert agrees() is None

    pairs = shown_beside(page)
    swap = page.get_by_role("button", name=SWAP)
    swap.click()
    page.locator("[data-path='cameras[0].position[2]'] >> visible=true").wait_for()
    page.wait_for_function(
        "old => document.querySelector(\"[data-path='cameras[0].position[2]']\").value === old",
        arg=tomllib.loads(first)["cameras"][0]["position"][2],
    )
    # Both have changed places: what was now is A, and can be gone on with again.
    changed = {what: (now, a) for what, (a, now) in pairs.items()}
    for _ in range(100):
        if shown_beside(page) == changed:
            break
        page.wait_for_timeout(200)
    assert shown_beside(page) == changed
    assert (rig / "rig.toml").read_text(encoding="utf-8") == first
    # Nothing unsaved is left, on the page or for its tab.
    page.get_by_role("button", name="Plan closely").and_(page.locator(":enabled")).wait_for()
    assert not page.evaluate(UNSAVED)
    assert page.locator("textarea").input_value() == first
    swap.click()
    page.get_by_text("Not saved yet.").wait_for()
    page.wait_for_function("w => document.querySelector('textarea').value === w", arg=second)
    assert shown_beside(page) == pairs


UNSAVED = "Object.keys(sessionStorage).filter(key => key.startsWith('rushlight-draft'))"


def test_what_was_changed_elsewhere_is_overwritten_only_when_asked_and_then_all_is_saved(
    page, bench
):
    file = bench.folder / "barn-wall" / "rig.toml"
    first = file.read_text(encoding="utf-8")
    page.set_default_timeout(LONG)
    page.goto(f"{bench.url}/rig/barn-wall/plan")
    page.locator(".room-camera").first.wait_for()
    page.locator("[data-path='cameras[0].position[0]']").fill("1.3 m")
    page.keyboard.press("Tab")
    page.get_by_text("Not saved yet.").wait_for()
    elsewhere = first.replace("Planting map on a barn wall", "Changed elsewhere")
    file.write_text(elsewhere, encoding="utf-8")
    try:
        page.locator(".savebar .first").click()
        again = page.locator(".notice button")
        again.wait_for()
        assert file.read_text(encoding="utf-8") == elsewhere
        again.click()
        page.get_by_text("Saved.", exact=True).wait_for()
        page.wait_for_function(f"() => !{UNSAVED}.length")
        assert '["1.3 m", "1.6 m"' in file.read_text(encoding="utf-8")
    finally:
        file.write_text(first, encoding="utf-8")


def test_that_a_rig_was_saved_stands_there_however_late_the_looks_come(page, bench):
    file = bench.folder / "barn-wall" / "rig.toml"
    first = file.read_text(encoding="utf-8")
    page.set_default_timeout(LONG)
    page.goto(f"{bench.url}/rig/barn-wall/plan")
    page.locator(".room-camera").first.wait_for()
    typed = page.locator("[data-path='cameras[0].position[0]']")
    typed.fill("1.3 m")
    page.keyboard.press("Tab")
    page.get_by_text("Not saved yet.").wait_for()
    try:
        with held(bench):  # saving waits for a look, and so does what comes when fields rest
            typed.fill("1.25 m")
            page.keyboard.press("Tab")
            page.locator(".savebar .first").click()
            page.wait_for_timeout(1500)
        page.get_by_text("Saved.", exact=True).wait_for()
        page.wait_for_timeout(1500)
        assert page.get_by_text("Saved.", exact=True).is_visible()
        assert '["1.25 m", "1.6 m"' in file.read_text(encoding="utf-8")
    finally:
        file.write_text(first, encoding="utf-8")
