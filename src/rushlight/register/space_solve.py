"""The likeliest cameras, given rows of sightings: the solver that all ways of registering share.

A row is one look past marks, one placing on a mark, or one frame of a swung bar. Unknown are the
shared numbers (cameras, lenses, where the lights really sit on the thing) and, row by row, six
numbers of its own (a pose, or the two ends of a bar). Everything known beforehand is a belief:
each shared number is told in units of its own deviation, so that its belief is a unit normal one.

Method: maximum a posteriori by Levenberg–Marquardt steps; the rows' own numbers are eliminated
row by row (Schur complement), so that many rows cost little. Source: Triggs et al., "Bundle
adjustment — a modern synthesis", 2000 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Generic, NamedTuple, TypeVar

import numpy as np

from rushlight.physics.geometry.rotation import pose_difference, pose_moved
from rushlight.records.arrays import Array
from rushlight.records.space import ResolvedSpace
from rushlight.records.space_registration import CAMERA_NUMBERS

_STEPS, _AT_REST = 600, 1e-9  # looks may leave a long bent valley to go down
_FIRST_DAMPING, _LEAST_DAMPING, _MOST_DAMPING = 1e-4, 1e-12, 1e10
_SUSPECTS, _FEW = 4, 60
_LEAST_EIGEN = 1e-14  # of a lens's covariance, against its greatest, counted as no doubt

FALSE_ALARM = 0.01
"""Chance that a registration whose rows are all good loses one (our own choice)."""

MOST_BAD = 0.25
"""If more than this part of the rows disagree, it is not they that are bad (our own choice)."""


@dataclass(frozen=True, eq=False)
class Cameras:
    """Where C cameras stand and how their lenses are.

    Attributes
    ----------
    pose
        (C, 4, 4) ``rig_from_camera``.
    lens
        (C, 9) in the order of `rushlight.physics.geometry.sight.LENS_PARAMETERS`.
    """

    pose: Array
    lens: Array

    @property
    def K(self) -> Array:
        """(C, 3, 3) [px]."""
        matrix = np.zeros((len(self.lens), 3, 3))
        matrix[:, 0, 0], matrix[:, 1, 1] = self.lens[:, 0], self.lens[:, 1]
        matrix[:, :2, 2], matrix[:, 2, 2] = self.lens[:, 2:4], 1.0
        return matrix

    @property
    def k(self) -> Array:
        """(C, 5)."""
        return np.asarray(self.lens[:, 4:])

    def moved(self, step: Array) -> Cameras:
        """The cameras after a step (15 C,) of place, angles and lens, camera by camera."""
        each = step.reshape(-1, CAMERA_NUMBERS)
        return Cameras(pose_moved(self.pose, each[:, :6]), self.lens + each[:, 6:])


@dataclass(frozen=True, eq=False)
class Known:
    """What is known of the cameras before any sighting.

    Attributes
    ----------
    cameras
        As the rig's document has them.
    spread
        (15 C, Q) how the cameras change with Q independent numbers of unit deviation.
    placed
        (C, 6) which of those numbers are a camera's place and angles, −1 where it stands fixed.
    """

    cameras: Cameras
    spread: Array
    placed: Array

    @property
    def cov(self) -> Array:
        """(15 C, 15 C) the doubt before any sighting."""
        return np.asarray(self.spread @ self.spread.T)


def known_beforehand(space: ResolvedSpace, loosened: dict[int, float] | None = None) -> Known:
    """What a rig's document tells of its cameras.

    Parameters
    ----------
    space
        The rig.
    loosened
        By camera, how many times less exactly its place and angles are taken to be known.
    """
    cameras = space.cameras
    K, k = np.array(cameras.K[0]), np.array(cameras.distortion[0])
    lens = np.concatenate([K[:, [0, 1], [0, 1]], K[:, :2, 2], k], axis=-1)
    count = len(K)
    columns: list[Array] = []
    placed = np.full((count, 6), -1)
    for camera in range(count):
        at = CAMERA_NUMBERS * camera
        times = (loosened or {}).get(camera, 1.0)
        for number in range(6):
            std = space.placed_std_m[camera] if number < 3 else space.turned_std_rad[camera]
            if camera == space.fixed_camera or std == 0.0:
                continue
            column = np.zeros(CAMERA_NUMBERS * count)
            column[at + number] = std * times
            placed[camera, number] = len(columns)
            columns.append(column)
        values, vectors = np.linalg.eigh(_scaled(space.lens_cov[camera], lens[camera]))
        scale = _scale(lens[camera])
        for value, vector in zip(values, vectors.T, strict=True):
            if value > _LEAST_EIGEN * values.max() and value > 0.0:
                column = np.zeros(CAMERA_NUMBERS * count)
                column[at + 6 : at + CAMERA_NUMBERS] = np.sqrt(value) * vector * scale
                columns.append(column)
    spread = np.array(columns).T.reshape(CAMERA_NUMBERS * count, len(columns))
    return Known(Cameras(np.array(cameras.rig_from_camera[0]), lens), spread, placed)


def _scale(lens: Array) -> Array:
    return np.concatenate([np.full(4, lens[0]), np.ones(5)])


def _scaled(cov: Array, lens: Array) -> Array:
    scale = _scale(lens)
    return np.asarray(cov / np.outer(scale, scale))


@dataclass(frozen=True, eq=False)
class Shared:
    """The shared numbers at one moment of the search.

    Attributes
    ----------
    cameras
        As now supposed.
    units
        (S,) all shared numbers in units of their deviations: first those of `Known`, then the
        model's own (lights, points, clocks).
    """

    cameras: Cameras
    units: Array


def first_guess(known: Known, extra: int, places: Array | None = None) -> Shared:
    """Everything as believed; or the cameras standing (C, 4, 4) as another guess has them."""
    units = np.zeros(known.spread.shape[1] + extra)
    if places is None:
        return Shared(known.cameras, units)
    cameras = Cameras(places, known.cameras.lens)
    return Shared(cameras, _units_of_places(known, cameras, units))


def _units_of_places(known: Known, cameras: Cameras, units: Array) -> Array:
    """Units with those of the cameras' places told by where the cameras now stand."""
    off = pose_difference(cameras.pose, known.cameras.pose)
    told = np.array(units)
    for camera, number in zip(*np.nonzero(known.placed >= 0), strict=True):
        at = known.placed[camera, number]
        told[at] = off[camera, number] / known.spread[CAMERA_NUMBERS * camera + number, at]
    return told


