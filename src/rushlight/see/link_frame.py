"""The linker's work on one frame, compiled: predict, pair, meet, correct, and tidy up.

All trails lie in a few arrays, one row each, tentative ones included; `linking` explains what is
done. The state of a trail is [x, y, speed of x, speed of y], its covariance four blocks of 2 × 2.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from rushlight.records.dots import REASONS
from rushlight.see.assign import pair_up
from rushlight.see.scan import JIT

HELD, COASTING = 1, 2  # as in `link.STATES`

ID, HITS, SEEN_NS, SHARES, COAST_NS = range(5)
MARKS = 5
"""Whole numbers of a trail: id (−1 while tentative), frames with its dot, time of the last one
[ns], whether it shares a dot, and how long it may go without one [ns]."""

AGILITY, CONFIRM, GATE, REACH, MERGE, DOT_STD, SPEED_STD, COAST = range(8)
"""Settings of the linker, by their place among the numbers given to `link_frame`."""

LEAST_QUALITY = 0.5
"""A doubtful dot may continue a trail when at least this much of its light is explained."""

DOUBT_COST = 10.0
"""What a doubtful dot costs more than a good one, in units of squared deviations."""

DOUBT_SPREAD = 9.0
"""By what a doubtful dot's covariance is widened."""

MISS_COST = 30.0
"""What it costs to leave a trail without a dot: twice the logarithm of one over the chance of a
miss (1 in 20) and the density of stray dots (10⁻⁵ a square pixel), rounded up. Chosen by trial."""

TENTATIVE_COST = 10.0
"""A tentative trail takes only what confirmed trails leave."""

TURN_LEARNT_S = 0.02
TURN_KEPT_S = 0.2
"""Times over which a trail's turning is averaged, and for which it is believed [s]. Chosen by
trial on simulated hands."""

_LEAST_VARIANCE = 1e-4  # a hundredth of a pixel keeps a perfect dot from being singular
_CONTINUES = tuple(reason in ("", "faint", "edge of frame", "reflection") for reason in REASONS)


@njit(**JIT)
def predict(mean, cov, turn, marks, count, time_ns, before_ns, agility):  # type: ignore[no-untyped-def]
    """Carry all trails on from one frame to the next.

    Those that had no dot of their own in the frame before also carry on their turning; for the
    others the next dot will tell it.
    """
    dt_s = (time_ns - before_ns) * 1e-9
    q0 = agility * dt_s**3 / 3.0
    q1 = agility * dt_s**2 / 2.0
    q2 = agility * dt_s
    for t in range(count):
        for a in range(2):
            mean[t, a] += dt_s * mean[t, 2 + a]
        if marks[t, SHARES] or marks[t, SEEN_NS] < before_ns:
            _bend(mean, turn, t, dt_s)
        p = cov[t]
        for a in range(2):
            for b in range(2):
                p[a, b] += dt_s * (p[a, 2 + b] + p[2 + a, b] + dt_s * p[2 + a, 2 + b])
        for a in range(2):
            for b in range(2):
                p[a, 2 + b] += dt_s * p[2 + a, 2 + b]
                p[2 + b, a] = p[a, 2 + b]
        for a in range(2):
            p[a, a] += q0
            p[a, 2 + a] += q1
            p[2 + a, a] += q1
            p[2 + a, 2 + a] += q2


@njit(**JIT)
def _bend(mean, turn, t, dt_s):  # type: ignore[no-untyped-def]
    """Carry on the turning of a trail without a dot of its own: a hand's way is not straight."""
    kept = math.exp(-dt_s / TURN_KEPT_S)
    for a in range(2):
        mean[t, a] += 0.5 * turn[t, a] * dt_s**2
        mean[t, 2 + a] += turn[t, a] * dt_s
        turn[t, a] *= kept


@njit(**JIT)
def dot_spread(dot_cov, reason, dot_std):  # type: ignore[no-untyped-def]
    """(N, 3) xx, xy, yy [px²] of each dot: its own, or the general one; wider for doubtful dots."""
    count = len(reason)
    spread = np.empty((count, 3))
    for j in range(count):
        xx, xy, yy = dot_cov[j, 0, 0], dot_cov[j, 0, 1], dot_cov[j, 1, 1]
        if not math.isfinite(xx + xy + yy):
            xx, xy, yy = dot_std**2, 0.0, dot_std**2
        if reason[j] > 0:
            xx, xy, yy = DOUBT_SPREAD * xx, DOUBT_SPREAD * xy, DOUBT_SPREAD * yy
        spread[j, 0] = xx + _LEAST_VARIANCE
        spread[j, 1] = xy
        spread[j, 2] = yy + _LEAST_VARIANCE
    return spread


