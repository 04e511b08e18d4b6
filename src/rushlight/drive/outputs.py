"""All outputs that are switched on, as one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from types import TracebackType
from typing import Literal, Self, TextIO

from rushlight.drive.contacts import Contacts
from rushlight.drive.departures import Departures
from rushlight.drive.desktop import DesktopOutput, Region
from rushlight.drive.lights import NO_FRAMES, RUN_ENDED, Lights
from rushlight.drive.lines import LinesOutput
from rushlight.drive.osc import OscOutput
from rushlight.drive.output import Display, Output, Results
from rushlight.drive.pointer import PointerOutput
from rushlight.drive.touch import TouchOutput
from rushlight.drive.views import ViewsOutput
from rushlight.errors import Finding, RushlightError
from rushlight.records.arrays import Array
from rushlight.records.rig import Drive
from rushlight.records.space import Screen

OutputName = Literal["pointer", "desktop", "touch", "osc", "lines", "views"]

ELSEWHERE = "session"
"""Named among a rig's outputs, and kept by the room `keep`."""


class Outputs:
    """Fans one frame's results out to every output; a context manager.

    At the end whatever is down is called off in every output, and then they are closed.

    Parameters
    ----------
    outputs
        Open already.
    display
        Turns places on the surface into pixels.
    departures
        To which those with a thread of their own tell what left.

    Attributes
    ----------
    departures
        What left by any of them, until it is taken.
    """

    def __init__(
        self,
        outputs: Iterable[Output],
        display: Display,
        departures: Departures | None = None,
    ) -> None:
        self.outputs = list(outputs)
        self.departures = departures or Departures()
        self._contacts = Contacts(display)
        self._lights = Lights()
        self._last = Results(-1, 0)
        self._closed = False

    @property
    def findings(self) -> list[Finding]:
        """What the user should know of all outputs so far."""
        return [finding for output in self.outputs for finding in output.findings]

    @property
    def tally(self) -> dict[str, tuple[int, int]]:
        """Sent and lost, by the output's name."""
        return {output.name: (output.sent, output.lost) for output in self.outputs}

    def put(self, results: Results) -> dict[str, int]:
        """Hand one frame's results to every output, without waiting for any.

        Parameters
        ----------
        results
            Of a frame later than the one before.

        Returns
        -------
        dict[str, int]
            Host monotonic time [ns] at which they left, by the output's name, for those that
            sent them within this call. An output with a thread of its own is not among them;
            it tells `departures` later.
        """
        results = self._lights.put_right(results)
        steps = self._contacts.steps(results)
        self._last = results
        sent = {output.name: output.put(results, steps) for output in self.outputs}
        left = {name: sent_ns for name, sent_ns in sent.items() if sent_ns >= 0}
        for name, sent_ns in left.items():
            self.departures.left(name, [results.frame], sent_ns)
        return left

    def call_off(self, why: str = NO_FRAMES) -> None:
        """Call off what is down, as when no frames come; it comes down anew when seen again.

        Parameters
        ----------
        why
            In words.
        """
        steps = self._contacts.call_off()
        events = self._lights.call_off(self._last.capture_ns, why)
        if steps or events:
            end = Results(-1, self._last.capture_ns, (), events)
            for output in self.outputs:
                output.put(end, steps)

    def close(self) -> None:
        """Call off what is down, and close every output."""
        if self._closed:
            return
        self._closed = True
        self.call_off(RUN_ENDED)
        for output in self.outputs:
            output.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def open_outputs(
    names: Iterable[str],
    display: Display,
    drive: Drive | None = None,
    live: bool = True,
    region: Region | None = None,
    stream: TextIO | None = None,
    screens: Sequence[Screen] = (),
    scene_m: Array | None = None,
) -> Outputs:
    """Open the outputs of these names.

    Parameters
    ----------
    names
        As in `Rig.outputs`; "session" is passed over, for a session is kept elsewhere.
    display
        Of the surface that the fixes are on.
    drive
        The rig's addresses; None takes the usual ones on this machine alone.
    live
        Whether capture times are on the host's monotonic clock, as they are for live frames and
        for recordings that were given new times as they are replayed.
    region
        Part of the desktop that the display shows; None for the whole.
    stream
        For JSON lines; None for standard output.
    screens, scene_m
        Of a viewpoint rig, for the matrices of `views.view_of`.

    Returns
    -------
    Outputs

    Raises
    ------
    RushlightError
        When one of them cannot be opened; those opened before are closed again.
    """
    drive = drive or Drive()
    departures = Departures()
    makers: dict[str, Callable[[], Output]] = {
        "pointer": lambda: PointerOutput(display, drive.pointer, live, departures),
        "touch": lambda: TouchOutput(display),
        "desktop": lambda: DesktopOutput(display, region, departures),
        "lines": lambda: LinesOutput(display, stream, departures),
        "views": lambda: ViewsOutput(screens, scene_m, display, stream, departures),
        "osc": lambda: OscOutput(display, drive.osc, live),
    }
    asked = [name for name in names if name != ELSEWHERE]
    for name in asked:
        if name not in makers:
            raise RushlightError.of(
                "output", f'"{name}"', "is not known", f"choose among {', '.join(makers)}", "output"
            )
    opened: list[Output] = []
    try:
        # In this order results leave, so that building messages holds up no pointer.
        for name in makers:
            if name in asked:
                opened.append(makers[name]())
    except BaseException:
        for output in opened:
            output.close()
        raise
    return Outputs(opened, display, departures)
