"""The desktop's own pointer, moved by one stylus at a time."""

from __future__ import annotations

import contextlib
import sys
import threading
import time
from collections.abc import Sequence
from typing import Any, NamedTuple

from rushlight.drive.contacts import WaitingSteps
from rushlight.drive.departures import Departures
from rushlight.drive.output import NOT_SENT, Display, Results, Step
from rushlight.errors import Finding, RushlightError

STOP_S = 1.0
"""Longest wait at the end for a desktop that does not answer."""


class Region(NamedTuple):
    """Part of the desktop that the display shows, in the desktop's own units [px]."""

    left: int
    top: int
    width: int
    height: int


class Owner:
    """Which stylus has the one pointer: the first lit, until it is lifted.

    One that was lit meanwhile stays without, so that the pointer never jumps from hand to hand
    in the middle of a stroke; it has to be lit anew.
    """

    def __init__(self) -> None:
        self._pointer: int | None = None

    def own(self, steps: Sequence[Step]) -> list[Step]:
        """The steps that count, in order."""
        kept = []
        for step in steps:
            if self._pointer is None and step.kind == "down":
                self._pointer = step.pointer
            if step.pointer != self._pointer:
                continue
            kept.append(step)
            if step.kind in ("up", "cancel"):
                self._pointer = None
        return kept


class DesktopOutput:
    """Moves the desktop's pointer and holds its left button while a stylus is lit.

    Parameters
    ----------
    display
        Whose pixels the steps are in.
    region
        Where on the desktop the display is; None takes the whole desktop.
    departures
        Told of steps as the desktop has taken them.

    Raises
    ------
    RushlightError
        When the library is missing or there is no desktop to point on.
    """

    name = "desktop"

    def __init__(
        self,
        display: Display,
        region: Region | None = None,
        departures: Departures | None = None,
    ) -> None:
        self.sent = 0
        self._departures = departures or Departures()
        self.findings: list[Finding] = []
        self._pixels = display.pixels
        # The library beneath prints warnings, and standard output may carry JSON lines.
        with contextlib.redirect_stdout(sys.stderr):
            self._mouse, self._button = _mouse()
            self._region = region or _whole_desktop()
        self._owner = Owner()
        self._waiting = WaitingSteps()
        self._changed = threading.Condition()
        self._ending = self._ended = self._held = False
        self._thread = threading.Thread(target=self._work, name="rushlight-desktop", daemon=True)
        self._thread.start()

    @property
    def lost(self) -> int:
        """Places given up because newer ones came first."""
        return self._waiting.lost

    def put(self, results: Results, steps: Sequence[Step]) -> int:
        """Let the owner's steps wait for the desktop; see `output.Output`."""
        own = self._owner.own(steps)
        if own and not self._ended:
            with self._changed:
                self._waiting.add(own)
                self._changed.notify()
        return NOT_SENT

    def close(self) -> None:
        """Do what waits; a button that is held is let go in any case."""
        with self._changed:
            self._ending = True
            self._changed.notify()
        self._thread.join(STOP_S)

    def _next(self) -> list[Step]:
        """What waits; empty at the end."""
        with self._changed:
            while not len(self._waiting) and not self._ending:
                self._changed.wait()
            return self._waiting.take()

    def _work(self) -> None:
        """Move and press until the end, or until the desktop has gone."""
        try:
            while steps := self._next():
                for step in steps:
                    self._do(step)
                    self.sent += 1
                self._departures.left(
                    self.name, [step.frame for step in steps], time.monotonic_ns()
                )
            if self._held:
                self._mouse.release(self._button)
        except Exception as error:  # each desktop's library raises its own kind
            self._ended = True
            self.findings.append(
                Finding(
                    "warning",
                    "output-ended",
                    "output desktop",
                    "",
                    f"is off from here on: the desktop does not answer ({error})",
                    "start the run anew within the desktop",
                )
            )

    def _do(self, step: Step) -> None:
        """One step on the desktop."""
        if step.kind != "cancel":
            left, top, width, height = self._region
            x = left + round(step.x_px / self._pixels[0] * width)
            y = top + round(step.y_px / self._pixels[1] * height)
            # The last column is one less than the width; the desktop itself ends there too.
            self._mouse.position = (
                min(max(x, left), left + width - 1),
                min(max(y, top), top + height - 1),
            )
        if step.kind == "down":
            self._mouse.press(self._button)
            self._held = True
        elif step.kind in ("up", "cancel") and self._held:
            self._mouse.release(self._button)
            self._held = False


def _mouse() -> tuple[Any, Any]:
    """The library's mouse and its left button, or a sentence."""
    try:
        from pynput.mouse import Button, Controller

        return Controller(), Button.left
    except ModuleNotFoundError:
        raise RushlightError.of(
            "output desktop",
            "",
            "needs the library pynput, which is not installed",
            "install the extra: pip install 'rushlight[desktop]'",
            "desktop-library",
        ) from None
    except Exception as error:  # without a display, each desktop's library raises its own kind
        told = str(error).strip().splitlines()
        raise RushlightError.of(
            "output desktop",
            "",
            f"finds no desktop to point on ({told[0] if told else type(error).__name__})",
            "start the run within the desktop session, or leave this output out",
            "desktop-absent",
        ) from None


def _whole_desktop() -> Region:
    """The whole desktop, all monitors together where the system says so."""
    if sys.platform == "win32":
        from ctypes import windll

        # SM_XVIRTUALSCREEN, SM_YVIRTUALSCREEN, SM_CXVIRTUALSCREEN, SM_CYVIRTUALSCREEN (from memory)
        return Region(*(windll.user32.GetSystemMetrics(each) for each in (76, 77, 78, 79)))
    if sys.platform == "darwin":
        from Quartz import CGDisplayBounds, CGMainDisplayID

        main = CGDisplayBounds(CGMainDisplayID())
        return Region(0, 0, round(main.size.width), round(main.size.height))
    from Xlib.display import Display as Desktop

    desktop = Desktop()
    screen = desktop.screen()
    whole = Region(0, 0, screen.width_in_pixels, screen.height_in_pixels)
    desktop.close()
    return whole