@njit(**JIT)
def pairing_cost(  # type: ignore[no-untyped-def]
    mean, cov, marks, count, xy, spread, reason, quality, settings
):
    """What each trail's pairing with each dot costs: minus twice its log-likelihood, and doubts."""
    dots = len(xy)
    cost = np.full((count, dots), math.inf)
    reach2 = settings[REACH] ** 2
    gate2 = settings[GATE] ** 2
    for j in range(dots):
        doubt = 0.0
        if reason[j] > 0:
            if not _CONTINUES[reason[j]] or quality[j] < LEAST_QUALITY:
                continue
            doubt = DOUBT_COST
        for t in range(count):
            x = xy[j, 0] - mean[t, 0]
            y = xy[j, 1] - mean[t, 1]
            if not x * x + y * y < reach2:
                continue
            a = cov[t, 0, 0] + spread[j, 0]
            b = cov[t, 0, 1] + spread[j, 1]
            c = cov[t, 1, 1] + spread[j, 2]
            determinant = a * c - b * b
            squared = (c * x * x - 2.0 * b * x * y + a * y * y) / determinant
            if squared < gate2:
                tentative = 0.0 if marks[t, HITS] >= settings[CONFIRM] else TENTATIVE_COST
                cost[t, j] = squared + math.log(determinant) + doubt + tentative
    return cost


@njit(**JIT)
def meet(mean, cov, marks, count, xy, owner, partner, before_ns, settings):  # type: ignore[no-untyped-def]
    """Find for each trail that has just lost its dot the one that it melted into, if any.

    `partner` is filled with the trail that each shares its dot with, and the lost trail's
    `owner` becomes that dot.
    """
    merge = settings[MERGE]
    alone = owner.copy()
    for lost in range(count):
        # Only a trail that was seen a frame ago can have melted into another one since.
        if (
            alone[lost] >= 0
            or marks[lost, HITS] < settings[CONFIRM]
            or marks[lost, SEEN_NS] != before_ns
        ):
            continue
        found = -1
        nearest = math.inf
        for other in range(count):
            dot = alone[other]
            if dot < 0 or partner[other] >= 0 or marks[other, HITS] < settings[CONFIRM]:
                continue
            apart = math.hypot(mean[other, 0] - mean[lost, 0], mean[other, 1] - mean[lost, 1])
            doubt = math.sqrt(
                0.5 * (cov[other, 0, 0] + cov[lost, 0, 0] + cov[other, 1, 1] + cov[lost, 1, 1])
            )
            from_dot = math.hypot(
                xy[dot, 0] - 0.5 * (mean[other, 0] + mean[lost, 0]),
                xy[dot, 1] - 0.5 * (mean[other, 1] + mean[lost, 1]),
            )
            reach = merge + min(2.0 * doubt, merge)
            if apart < reach and from_dot < reach and apart < nearest:
                nearest = apart
                found = other
        if found >= 0:
            partner[lost] = found
            partner[found] = lost
            owner[lost] = owner[found]


@njit(**JIT)
def correct(mean, cov, t, x, y, spread):  # type: ignore[no-untyped-def]
    """Let a trail's own dot correct it; the covariance stays symmetric and positive."""
    p = cov[t]
    a, b, c = p[0, 0] + spread[0], p[0, 1] + spread[1], p[1, 1] + spread[2]
    determinant = a * c - b * b
    inverse = (c / determinant, -b / determinant, a / determinant)
    dx, dy = x - mean[t, 0], y - mean[t, 1]
    gain = np.empty((4, 2))
    for i in range(4):
        gain[i, 0] = p[i, 0] * inverse[0] + p[i, 1] * inverse[1]
        gain[i, 1] = p[i, 0] * inverse[1] + p[i, 1] * inverse[2]
        mean[t, i] += gain[i, 0] * dx + gain[i, 1] * dy
    # P − K S Kᵀ, in which no rounding can spoil the symmetry.
    for i in range(4):
        for k in range(i, 4):
            across = gain[i, 0] * (a * gain[k, 0] + b * gain[k, 1]) + gain[i, 1] * (
                b * gain[k, 0] + c * gain[k, 1]
            )
            p[i, k] -= across
            p[k, i] = p[i, k]
    # The place's own block again, as P S⁻¹ R, which cannot lose its digits.
    xx = gain[0, 0] * spread[0] + gain[0, 1] * spread[1]
    xy = gain[0, 0] * spread[1] + gain[0, 1] * spread[2]
    yy = gain[1, 0] * spread[1] + gain[1, 1] * spread[2]
    p[0, 0], p[0, 1], p[1, 0], p[1, 1] = xx, xy, xy, yy


