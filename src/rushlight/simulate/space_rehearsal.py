"""Heads and hands in space that do as they are asked while a camera films.

As `rehearsal` does for hands on a surface: lights, lens and noise are those of all simulated
footage in space. Every constant here is invented.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator

import numpy as np

from rushlight.physics.geometry import quaternion_from_matrix
from rushlight.physics.geometry.rotation import facing_angles, rotation_of_facing
from rushlight.records.arrays import Array
from rushlight.records.dots import Frame
from rushlight.records.rig import Stream
from rushlight.records.space import Thing
from rushlight.records.space_plan import PlannedMark
from rushlight.simulate.compress import Compressor
from rushlight.simulate.hands import REACTION_S
from rushlight.simulate.rehearsal import NAME, filmed_ahead
from rushlight.simulate.space_expose import SpaceState, expose_space
from rushlight.simulate.space_frames import RAW, space_sensor
from rushlight.simulate.space_paths import MOVE_M_S, MOVE_S, Path
from rushlight.simulate.space_scripts import SpaceScript, stand_by_mark
from rushlight.simulate.space_world import SpaceWorld

WANDER_M_S = 0.1
"""Root-mean-square speed of a head that looks about on its own, along each axis at most [m/s]."""

REACH = 0.7
"""Share of its zone, and of its turning, that it wanders over."""

_RATIOS = np.array([1.0, 1.37, 0.71, 0.53, 0.67, 0.43])
_AHEAD_S = 0.1  # filmed in one go; less than the reaction, so that nothing asked comes too late
_KNOT_S = 1e-3

Way = Callable[[Array], Array]
"""Times (...) [s] to place and turning (..., 6): x, y, z [m], turn, nod, lean [rad]."""


def _staying(where: Array) -> Way:
    """To be at one place (6,), turned one way."""
    return lambda time_s: np.broadcast_to(where, (*np.shape(time_s), 6))


class _Head:
    """One thing and its way; what is asked is blended into it, from rest to rest."""

    def __init__(self, thing: Thing, random: np.random.Generator) -> None:
        self.thing = thing
        half = np.concatenate([(thing.high_m - thing.low_m) / 2.0, thing.ranges_rad]) * REACH
        middle = np.concatenate([(thing.low_m + thing.high_m) / 2.0, np.zeros(3)])
        # A sine of amplitude a and frequency f has a root-mean-square speed of √2 π a f.
        widest_m = max(float(half[:3].max()), 1e-3)
        rate_hz = WANDER_M_S / (np.sqrt(2.0) * np.pi * widest_m)
        rates = rate_hz * _RATIOS * random.uniform(0.9, 1.1, 6)
        starts = random.uniform(0.0, 2.0 * np.pi, 6)

        def wandering(time_s: Array) -> Array:
            turns = 2.0 * np.pi * np.asarray(time_s, float)[..., None] * rates + starts
            return np.asarray(middle + half * np.sin(turns))

        self.wandering: Way = wandering
        self._way: Way = wandering
        self._old: Way | None = None
        self._begins_s, self._takes_s = 0.0, 0.0

    def go(self, way: Way, from_s: float, away_m: float) -> None:
        """Change over to another way from a moment on, at about the speed people move."""
        self._old = self._now()
        self._way, self._begins_s = way, from_s
        self._takes_s = max(MOVE_S, away_m / MOVE_M_S)

    def at(self, time_s: Array) -> Array:
        """Place and turning at some times (..., 6)."""
        return self._now()(time_s)

    def settle(self, past_s: float) -> None:
        """Forget the way before the last, once nobody asks for that time any more."""
        if self._old is not None and past_s > self._begins_s + self._takes_s:
            self._old = None

    def _now(self) -> Way:
        old, way, begins_s, takes_s = self._old, self._way, self._begins_s, self._takes_s
        if old is None:
            return way

        def blended(time_s: Array) -> Array:
            share = np.clip((np.asarray(time_s, float) - begins_s) / takes_s, 0.0, 1.0)[..., None]
            share = share**3 * (10.0 - 15.0 * share + 6.0 * share**2)
            return (1.0 - share) * old(time_s) + share * way(time_s)

        return blended


class SpaceRehearsal:
    """A world in space whose things can be asked to places while one camera films.

    Parameters
    ----------
    world
        Room, cameras and things.
    camera : int
        Which camera films.
    stream
        By which the pictures are compressed and decoded again; None for raw pictures.

    What is asked begins `REACTION_S` after the newest frame that was handed out. At first
    everything wanders within its zone. It may be asked from any thread.
    """

    def __init__(self, world: SpaceWorld, camera: int = 0, stream: Stream | None = None) -> None:
        self.world, self.camera = world, camera
        self._stream = stream or RAW
        self._heads = [
            _Head(thing, world.hand(f"{NAME}-{thing.id}")) for thing in world.space.things
        ]
        self._lock = threading.Lock()
        self._hand = world.hand("registration")
        self._now_s = 0.0

    def look(self, x_m: float, y_m: float, z_m: float, carried: str | None = None) -> None:
        """Ask a thing to bring its point to a place, not turned, and to stay there.

        Parameters
        ----------
        x_m, y_m, z_m
            In the rig [m]; beyond its zone it goes to the zone's edge.
        carried
            Id of the thing; the first when left out.

        Raises
        ------
        KeyError
            When there is no such thing.
        """
        with self._lock:
            head = self._head(carried)
            place = np.clip([x_m, y_m, z_m], head.thing.low_m, head.thing.high_m)
            self._go(head, _staying(np.concatenate([place, np.zeros(3)])))

    def take(self, mark: PlannedMark) -> None:
        """Ask for one step of a registration: to look past its marks or to place on its mark, as
        exactly as people do, and to stay there.

        Parameters
        ----------
        mark
            Of the step.

        Raises
        ------
        RushlightError
            When no thing of this room can take it.
        """
        with self._lock:
            thing, place_m, rotation = stand_by_mark(self.world, mark, self._hand)
            wanted = np.concatenate([place_m, facing_angles(rotation)])
            self._go(self._head(thing.id), _staying(wanted))

    def wander(self, on: bool) -> None:
        """Let everything move on its own, or stay where it is then."""
        with self._lock:
            for head in self._heads:
                if on:
                    self._go(head, head.wandering)
                else:
                    self._go(head, _staying(head.at(np.array(self._now_s + REACTION_S))))

    def frames(self) -> Iterator[tuple[Frame, SpaceState]]:
        """Frames without end, each with its truth; their time begins at 0."""
        world, camera = self.world, self.camera
        rate_hz = world.frame_rate_hz(camera)
        sensor = space_sensor(world, SpaceScript(NAME, (), (), (), 0.0), camera)
        sent = self._stream if world.noisy(NAME) else RAW
        passed = Compressor(sent, world.size_px(camera), rate_hz)

        for frame, state in filmed_ahead(
            world.space.camera_ids[camera],
            rate_hz,
            _AHEAD_S,
            lambda times_s: expose_space(world, self._script(times_s), camera, times_s),
            lambda spots: passed(sensor.expose(spots)),
        ):
            self._now_s = frame.capture_ns * 1e-9
            yield frame, state

    def places_m(self, time_s: Array, carried: str | None = None) -> Array:
        """Where a thing's point truly is at times (...) [s]: (..., 3) [m]; of the near past."""
        with self._lock:
            return self._head(carried).at(np.asarray(time_s, float))[..., :3]

    def _script(self, times_s: Array) -> SpaceScript:
        """What everything does about some moments."""
        # An exposure and the rows of a rolling shutter lie about the moment of a frame.
        margin_s = 1.0 / self.world.frame_rate_hz(self.camera)
        from_s, until_s = float(times_s[0]) - margin_s, float(times_s[-1]) + margin_s
        knots = np.linspace(from_s, until_s, max(2, int((until_s - from_s) / _KNOT_S) + 1))
        paths = []
        with self._lock:
            for head in self._heads:
                head.settle(from_s)
                way = head.at(knots)
                four = quaternion_from_matrix(rotation_of_facing(*way[..., 3:].T))
                paths.append(Path(head.thing.id, knots, way[..., :3], four))
        return SpaceScript(NAME, tuple(paths), (), (), until_s)

    def _go(self, head: _Head, way: Way) -> None:
        from_s = self._now_s + REACTION_S
        step = way(np.array(from_s))[:3] - head.at(np.array(from_s))[:3]
        head.go(way, from_s, float(np.linalg.norm(step)))

    def _head(self, carried: str | None) -> _Head:
        if carried is None:
            return self._heads[0]
        for head in self._heads:
            if head.thing.id == carried:
                return head
        raise KeyError(f'nobody carries "{carried}"')
