"""What following keeps of one place, one trail and one frame while they are worked on."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.dots import Frame
from rushlight.records.session import Fix, TrailLink, TrailState
from rushlight.see.blink import BlinkReader
from rushlight.track.filter import PointFilter
from rushlight.track.switch import Press


@dataclass(slots=True)
class Sighting:
    """One place of one trail, on its way from picture to surface.

    Attributes
    ----------
    trail, frame, capture_ns
        Id of the trail, index and time [ns] of the frame.
    dot, state
        As in `TrailLink`.
    predicted
        Whether the place was foretold: in the dark, or beside a dot that two lights share.
    peak_dn
        How bright the dot was [grey levels]; NaN without one of its own.
    xy_px, cov_px2
        (2,) [px] and (2, 2) [px²], first as seen, then without shaking and smoothed.
    place, cov
        (2,) and (2, 2) on the surface [m, m²], or in the picture where there is no map.
    dark
        Whether no dot told of it, not even a shared one.
    """

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
    dark: bool = False

    def link(self, camera: str, trail: Trail) -> TrailLink:
        """The sighting as a trail membership."""
        return TrailLink(
            camera=camera,
            frame=self.frame,
            dot=self.dot,
            trail=self.trail,
            carried=trail.press.carried,
            emitter=trail.emitter,
            confidence=trail.confidence,
            state=self.state,
        )

    def fix(
        self,
        frame: Frame,
        trail: Trail,
        surface: str,
        later_s: float,
        detect_s: float,
        map_s: float,
    ) -> Fix | None:
        """The sighting as a fix; None while its trail has no name or it has no place.

        A light in the dark is seen by no camera, and its fix names none.

        Parameters
        ----------
        frame
            The frame now at hand, which may be a later one.
        trail
            Its trail.
        surface
            Id of the surface.
        later_s
            By how much its row is exposed after the middle one [s].
        detect_s, map_s
            From having the frame to the end of detection and of mapping [s].
        """
        if trail.press.carried is None or not np.isfinite(self.place).all():
            return None
        cov = np.full((6, 6), np.nan)
        cov[:2, :2] = self.cov
        return Fix(
            capture_ns=self.capture_ns,
            valid_ns=self.capture_ns + round(later_s * 1e9),
            detect_ns=frame.capture_ns + round(detect_s * 1e9),
            map_ns=frame.capture_ns + round(map_s * 1e9),
            sent_ns=-1,
            frame=self.frame,
            carried=trail.press.carried,
            point="tip",
            trail=self.trail,
            dimensions=2,
            surface=surface,
            switch=True,
            cameras=() if self.dark else (frame.camera,),
            predicted=self.predicted,
            hypotheses=(trail.confidence,),
            position_m=np.array([*self.place, np.nan]),
            cov=cov,
        )


@dataclass(slots=True)
class Trail:
    """What is kept of a light that is on.

    Attributes
    ----------
    smooth
        Its filter.
    begun_ns
        When its first dot was seen [ns].
    press
        Its stretch of light, with the name.
    confidence
        In the name, 0 to 1.
    peak_dn
        How bright it was of late [grey levels].
    place
        (2,) where it was last; NaN where the map does not reach.
    release_ns
        Time without a dot after which it counts as off [ns].
    dark_ns
        From when on it is missed [ns]; None while it is seen.
    lag_px
        (2,) how far its smoothed place was from the seen one at last [px].
    announced
        Whether the beginning of its press was told.
    at_px
        (2,) where it was last seen [px].
    glow
        Whether it is still taken for the glow that another light throws on the wall.
    emitter
        Id of its light where the code told it.
    reader
        Reads its code; None where nothing blinks.
    read
        The code that counts now, as in `Reading.code`; None until one does.
    waiting
        Sightings that wait for the name; those of the last seconds only.
    """

    smooth: PointFilter
    begun_ns: int
    press: Press
    confidence: float
    peak_dn: float
    place: Array
    release_ns: int
    dark_ns: int | None = None
    lag_px: Array = field(default_factory=lambda: np.zeros(2))
    announced: bool = False
    at_px: Array = field(default_factory=lambda: np.full(2, np.nan))
    glow: bool = False
    emitter: str | None = None
    reader: BlinkReader | None = None
    read: int | None = None
    waiting: deque[Sighting] = field(default_factory=lambda: deque(maxlen=256))