@njit(**JIT)
def _steer_pair(mean, cov, marks, one, other, x, y, spread, merge, time_ns):  # type: ignore[no-untyped-def]
    """Let a shared dot steer the middle of its pair.

    The covariances go on growing, as nothing was learnt of how the two lie to each other.
    """
    p, q = cov[one], cov[other]
    melted = (0.1 * merge) ** 2
    a = 0.25 * (p[0, 0] + q[0, 0]) + spread[0] + melted
    b = 0.25 * (p[0, 1] + q[0, 1]) + spread[1]
    c = 0.25 * (p[1, 1] + q[1, 1]) + spread[2] + melted
    determinant = a * c - b * b
    dx = x - 0.5 * (mean[one, 0] + mean[other, 0])
    dy = y - 0.5 * (mean[one, 1] + mean[other, 1])
    pull_x = (c * dx - b * dy) / determinant
    pull_y = (a * dy - b * dx) / determinant
    for t in (one, other):
        for i in range(4):
            mean[t, i] += 0.5 * (cov[t, i, 0] * pull_x + cov[t, i, 1] * pull_y)
        marks[t, SEEN_NS] = time_ns


@njit(**JIT)
def update(  # type: ignore[no-untyped-def]
    mean, cov, turn, marks, count, xy, spread, owner, partner, time_ns, dt_s, settings
):
    """Let each dot correct its trail, and each shared dot the middle of its pair.

    `dt_s` is the time since the frame before, 0 when there was none.
    """
    newer = 1.0 - math.exp(-dt_s / TURN_LEARNT_S)
    for t in range(count):
        if owner[t] < 0 or partner[t] >= 0:
            continue
        j = owner[t]
        before = (mean[t, 2], mean[t, 3])
        correct(mean, cov, t, xy[j, 0], xy[j, 1], spread[j])
        if dt_s > 0.0:
            for a in range(2):
                turn[t, a] += newer * ((mean[t, 2 + a] - before[a]) / dt_s - turn[t, a])
        marks[t, HITS] += 1
        marks[t, SEEN_NS] = time_ns
    for t in range(count):
        shares = partner[t] >= 0
        if shares and not marks[t, SHARES]:
            _bend(mean, turn, t, dt_s)
        marks[t, SHARES] = shares
    for t in range(count):
        if partner[t] > t:
            j = owner[t]
            _steer_pair(
                mean, cov, marks, t, partner[t], xy[j, 0], xy[j, 1], spread[j],
                settings[MERGE], time_ns,
            )  # fmt: skip


@njit(**JIT)
def link_frame(  # type: ignore[no-untyped-def]
    time_ns, before_ns, xy, dot_cov, reason, quality, settings, mean, cov, turn, marks, count,
    next_id, trail, shared, live, dot, state, places, speeds, spreads, ended,
):  # fmt: skip
    """One frame of linking; trails and results are written into the arrays given.

    Parameters
    ----------
    time_ns, before_ns
        Times of this frame and the one before [ns]; the same for the first frame.
    xy, dot_cov, reason, quality
        Of the N dots, as in `Dots`.
    settings
        (8,) see the names above.
    mean, cov, turn, marks
        (C, 4), (C, 4, 4), (C, 2), (C, MARKS) the trails, of which the first `count` exist;
        there must be room for N more.
    count, next_id
        Number of trails, and the id of the next to be confirmed.
    trail, shared
        (N,) and (N, 2), filled with the trail of each dot and the trails that share it.
    live, dot, state, places, speeds, spreads
        (count,), (count,), (count,), (count, 2), (count, 2), (count, 4, 4), of which the first
        rows are filled: id, dot, state, place, speed and covariance of each confirmed trail.
    ended
        (C,) filled with the ids given up.

    Returns
    -------
    tuple of int
        Trails that exist now, live ones, births (ids from `next_id` on), and deaths.
    """
    dots = len(xy)
    dt_s = (time_ns - before_ns) * 1e-9
    if dt_s > 0.0:
        predict(mean, cov, turn, marks, count, time_ns, before_ns, settings[AGILITY])
    spread = dot_spread(dot_cov, reason, settings[DOT_STD])
    owner = np.full(count, -1)
    partner = np.full(count, -1)
    if count > 0 and dots > 0:
        cost = pairing_cost(mean, cov, marks, count, xy, spread, reason, quality, settings)
        pair_up(cost, MISS_COST, owner)
        meet(mean, cov, marks, count, xy, owner, partner, before_ns, settings)
    update(
        mean, cov, turn, marks, count, xy, spread, owner, partner, time_ns, dt_s, settings
    )  # fmt: skip
    births = 0
    for t in range(count):
        if marks[t, ID] < 0 and marks[t, HITS] >= settings[CONFIRM]:
            marks[t, ID] = next_id + births
            births += 1
    _tell_dots(marks, count, dots, owner, partner, trail, shared)
    kept, lives, deaths = _tell_trails(
        mean, cov, turn, marks, count, owner, partner, time_ns, settings, live, dot, state, places,
        speeds, spreads, ended,
    )  # fmt: skip
    kept = _begin(mean, cov, turn, marks, kept, xy, spread, reason, owner, time_ns, settings)
    return kept, lives, births, deaths


