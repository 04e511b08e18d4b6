"""The survey form in a browser: what is taken away stays so, also for a tab that comes back."""


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
