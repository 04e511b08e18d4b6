"""The whole plan of the saved rig, by the job of that name."""

from __future__ import annotations

from nicegui import ui

from rushlight.bench.desk.budget_view import draw_budgets
from rushlight.bench.desk.cautions import draw_cautions
from rushlight.bench.desk.draft import Draft
from rushlight.bench.desk.frame import button, element, findings_list, panel, table
from rushlight.bench.desk.show import number
from rushlight.bench.desk.worker import slowly
from rushlight.bench.texts import text
from rushlight.errors import RushlightError
from rushlight.jobs.kept import kept_plan
from rushlight.jobs.light_rows import together_rows
from rushlight.jobs.plan import plan
from rushlight.publish.cautions import DEFER, TITLES
from rushlight.records.figure import CAUSE_WORDS
from rushlight.records.plan import Plan
from rushlight.records.space_plan import SpacePlan


class PlanClose:
    """A panel that makes the plan when asked, and shows the last one of the rig as saved."""

    def __init__(self, draft: Draft) -> None:
        self._draft = draft
        with panel(text("plan.close.title")) as box:
            box.style("margin-top: 24px")
            element("p", text("plan.close.lead"), "soft")
            with ui.element("div").classes("row"):
                self._start = button(text("plan.close"), self._plan)
                self._state = element("span", "", "soft")
                self._state.props["role"] = "status"
            self._body = ui.element("div").style("margin-top: 16px")
        self._busy = self._shows = self._unsaved = False
        self._words = ""
        self._show_kept()

    def changed(self, unsaved: bool) -> None:
        """Tell whether there is anything unsaved: the plan is of the saved rig."""
        self._unsaved = unsaved
        self._tell()

    def _tell(self) -> None:
        """Tell how it stands; while it plans, that stays said until it has."""
        if not self._busy:
            self._say(text("plan.close.unsaved") if self._unsaved else self._words)
            self._start.props["disabled"] = self._unsaved
            self._start.update()

    def _say(self, words: str) -> None:
        self._state.clear()
        with self._state:
            element("span", words)

    def saved(self) -> None:
        """The rig was saved: a plan of it as it was before is no longer shown."""
        if self._shows and not self._show_kept():
            self._words = text("plan.close.old")
            self._tell()

    def _show_kept(self) -> bool:
        """Show the plan that lies beside the rig, if it is of this rig; whether it is."""
        self._body.clear()
        self._shows = False
        try:
            made = kept_plan(self._draft.place.file)
        except RushlightError:
            return False
        if made is not None:
            self._show(made)
        return self._shows

    async def _plan(self) -> None:
        if self._busy:
            return
        self._busy = True
        self._say(text("plan.close.busy", what=self._draft.place.name))
        try:
            await slowly(plan, self._draft.place.file)
            # As it is found on any other day: the file may have been changed while it was made.
            self._words = "" if self._show_kept() else text("plan.close.late")
        except RushlightError as error:
            self._body.clear()
            self._shows, self._words = False, ""
            with self._body:
                findings_list(error.findings)
        finally:
            self._busy = False
        self._tell()

    def _show(self, made: Plan | SpacePlan) -> None:
        self._body.clear()
        self._shows, self._words = True, ""
        with self._body:
            element(
                "p", text("plan.close.rules", cause=CAUSE_WORDS.get(made.dominant, made.dominant))
            )
            advice = made.cheapest_advice()
            element(
                "p",
                text("plan.close.noadvice")
                if advice is None
                else text("plan.close.advice", change=advice.change, cost=advice.cost),
            )
            words = {True: text("plan.met"), False: text("plan.unmet"), None: text("plan.unknown")}
            table(
                [text(f"plan.column.{each}") for each in ("what", "wanted", "predicted", "met")],
                [
                    [
                        each.what,
                        number(each.wanted, each.unit),
                        number(each.predicted, each.unit),
                        words[each.met],
                    ]
                    for each in made.targets
                ],
                text("plan.close.targets"),
            )
            doubt = "space" if isinstance(made, SpacePlan) else "surface"
            element("p", text(f"plan.close.doubt.{doubt}"), "soft small")
            element("h3", text("budget.title"))
            element("p", text("budget.lead"), "soft small")
            with ui.element("div").classes("budgets"):
                draw_budgets(made)
            self._show_light(made)
            if made.findings:
                element("h3", text("plan.findings"))
                findings_list([each.finding() for each in made.findings])
            titled = (f"{TITLES[name]}. {words}" for name, words in made.cautions.items())
            draw_cautions([DEFER, *titled])
            with ui.element("details"):
                element("summary", text("plan.close.assumed"))
                for each in made.assumptions:
                    element("p", each)

    def _show_light(self, made: Plan | SpacePlan) -> None:
        """How far each setting may go, where the plan knows it."""
        if isinstance(made, SpacePlan) or made.light is None or not made.light.together:
            return
        element("h3", text("plan.close.light"))
        table(
            [text(f"plan.column.{each}") for each in ("setting", "planned", "from", "to")],
            together_rows(made.light),
            text("plan.close.light"),
        )
