"""Where the light was held still: touches in footage, and which beacon each belongs to."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from rushlight.errors import Finding, RushlightError
from rushlight.records.arrays import Array
from rushlight.records.dots import Dots
from rushlight.records.session import ShownGoal

LEAST_HOLD_S = 0.3
"""A light that stays for less was passing (our own choice; a beacon asks for 0.6 s)."""

STILL_PX = 1.0
"""How far a held light may stray from its mean: tremor and fit noise together."""

STEP_PX = 6.0
"""How far a dot may move between frames and still be the same light."""

GAP_S = 0.1
"""A light may flicker out for this long without ending its touch."""

OWN_GLOW_WIDTHS = 5.0
"""Dots nearer than so many of their widths are one stylus's: its light, and its glow on the wall.

While beacons are touched one at a time, nothing else can be so near (our own choice).
"""

STANDING_S = 4.0
"""A light that stays for longer, and for over half the footage, is part of the room."""


@dataclass(frozen=True, eq=False)
class Hold:
    """One light held still.

    Attributes
    ----------
    from_ns, until_ns
        First and last frame that count [ns].
    px, px_cov
        (2,) mean of its dots [px], and (2, 2) covariance of that mean [px²].
    frames
        Number of dots averaged.
    flux
        Mean light of its dots [grey levels × px]; NaN when unknown.
    """

    from_ns: int
    until_ns: int
    px: Array
    px_cov: Array
    frames: int
    flux: float

    @property
    def length_ns(self) -> int:
        """How long it lasted [ns]."""
        return self.until_ns - self.from_ns


@dataclass(eq=False)
class FollowedLight:
    """A dot followed while it is lit and nearly at rest."""

    times: list[int] = field(default_factory=list)
    xy: list[Array] = field(default_factory=list)
    cov: list[Array] = field(default_factory=list)
    flux: list[float] = field(default_factory=list)

    def add(self, time_ns: int, dots: Dots, which: int) -> None:
        """Its dot in one more frame."""
        self.times.append(time_ns)
        self.xy.append(dots.xy[which])
        self.cov.append(dots.cov[which])
        self.flux.append(float(dots.flux[which]))


def find_holds(
    seen: Iterable[tuple[int, Dots]], least_s: float = LEAST_HOLD_S
) -> tuple[list[Hold], list[Finding]]:
    """Where, and when, was a light held still?

    Parameters
    ----------
    seen
        Capture time [ns] and dots of every frame, in order of time.
    least_s
        Least length of a hold [s].

    Returns
    -------
    holds
        In order of time, one light at a time: of two at once the brighter is taken, and lights
        that are part of the room are left out.
    findings
        A warning for each light that was passed over.
    """
    holds: list[Hold] = []
    lit: list[FollowedLight] = []
    first = last = None
    for time_ns, dots in seen:
        first = time_ns if first is None else first
        last = time_ns
        ended = [light for light in lit if (time_ns - light.times[-1]) * 1e-9 > GAP_S]
        lit = [light for light in lit if light not in ended]
        holds += [hold for light in ended for hold in _still_parts(light, least_s)]
        lit += follow_lights(lit, time_ns, with_own_glow(dots.good()))
    holds += [hold for light in lit for hold in _still_parts(light, least_s)]
    whole_ns = 0 if first is None or last is None else last - first
    room = [h for h in holds if h.length_ns > max(STANDING_S * 1e9, whole_ns / 2)]
    findings = [
        _passed_over(hold, "is lit nearly all the time, so it belongs to the room") for hold in room
    ]
    moving = sorted((h for h in holds if h not in room), key=lambda hold: hold.from_ns)
    alone, doubled = _brightest_at_once(moving)
    findings += [_passed_over(hold, "shines beside a brighter light") for hold in doubled]
    return alone, findings


def with_own_glow(dots: Dots) -> Dots:
    """Each light and its glow on the wall as one dot, where a detector tells them apart.

    A detector may see light and glow as one spot in one frame and as two in the next. Together
    they stand at the mean by their light, which is near where the fit of one spot settles, and
    which a plan predicts.

    Parameters
    ----------
    dots
        Of one frame in which styli are far apart.

    Returns
    -------
    Dots
        The brightest first of each group, moved to the group's mean; the others are left out.
    """
    if len(dots) < 2:
        return dots
    xy, cov, flux = dots.xy.copy(), dots.cov.copy(), np.nan_to_num(dots.flux)
    width = np.nan_to_num(np.sqrt(dots.width[:, [0, 2]].mean(axis=1)), nan=1.0)
    left = np.ones(len(dots), bool)
    chief = []
    for which in np.argsort(-flux):
        if not left[which]:
            continue
        near = np.linalg.norm(dots.xy - dots.xy[which], axis=1) <= OWN_GLOW_WIDTHS * width[which]
        group = np.flatnonzero(left & near)
        left[group] = False
        share = flux[group] / flux[group].sum() if flux[group].sum() > 0 else np.zeros(len(group))
        if len(group) > 1 and share.sum() > 0:
            xy[which] = share @ dots.xy[group]
            cov[which] = np.einsum("n,nij->ij", share**2, dots.cov[group])
        flux[which] = flux[group].sum()
        chief.append(int(which))
    return Dots(
        xy=xy[chief],
        cov=cov[chief],
        flux=np.where(np.isnan(dots.flux[chief]), np.nan, flux[chief]),
        width=dots.width[chief],
        peak=dots.peak[chief],
        saturated=dots.saturated[chief],
        quality=dots.quality[chief],
        reason=dots.reason[chief],
    )


def match_goals(
    holds: Sequence[Hold], goals: Sequence[ShownGoal]
) -> tuple[list[tuple[ShownGoal, Hold]], list[Finding]]:
    """Which hold belongs to which beacon, by the times at which the beacons stood?

    Parameters
    ----------
    holds, goals
        In any order.

    Returns
    -------
    pairs
        In the order of showing. Of several holds at one beacon the longest is taken.
    findings
        A warning for each beacon without a hold and each hold that was left over.
    """
    shown = sorted(goals, key=lambda goal: goal.from_ns)
    claims: dict[int, list[Hold]] = {index: [] for index in range(len(shown))}
    findings = []
    for hold in holds:
        overlaps = [
            min(hold.until_ns, goal.until_ns) - max(hold.from_ns, goal.from_ns) for goal in shown
        ]
        best = int(np.argmax(overlaps)) if overlaps else -1
        if best < 0 or overlaps[best] <= 0:
            findings.append(_passed_over(hold, "was held while no beacon stood on the display"))
        else:
            claims[best].append(hold)
    pairs = []
    for index, goal in enumerate(shown):
        rivals = sorted(claims[index], key=lambda hold: hold.length_ns, reverse=True)
        if rivals:
            pairs.append((goal, rivals[0]))
        else:
            findings.append(_missed(goal.place_m))
        findings += [
            _passed_over(hold, "is a second, shorter hold at the same beacon")
            for hold in rivals[1:]
        ]
    return pairs, findings


def match_in_order(
    holds: Sequence[Hold], places_m: Sequence[tuple[float, float]]
) -> list[tuple[tuple[float, float], Hold]]:
    """Which hold belongs to which beacon, when only the order of the beacons is known?

    Parameters
    ----------
    holds
        In order of time.
    places_m
        (x, y) of the beacons in the order in which they were touched [m].

    Raises
    ------
    RushlightError
        When their numbers differ: one missed beacon would shift all that follow.
    """
    if len(holds) != len(places_m):
        raise RushlightError.of(
            "footage",
            f"{len(holds)} held touches",
            f"does not match the {len(places_m)} that the plan asks for (every beacon once with "
            "each stylus), and the times at which the beacons stood are not known",
            "touch every beacon once, in order, for 0.6 s each, or give footage that says when "
            "each beacon stood",
            "touches-and-beacons-differ",
        )
    return [(tuple(place), hold) for place, hold in zip(places_m, holds, strict=True)]


def follow_lights(lit: list[FollowedLight], time_ns: int, dots: Dots) -> list[FollowedLight]:
    """Add each dot to the nearest light that has none in this frame yet; the new lights."""
    free = list(lit)
    born = []
    for which in np.argsort(-np.nan_to_num(dots.flux)):
        steps = [float(np.linalg.norm(dots.xy[which] - light.xy[-1])) for light in free]
        if steps and min(steps) <= STEP_PX:
            free.pop(int(np.argmin(steps))).add(time_ns, dots, int(which))
        else:
            light = FollowedLight()
            light.add(time_ns, dots, int(which))
            born.append(light)
    return born


def still_reach_px(light: FollowedLight) -> float:
    """How far a held light may stray from its mean [px], by the noise of its dots."""
    cov = np.array(light.cov)
    noise = (
        np.sqrt(np.nanmedian(np.trace(cov, axis1=1, axis2=2)) / 2)
        if np.any(np.isfinite(cov))
        else 0.0
    )
    return max(STILL_PX, 4.0 * float(noise))


def _still_parts(light: FollowedLight, least_s: float) -> list[Hold]:
    """The stretches in which a light stayed near its running mean."""
    xy, times = np.array(light.xy), np.array(light.times)
    reach = still_reach_px(light)
    parts = []
    start, total = 0, np.zeros(2)
    for index in range(len(xy) + 1):
        count = index - start
        strays = index == len(xy) or (
            count > 0 and np.linalg.norm(xy[index] - total / count) > reach
        )
        if strays:
            parts.append((start, index))
            start, total = index, np.zeros(2)
        if index < len(xy):
            total = total + xy[index]
    return [
        averaged(light, first, end)
        for first, end in parts
        if (times[end - 1] - times[first]) * 1e-9 >= least_s
    ]


def averaged(light: FollowedLight, first: int, end: int) -> Hold:
    """The mean of a stretch, without its first and last frame where there are enough.

    The light comes on and goes off within those, and the hand lands and leaves.
    """
    if end - first >= 8:
        first, end = first + 1, end - 1
    xy, count = np.array(light.xy[first:end]), end - first
    stated = np.array(light.cov[first:end]).mean(axis=0) / count
    scatter = np.cov(xy.T) / count if count > 2 else np.full((2, 2), np.nan)
    known = [cov for cov in (stated, scatter) if np.all(np.isfinite(cov))]
    # Whichever is greater: the fit's own doubt misses tremor, a scatter of few misses luck.
    # Neither known: a pixel's rounding, so that the touch still counts for little less.
    cov = max(known, key=np.trace) if known else np.eye(2) / 12.0
    return Hold(
        from_ns=light.times[first],
        until_ns=light.times[end - 1],
        px=xy.mean(axis=0),
        px_cov=cov + 1e-8 * np.eye(2),
        frames=count,
        flux=float(np.mean(light.flux[first:end])),
    )


def _brightest_at_once(holds: list[Hold]) -> tuple[list[Hold], list[Hold]]:
    """Holds (in order of time) that do not overlap a brighter one, and those that do."""
    kept: list[Hold] = []
    doubled: list[Hold] = []
    for hold in holds:
        rivals = [one for one in kept if one.until_ns > hold.from_ns]
        if all(np.nan_to_num(hold.flux) > np.nan_to_num(one.flux) for one in rivals):
            kept = [one for one in kept if one not in rivals] + [hold]
            doubled += rivals
        else:
            doubled.append(hold)
    return kept, doubled


def _passed_over(hold: Hold, why: str) -> Finding:
    return Finding(
        "warning",
        "hold-passed-over",
        f"footage at {hold.from_ns * 1e-9:.2f} s",
        f"a light at ({hold.px[0]:.0f}, {hold.px[1]:.0f}) px",
        f"{why}; it is passed over",
        "cover other lights while registering, and touch one beacon at a time",
    )


def _missed(place_m: tuple[float, float]) -> Finding:
    return Finding(
        "warning",
        "beacon-not-touched",
        "footage",
        f"the beacon at ({place_m[0]:.3f}, {place_m[1]:.3f}) m",
        "has no light held on it",
        "touch it again, or check that the camera can see the light there",
    )
