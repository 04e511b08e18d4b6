"""The frames of a morning's check: first the room alone, then one touch after the other."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass, field

from rushlight.errors import Finding
from rushlight.jobs.ready_light import RoomLight
from rushlight.jobs.ready_telling import ReadyShow, ReadyState
from rushlight.jobs.register_live import Source, Wishes
from rushlight.jobs.register_telling import DASHES
from rushlight.jobs.registering import Ground
from rushlight.jobs.rehearsal import RehearsalSource
from rushlight.plan.error import DWELL_S
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots, Frame
from rushlight.register.holding import Holding
from rushlight.register.holds import Hold
from rushlight.see.detect import Detector

LOOK_S = 1.0
"""How long the picture is looked at while nothing is touched [s]; no source."""

SETTLE_S = 0.5
"""Before that: hands are withdrawn, and the camera settles [s]; no source."""


@dataclass(eq=False)
class Checking:
    """Look at the room, then wait for one touch after the other."""

    ground: Ground
    carried: str
    goals_m: Array
    show: ReadyShow | None
    asks: Wishes
    patience_s: float
    source: Source
    room: RoomLight = field(default_factory=RoomLight)
    holds: list[Hold | None] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    _holding: Holding = field(default_factory=lambda: Holding(DWELL_S))
    _since_ns: int = 0
    _came_s: float = 0.0
    _why_not: str = "was not touched before the frames ended"
    _standing: bool = False
    _dashes: int = DASHES

    def watch(self, detect: Detector) -> None:
        """Until all is touched, or one touch does not come."""
        rehearsed = self.source if isinstance(self.source, RehearsalSource) else None
        if rehearsed is not None:
            rehearsed.wander(False)
        if self.show is not None:
            self.show.state(ReadyState("looking", 0, len(self.goals_m)))
        first_ns: int | None = None
        self._came_s = time.monotonic()
        self.source.on_silence = self._silent
        try:
            for frame, dots in seen_frames(self.source, detect):
                self._came_s = time.monotonic()
                if self._stopped():
                    break
                first_ns = frame.capture_ns if first_ns is None else first_ns
                if self.show is not None:
                    self.show.seen(frame, dots)
                looked_s = (frame.capture_ns - first_ns) * 1e-9
                if looked_s < SETTLE_S + LOOK_S or not self.room.lights:
                    self._holding.see(frame.capture_ns, dots)
                    if looked_s >= SETTLE_S:
                        self.room.add(frame.image, dots, self.source.full_scale_dn)
                elif not self._touching(frame, dots, rehearsed):
                    return
            self._without(self._why_not)
        finally:
            if self.show is not None:
                self.show.beacon(None)
            if rehearsed is not None:
                rehearsed.release(self.carried)

    def _touching(self, frame: Frame, dots: Dots, rehearsed: RehearsalSource | None) -> bool:
        """One frame while touches are waited for; whether to go on."""
        if not self._standing:
            self._stand(frame.capture_ns, rehearsed)
        held = self._holding.see(frame.capture_ns, dots)
        if held.hold is not None:
            self.holds.append(held.hold)
            self._standing = False
            return len(self.holds) < len(self.goals_m)
        if (frame.capture_ns - self._since_ns) * 1e-9 > self.patience_s:
            self._without(f"was not touched in {self.patience_s:g} s, or its light was not seen")
            return False
        left = DASHES - min(DASHES, int(DASHES * held.held_s / DWELL_S))
        if left != self._dashes:
            self._dashes = left
            self._tell_beacon()
        return True

    def _stand(self, now_ns: int, rehearsed: RehearsalSource | None) -> None:
        self._since_ns, self._standing, self._dashes = now_ns, True, DASHES
        self._holding.begin(now_ns)
        if self.show is not None:
            self.show.state(
                ReadyState("touching", len(self.holds), len(self.goals_m), tuple(self.findings))
            )
        self._tell_beacon()
        if rehearsed is not None:
            x_m, y_m = self.ground.stands(self.goals_m[len(self.holds)])
            rehearsed.invite(self.carried, float(x_m), float(y_m))

    def _tell_beacon(self) -> None:
        if self.show is not None:
            which = len(self.holds)
            self.show.beacon(
                self.ground.beacon(
                    which + 1, len(self.goals_m), self.goals_m[which], self._dashes, self.carried
                )
            )

    def _stopped(self) -> bool:
        if self.asks.end_asked():
            self._why_not = "was stopped before it was touched"
            return True
        return False

    def _silent(self) -> None:
        """No frame came for a while: nobody waits longer for them than for a touch."""
        if time.monotonic() - self._came_s > self.patience_s:
            self._why_not = f"was not touched: no frames came for {self.patience_s:g} s"
        elif not self._stopped():
            return
        self.source.stop()

    def _without(self, why: str) -> None:
        x_m, y_m = self.goals_m[len(self.holds)]
        self.findings.append(
            Finding(
                "error",
                "untouched",
                f"the beacon at ({x_m:.2f}, {y_m:.2f}) m",
                "",
                why,
                "try again; see whether the stylus shines, and whether the camera sees the display",
            )
        )


def seen_frames(source: Source, detect: Detector) -> Iterable[tuple[Frame, Dots]]:
    """Every frame with its dots."""
    for item in source:
        frame, dots = item if isinstance(item, tuple) else (item, None)
        if dots is not None:
            yield frame, dots
        elif frame.image is not None:
            yield frame, detect(frame.image)
