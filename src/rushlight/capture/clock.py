"""Another clock's times on the host's: offset and drift from when things arrived.

A frame's stamp is by its source's clock, its arrival by ours, and between them lies a delay that
is never below some least one. Plotted over the source's time, the differences lie above a line:
its height is the offset with the least delay, its slope the drift. The line is found from below,
since late arrivals tell nothing of the clocks.
"""

from __future__ import annotations

import itertools
import math
from collections import deque

WINDOW_S = 60.0
"""How far back arrivals count [s]: long against jitter, short against a crystal's warming up;
no source."""

BIN_S = 0.5
"""Only the least delay of each such stretch is kept [s]; no source."""

LEAST_SPAN_S = 10.0
"""Below this span the drift is taken to be none [s]: 1 ms of jitter over it is 100 ppm."""

GREATEST_DRIFT = 1e-3
"""Beyond this a stamp is no clock; crystals stay within 1e-4 (common practice, no source)."""

SLEW = 0.2
"""Most that a correction may stretch or shorten an interval, as a share of it; no source."""

JUMP_S = 1.0
"""A stamp this far ahead of the line means that the source set its clock [s]; no source."""


class SourceClock:
    """Maps a source's stamps to the host's monotonic clock while they come in.

    The least delay cannot be told from the offset, whoever listens on one side only: it stays in
    the times as a constant lateness, which the rig's stated delay takes out.

    Parameters
    ----------
    quantum_ns
        Step of the stamps [ns], ≥ 0.

    Notes
    -----
    Source: the line under all delays, nearest to them on the whole, is that of S. B. Moon,
    P. Skelly and D. Towsley, "Estimation and removal of clock skew from network delay
    measurements", IEEE INFOCOM 1999; from memory. Over points it is the edge of their lower hull
    above or below their mean time (derived here).
    """

    def __init__(self, quantum_ns: float = 0.0) -> None:
        self._quantum_ns = quantum_ns
        self.drift = 0.0
        self._last_source_ns: int | None = None
        self._last_host_ns: int | None = None
        self._restart(0, 0)

    @property
    def unfit(self) -> bool:
        """Whether the stamps drift more than any clock does."""
        return abs(self.drift) > GREATEST_DRIFT

    def host_ns(self, source_ns: int, arrived_ns: int) -> tuple[int, float]:
        """When a stamp was, by the host's clock.

        Times rise strictly: a correction is spread over the following stamps.

        Parameters
        ----------
        source_ns
            By the source's clock [ns].
        arrived_ns
            When it arrived, by the host's monotonic clock [ns].

        Returns
        -------
        host_ns : int
            [ns], the least delay included.
        std_ns : float
            How well the line is supported by the least delays [ns], without what the least delay
            hides; NaN before there are three whole stretches.
        """
        last_ns = self._last_source_ns
        if last_ns is None or source_ns <= last_ns or self._jumped(source_ns, arrived_ns):
            self._restart(source_ns, arrived_ns)
            interval_ns = 0
        else:
            interval_ns = source_ns - last_ns
        self._last_source_ns = source_ns
        self._keep(source_ns, arrived_ns)
        wanted_ns = self._line(source_ns - self._source_0)
        most_ns = SLEW * interval_ns
        change_ns = wanted_ns - self._used_ns
        self._used_ns += min(max(change_ns, -most_ns), most_ns)
        host_ns = source_ns + self._offset_0 + round(self._used_ns)
        if self._last_host_ns is not None and host_ns <= self._last_host_ns:
            host_ns = self._last_host_ns + 1  # only where the source set its clock back
        self._last_host_ns = host_ns
        pending_ns = wanted_ns - self._used_ns
        variance_ns2 = self._support_ns2 + self._quantum_ns**2 / 12.0 + pending_ns**2
        return host_ns, math.sqrt(variance_ns2)

    def _restart(self, source_ns: int, arrived_ns: int) -> None:
        """Forget what was learnt: the source is new, or its clock was set."""
        self._source_0, self._offset_0 = source_ns, arrived_ns - source_ns
        self._used_ns = self._height_ns = self.drift = 0.0
        self._support_ns2 = math.nan
        self._bins: deque[tuple[int, float, float]] = deque()

    def _jumped(self, source_ns: int, arrived_ns: int) -> bool:
        delay_ns = (arrived_ns - source_ns - self._offset_0) - self._line(
            source_ns - self._source_0
        )
        return delay_ns < -JUMP_S * 1e9

    def _line(self, since_ns: float) -> float:
        """Offset with the least delay, beyond the first one [ns]."""
        return self._height_ns + self.drift * since_ns

    def _keep(self, source_ns: int, arrived_ns: int) -> None:
        """Keep an arrival where it is the earliest of its stretch, and draw the line anew."""
        since_ns = float(source_ns - self._source_0)
        delay_ns = float(arrived_ns - source_ns - self._offset_0)
        number = int(since_ns // (BIN_S * 1e9))
        if not self._bins or self._bins[-1][0] != number:
            self._bins.append((number, since_ns, delay_ns))
        elif delay_ns < self._bins[-1][2]:
            self._bins[-1] = (number, since_ns, delay_ns)
        else:
            return
        while since_ns - self._bins[0][1] > WINDOW_S * 1e9:
            self._bins.popleft()
        self._draw()
        self._support_ns2 = self._support()

    def _draw(self) -> None:
        """The line under all kept arrivals."""
        points = [(since_ns, delay_ns) for _, since_ns, delay_ns in self._bins]
        if points[-1][0] - points[0][0] < LEAST_SPAN_S * 1e9:
            self.drift = 0.0
            self._height_ns = min(delay_ns for _, delay_ns in points)
            return
        (left, low), (right, high) = _edge_at_mean(points)
        self.drift = (high - low) / (right - left)
        self._height_ns = low - self.drift * left

    def _support(self) -> float:
        """Mean square height of the least delays above the line [ns²], NaN for fewer than three."""
        # The stretch that has just begun has not seen its least delay yet.
        whole = list(self._bins)[:-1]
        if len(whole) < 3:
            return math.nan
        return sum((delay - self._line(since)) ** 2 for _, since, delay in whole) / len(whole)


Point = tuple[float, float]


def _edge_at_mean(points: list[Point]) -> tuple[Point, Point]:
    """The edge of the lower hull at the mean abscissa; points come in its order."""
    hull: list[Point] = []
    for point in points:
        while len(hull) > 1 and _turns_down(hull[-2], hull[-1], point):
            hull.pop()
        hull.append(point)
    mean = sum(x for x, _ in points) / len(points)
    for left, right in itertools.pairwise(hull):
        if right[0] >= mean:
            return left, right
    return hull[-2], hull[-1]


def _turns_down(first: Point, middle: Point, last: Point) -> bool:
    """Whether the middle point lies on or above the line between the others."""
    return (middle[1] - first[1]) * (last[0] - first[0]) >= (last[1] - first[1]) * (
        middle[0] - first[0]
    )


class Stamper:
    """The moment of capture from the moment of arrival, and the source's stamp where it has one.

    Parameters
    ----------
    exposure_s
        Exposure [s], ≥ 0; NaN when unknown, and the end of the exposure is told.
    delay_s
        From the end of the exposure to the frame in memory [s], ≥ 0.
    quantum_ns
        Step of the source's stamps [ns].
    """

    def __init__(self, exposure_s: float, delay_s: float, quantum_ns: float = 0.0) -> None:
        half_s = 0.0 if math.isnan(exposure_s) else 0.5 * exposure_s
        self._before_ns = round((half_s + delay_s) * 1e9)
        self._clock = SourceClock(quantum_ns)
        self.unfit = False

    def __call__(self, arrived_ns: int, source_ns: int | None = None) -> tuple[int, float]:
        """Middle of the exposure on the host's clock, and its standard deviation [ns].

        Parameters
        ----------
        arrived_ns
            When the frame was in memory [ns].
        source_ns
            The source's own stamp [ns], or None; then the deviation is unknown.
        """
        if source_ns is None or self.unfit:
            return arrived_ns - self._before_ns, math.nan
        host_ns, std_ns = self._clock.host_ns(source_ns, arrived_ns)
        self.unfit = self._clock.unfit
        return host_ns - self._before_ns, std_ns
