"""How often a light was hidden by its holder's own body, which only the truth knows."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rushlight.assess.holds import Hold
from rushlight.assess.recording import Recording
from rushlight.records.figure import Figure, Scope

HIDDEN = "hidden by the holder's own body"
"""Condition of the dropouts that a body causes."""


def hidden_ns(recording: Recording, carried: str) -> list[tuple[int, int]]:
    """Spells in which a light that was on was hidden: beginning and end [ns]."""
    spells, since = [], None
    for event in recording.truth_events:
        if event.carried != carried:
            continue
        if event.kind == "lost":
            since = event.time_ns
        elif event.kind in ("found", "switch-up") and since is not None:
            spells.append((since, event.time_ns))
            since = None
    return spells if since is None else [*spells, (since, int(recording.frame_ns[-1]))]


def hidden_figure(holds: Sequence[Hold], scope: Scope) -> Figure | None:
    """Share of the holds that a body hid for more than half their time.

    Parameters
    ----------
    holds
        Of sessions with truth; without it there is no figure.
    scope
        What they speak of.
    """
    known = [hold for hold in holds if hold.recording.truth is not None and hold.lit]
    if not known:
        return None
    hidden = np.array([_is_hidden(hold) for hold in known])
    return Figure(
        name="dropouts",
        statistic="share",
        scope=scope.model_copy(update={"condition": HIDDEN}),
        value=100.0 * float(hidden.mean()),
        unit="%",
        n=len(known),
        method="holds that a body hid from the camera for more than half their time, as the "
        "truth tells",
        basis=known[0].recording.basis,
    )


def _is_hidden(hold: Hold) -> bool:
    start, end = hold.goal.from_ns, hold.goal.until_ns
    covered = sum(
        max(0, min(end, last) - max(start, first))
        for first, last in hidden_ns(hold.recording, hold.goal.carried)
    )
    return covered > 0.5 * (end - start)
