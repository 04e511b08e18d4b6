"""One thing followed from moment to moment: its pose foretold, its dots named, its pose found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rushlight.physics.geometry.pose_fit import Belief, belief_of_facing
from rushlight.physics.geometry.rotation import pose_difference, pose_moved
from rushlight.records.arrays import Array
from rushlight.records.space import Thing, within_zone
from rushlight.track.space_cameras import SpaceCameras
from rushlight.track.space_coast import WAY_S, Pace, as_belief, coasting, useless
from rushlight.track.space_codes import could_be
from rushlight.track.space_moments import Seen
from rushlight.track.space_others import weigh_again
from rushlight.track.space_pose import Found, Named, agreed, likeliest, no_dots
from rushlight.track.space_start import Start, joined, paired, start

AGILITY_M_S2, AGILITY_RAD_S2 = 25.0, 150.0
"""How hard hands change the way of a thing, and its turning; our choice, no source."""
UNKNOWN_M_S = 2.0
"""Speed that a thing is credited with before it was seen twice; our choice."""
FEW_S, NONE_S = 1.0, 0.25
"""For how long a thing is kept at most by too few dots, and by none [s]; our choice."""
GATE = 4.0
"""Deviations from where a dot is foretold, within which it is looked for; our choice."""
_LEAST_GATE_PX, _SMOOTHED = 0.7, 0.5
_RECENT_S, _MOST_RAD_S = 0.1, 20.0  # these four are our choice too, no source


@dataclass(frozen=True)
class ThingAt:
    """What is known of one thing at one moment.

    Attributes
    ----------
    found
        Its pose and the dots it rests on.
    weights
        Of what it could be, this first.
    predicted
        Whether it was coasted on too few dots or none.
    began
        Whether it was found anew.
    """

    found: Found
    weights: tuple[float, ...]
    predicted: bool
    began: bool


class ThingFollower:
    """Follows one thing.

    Parameters
    ----------
    cameras, thing
        The rig's cameras, and what is followed.
    """

    def __init__(self, cameras: SpaceCameras, thing: Thing) -> None:
        self.thing = thing
        self._cameras = cameras
        self._belief = belief_of_facing(thing.ranges_rad)
        self._pose: Array | None = None
        self._rate: Array | None = None
        self._time_ns = self._full_ns = 0
        self._full_rate: Array | None = None
        self._full: Found | None = None
        self._pace = Pace()
        self.reach_m = 0.0
        """How far from where it was foretold its dots were looked for at the last moment [m]."""
        self._found: Found | None = None
        self._others: tuple[Found, ...] = ()
        self._weights: tuple[float, ...] = (1.0,)

    @property
    def followed(self) -> bool:
        """Whether it is known where the thing is."""
        return self._pose is not None

    @property
    def coasting(self) -> bool:
        """Whether it is followed, but was not seen whole at the last moment."""
        return self._pose is not None and self._time_ns != self._full_ns

    def step(self, time_ns: int, free: list[Seen | None]) -> ThingAt | None:
        """The thing at the next moment.

        Parameters
        ----------
        time_ns
            Of the moment [ns].
        free
            By camera, the dots that nothing else has claimed.

        Returns
        -------
        ThingAt or None
            None while it is not known where the thing is.
        """
        if self._pose is None:
            self.reach_m = 0.0
            return self._begin(time_ns, free, None)
        foretold, spread = self._foretold(time_ns)
        self.reach_m = GATE * float(spread[0] + spread[1] * self._arm_m())
        if self._too_vague(spread):
            again = self._begin(time_ns, free, Belief(foretold, np.zeros((6, 6))))
            if again is not None:
                return again
        named = self._named(foretold, spread, free)
        found = agreed(self._cameras, self.thing, named, foretold, self._belief, True)
        if found is not None and within_zone(self.thing, found.pose[None])[0]:
            return self._keep(time_ns, self._weighed(found))
        around = Belief(foretold, np.zeros((6, 6)))
        again = self._begin(time_ns, free, around)
        return again if again is not None else self._coast(time_ns, named)

    def _begin(
        self, time_ns: int, free: list[Seen | None], around: Belief | None
    ) -> ThingAt | None:
        begun: Start | None = start(self._cameras, self.thing, free, around)
        if begun is None:
            return None
        was_followed = self._pose is not None
        if was_followed:
            self.reach_m = np.inf  # sought anew, wherever its dots may be
        self._rate = self._rate_to(begun.found.pose, time_ns)
        self._found, self._others, self._weights = begun
        if not was_followed:
            self._pace = Pace()
        self._seen_whole(time_ns, begun.found)
        return ThingAt(begun.found, self._weights, False, not was_followed)

    def _weighed(self, found: Found) -> Found:
        """The pose that is taken once all that it could be are weighed by this moment's dots."""
        three = len(self.thing.lights) == 3 and self.thing.solved_as == "pose"
        if self._found is None or not (self._others or three):
            self._found, self._weights = found, (1.0,)
            return found
        self._found, self._others, self._weights = weigh_again(
            self._cameras, self.thing, self._belief, found, self._found, self._others
        )
        return self._found

    def _rate_to(self, pose: Array, time_ns: int) -> Array | None:
        """How a thing moved since it was last seen; None where that is long ago, or too far."""
        gap_s = (time_ns - self._time_ns) * 1e-9
        if self._pose is None or not 0.0 < gap_s <= _RECENT_S:
            return None
        rate = pose_difference(pose, self._pose) / gap_s
        return rate if np.linalg.norm(rate[3:]) <= _MOST_RAD_S else None

    def _foretold(self, time_ns: int) -> tuple[Array, Array]:
        """Pose at a moment, and deviation of place [m] and turn [rad] from it: (4, 4), (2,)."""
        assert self._pose is not None
        gap_s = (time_ns - self._time_ns) * 1e-9
        since_s = (time_ns - self._full_ns) * 1e-9
        spread = 0.5 * np.array([AGILITY_M_S2, AGILITY_RAD_S2]) * since_s**2
        if self._rate is None:
            spread += UNKNOWN_M_S * since_s * np.array([1.0, 1.0 / self._arm_m()])
            return self._pose, spread
        return pose_moved(self._pose, self._rate * gap_s), spread

    def _arm_m(self) -> float:
        """How far its lights stand from the point that counts, 0.1 m at least [m]."""
        away = np.linalg.norm(self.thing.lights_m - self.thing.point_m(), axis=-1)
        return max(float(away.max()), 0.1)

    def _too_vague(self, spread: Array) -> bool:
        """Whether one light may be where another is foretold."""
        lights = self.thing.lights_m
        if len(lights) < 2:
            return False
        apart = np.linalg.norm(lights[:, None] - lights, axis=-1)
        nearest = float(apart[~np.eye(len(lights), dtype=bool)].min())
        reach = float(np.linalg.norm(lights - self.thing.point_m(), axis=-1).max())
        return bool(spread[0] + spread[1] * reach > nearest / 2.0)

    def _named(self, foretold: Array, spread: Array, free: list[Seen | None]) -> Named:
        """The dots nearest to where the lights are foretold, within what hands can do."""
        arm = np.matvec(foretold[:3, :3], self.thing.lights_m)
        main = foretold[:3, :3] @ self.thing.point_m()
        reach = np.linalg.norm(arm - main, axis=-1)
        moved = spread[0] ** 2 + (spread[1] * reach) ** 2 + self.thing.lights_std_m**2
        parts = []
        for camera, own in enumerate(free):
            if own is None or not len(own.xy):
                continue
            sight = self._cameras.sight(arm + foretold[:3, 3], camera)
            square = sight.by_point @ np.swapaxes(sight.by_point, -1, -2)
            doubt = (
                moved[:, None, None] * square
                + self._cameras.doubt_px2(sight, np.full(len(arm), camera))
                + _LEAST_GATE_PX**2 * np.eye(2)
            )
            seen = np.isfinite(doubt).all(axis=(-2, -1))
            doubt = np.where(seen[:, None, None], doubt, np.eye(2))
            missed = own.xy[None] - sight.px[:, None]
            cost = np.einsum("lni,lij,lnj->ln", missed, np.linalg.inv(doubt), missed)
            possible = seen[:, None] & could_be(self.thing, own.light)
            parts.append(paired(camera, own, np.where(possible, cost, np.inf), GATE**2))
        return joined(parts)

    def _keep(self, time_ns: int, found: Found) -> ThingAt:
        """Take a pose that rests on dots enough."""
        assert self._full is not None
        # From where it had only drifted to, no way is told.
        gap_s = (time_ns - self._full_ns) * 1e-9
        if gap_s > _RECENT_S:
            self._rate = None
        elif gap_s > 0.0:
            rate, was = pose_difference(found.pose, self._full.pose) / gap_s, self._rate
            share = 1.0 if was is None or self.coasting else _SMOOTHED
            self._rate = rate if was is None else share * rate + (1 - share) * was
            self._pace.moved(self._rate, gap_s)
        self._seen_whole(time_ns, found)
        return ThingAt(found, self._weights, False, False)

    def _seen_whole(self, time_ns: int, found: Found) -> None:
        self._pose, self._time_ns, self._full_ns = found.pose, time_ns, time_ns
        self._full, self._full_rate = found, self._rate

    def _coast(self, time_ns: int, named: Named) -> ThingAt | None:
        """Too few dots, or none: it drifts on from where it was last seen whole, and a dot that
        is seen is believed. What the dots do not tell becomes the more doubtful the longer."""
        assert self._full is not None
        since_s = (time_ns - self._full_ns) * 1e-9
        some = len(named.light) > 0
        std = self._pace.std(UNKNOWN_M_S * np.array([1.0, 1.0 / self._arm_m()]))
        pose, cov = coasting(
            self.thing, self._full.pose, self._full.cov, self._full_rate, std, since_s
        )
        found = Found(pose, cov, no_dots(), np.zeros(0), 0.0)
        if some:
            belief, begin = as_belief(pose, cov), self._along_dots(pose, named)
            near = likeliest(self._cameras, self.thing, named, begin, belief)
            # Dots that no pose near fits at all are none of the thing's.
            some = bool(np.isfinite(near.misfit) and np.isfinite(near.cov).all())
            found = near if some else found
        vague = useless(self.thing, found.pose, found.cov)
        if vague or since_s > (FEW_S if some else NONE_S):
            self._pose = self._rate = None
            return None
        if self._rate is not None:
            self._rate = self._rate * np.exp(-(time_ns - self._time_ns) * 1e-9 / WAY_S)
        self._pose, self._time_ns = found.pose, time_ns
        return ThingAt(found, self._weights, True, False)

    def _along_dots(self, pose: Array, named: Named) -> Array:
        """A pose moved aside, its range kept, so that its lights fall on their dots."""
        lights = self.thing.lights_m[named.light]
        places = np.matvec(pose[:3, :3], lights) + pose[:3, 3]
        sight = self._cameras.sight(places, named.camera)
        missed = named.xy - sight.px
        by = sight.by_point
        step = np.mean(np.matvec(np.linalg.pinv(by), missed), axis=0)
        return pose_moved(pose, [*step, 0.0, 0.0, 0.0]) if np.isfinite(step).all() else pose
