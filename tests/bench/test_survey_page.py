"""The survey form in a browser: what is taken away stays so, also for a tab that comes back,
and no tab writes over what another kept unless its user says so.
"""

import shutil

LENGTHS = ("2412 mm", "2440 mm", "1500 mm", "1499 mm", "2842 mm", "2851 mm")
LONG = 120_000


def test_a_line_that_was_taken_away_stays_so_in_the_tab(page, bench):
    url = f"{bench.url}/rig/barn-wall/survey"
    page.goto(url)
    lines = page.locator(".survey-line")
    page.locator(".survey-svg").wait_for(timeout=90_000)
    before = lines.count()
    lines.last.get_by_role("button").click()
    page.wait_for_function(
        "() => Object.keys(sessionStorage).some(key => key.startsWith('rushlight-'))"
    )
    assert lines.count() == before - 1
    assert not page.locator("[role=alert] *").count()
    page.goto(url)
    page.locator(".survey-svg").wait_for(timeout=90_000)
    page.wait_for_timeout(1000)
    assert lines.count() == before - 1


def test_a_second_tab_writes_over_the_readings_of_the_first_only_on_purpose(
    browser, bench, serving
):
    rig = bench.folder / "two-tab-wall"
    shutil.copytree(serving.scenarios / "barn-wall", rig)
    readings = rig / "readings.toml"
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    context.set_default_timeout(LONG)
    first, second = context.new_page(), context.new_page()
    keep = "Keep this survey"
    for page in (first, second):
        page.goto(f"{bench.url}/rig/{rig.name}/survey")
        page.locator(".survey-svg").wait_for()

    def read(page, lengths):
        for index, length in enumerate(lengths):
            page.locator(f"[data-reading=read-{index}]").fill(length)
            page.keyboard.press("Tab")
        page.wait_for_function(
            "w => Object.values(sessionStorage).some(each => each.includes(w))", arg=lengths[-1]
        )
        page.get_by_text("As typed, not kept yet.").wait_for()

    read(first, LENGTHS)
    first.get_by_role("button", name=keep, exact=True).click()
    first.get_by_text("Kept beside the rig.").wait_for()
    kept = readings.read_text(encoding="utf-8")
    read(second, ("2419 mm", *LENGTHS[1:]))
    second.get_by_role("button", name=keep, exact=True).click()
    second.get_by_text("was changed elsewhere since this page read it").wait_for()
    assert readings.read_text(encoding="utf-8") == kept
    # A reload does not make a stranger's readings this tab's own.
    second.reload()
    second.get_by_text("As typed, not kept yet.").wait_for()
    second.get_by_role("button", name=keep, exact=True).click()
    over = second.get_by_role("button", name="Keep this survey over it")
    over.wait_for()
    assert readings.read_text(encoding="utf-8") == kept
    over.click()
    second.get_by_text("Kept beside the rig.").wait_for()
    assert readings.read_text(encoding="utf-8") == kept.replace("2412 mm", "2419 mm")
    # The first tab has nothing unsaved, but what it shows is not what is kept: the way back is.
    first.locator("[data-reading=read-1]").fill("2441 mm")
    first.keyboard.press("Tab")
    first.get_by_text("As typed, not kept yet.").wait_for()
    first.get_by_role("button", name=keep, exact=True).click()
    first.get_by_text("was changed elsewhere since this page read it").wait_for()
    first.get_by_role("button", name="Back to what is kept").click()
    first.wait_for_function(
        "() => document.querySelector('[data-reading=read-0]').value === '2419 mm'"
    )
    context.close()
