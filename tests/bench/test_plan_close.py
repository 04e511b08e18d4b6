"""The panel of the whole plan while the rig is changed and saved: what it says and shows by then.

The planning is a stand-in, which does to the rig meanwhile whatever its user would.
"""

import asyncio
import shutil

import pytest
from nicegui import Client, ui
from tests.planned_wall import write_plan

from rushlight.bench.desk import plan_close
from rushlight.bench.desk.draft import Draft
from rushlight.bench.desk.frame import words_html
from rushlight.bench.texts import text
from rushlight.errors import RushlightError
from rushlight.jobs.edit import edited
from rushlight.jobs.folder import find_rig

FLOOR = "surfaces[0].height_above_floor"


@pytest.fixture
def wall(tmp_path, serving):
    shutil.copytree(serving.scenarios / "barn-wall", tmp_path / "wall")
    return find_rig(tmp_path, "wall")


@pytest.fixture
def planned(wall, monkeypatch):
    """Plans the wall closely while something is done; gives the panel."""

    async def made(meanwhile):
        with Client(ui.page("/plan")):
            panel = plan_close.PlanClose(Draft.of(wall))

        async def slowly(_, file):
            assert said(panel) == words_html(text("plan.close.busy", what="wall"))
            plan = write_plan(file, file.parent / "plan")
            meanwhile(panel)
            assert said(panel) == words_html(text("plan.close.busy", what="wall"))
            return plan

        monkeypatch.setattr(plan_close, "slowly", slowly)
        await panel._plan()
        return panel

    return lambda meanwhile: asyncio.run(made(meanwhile))


def said(panel):
    """What stands beside the button."""
    return "".join(each.content for each in panel._state.descendants() if hasattr(each, "content"))


def shows_a_plan(panel):
    title = words_html(text("budget.title"))
    return any(getattr(each, "content", "") == title for each in panel._body.descendants())


def save(wall, panel):
    """As the page does it."""
    changed = edited(wall.file.read_text(encoding="utf-8"), FLOOR, "0.71 m")
    wall.file.write_text(changed, encoding="utf-8")
    panel.changed(False)
    panel.saved()


def test_a_plan_of_the_saved_rig_is_shown(planned):
    panel = planned(lambda panel: None)
    assert shows_a_plan(panel) and said(panel) == ""
    assert not panel._start.props.get("disabled")


def test_a_plan_is_not_shown_as_of_a_rig_that_was_saved_while_it_was_made(wall, planned):
    panel = planned(lambda panel: save(wall, panel))
    assert not shows_a_plan(panel)
    assert said(panel) == words_html(text("plan.close.late"))


def test_a_plan_that_stood_goes_also_when_the_rig_is_saved_while_it_is_made_anew(wall, planned):
    write_plan(wall.file, wall.file.parent / "plan")

    def meanwhile(panel):
        assert shows_a_plan(panel)
        save(wall, panel)
        assert not shows_a_plan(panel)

    panel = planned(meanwhile)
    assert not shows_a_plan(panel)
    assert said(panel) == words_html(text("plan.close.late"))


def test_what_was_changed_while_it_was_planned_is_saved_first(planned):
    panel = planned(lambda panel: panel.changed(True))
    assert shows_a_plan(panel), "it is of the saved rig"
    assert panel._start.props["disabled"]
    assert said(panel) == words_html(text("plan.close.unsaved"))
    panel.changed(False)
    assert not panel._start.props["disabled"] and said(panel) == ""


def test_also_a_planning_that_fails_minds_what_was_changed_meanwhile(planned):
    def fail(panel):
        panel.changed(True)
        raise RushlightError.of("wall", "", "cannot be planned", "change it", "none")

    panel = planned(fail)
    assert not shows_a_plan(panel) and panel._start.props["disabled"]
    assert said(panel) == words_html(text("plan.close.unsaved"))
