"""What every page of live work has: where frames come from, begin and end, and how it stands.

All of it is told by the live process, so that a second tab, or a desk that was started anew, shows
the same; the live process starts again when it is wanted and has ended.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from nicegui import ui
from nicegui.element import Element

from rushlight.bench.desk.frame import (
    button,
    element,
    findings_list,
    lead_to,
    link,
    panel,
    words_html,
)
from rushlight.bench.desk.live_ask import EndsOther, act_words
from rushlight.bench.desk.live_link import Going, desk_link
from rushlight.bench.desk.live_source import SourceChoice
from rushlight.bench.texts import has_text, text
from rushlight.drive.origin import is_loopback
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.folder import RigPlace, find_rig

State = Mapping[str, Any]

_LOOK_EVERY_S = 0.25
"""How often a page looks whether there is news [s]; no source: as often as states are told."""

GOING = ("starting", "running", "stopping")
"""Stages of an act that goes on."""


class Words:
    """A line of text that changes; it is sent only when it has changed."""

    def __init__(self, classes: str = "", role: str = "", tag: str = "p") -> None:
        self._line = ui.html("", sanitize=False, tag=tag)
        if classes:
            self._line.classes(classes)
        if role:
            self._line.props["role"] = role
        self._line.set_visibility(False)

    def say(self, words: str) -> None:
        """Show these words; none at all hide the line."""
        self._line.set_content(words_html(words))
        self._line.set_visibility(bool(words))


class Findings:
    """A list of findings that changes; it is drawn anew only when it has changed."""

    def __init__(self) -> None:
        self._box = ui.element("div")
        self._shown: list[Finding] = []

    def show(self, findings: Sequence[Finding | Mapping[str, str]]) -> None:
        """Show these, given as findings or as plain values."""
        now = [finding_of(each) for each in findings]
        if now == self._shown:
            return
        self._shown = now
        self._box.clear()
        with self._box:
            findings_list(now)


class LivePanel:
    """Begins and ends one act of the live process for a rig, and tells how it stands.

    Parameters
    ----------
    place
        The rig.
    act
        One of `rushlight.bench.live.work.ACTS`.
    pages
        Display pages that belong to it, as ``"beacons"`` or ``"try?task=ring"``; each has a text
        ``panel.page.NAME``.
    options
        Called when it begins, for the options of the act.
    heard
        Told each new state of the act while it is this rig's and this act's, also after its end.
    ended
        Told what the act gave, once.

    Attributes
    ----------
    link
        The desk's line to the live process.
    """

    def __init__(
        self,
        place: RigPlace,
        act: str,
        pages: Sequence[str] = (),
        options: Callable[[], dict[str, Any]] = dict,
        heard: Callable[[State], None] = lambda _: None,
        ended: Callable[[Any], None] = lambda _: None,
    ) -> None:
        self.link = desk_link()
        self._place, self._act, self._pages = place, act, pages
        self._options, self._heard, self._ended = options, heard, ended
        self._links: dict[str, tuple[Element, Words]] = {}
        self._seen = -1
        self._result: Any = self.link.result
        self._refused: tuple[Finding, ...] = ()
        self._found = False
        self._ask = EndsOther(self._begin_over)

    def draw(self) -> None:
        """Draw it into the present place; the live process is found or started meanwhile."""
        with panel(text("panel.title")) as box:
            box.props["data-live"] = self._act
            with ui.element("div").classes("row"):
                self._begin = button(self._own("begin"), self.begin, first=True)
                self._end = button(self._own("end"), self.end)
            self._stands = Words(role="status")
            self._shown_as = Words("notice")
            self._faults = Findings()
            element("p", text("panel.caution"), "caution")
            if not asked_on_this_machine():
                element("p", text("panel.elsewhere"), "notice")
            self._ask.draw()
            self._source = SourceChoice(self._place)
        if self._pages:
            with panel(text("panel.pages")):
                element("p", text("panel.pages.lead"), "soft small")
                with ui.element("ul").classes("display-pages"):
                    for page in self._pages:
                        self._draw_page(page)
        self._show()
        ui.timer(0.01, self._open, once=True)
        ui.timer(_LOOK_EVERY_S, self._look)

    @property
    def mine(self) -> bool:
        """Whether the newest act is this one, of this rig."""
        state = self.link.state
        return state.get("act") == self._act and state.get("rig") == self._place.name

    @property
    def goes_on(self) -> bool:
        """Whether this act of this rig goes on now."""
        return self.mine and self.link.state.get("stage") in GOING

    async def begin(self) -> None:
        """Begin the act; where that would end another one, ask first."""
        await self._begin_over(None)

    async def _begin_over(self, agreed: Going | None) -> None:
        """Begin the act, and end what goes on if that is just what the user agreed to."""
        self._refused = ()
        source, options = self._source.asked()
        try:
            if not self.link.state:  # what goes on is not known before the line stands
                await self.link.open()
            going = self.link.going
            if going == (self._act, self._place.name):
                return  # begun meanwhile, in another tab
            if going is not None and going != agreed:
                self._ask.ask(going, self._rig_words(going.rig))
                return
            await self.link.start(
                self._act, self._place.name, source, options={**options, **self._options()}
            )
        except RushlightError as error:
            self._refused = error.findings
        self._show()

    def _rig_words(self, name: str) -> str:
        """A rig as it is called, with the name of its folder; that alone where it is gone."""
        try:
            title = find_rig(self.link.folder, name).title
        except RushlightError:
            title = ""
        return text("panel.ask.rig", title=title, rig=name) if title else name

    async def end(self) -> None:
        """End whatever goes on."""
        await self._tell(self.link.stop())

    async def say(self, message: dict[str, Any]) -> None:
        """Tell the act something, if it goes on."""
        if self.goes_on:
            await self._tell(self.link.say(self._act, message))

    async def _tell(self, sending: Any) -> None:
        try:
            await sending
        except RushlightError as error:
            self._refused = error.findings
            self._show()

    def _own(self, name: str) -> str:
        """A text of this act, or of any."""
        key = f"panel.{name}.{self._act}"
        return text(key if has_text(key) else f"panel.{name}")

    def _draw_page(self, page: str) -> None:
        name = page.partition("?")[0]
        with ui.element("li"):
            shown = link(text(f"panel.page.{name}"), "", "button", target="_blank")
            shown.props["data-page"] = name
            self._links[page] = shown, Words("soft small", tag="span")

    async def _open(self) -> None:
        await self._source.take_up()
        self._show()
        await self._tell(self.link.open())
        self._found = True
        self._show()

    def _look(self) -> None:
        if self.link.changes != self._seen:
            self._show()

    def _show(self) -> None:
        self._seen = self.link.changes
        state = self.link.state
        self._stands.say(self._how_it_stands(state))
        self._shown_as.say(_shown_as(state) if self.mine else "")
        faults: list[Any] = [*self._refused]
        if self.mine:
            faults += state.get("findings") or []
        elif not self._refused and not state.get("act"):
            faults += self.link.findings
        self._faults.show(faults)
        going = state.get("stage") in GOING
        _enable(self._begin, self._source.known and not self.goes_on)
        _enable(self._end, going and state.get("stage") != "stopping")
        for page, (shown, words) in self._links.items():
            self._show_page(page, shown, words, state)
        # While the panel is drawn, what hears it may not be there yet.
        if self.mine and self._found:
            self._heard(state)
        result = self.link.result
        if result is not self._result:
            self._result = result
            told = result or {}
            if told.get("act") == self._act and told.get("rig") == self._place.name:
                self._ended(told.get("result"))

    def _show_page(self, page: str, shown: Element, words: Words, state: State) -> None:
        name = page.partition("?")[0]
        lead_to(shown, f"{self.link.url}{page}" if self.link.url else "")
        stands = "closed" if self.link.url else "finding"
        if name in (state.get("shown") or []):
            stands = "ready" if name in (state.get("ready") or []) else "open"
        words.say(text(f"panel.page.{stands}"))

    def _how_it_stands(self, state: State) -> str:
        if not state:
            return text("panel.lost" if self._found else "panel.finding")
        stage, act = str(state.get("stage")), str(state.get("act") or "")
        if not act or (not self.mine and stage not in GOING):
            return text("panel.idle")
        if not self.mine:
            return text("panel.other", act=act_words(act), rig=state.get("rig"))
        if stage == "starting" and state.get("progress"):
            return text("panel.starting.what", what=state["progress"])
        return text(f"panel.{stage}")


def finding_of(told: Finding | Mapping[str, str]) -> Finding:
    """A finding, from itself or from its plain values."""
    if isinstance(told, Finding):
        return told
    names = ("severity", "code", "where", "given", "allowed", "remedy")
    return Finding(*(told.get(name, "") for name in names))  # type: ignore[arg-type]


def asked_on_this_machine() -> bool:
    """Whether the page was asked for by a loopback name, as the live process is always served."""
    return is_loopback(ui.context.client.request.url.hostname or "")


def _shown_as(state: State) -> str:
    """In words, that what is seen is simulated, or where it comes from."""
    source = state.get("source")
    if not source:
        return ""
    kind = "measured"
    if state.get("simulated"):
        kind = "rehearsed" if state.get("rehearsed") else "simulated"
    return text(f"panel.seen.{kind}", source=source)


def _enable(one: Element, on: bool) -> None:
    if one.props.get("disabled", False) == on:
        one.props["disabled"] = not on
        one.update()