@njit(**JIT)
def _tell_dots(marks, count, dots, owner, partner, trail, shared):  # type: ignore[no-untyped-def]
    """Write down which trail each dot belongs to, and which two share it."""
    for j in range(dots):
        trail[j] = -1
        shared[j, 0] = shared[j, 1] = -1
    for t in range(count):
        j = owner[t]
        if j < 0:
            continue
        if partner[t] < 0:
            trail[j] = marks[t, ID]
        elif partner[t] > t:
            one, other = marks[t, ID], marks[partner[t], ID]
            shared[j, 0], shared[j, 1] = min(one, other), max(one, other)


@njit(**JIT)
def _tell_trails(  # type: ignore[no-untyped-def]
    mean, cov, turn, marks, count, owner, partner, time_ns, settings, live, dot, state, places,
    speeds, spreads, ended,
):  # fmt: skip
    """Write down the confirmed trails, and drop those that have been dark for too long."""
    lives = deaths = kept = 0
    for t in range(count):
        held = marks[t, HITS] >= settings[CONFIRM]
        if held and time_ns - marks[t, SEEN_NS] > marks[t, COAST_NS]:
            ended[deaths] = marks[t, ID]
            deaths += 1
            continue
        if not held and owner[t] < 0:
            continue
        if held:
            own = owner[t] >= 0 and partner[t] < 0
            live[lives] = marks[t, ID]
            dot[lives] = owner[t] if own else -1
            state[lives] = HELD if own else COASTING
            places[lives, 0], places[lives, 1] = mean[t, 0], mean[t, 1]
            speeds[lives, 0], speeds[lives, 1] = mean[t, 2], mean[t, 3]
            spreads[lives] = cov[t]
            lives += 1
        if kept < t:
            mean[kept], cov[kept], turn[kept] = mean[t], cov[t], turn[t]
            marks[kept] = marks[t]
        kept += 1
    return kept, lives, deaths


@njit(**JIT)
def _begin(  # type: ignore[no-untyped-def]
    mean, cov, turn, marks, count, xy, spread, reason, owner, time_ns, settings
):
    """Begin a tentative trail at every good dot that is nobody's; how many there are then."""
    free = np.ones(len(xy), np.bool_)
    for t in range(len(owner)):
        if owner[t] >= 0:
            free[owner[t]] = False
    for j in range(len(xy)):
        if not free[j] or reason[j] != 0:
            continue
        t = count
        mean[t] = 0.0
        mean[t, 0], mean[t, 1] = xy[j, 0], xy[j, 1]
        cov[t] = 0.0
        cov[t, 0, 0], cov[t, 1, 1] = spread[j, 0], spread[j, 2]
        cov[t, 0, 1] = cov[t, 1, 0] = spread[j, 1]
        cov[t, 2, 2] = cov[t, 3, 3] = settings[SPEED_STD] ** 2
        turn[t] = 0.0
        marks[t, ID], marks[t, HITS], marks[t, SEEN_NS] = -1, 1, time_ns
        marks[t, SHARES], marks[t, COAST_NS] = 0, np.int64(settings[COAST])
        count += 1
    return count
