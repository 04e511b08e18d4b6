"""Hands that do as they are asked while the camera films: a rig rehearsed before it is built.

A script is written whole beforehand; here the way of each hand is written while it is filmed, so
that pages and jobs can ask a hand to a place and see it come. Lights, noise and room are those of
all simulated footage. Every constant here is invented.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from rushlight.records.arrays import Array
from rushlight.records.dots import Frame
from rushlight.records.rig import Stream
from rushlight.simulate.compress import Compressor
from rushlight.simulate.expose import TrueState, expose
from rushlight.simulate.footage import RAW, is_noisy, sensor_of
from rushlight.simulate.hands import REACTION_S, Score, Timeline, move_time, ways_held
from rushlight.simulate.scripts import SETTLE_S, Script
from rushlight.simulate.world import World

NAME = "rehearsal"

AIM_M = 0.02
"""How finely an invited hand aims: the width in its index of difficulty [m]."""

TREMOR_STD_M = 1e-4
"""Of a tip that rests on the wall, along each axis [m]."""

ARM_M = 0.4
"""How far to either side of where someone stands their hand wanders [m]."""

_TREMOR_HZ = (8.0, 12.0)
_WAVES = 3
_AHEAD_S = 0.15  # filmed in one go; less than the reaction, so that nothing asked comes too late
_KEPT_S = 1.0  # of a hand's way before and after what is filmed
_FOR_EVER_S = 1e6
_STROKE_S = (0.8, 1.8)
_REST_S = (0.4, 1.2)


Spots = TypeVar("Spots")
State = TypeVar("State")


def filmed_ahead(
    camera: str,
    rate_hz: float,
    ahead_s: float,
    expose: Callable[[Array], tuple[Sequence[Spots], Sequence[State]]],
    picture: Callable[[Spots], Array],
) -> Iterator[tuple[Frame, State]]:
    """Frames without end, each with its truth; their time begins at 0.

    Parameters
    ----------
    camera
        That films.
    rate_hz
        Frames a second [Hz], > 0.
    ahead_s
        How long a stretch is exposed in one go [s]; one frame at least.
    expose
        From the moments (N,) [s] of a stretch to what lights each frame, and to the truth.
    picture
        From what lights a frame to its picture.
    """
    count, first = max(1, int(ahead_s * rate_hz)), 0
    while True:
        times_s = (first + 1 + np.arange(count)) / rate_hz
        spots, states = expose(times_s)
        for offset, state in enumerate(states):
            yield (
                Frame(
                    camera=camera,
                    index=first + offset,
                    capture_ns=round(times_s[offset] * 1e9),
                    capture_std_ns=0.0,
                    image=picture(spots[offset]),
                ),
                state,
            )
        first += count


@dataclass(frozen=True, eq=False)
class _Trembling(Timeline):
    """A timeline whose tip trembles by a few sines.

    Attributes
    ----------
    tremor_hz, tremor_phase
        (W, 2) of the sines along each axis.
    """

    tremor_hz: Array
    tremor_phase: Array

    def at(self, time_s: Array) -> tuple[Array, Array]:
        """Tip and direction, as of any timeline."""
        tip_m, way = super().at(time_s)
        turns = np.asarray(time_s, float)[..., None, None] * self.tremor_hz
        waves = np.sin(2.0 * np.pi * turns + self.tremor_phase).sum(axis=-2)
        return tip_m + TREMOR_STD_M * np.sqrt(2.0 / _WAVES) * waves, way


class _Hand:
    """One stylus and who holds it; its way is written on from wherever it is."""

    def __init__(self, world: World, emitter: int) -> None:
        self._world, self._emitter = world, emitter
        self._random = world.hand(f"{NAME}-{emitter}")
        self.wandering = True
        self.invited = False
        start = self._somewhere()
        way = ways_held(world, emitter, "tip", self._random, 1)[0]
        self._line = Score(emitter, start, way).timeline()
        self._tremor = (
            self._random.uniform(*_TREMOR_HZ, (_WAVES, 2)),
            self._random.uniform(0.0, 2.0 * np.pi, (_WAVES, 2)),
        )

    @property
    def ends_s(self) -> float:
        """Until when its way is written [s]."""
        return float(self._line.time_s[-1])

    def reach(self, tip_m: Array, press: bool, from_s: float) -> None:
        """Go to a place, as a touch of a registration misses it, and stay there."""
        miss = self._world.rig.emitters.touch_std_m[0, self._emitter]
        strays = "registration" in self._world.causes
        landed = np.asarray(tip_m, float) + strays * miss * self._random.standard_normal(2)
        way = ways_held(self._world, self._emitter, "registration", self._random, 1)[0]
        score = self._from(from_s)
        self._go(score, landed, way)
        score.stay(SETTLE_S)
        score.stay(_FOR_EVER_S, lit=press)
        self._play(score, from_s)

    def rest(self, from_s: float) -> None:
        """Lift, and stay where it is."""
        score = self._from(from_s)
        score.stay(SETTLE_S)
        self._play(score, from_s)

    def roam(self, until_s: float) -> None:
        """Draw from place to place until a moment, where nothing else is written."""
        while self.ends_s < until_s:
            from_s = self.ends_s
            score = self._from(from_s)
            ways = ways_held(self._world, self._emitter, "tip", self._random, 2)
            self._go(score, self._somewhere(), ways[0])
            score.stay(SETTLE_S)
            seconds = float(self._random.uniform(*_STROKE_S))
            turn = np.linspace(0.0, 1.0, max(2, int(seconds * 1000)))[1:, None]
            ease = turn**3 * (10.0 - 15.0 * turn + 6.0 * turn * turn)
            start, end = score.tip_m, self._somewhere()
            bend = np.array([start[1] - end[1], end[0] - start[0]]) * self._random.normal(0.0, 0.15)
            path = start + ease * (end - start) + 4.0 * ease * (1.0 - ease) * bend
            path = np.clip(path, 0.0, self._world.size_m)
            score.follow(path, ways[0] + 0.0 * turn, seconds)
            score.stay(float(self._random.uniform(*_REST_S)))
            self._play(score, from_s)

    def timeline(self, from_s: float, until_s: float) -> Timeline:
        """Its way about a span of time; lit without end nowhere."""
        lit_s = np.clip(self._line.lit_s, from_s - _KEPT_S, until_s + _KEPT_S)
        return _Trembling(
            self._emitter,
            self._line.time_s,
            self._line.tip_m,
            self._line.direction,
            lit_s[lit_s[:, 1] > lit_s[:, 0]],
            *self._tremor,
        )

    def _from(self, from_s: float) -> Score:
        """A score that begins where the hand is at a moment."""
        tip_m, way = self._line.at(np.array(from_s))
        return Score(self._emitter, tip_m, way)

    def _go(self, score: Score, tip_m: Array, way: Array) -> None:
        away_m = float(np.hypot(*(tip_m - score.tip_m)))
        score.reach(tip_m, way, move_time(away_m, AIM_M))

    def _play(self, score: Score, from_s: float) -> None:
        """Follow a score from a moment on; what was written after it is dropped."""
        new, old = score.timeline(), self._line
        last = int(np.searchsorted(old.time_s, from_s))
        # What is written may begin so much later than the last frame of a stretch that is yet to
        # be filmed: its first frame needs the way before it too, or the hand would jump there.
        past_s = from_s - _KEPT_S - _AHEAD_S
        first = max(int(np.searchsorted(old.time_s, past_s)) - 1, 0)
        lit_s = np.minimum(old.lit_s[old.lit_s[:, 1] > past_s], from_s)
        lit_s = lit_s[lit_s[:, 1] > lit_s[:, 0]]
        self._line = Timeline(
            self._emitter,
            np.concatenate([old.time_s[first:last], from_s + new.time_s]),
            np.concatenate([old.tip_m[first:last], new.tip_m]),
            np.concatenate([old.direction[first:last], new.direction]),
            np.concatenate([lit_s, from_s + new.lit_s]),
        )

    def _somewhere(self) -> Array:
        """A place on the surface before its holder, not at the edge."""
        width_m, height_m = self._world.size_m
        standing = self._world.cast.standing[self._emitter]
        low_m, high_m = (
            (0.1 * width_m, 0.9 * width_m)
            if standing is None
            else (standing.x_low_m - ARM_M, standing.x_high_m + ARM_M)
        )
        low_m, high_m = np.clip([low_m, high_m], 0.1 * width_m, 0.9 * width_m)
        x_m = self._random.uniform(low_m, high_m)
        return np.array([x_m, self._random.uniform(0.2, 0.8) * height_m])


class Rehearsal:
    """A world whose hands can be asked to places while it is filmed.

    Parameters
    ----------
    world
        Room, camera and cast.
    stream
        By which the pictures are compressed and decoded again; None for raw pictures.

    What is asked begins `REACTION_S` after the newest frame that was handed out. At first every
    hand wanders. Hands may be asked from any thread.
    """

    def __init__(self, world: World, stream: Stream | None = None) -> None:
        self.world = world
        self._stream = stream or RAW
        self._hands = [_Hand(world, emitter) for emitter in range(len(world.cast.carried))]
        self._lock = threading.Lock()
        self._now_s = 0.0

    def invite(self, carried: str, x_m: float, y_m: float, press: bool = True) -> None:
        """Ask whoever holds a thing to a place, to stay there until released.

        Parameters
        ----------
        carried
            Id of what is held.
        x_m, y_m
            Place on the surface [m].
        press
            Whether its light is on there.

        Raises
        ------
        KeyError
            When nobody holds such a thing.
        """
        with self._lock:
            hand = self._hand(carried)
            hand.invited = True
            hand.reach(np.array([x_m, y_m]), press, self._now_s + REACTION_S)

    def release(self, carried: str) -> None:
        """Let whoever holds a thing lift it; they wander on if they did before.

        Raises
        ------
        KeyError
            When nobody holds such a thing.
        """
        with self._lock:
            hand = self._hand(carried)
            hand.invited = False
            hand.rest(self._now_s + REACTION_S)

    def wander(self, on: bool) -> None:
        """Let every hand move on its own, but those that were asked somewhere; or none."""
        with self._lock:
            for hand in self._hands:
                hand.wandering = on
                if not (on or hand.invited):
                    hand.rest(self._now_s + REACTION_S)

    def rehang(self, rig_from_camera: Array) -> None:
        """Hang the camera anew, at a pose (4, 4); frames that are drawn already stay.

        Parameters
        ----------
        rig_from_camera
            Where it then truly stands.
        """
        rig = self.world.rig
        poses = np.array(rig.cameras.rig_from_camera)
        poses[0, self.world.camera] = rig_from_camera
        rig = replace(rig, cameras=rig.cameras.replace(rig_from_camera=poses))
        self.world = replace(self.world, rig=rig)

    def frames(self) -> Iterator[tuple[Frame, TrueState]]:
        """Frames without end, each with its truth; their time begins at 0."""
        world = self.world  # whatever hangs anew meanwhile, its size, rate and sensor stay
        # The noise of the camera alone: no script's share of it is switched off here.
        plain = Script(NAME, (), (), 0.0)
        sensor = sensor_of(world, plain)
        sent = self._stream if is_noisy(world, plain) else RAW
        passed = Compressor(sent, world.size_px, world.frame_rate_hz)

        for frame, state in filmed_ahead(
            world.cast.camera,
            world.frame_rate_hz,
            _AHEAD_S,
            lambda times_s: expose(self.world, self._script(times_s), times_s),
            lambda spots: passed(sensor.expose(spots)),
        ):
            self._now_s = frame.capture_ns * 1e-9
            yield frame, state

    def _script(self, times_s: Array) -> Script:
        """What every hand does about some moments."""
        from_s, until_s = float(times_s[0]), float(times_s[-1])
        with self._lock:
            for hand in self._hands:
                if hand.wandering and not hand.invited:
                    hand.roam(until_s + _KEPT_S)
            lines = tuple(hand.timeline(from_s, until_s) for hand in self._hands)
        return Script(NAME, lines, (), until_s)

    def _hand(self, carried: str) -> _Hand:
        if carried not in self.world.cast.carried:
            raise KeyError(f'nobody holds "{carried}"')
        return self._hands[self.world.cast.carried.index(carried)]
