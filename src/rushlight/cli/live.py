"""How `run --camera` shows what goes on: a few lines that are written anew, and the summary."""

from __future__ import annotations

import math
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from types import FrameType
from typing import TYPE_CHECKING

from rich.console import Console
from rich.live import Live
from rich.table import Table

if TYPE_CHECKING:
    from rushlight.capture.devices import CameraList
    from rushlight.jobs.live_loop import LiveState
    from rushlight.track.stages import StageDelay

Stop = Callable[[], None]

PLAIN_EVERY_S = 5.0
"""How often a line is written where the lines cannot be written anew, as into a file [s]."""


@contextmanager
def panel() -> Iterator[Callable[[LiveState], None]]:
    """Lines on standard error: call it with the state as often as it changes."""
    console = Console(file=sys.stderr, highlight=False, emoji=False, markup=False)
    news = _News(console)
    if not console.is_terminal:
        told_s = -math.inf

        def line(state: LiveState) -> None:
            nonlocal told_s
            news(state)
            # By the clock of the room: a source that is silent has none.
            if time.monotonic() - told_s >= PLAIN_EVERY_S:
                told_s = time.monotonic()
                told = ", ".join(f"{what} {value}" for what, value in _rows(state))
                print(told, file=sys.stderr, flush=True)

        yield line
        return
    with Live(console=console, auto_refresh=False, transient=True) as live:

        def lines(state: LiveState) -> None:
            news(state)
            live.update(_table(state), refresh=True)

        yield lines


class _News:
    """Warnings, each told once as soon as it is known."""

    def __init__(self, console: Console) -> None:
        self._console, self._told = console, set[str]()

    def __call__(self, state: LiveState) -> None:
        for finding in state.findings:
            # Some count: they are told again at the end, with the whole count.
            which = str(finding) if finding.code == "fault" else finding.code
            if finding.severity != "note" and which not in self._told:
                self._told.add(which)
                self._console.print(f"! {finding.severity}: {finding}")


@contextmanager
def ended_by_signal() -> Iterator[Callable[[Stop], None]]:
    """Let Ctrl-C, or a polite request to end, end the run; call it with what ends it.

    An exception out of a signal may rise anywhere, and where it rises in what a library calls
    back it is lost. So once there is something to call, the first signal calls it, from a thread
    that waits for nobody; a second one no longer asks.
    """
    stop: Stop | None = None

    def end(number: int, frame: FrameType | None) -> None:
        nonlocal stop
        if stop is None:
            raise KeyboardInterrupt
        threading.Thread(target=stop, name="ending", daemon=True).start()
        stop = None

    def told(how: Stop) -> None:
        nonlocal stop
        stop = how

    before = {each: signal.signal(each, end) for each in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield told
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)


def show_cameras(found: CameraList) -> None:
    """The cameras of this computer."""
    from rushlight.cli import render

    render.heading("cameras of this computer")
    if found.cameras:
        render.table(
            "",
            ["source", "name", "pictures", "size [px]", "rate [Hz]", "format"],
            [
                [
                    camera.source,
                    camera.name or None,
                    "yes" if camera.pictures else "no",
                    "×".join(map(str, camera.size_px)) if camera.size_px else None,
                    None if math.isnan(camera.rate_hz) else f"{camera.rate_hz:g}",
                    camera.format or None,
                ]
                for camera in found.cameras
            ],
        )
    render.findings(found.findings)


def show_delays(delays: Sequence[StageDelay]) -> None:
    """How late each stage was, as a table."""
    from rushlight.cli import render

    render.table(
        "How long after the light (presses and releases are known some frames after it)",
        ["of", "stage", "median [ms]", "95 % below [ms]", "how many"],
        [
            [each.what, each.stage, f"{each.median_ms:.1f}", f"{each.p95_ms:.1f}", each.count]
            for each in delays
        ],
    )


def _table(state: LiveState) -> Table:
    grid = Table(box=None, show_header=False, pad_edge=False)
    for what, value in _rows(state):
        grid.add_row(what, value)
    grid.add_row("", "Ctrl-C ends")
    return grid


def _rows(state: LiveState) -> list[tuple[str, str]]:
    lit = [
        name if math.isnan(place[0]) else f"{name} at {', '.join(f'{m:.3f}' for m in place)} m"
        for name, *place in state.lit
    ]
    rows = [
        (
            "rate",
            f"no frames for {state.silent_s:.1f} s"
            if state.silent_s
            else f"{_number(state.rate_hz)} frames/s",
        ),
        ("frames", f"{state.frames}, {state.dropped} dropped, {state.reconnects} reconnects"),
        ("dots", f"{state.dots}, {state.doubtful} doubtful"),
        ("lit", "; ".join(lit) or "none"),
        *((f"{what} delay", words) for what, words in _delays(state)),
    ]
    return rows + [
        (name, f"{left} messages, {lost} overtaken") for name, left, lost in state.outputs
    ]


def _number(value: float) -> str:
    return "–" if math.isnan(value) else f"{value:.1f}"


def _delays(state: LiveState) -> list[tuple[str, str]]:
    """Medians since the light by stage, a line each for places, presses and releases."""
    told: dict[str, list[str]] = {}
    for each in state.delays:
        told.setdefault(each.what, []).append(f"{each.stage} {each.median_ms:.1f}")
    return [(what, " → ".join(words) + " ms") for what, words in told.items()]
