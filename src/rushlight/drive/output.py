"""What an output is given, and what it owes: results in, never a pause for who tracks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

import numpy as np

from rushlight.errors import Finding, RushlightError
from rushlight.records.arrays import Array
from rushlight.records.session import Event, Fix

StepKind = Literal["down", "move", "up", "cancel"]

NOT_SENT = -1
"""Stands for the moment of sending where nothing has left yet."""


@dataclass(frozen=True, slots=True)
class Results:
    """What one frame told, on its way out.

    Attributes
    ----------
    frame
        Index of the frame; −1 for what is told because no frames come.
    capture_ns
        Middle of its exposure, or of the last one's [ns].
    fixes, events
        As `track.following` gives them: a just confirmed trail's earlier fixes come too.
    """

    frame: int
    capture_ns: int
    fixes: Sequence[Fix] = ()
    events: Sequence[Event] = ()


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that a pointer does.

    Attributes
    ----------
    kind
        It comes down, moves, goes up, or is called off.
    pointer
        Number of the carried thing, from 1, the same for the whole run.
    carried
        Its id.
    x_px, y_px
        Place in display pixels, origin in the display's top-left corner; may lie outside.
    capture_ns
        Moment of the frame that shows it [ns].
    detect_ns, map_ns
        Ends of detection and of mapping in the frame by which it was known [ns]; −1 where
        that is not told.
    frame
        Index of that frame; −1 for what no frame told.
    """

    kind: StepKind
    pointer: int
    carried: str
    x_px: float
    y_px: float
    capture_ns: int
    detect_ns: int = -1
    map_ns: int = -1
    frame: int = -1


@dataclass(frozen=True)
class Display:
    """The display that surface coordinates are turned into pixels of.

    Parameters
    ----------
    size_m
        Width and height of the picture on the surface [m], > 0.
    pixels
        Its columns and rows, > 0.
    surface
        Id; fixes on other surfaces are passed over. None takes every fix on a surface.
    surface_from_display
        (3, 3) [m from px] of a picture survey; None for a picture that fills the surface
        exactly.
    """

    size_m: tuple[float, float]
    pixels: tuple[int, int]
    surface: str | None = None
    surface_from_display: Array | None = None
    _display_from_surface: Array = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not (min(self.size_m) > 0.0 and min(self.pixels) > 0):
            raise ValueError(
                f"expected sizes above 0, got {self.size_m} m and {self.pixels} pixels"
            )
        if self.surface_from_display is None:
            (width, height), (columns, rows) = self.size_m, self.pixels
            back = np.array(
                [[columns / width, 0.0, 0.0], [0.0, -rows / height, float(rows)], [0.0, 0.0, 1.0]]
            )
        else:
            back = np.linalg.inv(np.asarray(self.surface_from_display, float))
        object.__setattr__(self, "_display_from_surface", back)

    def px(self, x_m: float, y_m: float) -> tuple[float, float]:
        """Display pixels of a place on the surface.

        Parameters
        ----------
        x_m, y_m
            Place [m], y up from the lower edge.

        Returns
        -------
        tuple[float, float]
            [px], y down from the upper edge.
        """
        x, y, scale = (row[0] * x_m + row[1] * y_m + row[2] for row in self._display_from_surface)
        return float(x / scale), float(y / scale)


class Output(Protocol):
    """One way out for the results.

    Attributes
    ----------
    name
        As it is switched on by.
    sent, lost
        Messages that left; steps or frames that did not, for newer ones came first.
    findings
        What the user should know of it, an ended output included.
    """

    @property
    def name(self) -> str: ...

    @property
    def sent(self) -> int: ...

    @property
    def lost(self) -> int: ...

    @property
    def findings(self) -> list[Finding]: ...

    def put(self, results: Results, steps: Sequence[Step]) -> int:
        """Take one frame's results without waiting for anybody.

        Parameters
        ----------
        results
            Of the frame.
        steps
            What they mean for pointers.

        Returns
        -------
        int
            Host monotonic time at which they left this process [ns], or `NOT_SENT` where they
            still wait for a thread or for room, or nothing was to be sent. What leaves later is
            told to `departures.Departures`.
        """

    def close(self) -> None:
        """Let go of everything held; what is down was called off before."""


def parse_address(text: str, where: str, usual: str = "127.0.0.1:8790") -> tuple[str, int]:
    """Host and port of an address as it is written in the rig.

    Parameters
    ----------
    text
        ``"127.0.0.1:8790"``, ``"[::1]:8790"`` or ``"bench.local:8790"``; port 0 to 65535, and
        0 asks for any that is free.
    where
        Named in the error.
    usual
        Address that the error shows as an example.

    Raises
    ------
    RushlightError
        When it is not an address.

    Examples
    --------
    >>> parse_address("[::1]:8790", "rig.toml: drive.pointer")
    ('::1', 8790)
    """
    host, colon, port = text.rpartition(":")
    bare = host[1:-1] if host.startswith("[") and host.endswith("]") else host
    known = colon and bare and (":" not in bare or bare != host)
    if not known or not port.isdecimal() or int(port) > 65535:
        raise RushlightError.of(
            where,
            f'"{text}"',
            "is not an address of host and port",
            f'write "{usual}"',
            "address",
        )
    return bare, int(port)
