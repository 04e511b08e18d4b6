"""How steps travel: one JSON object a line from the tracker, one a message to the page."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from rushlight.drive.output import Step

VERSION = 1

Row = list[Any]


def row_of(step: Step, live: bool) -> Row:
    """A step as the page reads it.

    Pointer, carried, kind, x [px], y [px], and the moments of capture, detection and mapping [ms].

    Parameters
    ----------
    step
        As it is.
    live
        Whether capture times are on the host's monotonic clock; null stands for them otherwise,
        and for moments that did not happen.
    """
    moments_ms = [
        round(each * 1e-6, 3) if live and each >= 0 else None
        for each in (step.capture_ns, step.detect_ns, step.map_ns)
    ]
    return [
        step.pointer,
        step.carried,
        step.kind,
        round(step.x_px, 3),
        round(step.y_px, 3),
        *moments_ms,
    ]


def step_of(row: Row) -> Step:
    """The step of a row, its moments [ns] rounded to whole microseconds."""
    pointer, carried, kind, x_px, y_px, *moments_ms = row
    moments_ns = (-1 if each is None else round(each * 1e6) for each in moments_ms)
    return Step(kind, pointer, carried, x_px, y_px, *moments_ns)


def message(steps: Sequence[Step], sent_ns: int, live: bool) -> str:
    """One frame's steps as text without a line break.

    Parameters
    ----------
    steps
        At least one.
    sent_ns
        Host monotonic time of sending [ns].
    live
        As in `row_of`.
    """
    body = {"sent_ms": round(sent_ns * 1e-6, 3), "steps": [row_of(step, live) for step in steps]}
    return json.dumps(body, separators=(",", ":"), ensure_ascii=False)
