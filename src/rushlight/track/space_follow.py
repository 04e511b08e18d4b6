"""Frames of all cameras in; fixes of everything that moves in space, links and events out."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from time import perf_counter

import numpy as np

from rushlight.physics.geometry import quaternion_from_matrix
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots, Frame
from rushlight.records.session import Event, Fix, TrailLink
from rushlight.records.space import Thing
from rushlight.track.space_cameras import SpaceCameras
from rushlight.track.space_codes import TrailCodes
from rushlight.track.space_moments import Moment, Moments, Seen
from rushlight.track.space_names import Followed, Names, shared_weights
from rushlight.track.space_pose import main_cov
from rushlight.track.space_thing import ThingAt, ThingFollower


@dataclass(frozen=True)
class SpaceFollowed:
    """What became of one moment.

    Attributes
    ----------
    moment
        When, and what was seen.
    fixes, links, events
        As a session keeps them. A link's trail is the light's number among the rig's.
    seconds
        Time that it took to compute [s], detection left out.
    """

    moment: Moment
    fixes: tuple[Fix, ...]
    links: tuple[TrailLink, ...]
    events: tuple[Event, ...]
    seconds: float


@dataclass(frozen=True)
class Detected:
    """One camera's frame with its dots.

    Attributes
    ----------
    camera
        The camera's place in the rig.
    frame, dots
        The frame, and everything found in it.
    """

    camera: int
    frame: Frame
    dots: Dots


class SpaceFollower:
    """Follows everything that moves in space, knowing nothing yet.

    Parameters
    ----------
    cameras
        As registered.
    things
        What may be seen.
    exposures_s
        (C,) of the cameras' frames [s], by which blinking is read; as good as none by default.
    wait_ns
        As of `rushlight.track.space_moments.Moments`.
    """

    def __init__(
        self,
        cameras: SpaceCameras,
        things: Sequence[Thing],
        exposures_s: Sequence[float] = (),
        wait_ns: int | None = None,
    ) -> None:
        self._cameras = cameras
        exposures_s = exposures_s or [0.0] * len(cameras)
        codes = [TrailCodes(things, each) for each in exposures_s]
        self._moments = Moments(cameras, codes, wait_ns)
        # Whatever has most lights is the least likely to be mistaken.
        ordered = sorted(things, key=lambda thing: -len(thing.lights))
        self._followers = [ThingFollower(cameras, thing) for thing in ordered]
        self._names = Names(cameras, things)
        self._linked: dict[tuple[int, int], int] = {}

    def step(self, detected: Sequence[Detected]) -> list[SpaceFollowed]:
        """Take the next frames, each camera's in order, and give what is complete by them.

        Parameters
        ----------
        detected
            Frames with their dots; a moment is complete when every camera has seen beyond it.
        """
        done = []
        for one in detected:
            frame = one.frame
            for moment in self._moments.put(one.camera, frame.index, frame.capture_ns, one.dots):
                done.append(self._follow(moment))
        return done

    @property
    def late(self) -> list[int]:
        """By camera, frames that came after moments of their time had gone without them."""
        return self._moments.late

    def rest(self) -> list[SpaceFollowed]:
        """What still waits when no more frames come, for ever or for now."""
        return [self._follow(moment) for moment in self._moments.rest()]

    def _follow(self, moment: Moment) -> SpaceFollowed:
        began = perf_counter()
        free = list(moment.seen)
        places: list[tuple[Thing, ThingAt, list[Seen | None]]] = []
        events: list[Event] = []
        now: dict[str, Followed] = {}
        # Those that are followed claim their dots before others are looked for.
        for follower in sorted(self._followers, key=lambda one: not one.followed):
            known, coasted = follower.followed, follower.coasting
            at = follower.step(moment.time_ns, free)
            anew = at is not None and not at.predicted and (coasted or not known)
            now[follower.thing.id] = Followed(at, known, anew, follower.reach_m, free)
            if at is not None:
                places.append((follower.thing, at, free))
                free = _without(free, at)
            if known != follower.followed:
                events.append(_event(moment, follower.thing.id, follower.followed))
        self._names.step(now)
        fixes: list[Fix] = []
        links: list[TrailLink] = []
        for thing, at, left in places:
            weights = shared_weights(at.weights, self._names.shared(thing.id))
            at = replace(at, weights=weights)
            fixes.append(self._fix(moment, thing, at))
            links += self._links(moment, thing, at, left)
        return SpaceFollowed(
            moment, tuple(fixes), tuple(links), tuple(events), perf_counter() - began
        )

    def _fix(self, moment: Moment, thing: Thing, at: ThingAt) -> Fix:
        pose = at.found.pose
        used = sorted(set(at.found.named.camera.tolist()))
        return Fix(
            capture_ns=moment.time_ns,
            valid_ns=moment.time_ns,
            detect_ns=-1,
            map_ns=-1,
            sent_ns=-1,
            frame=moment.frame,
            carried=thing.id,
            point=thing.main,
            trail=thing.lights[0],
            dimensions=6 if thing.solved_as == "pose" else 3,
            surface=None,
            switch=True,
            cameras=tuple(self._cameras.ids[camera] for camera in used),
            predicted=at.predicted,
            hypotheses=at.weights,
            position_m=pose[:3, :3] @ thing.point_m() + pose[:3, 3],
            quaternion=quaternion_from_matrix(pose[:3, :3]),
            cov=main_cov(thing, pose, at.found.cov),
        )

    def _links(
        self, moment: Moment, thing: Thing, at: ThingAt, free: Sequence[Seen | None]
    ) -> list[TrailLink]:
        links = []
        named = at.found.named
        for camera, light, dot in zip(named.camera, named.light, named.dot, strict=True):
            own = free[camera]
            assert own is not None
            # Two moments may fall between the same frames of a camera.
            if self._linked.get((int(camera), thing.lights[light])) == own.frame:
                continue
            self._linked[int(camera), thing.lights[light]] = own.frame
            links.append(
                TrailLink(
                    camera=self._cameras.ids[camera],
                    frame=own.frame,
                    dot=int(own.dot[dot]),
                    trail=thing.lights[light],
                    carried=thing.id,
                    emitter=thing.light_ids[light],
                    confidence=at.weights[0],
                    state="held",
                )
            )
        return links


def _without(free: Sequence[Seen | None], at: ThingAt) -> list[Seen | None]:
    """The dots that a thing has not claimed."""
    left: list[Seen | None] = []
    named = at.found.named
    for camera, own in enumerate(free):
        if own is None:
            left.append(None)
            continue
        kept = np.setdiff1d(np.arange(len(own.xy)), named.dot[named.camera == camera])
        left.append(own.keep(kept))
    return left


def _event(moment: Moment, thing: str, found: bool) -> Event:
    return Event(
        time_ns=moment.time_ns,
        kind="found" if found else "lost",
        carried=thing,
        frame=moment.frame,
        detail="its lights are recognised" if found else "too few of its lights are seen",
        capture_ns=moment.time_ns,
    )


def follow_space(
    frames: Iterator[tuple[int, Frame]],
    detectors: Sequence[Callable[[Array], Dots]],
    follower: SpaceFollower,
) -> Iterator[tuple[Detected, list[SpaceFollowed]]]:
    """Every frame with its dots, and the moments complete by it.

    Parameters
    ----------
    frames
        Of all cameras in the order of time, each with the camera's place in the rig.
    detectors
        By camera, from a picture to its dots.
    follower
        To which everything is given; what waits at the end comes with the last frame.
    """
    last: Detected | None = None
    for camera, frame in frames:
        if frame.image is None:
            continue
        if last is not None:
            yield last, follower.step([last])
        last = Detected(camera, frame, detectors[camera](frame.image))
    if last is not None:
        yield last, [*follower.step([last]), *follower.rest()]
