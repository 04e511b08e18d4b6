"""Search: other places and parts for the rig, with the candidates seen in the room."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from nicegui import ui
from nicegui.element import Element

from rushlight.bench.desk.draft import Draft, change_and_look
from rushlight.bench.desk.frame import button, element, findings_list, panel, table
from rushlight.bench.desk.room_view import RoomView
from rushlight.bench.desk.show import number, percent
from rushlight.bench.desk.worker import quickly, slowly
from rushlight.bench.texts import text
from rushlight.errors import RushlightError
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.kept import kept_search
from rushlight.jobs.search import search
from rushlight.jobs.so_far import Point, so_far
from rushlight.jobs.take import with_candidate
from rushlight.records.search import SearchCandidate, SearchResult

_LOOK_EVERY_S = 0.7
"""How often a running search is looked at [s]; no source."""

_running: set[str] = set()
"""Files whose search this desk runs, for whichever page."""


def twin(place: RigPlace) -> Any:
    """As ``rushlight search RIG --json`` printed it: a search takes minutes and is begun by hand.

    Raises
    ------
    RushlightError
        When none is kept for the rig as it stands.
    """
    made = kept_search(place.file)
    if made is None:
        raise RushlightError.of(
            str(place.file),
            "",
            "has no search kept for the rig as it stands",
            f"run `rushlight search {place.file.parent}`, or begin one on its page",
            "search-missing",
        )
    return made.model_dump(mode="json", by_alias=True)


async def draw(place: RigPlace) -> None:
    """Draw the page into the frame."""
    await SearchPage(place).draw()


class SearchPage:
    """The page of one tab."""

    def __init__(self, place: RigPlace) -> None:
        self._place = place
        self._draft = Draft.of(place)
        self._result: SearchResult | None = None
        self._ran = False  # when it was looked at last
        self._picked = 0
        self._buttons: dict[int, Element] = {}

    async def draw(self) -> None:
        """Draw everything, and what was found before."""
        ui.add_head_html('<script type="module" src="/desk/front.js"></script>')
        element("h1", text("search.title"))
        element("p", text("search.lead"), "lead")
        with ui.element("div").classes("row").style("margin-bottom: 20px"):
            self._start = button(text("search.start"), self._search, first=True)
            self._state = element("span", "", "soft")
            self._state.props["role"] = "status"
        self._notice = ui.element("div")
        with ui.element("div").classes("columns even"):
            with panel(text("search.front")):
                element("p", text("search.front.lead"), "soft small")
                self._box = ui.element("div").classes("front")
                self._id = f"front-{self._box.id}"
                self._box.props["id"] = self._id
                self._box.set_visibility(False)
                self._list = ui.element("div")
            with panel(text("search.room")):
                self._room = RoomView()
                self._one = ui.element("div")
        self._why = ui.element("div").style("margin-top: 24px")
        element("p", text("search.of_saved"), "soft small").style("margin-top: 24px")
        ui.on("rushlight-picked", self._pick_event)
        await ui.context.client.connected(timeout=60.0)
        await self._draft.settle()
        self._room.show(self._draft.shown)
        self._result = kept_search(self._place.file)
        await self._show_result()
        ui.timer(_LOOK_EVERY_S, self._look)

    @property
    def _key(self) -> str:
        return str(self._place.file.resolve())

    async def _search(self) -> None:
        if self._key in _running:
            return
        _running.add(self._key)
        self._notice.clear()
        self._say(text("search.starting"))
        try:
            self._result = await slowly(search, self._place.file)
        except RushlightError as error:
            with self._notice:
                findings_list(error.findings)
        finally:
            _running.discard(self._key)
        await self._over()

    async def _over(self) -> None:
        """Show what there is now that no search runs."""
        self._ran = False
        self._say("")
        self._picked = 0
        await self._show_result()

    async def _look(self) -> None:
        """See how far a running search is, whichever tab began it."""
        if self._key not in _running:
            # Also what came to nothing has ended, and what is shown may be of a search before.
            if self._ran or self._result is None:
                found = kept_search(self._place.file)
                if self._ran or found is not None:
                    self._result = found
                    await self._over()
            return
        self._ran = True
        found_so_far = so_far(self._place.file)
        if found_so_far is not None:
            self._say(
                text(
                    "search.busy",
                    tried=found_so_far.tried,
                    generations=found_so_far.generations,
                )
            )
            self._show_front(found_so_far.front, "")

    def _say(self, words: str) -> None:
        busy = self._key in _running
        self._start.props["disabled"] = busy
        self._start.update()
        self._state.clear()
        with self._state:
            element("span", words)

    def _show_front(self, points: list[Point], currency: str) -> None:
        self._box.set_visibility(True)
        shown: list[dict[str, Any]] = []
        for point in points:
            words = ""
            if self._result is not None and point.number:
                words = _words(self._result.candidate(point.number), currency)
            shown.append({**asdict(point), "words": words})
        data = {
            "points": shown,
            "picked": self._picked,
            "chosen": self._result.chosen if self._result and currency else 0,
            "across": text("search.across", currency=currency or "…"),
            "up": text("search.up"),
            "words": text("search.front.words", count=len(shown)),
        }
        ui.run_javascript(
            f"const draw = () => window.rushlightFront"
            f" ? window.rushlightFront({json.dumps(self._id)}, {json.dumps(data)})"
            f" : setTimeout(draw, 30); draw()"
        )

    async def _show_result(self) -> None:
        result = self._result
        self._one.clear()
        self._why.clear()
        self._list.clear()
        self._buttons.clear()
        self._start.clear()
        with self._start:
            element("span", text("search.start" if result is None else "search.again"))
        if result is None:
            self._box.set_visibility(False)
            with self._list:
                element("p", text("search.front.none"), "soft")
            with self._one:
                element("p", text("search.none"), "soft")
            return
        points = [
            Point(each.cost, 1e3 * each.error_rms_m, each.coverage, each.number)
            for each in result.candidates
        ]
        self._show_front(points, result.currency)
        with self._list, ui.element("details"):
            element("summary", text("search.list"))
            for each in result.candidates:
                shown = self._buttons[each.number] = button(
                    _words(each, result.currency),
                    lambda number=each.number: self._pick(number),
                    aria_pressed="false",
                )
                shown.style("display: flex; width: 100%; justify-content: flex-start; "
                            "text-align: start; margin-bottom: 6px")  # fmt: skip
        with self._why, panel(text("search.why")):
            for line in result.why:
                element("p", line)
            findings_list([each.finding() for each in result.findings])
            if result.thrown_out:
                element("h3", text("search.out"))
                table(
                    [text(f"search.out.{each}") for each in ("of", "why", "count")],
                    [[each.of, each.words, each.count] for each in result.thrown_out],
                    text("search.out"),
                )
        await self._pick(self._picked or result.chosen or 1)

    async def _pick_event(self, event: Any) -> None:
        if event.args["box"] == self._id:
            await self._pick(int(event.args["number"]))

    async def _pick(self, wanted: int) -> None:
        result = self._result
        if result is None:
            return
        self._picked = wanted
        for each, shown_as in self._buttons.items():
            shown_as.props["aria-pressed"] = "true" if each == wanted else "false"
            shown_as.update()
        one = result.candidate(wanted)
        self._show_front(
            [
                Point(each.cost, 1e3 * each.error_rms_m, each.coverage, each.number)
                for each in result.candidates
            ],
            result.currency,
        )
        words = with_candidate(self._draft.read_as, one)
        _, shown = await quickly(change_and_look, words, {}, self._place.folder)
        self._room.show(shown)
        self._one.clear()
        with self._one:
            title = text("search.picked", number=wanted)
            if wanted == result.chosen:
                title += f" ({text('search.recommended')})"
            element("h3", title)
            table([], _rows(one, result.currency), title)
            with ui.element("div").classes("row"):
                button(text("search.take", number=wanted), lambda: self._take(one), first=True)
                element("span", text("search.take.lead"), "soft small")

    async def _take(self, one: SearchCandidate) -> None:
        """Put a candidate into what the tab holds of the rig, saved or not, and look at it."""
        draft = Draft(self._place, self._draft.read_as, self._draft.read_as)
        unsaved = await draft.take_from_browser()
        try:
            draft.take(with_candidate(draft.text, one))
        except RushlightError as error:  # what is not saved yet is left as it is
            self._notice.clear()
            with self._notice:
                findings_list(error.findings)
            return
        key = "search.taken.unsaved" if unsaved else "search.taken"
        draft.came = text(key, number=one.number)
        draft.keep_in_browser()
        ui.navigate.to(f"/rig/{self._place.name}/plan")


def _words(one: SearchCandidate, currency: str) -> str:
    return text(
        "search.point",
        number=one.number,
        cost=f"{one.cost:.2f}",
        currency=currency,
        error=number(1e3 * one.error_rms_m, "mm"),
        coverage=percent(one.coverage),
        place=one.place or text("search.nowhere"),
    )


def _rows(one: SearchCandidate, currency: str) -> list[list[object]]:
    rows: list[tuple[str, object]] = [
        ("cost", f"{one.cost:.2f} {currency}"),
        ("error", number(1e3 * one.error_rms_m, "mm")),
        ("coverage", percent(one.coverage)),
        ("delay", number(1e3 * one.delay_s, "ms")),
        ("battery", number(one.battery_s / 3600.0, "h")),
        ("build", number(one.build_s / 60.0, "min")),
        ("camera", one.camera),
        ("filter", one.filter or text("none")),
        ("emitter", f"{one.emitter}, {1e3 * one.current_a:g} mA"),
        ("place", one.place or text("search.nowhere")),
    ]
    if one.missed:
        rows.append(("missed", ", ".join(one.missed)))
    return [[text(f"search.row.{name}"), value] for name, value in rows]
