"""Names by blinking: while a rig has coded lights, every new light is read before it is named.

A light that is read as a code gets that code's name; one that is read as steady is named by its
place among the things that do not blink. Until then it has no name, and what was seen of it is
told as soon as it has one. A press shorter than the longest code stays without a name. Where a
trail later reads as another code, because two trails changed lights when they met, the name
follows the code.
"""

from __future__ import annotations

from collections.abc import Sequence

from rushlight.records.session import Event
from rushlight.see.blink import ERRATIC, STEADY, BlinkReader, Code
from rushlight.see.link import Linker, TrailLinks
from rushlight.see.link_frame import HELD
from rushlight.track.identity import Identity
from rushlight.track.sighting import Sighting, Trail
from rushlight.track.switch import RELEASE_S, Press


class Coding:
    """Reads the codes of all trails.

    Parameters
    ----------
    codes
        The rig's, from `see.blink.codes_of`; without any, nothing here does anything.
    identity
        Gives the names; its `coded` things must be those of the codes.
    linker
        Told how long each trail may be dark.
    exposure_s
        Of a frame [s], ≥ 0.
    release_s
        Time without a dot after which a light that does not blink counts as off [s], ≥ 0; one
        that blinks is given as long as its code is dark.
    """

    def __init__(
        self,
        codes: Sequence[Code],
        identity: Identity,
        linker: Linker,
        exposure_s: float = 0.0,
        release_s: float = RELEASE_S,
    ) -> None:
        self._codes = tuple(codes)
        self._identity = identity
        self._linker = linker
        self._exposure_s = exposure_s
        # A bit more than the dark, for the first and last frame of it may be half lit.
        self._release_s = release_s
        self._releases_s = [max(release_s, code.dark_s + code.bit_s) for code in codes]

    def __bool__(self) -> bool:
        return bool(self._codes)

    def begin(self, trail: int, kept: Trail) -> None:
        """Start to read a new trail, and let it be dark for as long as any code is."""
        if self._codes:
            kept.reader = BlinkReader(self._codes, self._exposure_s)
            self._let_be_dark(trail, kept, max(self._releases_s))

    def _let_be_dark(self, trail: int, kept: Trail, release_s: float) -> None:
        """Let a light count as on, and its trail be kept, through so much dark."""
        kept.release_ns = round(release_s * 1e9)
        self._linker.let_coast(trail, max(self._linker.coast_s, release_s))

    def read(
        self, time_ns: int, frame: int, linked: TrailLinks, trails: dict[int, Trail]
    ) -> tuple[list[Event], list[Sighting]]:
        """What this frame tells of the codes.

        Parameters
        ----------
        time_ns, frame
            Capture time [ns] and index.
        linked
            The frame's links.
        trails
            All live trails; their names are changed here.

        Returns
        -------
        events
            Switchings of lights that were named, or whose name passed to another trail.
        told
            Earlier sightings of trails that just got their first name.
        """
        events: list[Event] = []
        told: list[Sighting] = []
        if not self._codes:
            return events, told
        shared = set(linked.shared.ravel().tolist())
        for trail, state in zip(linked.live.tolist(), linked.state.tolist(), strict=True):
            kept = trails.get(trail)
            if kept is None or kept.reader is None or trail in shared:
                continue
            kept.reader.seen(time_ns * 1e-9, state == HELD)
            if state != HELD:
                continue
            reading = kept.reader.read()
            if not reading.sure or reading.code in (ERRATIC, kept.read):
                continue
            events += self._decide(trail, reading.code, reading.confidence, trails, time_ns, frame)
            told += [one for one in kept.waiting if one.frame != frame]
            kept.waiting.clear()
        return events, told

    def _decide(
        self,
        trail: int,
        code: int,
        confidence: float,
        trails: dict[int, Trail],
        time_ns: int,
        frame: int,
    ) -> list[Event]:
        """Give a trail the name that was read."""
        kept, events = trails[trail], []
        if kept.announced:  # as something else
            events.append(kept.press.up())
            kept.press = Press(trail, None, time_ns, frame, time_ns, frame)
        if code == STEADY:
            self._identity.ended(trail)
            place = kept.waiting[0].place if kept.waiting else kept.place
            named = self._identity.name(trail, kept.press.first_ns, place)
            kept.emitter = None
            self._let_be_dark(trail, kept, self._release_s)
        else:
            named = self._identity.claim(trail, self._codes[code].carried, confidence)
            kept.emitter = self._codes[code].emitter
            self._let_be_dark(trail, kept, self._releases_s[code])
        if named.replaces is not None and named.replaces in trails:
            other = trails[named.replaces]
            events.append(other.press.up())
            other.press.carried = None
            if other.press.last_ns == time_ns:  # still lit, as somebody else
                other.press = Press(named.replaces, None, time_ns, frame, time_ns, frame)
                other.announced = False
            other.emitter = other.read = None
            # What it read until now was the other light.
            self.begin(named.replaces, other)
        kept.read, kept.confidence = code, named.confidence
        kept.press.carried, kept.announced = named.carried, True
        events.append(kept.press.down())
        return events
