"""Aim a camera while a light is held at one named place after another.

The next place is the one that would tell most of the camera's pose. After three the pose is told
with its doubt, and every further one sharpens it. Moved or turned, the camera is aimed anew.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field
from pathlib import Path
from queue import Empty, SimpleQueue

import numpy as np

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.aim import AIM_FILE, AimResult
from rushlight.jobs.aim_judging import Judging
from rushlight.jobs.aim_light import LightScale, held_light, light_scale, planned_room_e
from rushlight.jobs.aim_telling import AimShow, AimState, AimUnseen
from rushlight.jobs.aiming import AimGround, PlaceHeld, check_kind, ground_of
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.ready_light import RoomLight
from rushlight.jobs.ready_watch import LOOK_S, SETTLE_S, seen_frames
from rushlight.jobs.register_live import Asks, Source, Wishes, end_on_silence
from rushlight.jobs.rehearsal import RehearsalSource
from rushlight.jobs.sources import source_given
from rushlight.physics.geometry.rotation import matrix_from_rotation_vector
from rushlight.plan.error import DWELL_S
from rushlight.records.aim import Aim
from rushlight.records.dots import Dots, Frame
from rushlight.register.aim import FEWEST, AimFit
from rushlight.register.holding import Holding
from rushlight.register.holds import Hold
from rushlight.see.detect import Detector
from rushlight.track.rig import noise_of

PLACES = 5
"""Asked for when nothing else is said: two more than tell a pose, so that they check one another
(our own choice)."""

MOST_ROUNDS = 3
"""Times that a rehearsed builder moves the camera as advised (our own choice)."""

REHEARSED_PATIENCE_S = 6.0
"""A rehearsed light that was not seen for so long is out of view [s]; no source."""

_TOLD_S = 0.2  # between two states while nothing happens; no source


def aim_live(
    rig_file: Path,
    out: Path | None = None,
    show: AimShow | None = None,
    source: str | Source | None = None,
    *,
    places: int = PLACES,
    held: str | None = None,
    asks: Asks | None = None,
    linger: bool = False,
    follow: bool = False,
    patience_s: float | None = None,
) -> AimResult:
    """Find where a camera stands by lights held at named places, and say what to do about it.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.
    out
        Aim to write; ``aim.json`` beside the rig when left out.
    show
        Told what happens.
    source
        As `open_source` takes it, or one that is open; None for the rig's own. With a rehearsal,
        its hands are asked to the places.
    places
        How many are asked for, 3 to 9.
    held
        Which stylus is held; at each place one of somebody who reaches it when left out.
    asks
        What the user wants meanwhile: ``{"skip": true}``; ``{"hold": name}`` for a place of their
        choice; ``{"moved": true}`` after the camera was moved; ``{"finish": true}`` or
        ``{"stop": true}``.
    linger
        Whether to wait, when all is held, for what is asked.
    follow
        Whether a rehearsed builder moves the simulated camera as advised, until it is enough.
    patience_s
        How long a light is waited for before its place is passed over [s]; None for ever, or
        `REHEARSED_PATIENCE_S` of a rehearsal.

    Raises
    ------
    RushlightError
        When an input cannot be used, or the places held tell no pose.
    """
    if not FEWEST <= places <= 9:
        raise RushlightError.of(
            "--places", str(places), f"is not from {FEWEST} to 9", "use 5 or so", "aim-places"
        )
    # Before any source is opened, whose own refusal would say less.
    check_kind(load_rig(rig_file)[0], rig_path(rig_file).name)
    with source_given(source, rig_file) as opened:
        ground = ground_of(rig_file, opened, held)
        rehearsed = opened if isinstance(opened, RehearsalSource) else None
        if rehearsed is not None:
            rehearsed.wander(False)
            patience_s = REHEARSED_PATIENCE_S if patience_s is None else patience_s
        run = _Aiming(
            ground=ground,
            of=places,
            show=show or AimUnseen(),
            asks=Wishes(asks or SimpleQueue()),
            linger=linger,
            follow=follow,
            patience_s=math.inf if patience_s is None else patience_s,
            rehearsed=rehearsed,
            full_scale_dn=opened.full_scale_dn,
            simulated=opened.simulated,
            out=rig_path(rig_file).parent / AIM_FILE if out is None else out,
        )
        noise = noise_of(ground.resolved, 0, opened.full_scale_dn)
        end_on_silence(opened, run.asks)
        try:
            for frame, dots in seen_frames(opened, Detector(*opened.size_px, noise)):
                if not run.see(frame, dots):
                    break
        finally:
            run.leave()
        return run.written(opened.findings)


@dataclass(eq=False)
class _Aiming:
    """One frame after another: the room, then which place is held, and which comes next."""

    ground: AimGround
    of: int
    show: AimShow
    asks: Wishes
    linger: bool
    follow: bool
    patience_s: float
    rehearsed: RehearsalSource | None
    full_scale_dn: int
    simulated: bool
    out: Path
    room: RoomLight = field(default_factory=RoomLight)
    findings: list[Finding] = field(default_factory=list)
    _places: dict[str, PlaceHeld] = field(default_factory=dict)
    _now: str | None = None
    _wanted: str | None = None
    _round: int = 0
    _stage: str = "looking"
    _since_ns: int = 0
    _first_ns: int | None = None
    _told_ns: int = 0
    _held_share: float = 0.0
    _holding: Holding = field(default_factory=lambda: Holding(DWELL_S))
    _recent: deque[tuple[int, Dots]] = field(default_factory=deque)
    planned_room_e: float = field(init=False)
    _found: tuple[Aim, AimFit] | None = None

    def __post_init__(self) -> None:
        self.planned_room_e = planned_room_e(self.ground.resolved)
        self._places = {name: PlaceHeld() for name in self.ground.names}

    def see(self, frame: Frame, dots: Dots) -> bool:
        """Take in a frame; whether to go on."""
        self.show.seen(frame, dots)
        now_ns = frame.capture_ns
        self._first_ns = now_ns if self._first_ns is None else self._first_ns
        self._recent.append((now_ns, dots))
        while (now_ns - self._recent[0][0]) * 1e-9 > DWELL_S:
            self._recent.popleft()
        held = self._holding.see(now_ns, dots)
        if not self._heard(now_ns):
            return False
        if self._stage == "looking":
            self._look(frame, dots)
        elif self._now is not None and held.hold is not None:
            self._take(held.hold, now_ns)
        elif self._now is not None and (now_ns - self._since_ns) * 1e-9 > self.patience_s:
            self._pass_over("was not seen there in time, so that it may be out of view")
        self._held_share = min(1.0, held.held_s / DWELL_S) if self._now else 0.0
        if self._stage == "holding" and self._now is None and not self._next(now_ns):
            return False
        if (now_ns - self._told_ns) * 1e-9 > _TOLD_S:
            self._tell(now_ns, dots)
        return True

    def leave(self) -> None:
        """Nothing is held any more."""
        if self.rehearsed is not None:
            for carried in set(self.ground.carried):
                self.rehearsed.release(carried)

    def written(self, findings: list[Finding]) -> AimResult:
        """The aim as it is in the end, written.

        Raises
        ------
        RushlightError
            When the places held tell no pose.
        """
        self.findings += [each for each in findings if each not in self.findings]
        try:
            return self._write()
        except RushlightError as error:
            raise RushlightError([*error.findings, *self.findings]) from error

    def _write(self) -> AimResult:
        aim, _ = self._found = self._judge()
        aim.write(self.out)
        return AimResult(aim, self.out)

    def _judge(self) -> tuple[Aim, AimFit]:
        aim, fit = Judging(
            self.ground, self.full_scale_dn, self.room, self._places, self.findings
        ).judged()
        stamped = aim.stamped(
            "simulated" if self.simulated else "measured",
            inputs={"rig": self.ground.rig.content_hash()},
            seed=None if self.rehearsed is None else self.rehearsed.world.seed,
        )
        return stamped, fit

    def _look(self, frame: Frame, dots: Dots) -> None:
        """The room alone."""
        assert self._first_ns is not None
        looked_s = (frame.capture_ns - self._first_ns) * 1e-9
        if looked_s < SETTLE_S:
            return
        self.room.add(frame.image, dots, self.full_scale_dn)
        if looked_s >= SETTLE_S + LOOK_S:
            self._stage = "holding"
            if self._wanted is not None:
                self._stand(self._wanted, frame.capture_ns)
                self._wanted = None

    def _heard(self, now_ns: int) -> bool:
        """Do what was asked for since the last frame; whether to go on."""
        while True:
            try:
                asked = self.asks.get_nowait()
            except Empty:
                return True
            if asked.get("stop") or asked.get("finish"):
                return False
            if asked.get("moved"):
                self._again()
            if asked.get("skip") and self._now is not None:
                self._pass_over("was skipped")
            name = asked.get("hold")
            if isinstance(name, str) and name in self._places:
                if self._stage == "looking":
                    self._wanted = name
                else:
                    self._stage = "holding"
                    self._stand(name, now_ns)

    def _next(self, now_ns: int) -> bool:
        """Ask for the next place; whether there is one, or something to wait for."""
        if self._done() < self.of:
            name = self.ground.next_name(self._places, self._found and self._found[1])
            if name is not None:
                self._stand(name, now_ns)
                return True
        if self._follows():
            self._again()
            return True
        if not self.linger:
            return False
        self._stage = "judged"
        if self._found is not None:
            self._write()
        self._tell(now_ns, Dots.none())
        return True

    def _follows(self) -> bool:
        """Whether a rehearsed builder now does as advised."""
        return (
            self.follow
            and self.rehearsed is not None
            and self._found is not None
            and not self._found[0].reached
            and self._round < MOST_ROUNDS
        )

    def _done(self) -> int:
        return sum(place.state == "held" for place in self._places.values())

    def _stand(self, name: str, now_ns: int) -> None:
        self._now, self._since_ns = name, now_ns
        self._holding.begin(now_ns)
        self._tell(now_ns, Dots.none())
        if self.rehearsed is not None:
            x_m, y_m = self.ground.places_m[self.ground.names.index(name)]
            self.rehearsed.invite(self.ground.who(name), float(x_m), float(y_m))

    def _take(self, hold: Hold, now_ns: int) -> None:
        """A light held at the place asked for."""
        assert self._now is not None
        light = held_light([dots for _, dots in self._recent], hold.px)
        self._places[self._now] = PlaceHeld("held", hold, light)
        self._now = None
        self.leave()
        try:
            self._found = self._judge()
        except RushlightError:
            self._found = None  # too few yet, or on one line: more places will tell
        self._tell(now_ns, Dots.none())

    def _pass_over(self, why: str) -> None:
        assert self._now is not None
        self._places[self._now] = PlaceHeld("passed over")
        self.findings.append(
            Finding("note", "aim-passed-over", f"the light at {self._now}", "", why, "")
        )
        self._now = None
        self.leave()

    def _again(self) -> None:
        """The camera was moved: what was held until now says nothing of where it stands."""
        if self.rehearsed is not None and self._found is not None:
            self._rehang(*self._found)
        self._places = {name: PlaceHeld() for name in self.ground.names}
        self.findings.clear()
        self._found, self._now = None, None
        self._round += 1
        if self._stage == "judged":
            self._stage = "holding"
        self.leave()

    def _rehang(self, aim: Aim, fit: AimFit) -> None:
        """Let a rehearsed builder do as advised, from where the camera truly stands."""
        assert self.rehearsed is not None
        world = self.rehearsed.world
        pose = np.array(world.rig.cameras.rig_from_camera[0, world.camera])
        advised = next(each for each in aim.choices if each.name == aim.advice)
        step = {each.kind: each.amount for each in advised.steps if each.told}
        own = [step.get(kind, 0.0) for kind in ("tilt", "turn", "roll")]
        pose[:3, 3] += [step.get(kind, 0.0) for kind in ("move-x", "move-y", "move-z")]
        pose[:3, :3] = pose[:3, :3] @ matrix_from_rotation_vector(own)
        self.rehearsed.rehang(pose)

    def _tell(self, now_ns: int, dots: Dots) -> None:
        self._told_ns = now_ns
        level, over = self._level(dots)
        found = self._found
        self.show.state(
            AimState(
                stage=self._stage,
                round=self._round,
                carried=None if self._now is None else self.ground.who(self._now),
                place=self._now,
                held_share=self._held_share,
                done=self._done(),
                of=self.of,
                states={name: place.state for name, place in self._places.items()},
                level_share=level,
                over_noise=over,
                room_share=self._scale().room_share,
                result=None if found is None else AimResult(found[0], None),
                # What is found holds them already.
                findings=tuple(self.findings) if found is None else (),
            )
        )

    def _level(self, dots: Dots) -> tuple[float, float]:
        """The brightest dot's peak over full scale, and over the noise."""
        peaks = dots.peak[np.isfinite(dots.peak)]
        if not len(peaks):
            return np.nan, np.nan
        peak_dn, scale = float(peaks.max()), self._scale()
        return scale.full_share(peak_dn), scale.over_noise(peak_dn)

    def _scale(self) -> LightScale:
        planned_e = self.planned_room_e
        return light_scale(self.ground.resolved, self.room, self.full_scale_dn, planned_e)
