"""What a live run sends on: the outputs that are switched on, and how far ahead they foretell."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace
from typing import Self

from rushlight.drive.lights import NO_FRAMES
from rushlight.drive.output import Display, Results
from rushlight.drive.outputs import ELSEWHERE, Outputs, open_outputs
from rushlight.drive.pointer import PointerOutput
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.following import Setting
from rushlight.jobs.load import typed_quantity
from rushlight.records.rig import Rig
from rushlight.records.session import Departure
from rushlight.track.following import Followed
from rushlight.track.foretell import Foretold

MOST_AHEAD_S = 0.5
"""Farthest that a hand is foretold [s]; no source."""


class Sending:
    """The outputs, if there are any, and how far ahead fixes are foretold for them.

    What is sent may be foretold; what is kept is what was seen, with the moment of sending.

    Parameters
    ----------
    names
        Of the outputs; None takes the rig's own.
    ahead_s
        How far fixes are foretold [s]; 0 sends them as they are.
    setting
        With the rig and its map.

    Raises
    ------
    RushlightError
        When there is no map to the surface, or an output cannot be opened.
    """

    def __init__(self, names: Sequence[str] | None, ahead_s: float, setting: Setting) -> None:
        rig = setting.rig
        names = names if names is not None else tuple(rig.outputs if rig else ())
        wanted = [name for name in dict.fromkeys(names) if name != ELSEWHERE]
        self._foretold = Foretold(ahead_s) if ahead_s else None
        self._outputs: Outputs | None = None
        if not wanted:
            return
        if rig is None or not rig.surfaces or setting.surface_map is None:
            raise RushlightError.of(
                "output",
                wanted[0],
                "needs places on the surface, and without a rig and a registration there are none",
                "give --rig and --registration",
                "output-no-map",
            )
        surface = rig.surfaces[0]
        display = Display((surface.width.value, surface.height.value), surface.pixels, surface.id)
        self._outputs = open_outputs(wanted, display, rig.drive)

    @property
    def served(self) -> list[str]:
        """Addresses at which something can be opened."""
        each = self._outputs.outputs if self._outputs else []
        return [output.url for output in each if isinstance(output, PointerOutput)]

    @property
    def findings(self) -> list[Finding]:
        """Of the outputs."""
        return self._outputs.findings if self._outputs else []

    def counts(self) -> tuple[tuple[str, int, int], ...]:
        """Name, messages that left, and what newer ones overtook, of each output."""
        tally = self._outputs.tally if self._outputs else {}
        return tuple((name, sent, lost) for name, (sent, lost) in tally.items())

    def call_off(self, why: str = NO_FRAMES) -> None:
        """Call off what is down at every output."""
        if self._outputs is not None:
            self._outputs.call_off(why)

    def send(self, followed: Followed) -> Followed:
        """Hand the results to every output; the same with the moment when all had them."""
        if self._outputs is None:
            return followed
        fixes = followed.fixes
        if self._foretold is not None:
            fixes = [self._foretold(fix) for fix in fixes]
        frame = followed.frame
        self._outputs.put(Results(frame.index, frame.capture_ns, fixes, followed.events))
        if not (followed.fixes or followed.events):
            return followed
        sent_ns = time.monotonic_ns()
        return replace(
            followed,
            fixes=[fix.replace(sent_ns=sent_ns) for fix in followed.fixes],
            events=[replace(event, sent_ns=sent_ns) for event in followed.events],
        )

    def departures(self) -> list[Departure]:
        """What left by which output since the last time."""
        return self._outputs.departures.take() if self._outputs else []

    def close(self) -> None:
        """Call off what is down, and close every output."""
        if self._outputs is not None:
            self._outputs.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def foretelling_s(ahead: str | None, rig: Rig | None) -> float:
    """How far fixes are foretold [s].

    Parameters
    ----------
    ahead
        As text with unit; None as the rig says.
    rig
        The user's, if there is one.

    Raises
    ------
    RushlightError
        When it is no time, or farther than a hand can be foretold.
    """
    typed = typed_quantity(ahead, "time", "--ahead", "ms")
    where, given = "--ahead", ahead
    if typed is None:
        told = rig.drive.ahead if rig and rig.drive else None
        if told is None:
            return 0.0
        typed, where, given = told.value, "rig.toml: drive.ahead", str(told)
    if not 0.0 <= typed <= MOST_AHEAD_S:
        raise RushlightError.of(
            where,
            f'"{given}"',
            f"is outside 0 to {MOST_AHEAD_S * 1e3:g} ms; no hand can be foretold for longer",
            'give a time such as "30 ms"',
            "ahead-range",
        )
    return typed
