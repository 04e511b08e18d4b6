"""Watch: follow the lights now, see them, and see how late every stage is and where results go."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any
from urllib.parse import quote

from nicegui import ui

from rushlight.bench.desk.frame import element, panel, table, words_html
from rushlight.bench.desk.live_panel import Findings, LivePanel, Words
from rushlight.bench.desk.live_sight import LiveSight
from rushlight.bench.desk.show import moment, number
from rushlight.bench.texts import has_text, text
from rushlight.jobs.folder import RigPlace
from rushlight.jobs.load import load_rig
from rushlight.jobs.told import newest_told, told_or_refused

_TICKED = "(e) => emit(e.target.checked)"
_OF_SURFACE = ("pointer", "desktop", "touch", "osc", "lines")
_OF_SPACE = ("osc", "lines", "views")
_ROWS = (
    ("frames", ""),
    ("dropped", ""),
    ("footage_s", "s"),
    ("rate_hz", "Hz"),
    ("trails", ""),
    ("fixes", ""),
    ("switch_downs", ""),
    ("switch_ups", ""),
    ("doubtful_dots", ""),
    ("detect_ms", "ms"),
    ("map_ms", "ms"),
)


def twin(place: RigPlace) -> Any:
    """The summary of the newest kept run, as ``rushlight run … --json`` printed it."""
    return told_or_refused("run", place.folder)


def draw(place: RigPlace) -> None:
    """Draw the page into the frame."""
    WatchPage(place).draw()


class WatchPage:
    """The page of one tab."""

    def __init__(self, place: RigPlace) -> None:
        self._place = place
        self._on_surface = "surface" in place.kinds
        own = [each for each in load_rig(place.file)[0].outputs if each != "session"]
        self._own = [str(each) for each in own]
        self._on = list(self._own)
        self._state: Mapping[str, Any] = {}

    def draw(self) -> None:
        """Draw everything; what runs already is shown as it goes on."""
        element("h1", text("watch.title"))
        element("p", text("watch.lead" if self._on_surface else "watch.lead.space"), "lead")
        self._sights: list[LiveSight] = []
        with ui.element("div").classes("columns narrow-wide"):
            with ui.element("div").classes("stack"):
                self._live = LivePanel(
                    self._place,
                    "run",
                    pages=self._pages(),
                    options=self._options,
                    heard=self._heard,
                    ended=lambda _: self._show_last(),
                )
                if not (self._place.folder / "registration.json").exists():
                    kind = "watch.unregistered" if self._on_surface else "watch.unregistered.space"
                    element("p", text(kind), "notice")
                self._live.draw()
                self._draw_outputs()
            with ui.element("div").classes("stack"):
                if self._on_surface:
                    with panel(text("watch.surface")):
                        self._sights.append(LiveSight("places"))
                with panel(text("watch.now")):
                    self._now = ui.html("", sanitize=False)
                    self._none = Words("soft")
                    self._none.say(text("watch.none_yet"))
                    self._delays = Table(text("watch.delays"))
                    self._sent = Table(text("watch.sent"))
                with panel(text("watch.picture")):
                    self._sights.append(LiveSight("see", named=self._on_surface))
                with panel(text("watch.last")):
                    self._last = ui.element("div")
        self._show_last()
        ui.timer(0.5, self._rest)

    def _pages(self) -> tuple[str, ...]:
        """Display pages that show the run: of each kind of rig its own."""
        if self._on_surface:
            return ("planting", "picture")
        lookout = f"lookout?rig={quote(self._place.name)}"
        return (lookout, "picture") if "viewpoint" in self._place.kinds else ("picture",)

    def _draw_outputs(self) -> None:
        with panel(text("watch.outputs")):
            element("p", text("watch.outputs.lead"), "soft small")
            for name in _OF_SURFACE if self._on_surface else _OF_SPACE:
                with element("label", None, "choice"):
                    ticked = element("input", None, type="checkbox", data_output=name)
                    if name in self._on:
                        ticked.props["checked"] = True
                    ticked.on("change", self._switch(name), js_handler=_TICKED)
                    element("span", text(f"watch.output.{name}"))

    def _switch(self, name: str) -> Callable[[Any], None]:
        def switch(event: Any) -> None:
            self._on = [each for each in self._on if each != name] + [name] * bool(event.args)

        return switch

    def _options(self) -> dict[str, Any]:
        same = sorted(self._on) == sorted(self._own)
        return {} if same else {"outputs": self._on}

    def _heard(self, state: Mapping[str, Any]) -> None:
        if self._live.goes_on:
            for sight in self._sights:
                sight.listen(self._live.link.url)
        if "frames" not in state:
            return
        self._state = state
        self._none.say("")
        self._now.set_content(_figures_html(state, self._live.goes_on))
        self._delays.show(
            [text(f"watch.delay.{each}") for each in ("of", "stage", "median", "p95", "count")],
            [
                (_name("what", each["what"]), _name("stage", each["stage"]),
                 _tenth(each["median_ms"]), _tenth(each["p95_ms"]), each["count"])
                for each in state.get("delays") or []
            ],
        )  # fmt: skip
        self._sent.show(
            [text(f"watch.sent.{each}") for each in ("name", "left", "lost")],
            state.get("outputs") or [],
        )

    def _rest(self) -> None:
        """The act has ended, or another's goes on: nothing is lit, and no frame is of now."""
        if self._live.goes_on:
            return
        for sight in self._sights:
            sight.rest()
        if self._state:
            self._now.set_content(_figures_html(self._state, False))

    def _show_last(self) -> None:
        self._last.clear()
        with self._last:
            kept = newest_told("run", self._place.folder)
            if kept is None:
                element("p", text("watch.last.none"), "soft")
                return
            told = kept.values
            basis = text(f"basis.{told['basis']}")
            element("p", text("watch.last.when", when=moment(kept), basis=basis), "soft")
            table([], _last_rows(told), text("watch.last"))
            Findings().show(told["findings"])


