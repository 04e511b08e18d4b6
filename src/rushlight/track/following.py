"""Follow the lights through the frames: detect, link, smooth, map, name.

One dot's way: the detector finds it in the frame, the linker gives it to a trail, the anchors take
off the camera's shaking, the trail's filter smooths it, the map takes it to the surface, and the
trail's name says which carried thing it is. A plain ``for`` over `follow` does all of it.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.dots import REASONS, Dots, Frame
from rushlight.records.session import Event, Fix, TrailLink
from rushlight.see.link import Linker, TrailLinks
from rushlight.see.link_frame import HELD
from rushlight.track.anchors import Anchors
from rushlight.track.coding import Coding
from rushlight.track.filter import PointFilter
from rushlight.track.identity import Identity
from rushlight.track.lights import DOUBTFUL_SHARE, likely_lights
from rushlight.track.mapping import SurfaceMap
from rushlight.track.shaking import Shake
from rushlight.track.sighting import Past, Sighting, Trail
from rushlight.track.switch import Press

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
        Places and switchings, likewise.
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
    coding
        Reads the codes of blinking lights; without it no light is taken to blink.
    anchors
        Lights fixed in the room, by which the camera's shaking is taken off; without them the
        camera is taken to stand still.
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
    ) -> None:
        self._detect = detect
        self._linker = linker
        self._new_filter = new_filter
        self._identity = identity
        self._map = surface_map
        self._row_time_s = row_time_s
        self._coding = coding or Coding((), identity, linker)
        self._anchors = anchors
        self._shake: Shake | None = None
        self._trails: dict[int, Trail] = {}
        self._past: deque[Past] = deque(maxlen=max(linker.confirm_frames - 1, 0))

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
            found = self._detect(frame.image)
        detect_s = time.perf_counter() - began_s
        faults, rest = self._steady(frame, found)
        dots = self._lights(rest)
        linked = self._linker.step(frame.capture_ns, dots)
        sightings = self._sightings(frame, dots, linked)
        self._smooth_and_map(sightings)
        map_s = time.perf_counter() - began_s
        events = [event for trail in linked.deaths for event in self._end(trail)]
        for sighting in sightings:
            events += self._note(sighting)
        switched, told = self._coding.read(frame.capture_ns, frame.index, linked, self._trails)
        links = [one.link(frame.camera, self._trails[one.trail]) for one in sightings]
        free = _unlinked(dots, linked)
        self._past.append(Past(frame.index, frame.capture_ns, dots, free, self._shake))
        return Followed(
            frame=frame,
            dots=dots,
            doubts=np.bincount(found.reason, minlength=len(REASONS)),
            links=links + self._unseen(frame, linked),
            fixes=self._fixes(frame, told + sightings, detect_s, map_s),
            events=faults + events + switched,
            detect_s=detect_s,
            map_s=map_s,
        )

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

    def _sightings(self, frame: Frame, dots: Dots, linked: TrailLinks) -> list[Sighting]:
        """Every place that this frame adds to a trail, each trail's in the order of time."""
        merged = set(linked.shared.ravel().tolist())
        back: list[Sighting] = []
        found: list[Sighting] = []
        for row, trail in enumerate(linked.live.tolist()):
            if trail in linked.births:
                back += self._traced_back(frame, linked, row)
            held = linked.state[row] == HELD
            if not held and trail not in merged:
                continue
            dot = int(linked.dot[row])
            own = held and bool(np.isfinite(dots.cov[dot]).all())
            found.append(
                Sighting(
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
        _take_off(self._shake, found)
        return back + found

    def _traced_back(self, frame: Frame, linked: TrailLinks, row: int) -> list[Sighting]:
        """The dots of the frames that went into confirming a trail, the earliest first."""
        back: list[Sighting] = []
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
                Sighting(
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
            _take_off(past.shake, back[-1:])
        return back[::-1]

    def _smooth_and_map(self, sightings: list[Sighting]) -> None:
        """Take all places through their trails' filters and to the surface."""
        for one in sightings:
            trail = self._trails.get(one.trail)
            if trail is None:
                trail = self._trails[one.trail] = self._begin(one)
            since_s = (one.capture_ns - trail.begun_ns) * 1e-9
            one.xy_px, one.cov_px2 = trail.smooth(since_s, one.xy_px, one.cov_px2)
        if not sightings:
            return
        places = np.array([one.xy_px for one in sightings])
        covs = np.array([one.cov_px2 for one in sightings])
        if self._map is not None:
            places, covs = self._map(places, covs)
        for one, place, cov in zip(sightings, places, covs, strict=True):
            one.place, one.cov = place, cov

    def _begin(self, first: Sighting) -> Trail:
        """What is kept of a trail that was just confirmed."""
        when = (first.capture_ns, first.frame)
        trail = Trail(
            smooth=self._new_filter(),
            begun_ns=first.capture_ns,
            press=Press(first.trail, None, *when, *when),
            confidence=0.0,
            peak_dn=first.peak_dn,
            place=first.place,
        )
        self._coding.begin(first.trail, trail)
        return trail

    def _note(self, one: Sighting) -> list[Event]:
        """Tell the switch and the names of a sighting; events when a light went on."""
        trail = self._trails[one.trail]
        events: list[Event] = []
        if trail.reader is None and not trail.announced:
            named = self._identity.name(one.trail, one.capture_ns, one.place)
            if named.replaces is not None:
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

    def _end(self, trail: int) -> list[Event]:
        """Forget a trail whose light is off."""
        self._identity.ended(trail)
        ended = self._trails.pop(trail, None)
        if ended is None:
            return []
        return [ended.press.up()] if ended.announced else [ended.press.down(), ended.press.up()]

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
                    emitter=kept.emitter,
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


def _take_off(shake: Shake | None, sightings: list[Sighting]) -> None:
    """Free the places of one frame from the camera's shaking at that moment."""
    if shake is None or not sightings:
        return
    xy_px, cov_px2 = shake.steady(
        np.array([one.xy_px for one in sightings]), np.array([one.cov_px2 for one in sightings])
    )
    for one, xy, cov in zip(sightings, xy_px, cov_px2, strict=True):
        one.xy_px, one.cov_px2 = xy, cov


def _unlinked(dots: Dots, linked: TrailLinks) -> Array:
    """(N,) which dots could still turn out to begin a trail."""
    return np.asarray((linked.trail < 0) & (linked.shared[:, 0] < 0))


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
