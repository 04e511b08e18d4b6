"""How steps travel: one JSON object a line from the tracker, one a message to the page."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from rushlight.drive.output import Step

VERSION = 1

Row = list[Any]


def row_of(step: Step, live: bool) -> Row:
    """A step as the page reads it: pointer, carried, kind, x [px], y [px], capture [ms].

    Parameters
    ----------
    step
        As it is.
    live
        Whether capture times are on the host's monotonic clock; null stands for them otherwise.
    """
    capture_ms = round(step.capture_ns * 1e-6, 3) if live else None
    return [
        step.pointer,
        step.carried,
        step.kind,
        round(step.x_px, 3),
        round(step.y_px, 3),
        capture_ms,
    ]


def step_of(row: Row) -> Step:
    """The step of a row, its capture time [ns] rounded to whole microseconds."""
    pointer, carried, kind, x_px, y_px, capture_ms = row
    return Step(kind, pointer, carried, x_px, y_px, round((capture_ms or 0.0) * 1e6))


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
