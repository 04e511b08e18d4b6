"""What a live run sends on: the outputs that are switched on, and how far ahead they foretell."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace
from typing import Self

import numpy as np

from rushlight.drive.lights import NO_FRAMES
from rushlight.drive.output import Display, Results
from rushlight.drive.outputs import ELSEWHERE, Outputs, open_outputs
from rushlight.drive.pointer import PointerOutput
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.following import Setting
from rushlight.jobs.load import typed_quantity
from rushlight.jobs.watching import Watch
from rushlight.records.rig import Rig
from rushlight.records.session import Departure
from rushlight.records.space import ResolvedSpace
from rushlight.track.following import Followed
from rushlight.track.foretell import Foretold

MOST_AHEAD_S = 0.5
"""Farthest that a hand is foretold [s]; no source."""


OF_A_DISPLAY = ("pointer", "desktop", "touch")
"""Outputs that only places on a display can be sent to."""

NO_DISPLAY = Display((1.0, 1.0), (1, 1), surface="")
"""In space no fix is on a display: nothing is ever turned into its pixels."""


class Sending:
    """The outputs, if there are any, and how far ahead fixes are foretold for them.

    What is sent may be foretold; what is kept is what was seen, with the moment of sending.

    Parameters
    ----------
    names
        Of the outputs; None takes the rig's own.
    ahead_s
        How far fixes are foretold [s]; 0 sends them as they are.
    rig
        The user's, if there is one.
    where
        The display on which places are, or the space in which things move; None where nothing
        maps the dots to places.
    watch
        Who looks on with an output of its own.

    Raises
    ------
    RushlightError
        When places are needed and there are none, when an output wants a display and things move
        in space, or when it cannot be opened.
    """

    def __init__(
        self,
        names: Sequence[str] | None,
        ahead_s: float,
        rig: Rig | None,
        where: Display | ResolvedSpace | None,
        watch: Watch | None = None,
    ) -> None:
        names = names if names is not None else tuple(rig.outputs if rig else ())
        wanted = [name for name in dict.fromkeys(names) if name != ELSEWHERE]
        self._foretold = Foretold(ahead_s) if ahead_s else None
        self._outputs: Outputs | None = None
        watched = watch is not None and rig is not None and where is not None
        if not wanted and not watched:
            return
        if rig is None or where is None:
            raise RushlightError.of(
                "output",
                wanted[0],
                "needs places on the surface, and without a rig and a registration there are none",
                "give --rig and --registration",
                "output-no-map",
            )
        if isinstance(where, Display):
            self._outputs = open_outputs(wanted, where, rig.drive)
            if watch is not None:
                self._outputs.outputs.append(watch.output(where))
            return
        check_in_space(wanted, rig)
        self._outputs = open_outputs(
            wanted, NO_DISPLAY, rig.drive, screens=where.screens, scene_m=where.scene_m
        )
        if watch is not None:
            self._outputs.outputs.append(watch.space_output(where))

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


def display_of(setting: Setting) -> Display | None:
    """The display of a surface rig, None where no map tells places on it."""
    rig = setting.rig
    if rig is None or not rig.surfaces or setting.surface_map is None:
        return None
    surface = rig.surfaces[0]
    survey = setting.survey
    return Display(
        (surface.width.value, surface.height.value),
        surface.pixels,
        surface.id,
        None if survey is None else np.array(survey.surface_from_display, float),
    )


def check_in_space(names: Sequence[str], rig: Rig, where: str = "output") -> None:
    """Refuse what cannot be made of places in space.

    Parameters
    ----------
    names
        Of the outputs.
    rig
        The user's.
    where
        They are named, for messages.

    Raises
    ------
    RushlightError
        When an output wants a display to touch, or an eye that the rig does not follow.
    """
    for name in names:
        if name in OF_A_DISPLAY:
            raise RushlightError.of(
                where,
                name,
                "moves a pointer over a display, and a thing that moves in space touches none",
                "leave it out, or send places with lines or osc",
                "output-in-space",
            )
    if "views" in names and "viewpoint" not in rig.kinds:
        raise RushlightError.of(
            where,
            "views",
            "is for pictures that follow an eye, and this is no viewpoint rig",
            "leave it out, or send places with lines or osc",
            "views-no-eye",
        )


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
