"""Link the dots of successive frames into trails, one for each light.

Each trail is a Kalman filter with constant velocity: it foretells where its dot will be, and how
surely. Dots and trails are paired so that the whole frame is most likely. A trail that finds no
dot coasts on its prediction while its uncertainty grows. Where two trails meet and their spots
melt into one dot, that dot tells where the middle of the pair is and not which is which: both
coast, their middle steered by the dot, until two dots part again and the motion before tells
them apart.
"""

# ruff: noqa: RUF009 – shaped(...) becomes a field of its own in each record

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.optimize import linear_sum_assignment

from rushlight.errors import RushlightError
from rushlight.physics.motion import kalman_predict, kalman_update, process_noise, transition
from rushlight.records.arrays import Array, ArrayRecord, shaped
from rushlight.records.dots import REASONS, Dots

State = Literal["tentative", "held", "coasting"]
STATES: tuple[State, ...] = ("tentative", "held", "coasting")
"""What a trail is, by the number that stands in `TrailLinks.state`."""

TENTATIVE, HELD, COASTING = range(3)

LEAST_QUALITY = 0.5
"""A doubtful dot may continue a trail when at least this much of its light is explained."""

DOUBT_COST = 10.0
"""What a doubtful dot costs more than a good one, in units of squared deviations."""

_CONTINUES = [reason in ("", "faint", "edge of frame", "reflection") for reason in REASONS]
"""Whether a dot with this reason against it may continue a trail."""

MISS_COST = 30.0
"""What it costs to leave a trail without a dot: twice the logarithm of one over the chance of a
miss (1 in 20) and the density of stray dots (10⁻⁵ a square pixel), rounded up. Chosen by trial."""

TENTATIVE_COST = 10.0
"""A tentative trail takes only what confirmed trails leave."""

TURN_LEARNT_S = 0.02
TURN_KEPT_S = 0.2
"""Times over which a trail's turning is averaged, and for which it is believed [s]. Chosen by
trial on simulated hands."""

_OBSERVE = np.hstack([np.eye(2), np.zeros((2, 2))])


@dataclass(frozen=True, eq=False)
class TrailLinks(ArrayRecord):
    """Which dot of a frame belongs to which trail, and where every trail is.

    Attributes
    ----------
    time_ns
        The frame's time [ns].
    trail
        (N,) trail id of each dot; −1 for none, for trails not yet confirmed, and for a dot that
        two trails share.
    shared
        (N, 2) the two trails that share a dot; −1 for a dot of one trail or none.
    live
        (T,) ids of the confirmed trails, rising.
    dot
        (T,) the dot of each live trail; −1 while it coasts.
    state
        (T,) index into `STATES`; live trails are held or coasting.
    xy
        (T, 2) position after this frame's dots [px].
    velocity
        (T, 2) velocity [px/s].
    cov
        (T, 4, 4) covariance of x, y [px] and velocity [px/s].
    births
        Ids confirmed at this frame.
    deaths
        Ids given up at this frame.
    """

    time_ns: int
    births: tuple[int, ...]
    deaths: tuple[int, ...]
    trail: Array = shaped("N", dtype=np.int64)
    shared: Array = shaped("N", 2, dtype=np.int64)
    live: Array = shaped("T", dtype=np.int64)
    dot: Array = shaped("T", dtype=np.int64)
    state: Array = shaped("T", dtype=np.int64)
    xy: Array = shaped("T", 2)
    velocity: Array = shaped("T", 2)
    cov: Array = shaped("T", 4, 4)


@dataclass
class _Trails:
    """The linker's trails as arrays over one leading axis, tentative ones included."""

    id: Array = field(default_factory=lambda: np.zeros(0, np.int64))
    hits: Array = field(default_factory=lambda: np.zeros(0, np.int64))
    seen_ns: Array = field(default_factory=lambda: np.zeros(0, np.int64))
    mean: Array = field(default_factory=lambda: np.zeros((0, 4)))
    cov: Array = field(default_factory=lambda: np.zeros((0, 4, 4)))
    turn: Array = field(default_factory=lambda: np.zeros((0, 2)))
    """Acceleration of late [px/s²]; it only serves to carry on two trails that share a dot."""
    shares: Array = field(default_factory=lambda: np.zeros(0, np.bool_))

    def __len__(self) -> int:
        return len(self.id)

    def keep(self, which: npt.NDArray[np.bool_]) -> None:
        """Drop all trails but these."""
        self.id, self.hits, self.seen_ns = self.id[which], self.hits[which], self.seen_ns[which]
        self.mean, self.cov = self.mean[which], self.cov[which]
        self.turn, self.shares = self.turn[which], self.shares[which]

    def add(self, xy: Array, cov: Array, time_ns: int) -> None:
        """Add tentative trails without an id."""
        count = len(xy)
        self.id = np.concatenate([self.id, np.full(count, -1)])
        self.hits = np.concatenate([self.hits, np.ones(count, np.int64)])
        self.seen_ns = np.concatenate([self.seen_ns, np.full(count, time_ns)])
        self.mean = np.concatenate([self.mean, np.hstack([xy, np.zeros((count, 2))])])
        self.cov = np.concatenate([self.cov, cov])
        self.turn = np.concatenate([self.turn, np.zeros((count, 2))])
        self.shares = np.concatenate([self.shares, np.zeros(count, np.bool_)])