class Linear(NamedTuple):
    """All rows about one state, each line in units of its own deviation.

    Fields
    ------
    residual : (I, R) as seen less as the state has it; 0 where there is no line
    by_shared : (I, R, S) how what is foretold moves with the shared numbers' units
    by_own : (I, R, 6) and with the row's own numbers
    lines : (I, R) bool, which lines there are
    """

    residual: Array
    by_shared: Array
    by_own: Array
    lines: Array


Own = TypeVar("Own")


@dataclass(frozen=True, eq=False)
class Model(Generic[Own]):
    """What a way of registering adds to the solver.

    Attributes
    ----------
    linearise
        The rows about shared numbers and the rows' own.
    step
        The rows' own numbers after a step (I, 6).
    take
        The rows' own numbers of some rows, by a mask, and the model of those rows.
    extra
        How many shared numbers it has beside the cameras'.
    marks
        (I, R) which lines tie the rows to marks or to the bar's length.
    """

    linearise: Callable[[Shared, Own], Linear]
    step: Callable[[Own, Array], Own]
    take: Callable[[Own, Array], tuple[Own, Model[Own]]]
    extra: int
    marks: Array


@dataclass(frozen=True, eq=False)
class Solved(Generic[Own]):
    """The likeliest cameras.

    Attributes
    ----------
    shared, own
        The estimate.
    unit_cov
        (S, S) covariance of the shared numbers in their units.
    cov
        (15 C, 15 C) of the cameras, as steps from the estimate.
    linear
        The rows about the estimate.
    misfit, freedom
        Sum of squares, beliefs included, and its degrees of freedom.
    falls, fall_freedom
        (I,) by how much the misfit would fall without each row; its degrees of freedom.
    apart
        (I, R) residuals of the lines of marks when the shared numbers come from the other rows
        and the row's own from its other lines, in units of the lines' deviations; NaN elsewhere.
    settled
        Whether the search came to rest.
    """

    shared: Shared
    own: Own
    unit_cov: Array
    cov: Array
    linear: Linear
    misfit: float
    freedom: int
    falls: Array
    fall_freedom: Array
    apart: Array
    settled: bool = True


