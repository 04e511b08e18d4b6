"""Follow the lights through the frames: detect, link, smooth, map, name.

One dot's way: the detector finds it in the frame, the linker gives it to a trail, the anchors take
off the camera's shaking, the trail's filter smooths it, the map takes it to the surface, and the
trail's name says which carried thing it is. A plain ``for`` over `follow` does all of it.

A light without a dot coasts: its place is foretold by its motion. After one time it counts as off,
after a longer one the linker forgets it. What comes back in between is a new press of the same
trail: smoothed afresh, believed after some frames in a row, under the name it had.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.dots import REASONS, Dots, Frame
from rushlight.records.session import Event, Fix, TrailLink
from rushlight.see.link import Linker, TrailLinks
from rushlight.see.link_frame import HELD
from rushlight.track.anchors import Anchors
from rushlight.track.coding import Coding
from rushlight.track.filter import PointFilter
from rushlight.track.glance import Glance
from rushlight.track.identity import Identity
from rushlight.track.lights import DOUBTFUL_SHARE, likely_lights
from rushlight.track.mapping import SurfaceMap
from rushlight.track.shaking import Shake
from rushlight.track.sighting import Sighting, Trail
from rushlight.track.switch import RELEASE_S, Press
from rushlight.track.tracing import Tracing, coasting

Detect = Callable[[Array], Dots]


@dataclass(frozen=True, slots=True)
class Followed:
    """What one frame told.

    Attributes
    ----------
    frame, dots
        The frame, and the dots in it that could be lights.
    doubts
        (R,) dots that were found, by the reason against them as in `REASONS`; those without one
        come first. Hot pixels, and doubtful ones dimmer than the lights, are not in `dots`.
    links
        Trail memberships, those of a just confirmed trail's earlier frames included.
    fixes, events
        Places and switchings, likewise. A light that coasts in the dark has a fix too: predicted,
        and of no camera.
    detect_s, map_s
        From having the frame to the end of detection and to the end of mapping [s].
    """

    frame: Frame
    dots: Dots
    doubts: Array
    links: list[TrailLink]
    fixes: list[Fix]
    events: list[Event]
    detect_s: float
    map_s: float


GLOW_PX = 5.0
"""A light that begins so near to another one that is lit is its glow, until it is farther away; a
second stylus is known from there on [px]. No source: glows of the invented walls stand 2 to 3 px
beside their lights."""

GLOW_NS = 50_000_000
"""A light seen within this time still throws its glow [ns]; no source."""


class Follower:
    """Turns frames into fixes, one frame at a time.

    Parameters
    ----------
    detect
        Finds the dots of an image.
    linker
        Joins them into trails, and says how long a light that is off is not forgotten.
    new_filter
        Makes the filter of a new trail.
    identity
        Names trails, in metres where there is a map and in pixels otherwise.
    surface_map
        Maps pixels to the surface; without one there are dots, trails and events, but no fixes.
    row_time_s
        Time from row to row of a rolling shutter [s], ≥ 0; a fix speaks of its own row's moment.
    coding
        Reads the codes of blinking lights; without it no light is taken to blink.
    anchors
        Lights fixed in the room, by which the camera's shaking is taken off; without them the
        camera is taken to stand still.
    release_s
        Time without a dot after which a light counts as off [s], ≥ 0; where lights blink,
        `coding` says it of those.
    glance
        Looks in windows while time is short, instead of `detect`; not to be used with anchors,
        which are no trails and would be missed.
    """

    def __init__(
        self,
        detect: Detect,
        linker: Linker,
        new_filter: Callable[[], PointFilter],
        identity: Identity,
        surface_map: SurfaceMap | None = None,
        row_time_s: float = 0.0,
        coding: Coding | None = None,
        anchors: Anchors | None = None,
        release_s: float = RELEASE_S,
        glance: Glance | None = None,
    ) -> None:
        self._detect = detect
        self._linker = linker
        self._new_filter = new_filter
        self._identity = identity
        self._map = surface_map
        self._row_time_s = row_time_s
        self._coding = coding or Coding((), identity, linker)
        self._anchors = anchors
        self._release_ns = round(release_s * 1e9)
        self._glance = glance
        self._linked: TrailLinks | None = None
        self._begun = False
        self._before: tuple[int, int] | None = None  # index and time of the frame before
        self._shake: Shake | None = None
        self._trails: dict[int, Trail] = {}
        self._tracing = Tracing(linker.confirm_frames, linker.reach_px, linker.dot_std_px)

    def step(self, frame: Frame, found: Dots | None = None) -> Followed:
        """What the next frame tells.

        Parameters
        ----------
        frame
            Later than the frame before.
        found
            Its dots, where the sensor finds them itself; otherwise the image is searched.

        Returns
        -------
        Followed

        Raises
        ------
        RushlightError
            When time does not advance.
        ValueError
            When there is neither an image nor dots.
        """
        began_s = time.perf_counter()
        if found is None:
            if frame.image is None:
                raise ValueError(f"expected an image or dots, got neither in frame {frame.index}")
            if self._glance is None:
                found = self._detect(frame.image)
            else:
                found = self._glance(frame, self._linked, self._begun)
        detect_s = time.perf_counter() - began_s
        faults, rest = self._steady(frame, found)
        dots = self._lights(rest)
        linked = self._linked = self._linker.step(frame.capture_ns, dots)
        in_the_dark = _in_the_dark(linked)
        lost, events = self._let_go(frame, linked, in_the_dark)
        self._before = frame.index, frame.capture_ns
        sightings = self._tracing.sightings(frame, dots, linked, self._shake)
        dark = coasting(
            frame, linked, [each for each in in_the_dark if each in self._trails], self._shake
        )
        self._smooth_and_map(sightings, dark)
        map_s = time.perf_counter() - began_s
        for sighting in sightings:
            events += self._note(sighting)
        switched, told = self._coding.read(frame.capture_ns, frame.index, linked, self._trails)
        links = [one.link(frame.camera, self._trails[one.trail]) for one in sightings + dark]
        links += [
            TrailLink(frame.camera, frame.index, -1, trail, None, None, 0.0, "lost")
            for trail in lost
        ]
        begun = (linked.trail < 0) & (linked.shared[:, 0] < 0) & (dots.reason == 0)
        self._begun = bool(np.any(begun))
        return Followed(
            frame=frame,
            dots=dots,
            doubts=np.bincount(found.reason, minlength=len(REASONS)),
            links=links,
            fixes=self._fixes(frame, told + sightings + dark, detect_s, map_s),
            events=[
                event.known(frame.capture_ns, detect_s, map_s)
                for event in faults + events + switched
            ],
            detect_s=detect_s,
            map_s=map_s,
        )

    def finish(self) -> list[Event]:
        """The ends of all presses, for a run that ends while lights are on."""
        events = [event for trail in list(self._trails) for event in self._end(trail)]
        return [
            replace(event, detail="the run ended") if event.kind in ("switch-up", "lost") else event
            for event in events
        ]

    def _steady(self, frame: Frame, found: Dots) -> tuple[list[Event], Dots]:
        """Let the anchors tell how the camera shakes; the dots that are none of theirs."""
        if self._anchors is None:
            return [], found
        self._shake = self._anchors.step(frame.capture_ns, found)
        faults = [
            Event(frame.capture_ns, "fault", frame=frame.index, detail=str(finding))
            for finding in self._shake.findings
        ]
        return faults, _only(found, self._shake.others)

    def _lights(self, found: Dots) -> Dots:
        """The dots that could be lights, beside those that are lit."""
        peaks_dn = [trail.peak_dn for trail in self._trails.values()]
        return likely_lights(found, DOUBTFUL_SHARE * min(peaks_dn, default=np.inf))

    def _let_go(
        self, frame: Frame, linked: TrailLinks, in_the_dark: list[int]
    ) -> tuple[list[int], list[Event]]:
        """Trails whose light counts as off from now on, with the events that this makes.

        Those that the linker gave up are forgotten.
        """
        lost: list[int] = []
        events: list[Event] = []
        for trail in linked.deaths:
            if not self._tracing.forget(trail):
                lost.append(trail)
                events += self._end(trail)
            self._identity.ended(trail)
        for trail in in_the_dark:
            kept = self._trails.get(trail)
            if kept is None:
                continue
            if kept.dark_ns is None:
                kept.dark_ns = max(kept.press.last_ns, frame.capture_ns - self._period_ns(frame))
            if frame.capture_ns - kept.dark_ns <= kept.release_ns:
                continue
            lost.append(trail)
            events += self._end(trail)
            self._tracing.went_off(trail)
            if kept.reader is not None:
                self._identity.ended(trail)  # where lights blink, motion alone gives no name
        return lost, events

    def _period_ns(self, frame: Frame) -> int:
        """From the frame before to this one [ns], less what frames took that were lost between."""
        if self._before is None:
            return 0
        index, capture_ns = self._before
        return round((frame.capture_ns - capture_ns) / max(frame.index - index, 1))

    def _smooth_and_map(self, sightings: list[Sighting], dark: list[Sighting]) -> None:
        """Take all places through their trails' filters, those in the dark past them; then map.

        What is foretold is as far from the motion as the last smoothed place was, lest it jump.
        """
        for one in sightings:
            trail = self._trails.get(one.trail)
            if trail is None:
                trail = self._trails[one.trail] = self._begin(one)
            since_s = (one.capture_ns - trail.begun_ns) * 1e-9
            seen_px = one.xy_px
            one.xy_px, one.cov_px2 = trail.smooth(since_s, seen_px, one.cov_px2)
            trail.lag_px = one.xy_px - seen_px
        for one in dark:
            one.xy_px = one.xy_px + self._trails[one.trail].lag_px
        placed = sightings + dark
        if not placed:
            return
        places = np.array([one.xy_px for one in placed])
        covs = np.array([one.cov_px2 for one in placed])
        if self._map is not None:
            places, covs = self._map(places, covs)
        for one, place, cov in zip(placed, places, covs, strict=True):
            one.place, one.cov = place, cov

    def _begin(self, first: Sighting) -> Trail:
        """What is kept of a light that was just found, or has come back."""
        when = (first.capture_ns, first.frame)
        trail = Trail(
            smooth=self._new_filter(),
            begun_ns=first.capture_ns,
            press=Press(first.trail, None, *when, *when),
            confidence=0.0,
            peak_dn=first.peak_dn,
            place=first.place,
            release_ns=self._release_ns,
        )
        self._coding.begin(first.trail, trail)
        return trail

    def _note(self, one: Sighting) -> list[Event]:
        """Tell the switch and the names of a sighting; events when a light went on."""
        trail = self._trails[one.trail]
        trail.at_px, trail.dark_ns = one.xy_px, None
        events: list[Event] = []
        if trail.reader is None and not trail.announced:
            trail.glow = not self._identity.knows(one.trail) and self._is_glow(
                trail, one.capture_ns
            )
        if trail.reader is None and not trail.announced and not trail.glow:
            named = self._identity.name(one.trail, one.capture_ns, one.place)
            if named.replaces in self._trails:
                events.append(self._trails[named.replaces].press.up())
                self._trails[named.replaces].press.carried = None
            trail.press.carried, trail.confidence = named.carried, named.confidence
            trail.announced = True
            events.append(trail.press.down())
        elif trail.reader is not None and not trail.announced:
            trail.waiting.append(one)
            if one.state == "tentative":
                trail.reader.seen(one.capture_ns * 1e-9, lit=True)
        trail.press.seen(one.capture_ns, one.frame)
        trail.place = one.place
        if np.isfinite(one.peak_dn):
            # Slowly, so that a dim dot caught by mistake does not let others pass.
            trail.peak_dn += 0.2 * (one.peak_dn - trail.peak_dn)
        self._identity.seen(one.trail, one.capture_ns, one.place)
        return events

    def _is_glow(self, trail: Trail, time_ns: int) -> bool:
        """Whether a light without a name is so near to one with a name, lit beside it, that it is
        that one's glow on the wall."""
        return any(
            other is not trail
            and other.announced
            and other.press.carried is not None
            and time_ns - other.press.last_ns <= GLOW_NS
            and math.hypot(*(other.at_px - trail.at_px)) <= GLOW_PX
            for other in self._trails.values()
        )

    def _end(self, trail: int) -> list[Event]:
        """A light is off."""
        ended = self._trails.pop(trail, None)
        if ended is None or ended.glow:
            return []
        return [ended.press.up()] if ended.announced else [ended.press.down(), ended.press.up()]

    def _fixes(
        self, frame: Frame, sightings: list[Sighting], detect_s: float, map_s: float
    ) -> list[Fix]:
        """Fixes of the named sightings that the map could place."""
        if self._map is None:
            return []
        # A sensor that finds dots itself has no rows to tell apart.
        rows = 0 if frame.image is None else frame.image.shape[0]
        fixes: list[Fix] = []
        for one in sightings:
            later_s = self._row_time_s * (one.xy_px[1] - (rows - 1) / 2.0) if rows else 0.0
            fix = one.fix(
                frame, self._trails[one.trail], self._map.surface, later_s, detect_s, map_s
            )
            if fix is not None:
                fixes.append(fix)
        return fixes


def _only(dots: Dots, which: Array) -> Dots:
    """Some of the dots, by (N,) of bool."""
    return dots.replace(**{name: getattr(dots, name)[which] for name in dots.__dataclass_fields__})


def _in_the_dark(linked: TrailLinks) -> list[int]:
    """Live trails that have no dot, not even a shared one."""
    dark = linked.live[linked.state != HELD].tolist()
    if not dark:
        return []
    merged = set(linked.shared.ravel().tolist())
    return [trail for trail in dark if trail not in merged]


def follow(frames: Iterable[Frame | tuple[Frame, Dots]], follower: Follower) -> Iterator[Followed]:
    """What each frame tells, one after the other.

    Parameters
    ----------
    frames
        Any source of frames, or of frames and their dots.
    follower
        Carries the memory from frame to frame.

    Yields
    ------
    Followed
    """
    for given in frames:
        yield follower.step(given) if isinstance(given, Frame) else follower.step(*given)