class Linker:
    """Keeps the identity of lights from frame to frame.

    Parameters
    ----------
    agility_px2_s3
        Spectral density of the white acceleration that hands are credited with [px²/s³], > 0.
    confirm_frames
        Frames in a row, each with its dot, after which a trail gets an id, ≥ 1.
    coast_s
        Longest time a trail is kept without a dot of its own [s], ≥ 0.
    gate_sigmas
        Greatest distance of a dot from its prediction, in standard deviations, > 0.
    reach_px
        Greatest distance of a dot from its prediction [px], whatever the uncertainty, > 0.
    merge_px
        Distance at which two spots melt into one dot [px], ≥ 0.
    dot_std_px
        Deviation of a dot that does not know its own [px], > 0.
    speed_std_px_s
        Deviation of the speed of a light that was just found [px/s], > 0.

    Raises
    ------
    RushlightError
        When a setting is outside its range.
    """

    def __init__(
        self,
        *,
        agility_px2_s3: float = 1e6,
        confirm_frames: int = 3,
        coast_s: float = 0.5,
        gate_sigmas: float = 5.0,
        reach_px: float = 60.0,
        merge_px: float = 5.0,
        dot_std_px: float = 0.3,
        speed_std_px_s: float = 800.0,
    ) -> None:
        settings = {
            "agility_px2_s3": (agility_px2_s3, agility_px2_s3 > 0, "must be above 0 px²/s³"),
            "confirm_frames": (confirm_frames, confirm_frames >= 1, "must be 1 frame or more"),
            "coast_s": (coast_s, coast_s >= 0, "must be 0 s or more"),
            "gate_sigmas": (gate_sigmas, gate_sigmas > 0, "must be above 0"),
            "reach_px": (reach_px, reach_px > 0, "must be above 0 px"),
            "merge_px": (merge_px, merge_px >= 0, "must be 0 px or more"),
            "dot_std_px": (dot_std_px, dot_std_px > 0, "must be above 0 px"),
            "speed_std_px_s": (speed_std_px_s, speed_std_px_s > 0, "must be above 0 px/s"),
        }
        for name, (value, fits, allowed) in settings.items():
            if not fits:
                raise RushlightError.of(f"linker: {name}", str(value), allowed, "correct it")
        self.agility_px2_s3 = agility_px2_s3
        self.confirm_frames = confirm_frames
        self.coast_ns = round(coast_s * 1e9)
        self.gate_sigmas = gate_sigmas
        self.reach_px = reach_px
        self.merge_px = merge_px
        self.dot_std_px = dot_std_px
        self.speed_std_px_s = speed_std_px_s
        self._trails = _Trails()
        self._next_id = 0
        self._time_ns: int | None = None
        self._before_ns: int | None = None

    def step(self, time_ns: int, dots: Dots) -> TrailLinks:
        """Link the dots of the next frame.

        Parameters
        ----------
        time_ns
            The frame's time [ns], later than the frame before; intervals may vary.
        dots
            All its dots. Only dots without a reason against them begin a trail; a doubtful one
            may continue a trail when it is faint, at the edge or a reflection and its light is
            mostly explained.

        Returns
        -------
        TrailLinks

        Raises
        ------
        RushlightError
            When time does not advance.
        """
        trails = self._trails
        self._predict(time_ns)
        dot_cov = self._dot_cov(dots)
        owner = np.full(len(trails), -1)
        partner = np.full(len(trails), -1)
        if len(trails) and len(dots):
            owner = self._assign(dots, dot_cov)
            partner = self._meet(dots, owner)
        self._update(time_ns, dots, dot_cov, owner, partner)
        births = self._confirm()
        return self._finish(time_ns, dots, dot_cov, owner, partner, births)

    def _predict(self, time_ns: int) -> None:
        """Carry all trails to the frame's time."""
        if self._time_ns is not None:
            if time_ns <= self._time_ns:
                raise RushlightError.of(
                    "frame time",
                    f"{time_ns} ns",
                    f"is not after the frame before, at {self._time_ns} ns",
                    "give the frames in the order of their capture",
                )
            if len(self._trails):
                dt_s = (time_ns - self._time_ns) * 1e-9
                self._trails.mean, self._trails.cov = kalman_predict(
                    self._trails.mean,
                    self._trails.cov,
                    _for_both_axes(transition(dt_s)),
                    _for_both_axes(process_noise(dt_s, self.agility_px2_s3)),
                )
                if self._trails.shares.any():
                    self._bend(self._trails.shares, dt_s)
        self._before_ns, self._time_ns = self._time_ns, time_ns

    def _bend(self, shares: npt.NDArray[np.bool_], dt_s: float) -> None:
        """Carry on the turning of trails that share a dot: a hand's way is not straight."""
        turn = self._trails.turn[shares]
        self._trails.mean[shares, :2] += 0.5 * turn * dt_s**2
        self._trails.mean[shares, 2:] += turn * dt_s
        self._trails.turn[shares] *= math.exp(-dt_s / TURN_KEPT_S)

    def _dot_cov(self, dots: Dots) -> Array:
        """Covariance of each dot [px²]: its own, or the general one; wider for doubtful dots."""
        unknown = ~np.isfinite(dots.cov).all(axis=(1, 2))
        cov = np.where(unknown[:, None, None], self.dot_std_px**2 * np.eye(2), dots.cov)
        doubt = np.where(dots.reason > 0, 9.0, 1.0)[:, None, None]
        # A hundredth of a pixel keeps a perfect dot's covariance from being singular.
        return doubt * cov + 1e-4 * np.eye(2)

    def _assign(self, dots: Dots, dot_cov: Array) -> npt.NDArray[np.int64]:
        """The dot of each trail, −1 for none, by the most likely pairing of all."""
        trails = self._trails
        offset = dots.xy[None] - trails.mean[:, None, :2]
        spread = trails.cov[:, None, :2, :2] + dot_cov[None]
        a, b, c = spread[..., 0, 0], spread[..., 0, 1], spread[..., 1, 1]
        determinant = a * c - b * b
        x, y = offset[..., 0], offset[..., 1]
        squared = (c * x * x - 2 * b * x * y + a * y * y) / determinant
        near = x * x + y * y < self.reach_px**2
        doubtful = dots.reason > 0
        usable = np.array(_CONTINUES)[dots.reason] & (~doubtful | (dots.quality >= LEAST_QUALITY))
        allowed = near & (squared < self.gate_sigmas**2) & usable
        # What a pairing gains over leaving the trail without a dot and the dot to chance.
        gain = MISS_COST - squared - np.log(determinant)
        gain -= np.where(doubtful, DOUBT_COST, 0.0)
        gain -= np.where(self._held(), 0.0, TENTATIVE_COST)[:, None]
        allowed &= gain > 0.0
        rows, columns = linear_sum_assignment(np.where(allowed, -gain, 0.0))
        fits = allowed[rows, columns]
        owner = np.full(len(trails), -1)
        owner[rows[fits]] = columns[fits]
        return owner

    def _held(self) -> npt.NDArray[np.bool_]:
        """Which trails are confirmed."""
        return self._trails.hits >= self.confirm_frames

    def _meet(self, dots: Dots, owner: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
        """The trail with which each trail shares its dot, −1 for none; shared dots get both."""
        trails = self._trails
        held = self._held()
        partner = np.full(len(trails), -1)
        owners = np.flatnonzero(held & (owner >= 0))
        # Only a trail that was seen a frame ago can have melted into another one since.
        fresh = held & (trails.seen_ns == self._before_ns)
        for lost in np.flatnonzero(fresh & (owner < 0)):
            if len(owners) == 0:
                break
            apart = np.linalg.norm(trails.mean[owners, :2] - trails.mean[lost, :2], axis=1)
            spread = trails.cov[owners] + trails.cov[lost]
            doubt = np.sqrt(0.5 * (spread[:, 0, 0] + spread[:, 1, 1]))
            from_dot = np.linalg.norm(
                dots.xy[owner[owners]] - 0.5 * (trails.mean[owners, :2] + trails.mean[lost, :2]),
                axis=1,
            )
            reach = self.merge_px + np.minimum(2.0 * doubt, self.merge_px)
            meets = (apart < reach) & (from_dot < reach) & (partner[owners] < 0)
            if meets.any():
                other = owners[np.argmin(np.where(meets, apart, np.inf))]
                partner[lost], partner[other] = other, lost
                owner[lost] = owner[other]
        return partner

    def _update(
        self,
        time_ns: int,
        dots: Dots,
        dot_cov: Array,
        owner: npt.NDArray[np.int64],
        partner: npt.NDArray[np.int64],
    ) -> None:
        """Let each dot correct its trail, and each shared dot the middle of its pair."""
        trails = self._trails
        alone = np.flatnonzero((owner >= 0) & (partner < 0))
        if len(alone):
            after = kalman_update(
                trails.mean[alone],
                trails.cov[alone],
                dots.xy[owner[alone]],
                _OBSERVE,
                dot_cov[owner[alone]],
            )
            if self._before_ns is not None:
                dt_s = (time_ns - self._before_ns) * 1e-9
                newer = 1.0 - math.exp(-dt_s / TURN_LEARNT_S)
                turned = (after.mean[:, 2:] - trails.mean[alone, 2:]) / dt_s
                trails.turn[alone] += newer * (turned - trails.turn[alone])
            trails.mean[alone], trails.cov[alone] = after.mean, after.cov
            trails.hits[alone] += 1
            trails.seen_ns[alone] = time_ns
        newly = (partner >= 0) & ~trails.shares
        if newly.any() and self._before_ns is not None:
            self._bend(newly, (time_ns - self._before_ns) * 1e-9)
        trails.shares = partner >= 0
        for one in np.flatnonzero(trails.shares):
            other = partner[one]
            if other < one:
                continue
            pair = [one, other]
            middle = trails.mean[pair, :2].mean(axis=0)
            spread = 0.25 * trails.cov[pair, :2, :2].sum(axis=0) + dot_cov[owner[one]]
            spread += (0.1 * self.merge_px) ** 2 * np.eye(2)
            # The middle is steered; the covariances go on growing, as nothing was learnt of
            # how the two lie to each other.
            pull = np.linalg.solve(spread, dots.xy[owner[one]] - middle)
            trails.mean[pair] += 0.5 * (trails.cov[pair][:, :, :2] @ pull)
            trails.seen_ns[pair] = time_ns

    def _confirm(self) -> tuple[int, ...]:
        """Give ids to the trails that have proved themselves."""
        ready = np.flatnonzero(self._held() & (self._trails.id < 0))
        births = tuple(range(self._next_id, self._next_id + len(ready)))
        self._trails.id[ready] = births
        self._next_id += len(ready)
        return births

    def _finish(
        self,
        time_ns: int,
        dots: Dots,
        dot_cov: Array,
        owner: npt.NDArray[np.int64],
        partner: npt.NDArray[np.int64],
        births: tuple[int, ...],
    ) -> TrailLinks:
        """Write down the frame, drop dead trails, and begin new ones from the dots left over."""
        trails = self._trails
        trail = np.full(len(dots), -1)
        shared = np.full((len(dots), 2), -1)
        alone = (owner >= 0) & (partner < 0)
        trail[owner[alone]] = trails.id[alone]
        for one in np.flatnonzero(partner >= 0):
            shared[owner[one]] = sorted((trails.id[one], trails.id[partner[one]]))
        held = self._held()
        stale = np.where(held, time_ns - trails.seen_ns > self.coast_ns, owner < 0)
        deaths = tuple(int(one) for one in np.sort(trails.id[stale & held]))
        live = np.flatnonzero(held & ~stale)
        live = live[np.argsort(trails.id[live])]
        links = TrailLinks(
            time_ns=time_ns,
            births=births,
            deaths=deaths,
            trail=trail,
            shared=shared,
            live=trails.id[live],
            dot=np.where(alone, owner, -1)[live],
            state=np.where(alone[live], HELD, COASTING),
            xy=trails.mean[live, :2],
            velocity=trails.mean[live, 2:],
            cov=trails.cov[live],
        )
        if stale.any():
            trails.keep(~stale)
        free = dots.reason == 0
        free[owner[owner >= 0]] = False
        if free.any():
            cov = np.zeros((int(free.sum()), 4, 4))
            cov[:, :2, :2] = dot_cov[free]
            cov[:, 2:, 2:] = self.speed_std_px_s**2 * np.eye(2)
            trails.add(dots.xy[free], cov, time_ns)
        return links


def _for_both_axes(matrix: Array) -> Array:
    """A matrix for [position, speed] made one for [x, y, speed of x, speed of y]."""
    both = np.zeros((4, 4))
    both[0::2, 0::2] = matrix
    both[1::2, 1::2] = matrix
    return both


def nearest_live(links: TrailLinks, xy: npt.ArrayLike) -> int:
    """The live trail nearest to a place, −1 when there is none.

    Parameters
    ----------
    links
        The frame's links.
    xy
        (2,) the place [px].

    Returns
    -------
    int
        Trail id.
    """
    if len(links.live) == 0:
        return -1
    gap = np.asarray(xy, float) - links.xy
    distance = [math.hypot(x, y) for x, y in gap]
    return int(links.live[int(np.argmin(distance))])