def solve(
    known: Known,
    model: Model[Own],
    own: Own,
    start: Shared | None = None,
    must_settle: bool = True,
) -> Solved[Own]:
    """Which cameras are the likeliest, and how well are they known?

    Parameters
    ----------
    known
        What is believed of the cameras.
    model
        The rows.
    own
        The rows' own numbers to start from.
    start
        The shared numbers to start from; as believed by default.
    must_settle
        Whether a search that does not come to rest is an error; a bad row may be why.

    Raises
    ------
    ValueError
        When the rows cannot be seen from where the cameras are supposed, or it does not settle.
    """
    shared = first_guess(known, model.extra) if start is None else start
    here = model.linearise(shared, own)
    loss = _loss(here, shared)
    if not np.isfinite(loss):
        raise ValueError("the sightings do not fit where the cameras are said to stand")
    damping = _FIRST_DAMPING
    settled = False
    for _ in range(_STEPS):
        shared_step, own_step = _steps(here, shared, damping)
        tried = _moved(known, shared, shared_step)
        own_tried = model.step(own, own_step)
        there = model.linearise(tried, own_tried)
        new_loss = _loss(there, tried)
        if new_loss <= loss:
            gained = loss - new_loss
            shared, own, here, loss = tried, own_tried, there, new_loss
            damping = max(damping * 0.1, _LEAST_DAMPING)
            if gained < _AT_REST * (1.0 + loss) and float(np.max(np.abs(shared_step))) < 1e-4:
                settled = True
                break
        else:
            damping *= 10.0
            if damping > _MOST_DAMPING:
                settled = True
                break
    if must_settle and not settled:
        raise ValueError("the search for the cameras does not settle")
    return replace(_told(known, model, shared, own, here, loss), settled=settled)


def _moved(known: Known, shared: Shared, step: Array) -> Shared:
    cameras = shared.cameras.moved(known.spread @ step[: known.spread.shape[1]])
    return Shared(cameras, _units_of_places(known, cameras, shared.units + step))


def _loss(here: Linear, shared: Shared) -> float:
    loss = float(np.sum(here.residual**2) + np.sum(shared.units**2))
    return loss if np.isfinite(loss) else np.inf


class _Reduced(NamedTuple):
    """Rows after their own numbers are eliminated: Gain (I, 6, R), then (I, S, S), (I, S), (I,)."""

    gain: Array
    normal: Array
    slope: Array
    loss: Array


def _reduced(here: Linear, damping: float = 0.0, lines: Array | None = None) -> _Reduced:
    own, shared, residual = here.by_own, here.by_shared, here.residual
    if lines is not None:
        own, shared = own * lines[..., None], shared * lines[..., None]
        residual = residual * lines
    normal = np.einsum("ira,irb->iab", own, own)
    scale = np.maximum(np.einsum("iaa->ia", normal), 1e-12)
    normal = normal + (damping + 1e-13) * scale[..., None] * np.eye(6)
    gain = np.linalg.solve(normal, np.swapaxes(own, -1, -2))
    left = shared - own @ (gain @ shared)
    told = residual - np.einsum("ira,ia->ir", own, np.einsum("iar,ir->ia", gain, residual))
    return _Reduced(
        gain,
        np.einsum("irs,irt->ist", shared, left),
        np.einsum("irs,ir->is", shared, told),
        np.einsum("ir,ir->i", residual, told),
    )


