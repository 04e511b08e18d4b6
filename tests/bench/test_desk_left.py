"""A page that is left while its job is at work: nothing is drawn any more, and nothing is said."""

import shutil
import time

import pytest
from tests.served_bench import held, what_it_said

FORGOTTEN_S = 10.0
"""How long the desk keeps a page that was left: the desk's own reconnect_timeout."""


@pytest.fixture
def unplanned(serving, tmp_path):
    """A bench on a rig without a plan, for which the page Build must wait."""
    shutil.copytree(serving.scenarios / "choir-baton", tmp_path / "baton")
    bench = serving.start(tmp_path)
    yield bench
    serving.stop(bench)


@pytest.mark.parametrize("left", ["while it is drawn", "after a press"])
def test_a_page_that_is_left_while_its_job_is_at_work_leaves_no_trace(browser, unplanned, left):
    context = browser.new_context()
    page = context.new_page()
    if left == "while it is drawn":
        page.goto(f"{unplanned.url}/rig/baton/build")
        page.get_by_text("It is being planned now").wait_for(timeout=60_000)
    else:
        page.goto(f"{unplanned.url}/rig/baton/plan")
        page.locator(".room-camera").first.wait_for(timeout=90_000)
        page.get_by_role("button", name="Plan closely").click()
        page.locator("[role=status]", has_text="baton").first.wait_for(timeout=60_000)
    page.wait_for_timeout(500)
    with held(unplanned):
        page.goto("about:blank")
        page.wait_for_timeout((FORGOTTEN_S + 3.0) * 1000)
    # One job at a time: once the second page's is done, so is the first's.
    page.goto(f"{unplanned.url}/rig/baton/build")
    page.locator(".ticks").first.wait_for(timeout=300_000)
    context.close()
    time.sleep(2.0)  # what it would have drawn comes right after
    said = what_it_said(unplanned)
    assert "deleted" not in said and "Traceback" not in said, said
