"""Where the time goes from the picture to the sending: delay of each stage.

Every fix bears four times: the middle of its picture's exposure, the end of detection, the end
of mapping, and the moment at which it was sent. What comes after sending, the display above
all, is in none of them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rushlight.keep.session import SessionReader
from rushlight.records.arrays import Array
from rushlight.records.figure import Figure, Scope, Statistic

STAGES: tuple[tuple[str, str, str], ...] = (
    ("from capture to dots", "capture_ns", "detect_ns"),
    ("from dots to fix", "detect_ns", "map_ns"),
    ("from fix to sending", "map_ns", "sent_ns"),
    ("from capture to sending", "capture_ns", "sent_ns"),
)
"""Each stage's condition in `Scope`, and the times between which it lies; the last is the whole."""

LEVEL = 0.95
BLOCKS, LEAST_IN_BLOCK = 20, 10
"""The session is cut to so many blocks, with at least so many pictures each; otherwise there is
no interval. Whole blocks are drawn, as neighbouring pictures share the computer's load."""
_RESAMPLES = 400
_SEED = 0
_MS = 1e-6


def has_sent(reader: SessionReader) -> bool:
    """Whether anything was sent when the session was made."""
    return bool((reader.fix_table()["sent_ns"] >= 0).any())


def stage_delays(*readers: SessionReader, scope: Scope | None = None) -> list[Figure]:
    """Median and 95th percentile of each stage's delay, in ms.

    Parameters
    ----------
    readers
        Open sessions; taken together.
    scope
        What they speak of.

    Returns
    -------
    list of Figure
        Two for each stage whose times are known; their basis is measured, since the computer
        timed itself, also where the pictures are simulated.
    """
    tables = [_last_of_each_picture(reader) for reader in readers]
    filmed = all(reader.header.footage is not None for reader in readers)
    figures = []
    for condition, first, last in STAGES:
        found = [_between(table, first, last) for table in tables]
        delays = np.concatenate([np.zeros(0), *found])
        if len(delays) == 0:
            continue
        backward = int(np.count_nonzero(delays < 0.0))
        delays = delays[delays >= 0.0]
        if len(delays) == 0:
            continue
        figures += _figures(
            delays,
            (scope or Scope()).model_copy(update={"condition": condition}),
            _method(first, last, len(delays), backward, filmed),
        )
    return figures


def _last_of_each_picture(reader: SessionReader) -> dict[str, Array]:
    """Times of one fix for each picture that was worked on, in order.

    A light just found is traced back to earlier pictures; those fixes waited for later pictures
    and would count that wait. Of fixes mapped together the one of the latest picture, and of its
    fixes the one sent last, stands for the picture.
    """
    fixes = reader.fix_table()
    seen = ~fixes["predicted"]
    times = {name: fixes[name] for name in ("capture_ns", "detect_ns", "map_ns", "sent_ns")}
    known = np.flatnonzero(seen & (times["map_ns"] >= 0))
    order = np.lexsort(tuple(times[name][known] for name in ("sent_ns", "capture_ns", "map_ns")))
    rows = known[order]
    rows = rows[np.append(np.diff(times["map_ns"][rows]) != 0, True)] if len(rows) else rows
    return {name: column[rows] for name, column in times.items()}


def _between(table: dict[str, Array], first: str, last: str) -> Array:
    """(M,) [ms] where both times are known."""
    known = (table[first] >= 0) & (table[last] >= 0)
    return np.asarray((table[last][known] - table[first][known]) * _MS)


def _method(first: str, last: str, n: int, backward: int, filmed: bool) -> str:
    words = f"by the times that fixes bear, one fix for each of {n} pictures"
    if first == "capture_ns":
        words += (
            "; pictures came from a file, so that exposure, readout and transfer are not in it"
            if filmed
            else "; from the middle of the exposure, so that readout and transfer are in it, as "
            "far as the camera's clock tells"
        )
    if last == "sent_ns":
        words += "; what comes after sending, the display above all, is not in it"
    if backward:
        words += f"; {backward} more ran backward in time and are left out"
    return words


def _figures(delays_ms: Array, scope: Scope, method: str) -> list[Figure]:
    both: tuple[tuple[Statistic, float], ...] = (("median", 0.5), ("p95", 0.95))
    return [_figure(delays_ms, statistic, share, scope, method) for statistic, share in both]


def _figure(
    delays_ms: Array, statistic: Statistic, share: float, scope: Scope, method: str
) -> Figure:
    ends = block_interval(delays_ms, share)
    how = (
        f"; interval by drawing {BLOCKS} blocks of neighbouring pictures anew (percentiles)"
        if ends
        else f"; no interval from fewer than {BLOCKS * LEAST_IN_BLOCK} pictures"
    )
    return Figure(
        name="delay",
        cause="computing",
        statistic=statistic,
        scope=scope,
        value=float(np.quantile(delays_ms, share)),
        unit="ms",
        low=ends[0] if ends else None,
        high=ends[1] if ends else None,
        level=LEVEL if ends else None,
        n=len(delays_ms),
        method=method + how,
        basis="measured",
    )


def block_interval(values: Array, share: float) -> tuple[float, float] | None:
    """Interval of a quantile of values that go together with their neighbours.

    Parameters
    ----------
    values
        (N,) in order of time.
    share
        Which quantile, 0 to 1.

    Returns
    -------
    low, high, or None
        None from fewer than ``BLOCKS × LEAST_IN_BLOCK`` values.

    Notes
    -----
    Source: Künsch 1989, Ann. Stat. 17 (block bootstrap, from memory), with blocks that do not
    overlap.
    """
    if len(values) < BLOCKS * LEAST_IN_BLOCK:
        return None
    blocks = np.array_split(values, BLOCKS)
    rng = np.random.default_rng(_SEED)
    found = [
        np.quantile(np.concatenate([blocks[block] for block in drawn]), share)
        for drawn in rng.integers(0, BLOCKS, (_RESAMPLES, BLOCKS))
    ]
    low, high = np.quantile(found, [(1.0 - LEVEL) / 2.0, (1.0 + LEVEL) / 2.0])
    return float(low), float(high)


def stage_figures(figures: Sequence[Figure]) -> list[Figure]:
    """Those among figures that tell of stages, in the order of `STAGES`.

    Parameters
    ----------
    figures
        Of an assessment, say.
    """
    conditions = [condition for condition, _, _ in STAGES]
    found = [
        figure
        for figure in figures
        if figure.name == "delay" and figure.scope.condition in conditions
    ]
    return sorted(found, key=lambda figure: conditions.index(figure.scope.condition or ""))