def _steps(here: Linear, shared: Shared, damping: float) -> tuple[Array, Array]:
    reduced = _reduced(here, damping)
    normal = reduced.normal.sum(axis=0) + np.eye(len(shared.units))
    damped = normal + damping * np.diag(np.diag(normal))
    step = np.linalg.solve(damped, reduced.slope.sum(axis=0) - shared.units)
    own = np.einsum("iar,ir->ia", reduced.gain, here.residual - here.by_shared @ step)
    return step, own


def _told(
    known: Known, model: Model[Own], shared: Shared, own: Own, here: Linear, loss: float
) -> Solved[Own]:
    reduced = _reduced(here)
    whole = reduced.normal.sum(axis=0) + np.eye(len(shared.units))
    cov = np.linalg.inv(whole)
    lines = here.lines.sum(axis=-1)
    falls, shifts = _without_each(reduced, whole)
    spread = known.spread
    count = spread.shape[1]
    return Solved(
        shared=shared,
        own=own,
        unit_cov=cov,
        cov=spread @ cov[:count, :count] @ spread.T,
        linear=here,
        misfit=loss,
        freedom=int(lines.sum() - 6 * len(lines)),
        falls=falls,
        fall_freedom=np.maximum(lines - 6, 1),
        apart=_apart(here, model.marks, shifts),
    )


def _without_each(reduced: _Reduced, whole: Array) -> tuple[Array, Array]:
    """How far the misfit falls without each row (I,), and the shared step it brings (I, S).

    At the optimum all slopes sum to naught, so that without row i the slope is −b_i.
    """
    shifts = -np.linalg.solve(whole - reduced.normal, reduced.slope[..., None])[..., 0]
    falls = reduced.loss - np.einsum("is,is->i", reduced.slope, shifts)
    return falls, shifts


def _apart(here: Linear, marks: Array, shifts: Array) -> Array:
    """What the lines of marks miss by when nothing is fitted to them, (I, R)."""
    others = here.lines & ~marks
    gain = _reduced(here, lines=others.astype(float)).gain
    moved = here.residual - np.einsum("irs,is->ir", here.by_shared, shifts)
    own = np.einsum("iar,ir->ia", gain, moved)
    missed = moved - np.einsum("ira,ia->ir", here.by_own, own)
    return np.where(here.lines & marks, missed, np.nan)


def sift(
    known: Known, model: Model[Own], own: Own, fewest: int, start: Shared | None = None
) -> tuple[Solved[Own], Array]:
    """The likeliest cameras by the good rows, and which rows are good.

    Parameters
    ----------
    known, model, own, start
        As for `solve`.
    fewest
        Never fewer rows than this are left in.

    Returns
    -------
    solved
        By the rows that are used.
    used : (I,) bool
        Bad rows are left out one by one, the worst first, while at most a quarter is bad.

    Raises
    ------
    ValueError
        As `solve`.

    Notes
    -----
    Source: deletion of one observation, Cook & Weisberg, "Residuals and Influence in
    Regression", 1982, section 2.2 (from memory); the level shared by Bonferroni's inequality.
    """
    from scipy import stats

    whole = solved = solve(known, model, own, start, must_settle=False)
    everyone = used = np.ones(len(solved.falls), bool)
    least = max(fewest, int(np.ceil(len(used) * (1.0 - MOST_BAD))))
    level = float(np.log(FALSE_ALARM / len(used)))
    while True:
        chance = stats.chi2.logsf(solved.falls, solved.fall_freedom)
        if chance.min() >= level:
            break
        if used.sum() <= least:
            # So many bad rows are no bad rows: what is supposed of all of them is wrong.
            solved, used = whole, everyone
            break
        # First order names the suspects; which of them it is, only fits without them tell.
        suspects = np.argsort(chance)[: _SUSPECTS if len(chance) <= _FEW else 1]
        tried = []
        for suspect in suspects:
            without = np.array(used)
            without[np.flatnonzero(used)[suspect]] = False
            own_left, left = model.take(own, without)
            tried.append((solve(known, left, own_left, start, must_settle=False), without))
        solved, used = min(tried, key=lambda each: each[0].misfit)
    if not solved.settled:
        raise ValueError("the search for the cameras does not settle")
    return solved, used
