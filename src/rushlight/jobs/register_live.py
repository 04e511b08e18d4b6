"""Register a camera to its display while the beacons are touched: each is chosen by what is told.

After every touch the next beacon is the one that lowers the expected error of the whole map most.
A touch counts once its light was held still as recorded touches are, so that a live registration
and one from footage of the same touches agree.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any

import numpy as np

from rushlight.capture.live import LiveDots, LiveFrames
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.belonging import camera_of
from rushlight.jobs.load import load_rig, rig_path
from rushlight.jobs.register_telling import (
    DASHES,
    Beacon,
    Show,
    ToldTouch,
    Unseen,
    told_state,
)
from rushlight.jobs.registering import Ground, Matched, RegisterResult
from rushlight.jobs.rehearsal import RehearsalSource
from rushlight.jobs.sources import source_given
from rushlight.jobs.surveyed import doubt_of, left_out, survey_to_register
from rushlight.keep.writer import SessionWriter
from rushlight.physics.surface_map import surface_from_px
from rushlight.plan.beacons import BEACONS, BeaconField, beacon_field, next_beacon
from rushlight.plan.error import DWELL_S
from rushlight.plan.evaluate import evaluate
from rushlight.plan.grid import Standing
from rushlight.records.arrays import Array
from rushlight.records.document import Basis
from rushlight.records.dots import Dots, Frame
from rushlight.records.registration import Registration
from rushlight.records.session import Clock, SessionHeader
from rushlight.register.fit import FEWEST
from rushlight.register.holding import Holding
from rushlight.register.holds import Hold
from rushlight.see.detect import Detector
from rushlight.shelf.resolve import lit_emitters, resolve
from rushlight.track.rig import noise_of

Source = LiveFrames | LiveDots
Asks = SimpleQueue[Mapping[str, Any]]
"""What the user wants meanwhile: ``{"redo": number}``, ``{"skip": true}``, ``{"finish": true}`` or
``{"stop": true}``."""

STRAY_SHARE = 0.15
"""A light held this part of the larger side off its beacon, by the map until now, is another's;
no source."""

REHEARSED_PATIENCE_S = 20.0
"""A rehearsed hand that was not seen at its beacon for so long is not waited for [s]; no source."""


def register_live(
    rig_file: Path,
    out: Path = Path("registration.json"),
    show: Show | None = None,
    source: str | Source | None = None,
    *,
    beacons: int = BEACONS,
    touched_by: tuple[str, ...] = (),
    asks: Asks | None = None,
    linger: bool = False,
    patience_s: float | None = None,
    keep: bool = True,
    survey_path: Path | None = None,
) -> RegisterResult:
    """Show beacons one after another, and register by the lights that are held on them.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.
    out
        Registration to write; its error map and the session of the touches stand beside it.
    show
        Told what happens, and by it the display what to show.
    source
        As `open_source` takes it, or one that is open; None for the rig's own. With a rehearsal,
        its hands are asked to the beacons.
    beacons
        How many each stylus touches.
    touched_by
        Ids of the styli that touch; every one when empty.
    asks
        What the user wants meanwhile.
    linger
        Whether to wait, when all is touched, for ``finish`` or for a touch to be done again.
    patience_s
        How long a touch is waited for before its beacon is passed over [s]; None for ever, or
        `REHEARSED_PATIENCE_S` of a rehearsal.
    keep
        Whether frames and dots are kept as a session.
    survey_path
        Survey of the displayed picture and the wall's bends; without it the picture is taken to
        fill the surface.

    Returns
    -------
    RegisterResult
        Written even if it is not vouched for; its verdict then says why.

    Raises
    ------
    RushlightError
        When an input cannot be used, or the touches tell no map.
    """
    rig, shelf = load_rig(rig_file)
    name = rig_path(rig_file).name
    if "surface" not in rig.kinds:
        raise RushlightError.of(
            f"{name}: kinds",
            ", ".join(rig.kinds),
            "hold no surface whose beacons could be touched",
            "register it by rushlight register --camera, which tells its steps",
            "live-kind",
        )
    with source_given(source, rig_file) as opened:
        resolved = resolve(rig, shelf, name)
        camera = camera_of(rig, resolved, opened, name)
        standing = Standing.of_rig(rig)
        if not np.all(np.isfinite(resolved.cameras.exposure_s)):
            resolved = resolved.with_exposure(evaluate(resolved, standing=standing).exposure_s)
        survey = None if survey_path is None else survey_to_register(survey_path, rig.surfaces[0])
        ground = Ground(rig, resolved, camera, name, opened.size_px, survey)
        styli = _styli(rig_styli=[lit.id for lit, _ in lit_emitters(rig)], wanted=touched_by)
        registering = tuple(ground.emitters(styli))
        rehearsed = opened if isinstance(opened, RehearsalSource) else None
        if rehearsed is not None:
            rehearsed.wander(False)
            patience_s = REHEARSED_PATIENCE_S if patience_s is None else patience_s
        run = _Registering(
            ground=ground,
            places=ground.as_known(beacon_field(resolved, standing, registering, camera)),
            styli=styli,
            each=beacons,
            show=show or Unseen(),
            asks=Wishes(asks or SimpleQueue()),
            linger=linger,
            patience_s=math.inf if patience_s is None else patience_s,
            rehearsed=rehearsed,
        )
        basis: Basis = "simulated" if opened.simulated else "measured"
        detect = Detector(*opened.size_px, noise_of(resolved, camera, opened.full_scale_dn))
        session = _session(ground, basis, styli, out) if keep else None
        end_on_silence(opened, run.asks)
        try:
            for item in opened:
                frame, dots = item if isinstance(item, tuple) else (item, None)
                if dots is None:
                    if frame.image is None:
                        continue
                    dots = detect(frame.image)
                if session is not None:
                    session.put_frame(frame)
                    session.put_dots(frame.camera, frame.index, dots)
                if not run.see(frame, dots):
                    break
        finally:
            run.leave()
            if session is not None:
                session.close()
        findings = (*opened.findings, *run.findings)
        if survey is not None and survey_path is not None:
            findings = (*doubt_of(survey, survey_path.name), *findings)
        else:
            findings = (*left_out(rig_file), *findings)
        seed = rehearsed.world.seed if rehearsed is not None else None
    try:
        fitted = ground.fit(run.matched())
    except RushlightError as error:
        raise RushlightError([*error.findings, *findings]) from error
    sources = {} if session is None else {"session": str(session.header.content_hash())}
    if survey is not None:
        sources["survey"] = survey.content_hash()
    return ground.written(fitted, out, basis, sources, seed, findings)


class Wishes:
    """What the user wants, for one who takes it in its order and may look ahead for an end.

    What was looked at stays here: put back, it would come after what is asked for meanwhile.

    Parameters
    ----------
    asks
        Nobody else takes from it.
    """

    def __init__(self, asks: Asks) -> None:
        self._asks = asks
        self._seen: deque[Mapping[str, Any]] = deque()

    def get_nowait(self) -> Mapping[str, Any]:
        """The next; raises `queue.Empty` where there is none."""
        return self._seen.popleft() if self._seen else self._asks.get_nowait()

    def end_asked(self) -> bool:
        """Whether an end is asked for; that and whatever else is, waits on."""
        with suppress(Empty):
            while True:
                self._seen.append(self._asks.get_nowait())
        return any(asked.get("stop") or asked.get("finish") for asked in self._seen)


def end_on_silence(source: Source, wishes: Wishes) -> None:
    """Let an end that is asked for come at once while no frames do, as from a lost camera."""

    def silent() -> None:
        if wishes.end_asked():
            source.stop()

    source.on_silence = silent


def _styli(rig_styli: list[str], wanted: tuple[str, ...]) -> tuple[str, ...]:
    known = tuple(dict.fromkeys(rig_styli))
    for each in wanted:
        if each not in known:
            raise RushlightError.of(
                "touched by", f'"{each}"', "is no stylus of the rig", f"use {', '.join(known)}",
                "stylus",
            )  # fmt: skip
    return tuple(each for each in known if not wanted or each in wanted)


def _session(ground: Ground, basis: Basis, styli: tuple[str, ...], out: Path) -> SessionWriter:
    """Where frames and dots of the touches are kept: a file that does not exist yet."""
    header = SessionHeader(
        rig=ground.rig.content_hash(),
        rig_name=ground.rig.name,
        cameras=[ground.rig.cameras[ground.camera].id],
        carried=list(styli),
        clocks=[Clock(id="host", kind="host-monotonic")],
        script="registration",
    )
    number = 1
    while True:
        more = "" if number == 1 else f"-{number}"
        path = out.with_name(f"{out.stem}-touches{more}.sqlite")
        if not path.exists():
            return SessionWriter(path, header, basis)
        number += 1


@dataclass(eq=False)
class _Touch:
    """A beacon that was shown: who touches it, its place among all, and the hold once there."""

    stylus: int
    place: int
    hold: Hold | None = None
    passed_over: bool = False


@dataclass(eq=False)
class _Registering:
    """One frame after another: what stands, what is held, what comes next."""

    ground: Ground
    places: BeaconField
    styli: tuple[str, ...]
    each: int
    show: Show
    asks: Wishes
    linger: bool
    patience_s: float
    rehearsed: RehearsalSource | None
    findings: list[Finding] = field(default_factory=list)
    _shown: list[_Touch] = field(default_factory=list)
    _now: int | None = None
    _holding: Holding = field(default_factory=lambda: Holding(DWELL_S))
    _since_ns: int = 0
    _dashes: int = DASHES
    _fitted: Registration | None = None
    _stray_px: Array | None = None
    _judged: bool = False

    def see(self, frame: Frame, dots: Dots) -> bool:
        """Take in a frame; whether to go on."""
        self.show.seen(frame, dots)
        if not self._heard(frame.capture_ns):
            return False
        if self._now is None and not self._judged and not self._next(frame.capture_ns):
            return False
        held = self._holding.see(frame.capture_ns, dots)
        if self._now is None:
            return True
        if held.hold is not None:
            self._take(held.hold, frame.capture_ns)
            return True
        if (frame.capture_ns - self._since_ns) * 1e-9 > self.patience_s:
            self._pass_over("was not touched in time")
            return True
        left = DASHES - min(DASHES, int(DASHES * held.held_s / DWELL_S))
        if left != self._dashes:
            self._dashes = left
            self.show.beacon(self._beacon(self._now))
        return True

    def leave(self) -> None:
        """Nothing stands any more."""
        self.show.beacon(None)
        if self.rehearsed is not None:
            for carried in self.styli:
                self.rehearsed.release(carried)

    def matched(self) -> Matched:
        """Every touch that is there: beacon, who, and the hold."""
        return [
            (self._place_m(touch), self.styli[touch.stylus], touch.hold)
            for touch in self._shown
            if touch.hold is not None
        ]

    def _heard(self, now_ns: int) -> bool:
        """Do what was asked for since the last frame; whether to go on."""
        while True:
            try:
                asked = self.asks.get_nowait()
            except Empty:
                return True
            if asked.get("stop") or asked.get("finish"):
                return False
            if asked.get("skip") and self._now is not None:
                self._pass_over("was skipped")
            number = asked.get("redo")
            if isinstance(number, int) and 1 <= number <= len(self._shown):
                if self._now is not None and self._shown[self._now].hold is None:
                    # What stands has not been touched: it comes again by itself.
                    if self._now == len(self._shown) - 1:
                        self._shown.pop()
                    self._now = None
                if number <= len(self._shown):
                    self._judged = False
                    self._stand(number - 1, now_ns)

    def _next(self, now_ns: int) -> bool:
        """Show the next beacon; whether there is one, or something to wait for."""
        for stylus in range(len(self.styli)):
            own = [touch for touch in self._shown if touch.stylus == stylus]
            if sum(touch.hold is not None for touch in own) >= self.each:
                continue
            free = np.ones(len(self.places.places_m), bool)
            free[[touch.place for touch in own]] = False
            told = [(t.stylus, t.place) for t in self._shown if t.hold is not None]
            place = next_beacon(self.places, told, stylus, free)
            if place is not None:
                self._shown.append(_Touch(stylus, place))
                self._stand(len(self._shown) - 1, now_ns)
                return True
        self._judged = True
        self.show.beacon(None)
        self._tell()
        return self.linger

    def _stand(self, which: int, now_ns: int) -> None:
        self._now, self._since_ns, self._dashes, self._stray_px = which, now_ns, DASHES, None
        self._holding.begin(now_ns)
        self.show.beacon(self._beacon(which))
        if self.rehearsed is not None:
            touch = self._shown[which]
            for carried in self.styli:
                if carried != self.styli[touch.stylus]:
                    self.rehearsed.release(carried)
            self.rehearsed.invite(self.styli[touch.stylus], *self._stands_m(touch))

    def _take(self, hold: Hold, now_ns: int) -> None:
        """A complete touch: keep it unless it is another's."""
        assert self._now is not None
        touch = self._shown[self._now]
        if self._is_stray(hold, touch):
            self._holding.begin(now_ns)
            return
        touch.hold, touch.passed_over, self._now = hold, False, None
        if self.rehearsed is not None:
            self.rehearsed.release(self.styli[touch.stylus])
        self._tell()

    def _is_stray(self, hold: Hold, touch: _Touch) -> bool:
        """Whether a light was held too far from the beacon to be its touch.

        Held a second time at the same place it is taken: then rather the map is wrong, and the
        registration tells the bad touch from the good.
        """
        if self._fitted is None:
            return False
        one = self._fitted.maps[0]
        size_m = np.array(self._fitted.valid_for.surface_size_m)
        place = surface_from_px(
            hold.px,
            np.array(one.camera_matrix),
            np.array(one.distortion),
            np.array(one.surface_from_normalised),
            np.array(self._fitted.flatness_m),
            size_m,
            np.array(one.camera_position_m),
        )
        off_m = float(np.linalg.norm(place - self._stands_m(touch)))
        if off_m < STRAY_SHARE * float(size_m.max()):
            return False
        before, self._stray_px = self._stray_px, hold.px
        if before is not None and float(np.linalg.norm(before - hold.px)) < 5.0:
            return False
        self.findings.append(
            Finding(
                "note",
                "stray-touch",
                f"beacon {self._number(touch)}",
                f"({place[0]:.2f}, {place[1]:.2f}) m",
                f"is where a light was held, {off_m:.2f} m off the beacon, and was passed over",
                "hold the light on the beacon, and keep other lights out of view",
            )
        )
        self._tell()
        return True

    def _pass_over(self, why: str) -> None:
        """Leave the beacon that stands untouched."""
        assert self._now is not None
        touch = self._shown[self._now]
        if touch.hold is None:
            touch.passed_over = True
            x_m, y_m = self._place_m(touch)
            self.findings.append(
                Finding(
                    "note",
                    "beacon-passed-over",
                    f"beacon {self._number(touch)}",
                    f"({x_m:.2f}, {y_m:.2f}) m",
                    f"{why}; another was chosen instead",
                    "",
                )
            )
        self._now = None

    def _tell(self) -> None:
        """Fit what is there, and tell it."""
        matched = self.matched()
        self._fitted = None
        if len(matched) >= FEWEST:
            try:
                self._fitted = self.ground.fit(matched)
            except RushlightError:
                # Too few spread too little yet: more touches will tell.
                self._fitted = None
        told = [
            ToldTouch(self._number(touch), *self._place_m(touch), self.styli[touch.stylus])
            for touch in self._shown
            if touch.hold is not None
        ]
        stage = "judged" if self._judged else "touching"
        self.show.state(told_state(stage, self._of(), told, self._fitted, tuple(self.findings)))

    def _beacon(self, which: int) -> Beacon:
        touch = self._shown[which]
        return self.ground.beacon(
            self._number(touch),
            self._of(),
            self._place_m(touch),
            self._dashes,
            self.styli[touch.stylus],
        )

    def _number(self, touch: _Touch) -> int:
        return self._shown.index(touch) + 1

    def _of(self) -> int:
        """How many beacons there will have been, those passed over included."""
        return self.each * len(self.styli) + sum(touch.passed_over for touch in self._shown)

    def _stands_m(self, touch: _Touch) -> tuple[float, float]:
        """Where its beacon stands, by the survey if there is one."""
        x_m, y_m = self.ground.stands(np.array(self._place_m(touch)))
        return float(x_m), float(y_m)

    def _place_m(self, touch: _Touch) -> tuple[float, float]:
        x_m, y_m = self.places.places_m[touch.place]
        return float(x_m), float(y_m)