class Table:
    """A table with its heading that changes; hidden while it has no rows."""

    def __init__(self, title: str) -> None:
        self._title = title
        self._box = ui.element("div")
        self._rows: list[Any] = []

    def show(self, columns: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
        """Show these rows, if they are others than before."""
        now = [tuple(row) for row in rows]
        if now == self._rows:
            return
        self._rows = now
        self._box.clear()
        if now:
            with self._box:
                element("h3", self._title)
                table(columns, now, self._title)


def _name(of: str, name: str) -> str:
    """What a delay is of, or its stage, in the words of the page; an output by its own name."""
    key = f"watch.delay.{of}.{name}"
    return text(key) if has_text(key) else name


def _last_rows(told: Mapping[str, Any]) -> list[tuple[str, object]]:
    rows: list[tuple[str, object]] = [
        (text("watch.row.session"), told["session"]),
        (text("watch.row.carried"), ", ".join(told["carried"])),
    ]
    for name, unit in _ROWS:
        value = told.get(name)
        if isinstance(value, Mapping):
            value = sum(value.values())
        if value is not None:
            shown = str(value) if isinstance(value, int) else number(value, unit)
            rows.append((text(f"watch.row.{name}"), shown))
    return rows


def _figures_html(state: Mapping[str, Any], goes_on: bool) -> str:
    """The figures of a run; of one that has ended, what it came to, and nothing of this moment."""
    rate_hz = state.get("rate_hz") if goes_on else None
    silent_s = (state.get("silent_s") or 0.0) if goes_on else 0.0
    lit = [_lit(each) for each in state.get("lit") or []] if goes_on else []
    figures = [
        (
            "rate",
            text("watch.rate.silent", s=_tenth(silent_s)) if silent_s else _tenth(rate_hz),
        ),
        ("frames", str(state["frames"])),
        ("dropped", str(state["dropped"])),
        ("reconnects", str(state["reconnects"])),
        (
            "dots",
            text("watch.dots.value", dots=state["dots"], doubtful=state["doubtful"])
            if goes_on
            else "–",
        ),
        ("lit", "; ".join(lit) or (text("none") if goes_on else "–")),
    ]
    parts = ['<dl class="figures">']
    parts += [
        f"<div data-figure={name}><dt>{words_html(text(f'watch.{name}'))}</dt>"
        f"<dd>{words_html(value)}</dd></div>"
        for name, value in figures
    ]
    return "".join([*parts, "</dl>"])


def _lit(row: Sequence[Any]) -> str:
    name, *place = row
    known = [each for each in place if each is not None]
    return f"{name} ({', '.join(f'{each:.2f}' for each in known)} m)" if known else str(name)


def _tenth(value: float | None) -> str:
    return "–" if value is None or not math.isfinite(value) else f"{value:.1f}"
