"""What a kind of live source must do: be opened, and give what arrives until it breaks."""

from __future__ import annotations

import threading
from collections.abc import Generator
from dataclasses import dataclass
from typing import Protocol

from rushlight.errors import Finding
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots


class SourceBroken(Exception):
    """A source stopped giving frames; the text says why, as ``"closed the connection"``."""


@dataclass(frozen=True, eq=False, slots=True)
class Arrival:
    """One frame, or one line of dots, as it came in.

    Attributes
    ----------
    capture_ns
        Middle of the exposure [ns] on the host's monotonic clock.
    capture_std_ns
        Its standard deviation [ns]; NaN when unknown.
    image
        (H, W) grey levels, or None where dots came.
    dots
        Where the source finds dots itself.
    lost
        Frames between this one and the one before that the source says it lost, ≥ 0.
    """

    capture_ns: int
    capture_std_ns: float
    image: Array | None = None
    dots: Dots | None = None
    lost: int = 0


class Feed(Protocol):
    """One kind of source: how it is opened and what comes out of it.

    Attributes
    ----------
    name
        As the user gave it, without passwords.
    camera
        The camera's id.
    size_px
        Width and height [px]; None where only the first frame tells.
    simulated
        Whether the frames were computed rather than filmed.
    full_scale_dn
        Level of a pixel at full scale; 255 before a deeper picture came.
    times
        Where the capture times come from, in words.
    renewable
        Whether it is to be opened again when it ends.
    findings
        What it noticed; grows.
    """

    name: str
    camera: str
    size_px: tuple[int, int] | None
    simulated: bool
    full_scale_dn: int
    times: str
    renewable: bool
    findings: list[Finding]

    def arrivals(self, stopping: threading.Event) -> Generator[Arrival | None, None, None]:
        """Open the source and give what comes, until it breaks, ends, or `stopping` is set.

        None says that it is open and that nothing new came. Closing the iterator closes the
        source.

        Raises
        ------
        SourceBroken
            When it fails.
        RushlightError
            When it cannot be what the user meant, so that trying again would not help.
        """


def note_once(findings: list[Finding], finding: Finding) -> None:
    """Keep a finding unless one of its code is there already.

    Parameters
    ----------
    findings
        Grows.
    finding
        To keep.
    """
    if all(each.code != finding.code for each in findings):
        findings.append(finding)
