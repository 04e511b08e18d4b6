"""Follow the lights through the frames: detect, link, smooth, map, name.

One dot's way: the detector finds it in the frame, the linker gives it to a trail, the trail's
filter smooths it, the map takes it to the surface, and the trail's name says which carried thing
it is. A plain ``for`` over `follow` does all of it.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.dots import Dots, Frame
from rushlight.records.session import Event, Fix, TrailLink, TrailState
from rushlight.see.link import HELD, Linker, TrailLinks
from rushlight.track.filter import PointFilter
from rushlight.track.identity import Identity
from rushlight.track.lights import DOUBTFUL_SHARE, likely_lights
from rushlight.track.mapping import SurfaceMap
from rushlight.track.switch import Press

Detect = Callable[[Array], Dots]


@dataclass(frozen=True, slots=True)
class Followed:
    """What one frame told.

    Attributes
    ----------
    frame, dots
        The frame, and the dots in it that could be lights.
    passed_over
        Number of those that could not: hot pixels, and doubtful ones dimmer than the lights.
    links
        Trail memberships, those of a just confirmed trail's earlier frames included.
    fixes, events
        Places and switchings, likewise.
    detect_s, map_s
        From having the frame to the end of detection and to the end of mapping [s].
    """

    frame: Frame
    dots: Dots
    passed_over: int
    links: list[TrailLink]
    fixes: list[Fix]
    events: list[Event]
    detect_s: float
    map_s: float


@dataclass(slots=True)
class _Past:
    """A recent frame, for tracing a just confirmed trail back to its first dot."""

    frame: int
    capture_ns: int
    dots: Dots
    free: Array


@dataclass(slots=True)
class _Sighting:
    """One place of one trail, on its way from picture to surface."""

    trail: int
    frame: int
    capture_ns: int
    dot: int
    state: TrailState
    predicted: bool
    peak_dn: float
    xy_px: Array
    cov_px2: Array
    place: Array = field(default_factory=lambda: np.full(2, np.nan))
    cov: Array = field(default_factory=lambda: np.full((2, 2), np.nan))


@dataclass(slots=True)
class _Trail:
    """What is kept of a live trail."""

    smooth: PointFilter
    confidence: float
    press: Press
    peak_dn: float


class Follower:
    """Turns frames into fixes, one frame at a time.

    Parameters
    ----------
    detect
        Finds the dots of an image.
    linker
        Joins them into trails; the time that it lets a trail coast is the time after which a
        light counts as off.
    new_filter
        Makes the filter of a new trail.
    identity
        Names trails, in metres where there is a map and in pixels otherwise.
    surface_map
        Maps pixels to the surface; without one there are dots, trails and events, but no fixes.
    row_time_s
        Time from row to row of a rolling shutter [s], ≥ 0; a fix speaks of its own row's moment.
    """

    def __init__(
        self,
        detect: Detect,
        linker: Linker,
        new_filter: Callable[[], PointFilter],
        identity: Identity,
        surface_map: SurfaceMap | None = None,
        row_time_s: float = 0.0,
    ) -> None:
        self._detect = detect
        self._linker = linker
        self._new_filter = new_filter
        self._identity = identity
        self._map = surface_map
        self._row_time_s = row_time_s
        self._trails: dict[int, _Trail] = {}
        self._past: deque[_Past] = deque(maxlen=max(linker.confirm_frames - 1, 0))

    def step(self, frame: Frame) -> Followed:
        """What the next frame tells.

        Parameters
        ----------
        frame
            Later than the frame before.

        Returns
        -------
        Followed

        Raises
        ------
        RushlightError
            When time does not advance.
        """
        if frame.image is None:
            raise ValueError(f"expected a frame with an image, got none in frame {frame.index}")
        began_s = time.perf_counter()
        found = self._detect(frame.image)
        dots = self._lights(found)
        detect_s = time.perf_counter() - began_s
        linked = self._linker.step(frame.capture_ns, dots)
        sightings = self._sightings(frame, dots, linked)
        self._smooth_and_map(sightings)
        map_s = time.perf_counter() - began_s
        events = [event for trail in linked.deaths for event in self._end(trail)]
        for sighting in sightings:
            events += self._note(sighting)
        self._past.append(_Past(frame.index, frame.capture_ns, dots, _unlinked(dots, linked)))
        links = [self._link(frame.camera, one) for one in sightings]
        links += self._unseen(frame, linked)
        return Followed(
            frame=frame,
            dots=dots,
            passed_over=len(found) - len(dots),
            links=links,
            fixes=self._fixes(frame, sightings, detect_s, map_s),
            events=events,
            detect_s=detect_s,
            map_s=map_s,
        )

    def _lights(self, found: Dots) -> Dots:
        """The dots that could be lights, beside those that are lit."""
        peaks_dn = [trail.peak_dn for trail in self._trails.values()]
        return likely_lights(found, DOUBTFUL_SHARE * min(peaks_dn, default=np.inf))

    def _sightings(self, frame: Frame, dots: Dots, linked: TrailLinks) -> list[_Sighting]:
        """Every place that this frame adds to a trail, each trail's in the order of time."""
        merged = set(linked.shared.ravel().tolist())
        found: list[_Sighting] = []
        for row, trail in enumerate(linked.live.tolist()):
            if trail in linked.births:
                found += self._traced_back(frame, linked, row)
            held = linked.state[row] == HELD
            if not held and trail not in merged:
                continue
            dot = int(linked.dot[row])
            own = held and bool(np.isfinite(dots.cov[dot]).all())
            found.append(
                _Sighting(
                    trail=trail,
                    frame=frame.index,
                    capture_ns=frame.capture_ns,
                    dot=dot,
                    state="held" if held else "coasting",
                    predicted=not held,
                    peak_dn=float(dots.peak[dot]) if held else np.nan,
                    xy_px=dots.xy[dot] if held else linked.xy[row],
                    cov_px2=dots.cov[dot] if own else linked.cov[row, :2, :2],
                )
            )
        return found

    def _traced_back(self, frame: Frame, linked: TrailLinks, row: int) -> list[_Sighting]:
        """The dots of the frames that went into confirming a trail, the earliest first."""
        back: list[_Sighting] = []
        for past in reversed(self._past):
            dt_s = (past.capture_ns - frame.capture_ns) * 1e-9
            expected = linked.xy[row] + dt_s * linked.velocity[row]
            gap = np.where(past.free, np.linalg.norm(past.dots.xy - expected, axis=1), np.inf)
            if len(gap) == 0 or not np.min(gap) < self._linker.reach_px:
                break
            dot = int(np.argmin(gap))
            past.free[dot] = False
            cov = past.dots.cov[dot]
            known = np.isfinite(cov).all()
            back.append(
                _Sighting(
                    trail=int(linked.live[row]),
                    frame=past.frame,
                    capture_ns=past.capture_ns,
                    dot=dot,
                    state="tentative",
                    predicted=False,
                    peak_dn=float(past.dots.peak[dot]),
                    xy_px=past.dots.xy[dot],
                    cov_px2=cov if known else self._linker.dot_std_px**2 * np.eye(2),
                )
            )
        return back[::-1]

    def _smooth_and_map(self, sightings: list[_Sighting]) -> None:
        """Take all places through their trails' filters and to the surface."""
        for one in sightings:
            trail = self._trails.get(one.trail)
            if trail is None:
                press = Press(one.trail, None, one.capture_ns, one.frame, one.capture_ns, one.frame)
                trail = self._trails[one.trail] = _Trail(
                    self._new_filter(), 0.0, press, one.peak_dn
                )
            since_s = (one.capture_ns - trail.press.first_ns) * 1e-9
            one.xy_px, one.cov_px2 = trail.smooth(since_s, one.xy_px, one.cov_px2)
        if not sightings:
            return
        places = np.array([one.xy_px for one in sightings])
        covs = np.array([one.cov_px2 for one in sightings])
        if self._map is not None:
            places, covs = self._map(places, covs)
        for one, place, cov in zip(sightings, places, covs, strict=True):
            one.place, one.cov = place, cov

    def _note(self, one: _Sighting) -> list[Event]:
        """Tell the switch and the names of a sighting; events when a light went on."""
        trail = self._trails[one.trail]
        events: list[Event] = []
        if one.capture_ns == trail.press.first_ns:
            named = self._identity.name(one.trail, one.capture_ns, one.place)
            if named.replaces is not None:
                events.append(self._trails[named.replaces].press.up())
                self._trails[named.replaces].press.carried = None
            trail.press.carried, trail.confidence = named.carried, named.confidence
            events.append(trail.press.down())
        trail.press.seen(one.capture_ns, one.frame)
        if np.isfinite(one.peak_dn):
            # Slowly, so that a dim dot caught by mistake does not let others pass.
            trail.peak_dn += 0.2 * (one.peak_dn - trail.peak_dn)
        self._identity.seen(one.trail, one.capture_ns, one.place)
        return events

    def _end(self, trail: int) -> list[Event]:
        """Forget a trail whose light is off."""
        self._identity.ended(trail)
        ended = self._trails.pop(trail, None)
        return [] if ended is None else [ended.press.up()]

    def _link(self, camera: str, one: _Sighting) -> TrailLink:
        """A sighting as a trail membership."""
        trail = self._trails[one.trail]
        return TrailLink(
            camera=camera,
            frame=one.frame,
            dot=one.dot,
            trail=one.trail,
            carried=trail.press.carried,
            emitter=None,
            confidence=trail.confidence,
            state=one.state,
        )

    def _unseen(self, frame: Frame, linked: TrailLinks) -> list[TrailLink]:
        """Memberships of trails without a dot: those coasting in the dark, and those lost."""
        merged = set(linked.shared.ravel().tolist())
        dark = linked.live[(linked.state != HELD)].tolist()
        links = []
        for trail in dark:
            if trail in merged or trail not in self._trails:
                continue
            kept = self._trails[trail]
            links.append(
                TrailLink(
                    camera=frame.camera,
                    frame=frame.index,
                    dot=-1,
                    trail=trail,
                    carried=kept.press.carried,
                    emitter=None,
                    confidence=kept.confidence,
                    state="coasting",
                )
            )
        links += [
            TrailLink(frame.camera, frame.index, -1, trail, None, None, 0.0, "lost")
            for trail in linked.deaths
        ]
        return links

    def _fixes(
        self, frame: Frame, sightings: list[_Sighting], detect_s: float, map_s: float
    ) -> list[Fix]:
        """Fixes of the named sightings that the map could place."""
        if self._map is None or frame.image is None:
            return []
        middle_row = (frame.image.shape[0] - 1) / 2.0
        fixes: list[Fix] = []
        for one in sightings:
            carried = self._trails[one.trail].press.carried
            if carried is None or not np.isfinite(one.place).all():
                continue
            later_s = self._row_time_s * (one.xy_px[1] - middle_row)
            cov = np.full((6, 6), np.nan)
            cov[:2, :2] = one.cov
            fixes.append(
                Fix(
                    capture_ns=one.capture_ns,
                    valid_ns=one.capture_ns + round(later_s * 1e9),
                    detect_ns=frame.capture_ns + round(detect_s * 1e9),
                    map_ns=frame.capture_ns + round(map_s * 1e9),
                    sent_ns=-1,
                    frame=one.frame,
                    carried=carried,
                    point="tip",
                    trail=one.trail,
                    dimensions=2,
                    surface=self._map.surface,
                    switch=True,
                    cameras=(frame.camera,),
                    predicted=one.predicted,
                    hypotheses=(self._trails[one.trail].confidence,),
                    position_m=np.array([*one.place, np.nan]),
                    cov=cov,
                )
            )
        return fixes


def _unlinked(dots: Dots, linked: TrailLinks) -> Array:
    """(N,) which dots could still turn out to begin a trail."""
    return np.asarray((linked.trail < 0) & (linked.shared[:, 0] < 0))


def follow(frames: Iterable[Frame], follower: Follower) -> Iterator[Followed]:
    """What each frame tells, one after the other.

    Parameters
    ----------
    frames
        Any source of frames.
    follower
        Carries the memory from frame to frame.

    Yields
    ------
    Followed
    """
    for frame in frames:
        yield follower.step(frame)
