"""Lights in space known by their blinking: which trails are which coded light, once read."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.space import Thing
from rushlight.see.blink import ERRATIC, STEADY, BlinkReader, Code
from rushlight.see.link import COAST_S, TrailLinks
from rushlight.see.link_frame import HELD

UNREAD, NOT_CODED = -1, -2
"""Instead of a light's number: nothing is known; it does not blink."""


class TrailCodes:
    """Reads the codes of one camera's trails.

    Parameters
    ----------
    things
        Whose lights may be seen.
    exposure_s
        Of a frame [s], ≥ 0.
    """

    def __init__(self, things: Sequence[Thing], exposure_s: float = 0.0) -> None:
        coded = [
            (light, Code(thing.id, name, *code))
            for thing in things
            for light, name, code in zip(thing.lights, thing.light_ids, thing.codes, strict=True)
            if code is not None
        ]
        self._lights = [light for light, _ in coded]
        self._codes = tuple(code for _, code in coded)
        self._exposure_s = exposure_s
        self._readers: dict[int, BlinkReader] = {}
        self._read: dict[int, int] = {}

    @property
    def coast_s(self) -> float:
        """How long a trail must be kept in the dark [s]."""
        return max([COAST_S, *(code.dark_s + code.bit_s for code in self._codes)])

    def read(self, links: TrailLinks) -> Array:
        """(N,) the light of each dot of a frame: its number, `UNREAD` or `NOT_CODED`."""
        if not self._codes:
            return np.full(len(links.trail), UNREAD)
        shared = set(links.shared.ravel().tolist())
        live = links.live.tolist()
        for trail, state in zip(live, links.state.tolist(), strict=True):
            if trail in shared:
                continue
            reader = self._readers.setdefault(trail, BlinkReader(self._codes, self._exposure_s))
            reader.seen(links.time_ns * 1e-9, state == HELD)
            reading = reader.read()
            if state == HELD and reading.sure and reading.code != ERRATIC:
                self._read[trail] = (
                    NOT_CODED if reading.code == STEADY else self._lights[reading.code]
                )
        for gone in set(self._readers) - set(live):
            del self._readers[gone]
            self._read.pop(gone, None)
        return np.array([self._read.get(trail, UNREAD) for trail in links.trail.tolist()], int)


def could_be(thing: Thing, read: Array) -> Array:
    """(L, N) whether each of a thing's lights may have made dots that were read so (N,)."""
    own = np.array(thing.lights)[:, None]
    coded = np.array([code is not None for code in thing.codes])[:, None]
    return np.asarray((read == UNREAD) | (read == own) | ((read == NOT_CODED) & ~coded))
