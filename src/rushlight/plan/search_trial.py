"""What candidates are worth: from choices to rigs, to objectives, to what rules them out."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.errors import Finding, RushlightError
from rushlight.physics.geometry import rig_from_camera_looking_at
from rushlight.plan.eyes import eye_lines
from rushlight.plan.power import plan_circuits, power_lines
from rushlight.plan.search_front import OBJECTIVES, rounded
from rushlight.plan.search_judge import Judged, SearchRoom, ranking, room_of
from rushlight.plan.search_limits import EYE, FRESH, WORDS, Care, care_of, forbidding_words
from rushlight.plan.search_room import CLEAR_M, WINDOW_SHARE, RoomBounds, windows_per_s
from rushlight.plan.search_space import SearchSpace, bare
from rushlight.records.resolved import ResolvedRig, stack_rigs
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.check import check_rig
from rushlight.shelf.cost import cost_figure
from rushlight.shelf.resolve import resolve

Array = NDArray[Any]

RULED_OUT = {
    "parts-do-not-fit": "its parts do not go together, or its filter dims the picture's corners",
    **{code: WORDS[code] for code in (EYE, FRESH)},
    "too-near-a-wall": f"stands nearer than {100 * CLEAR_M:g} cm to wall, floor or ceiling",
    "in-the-beam": "stands in the projector's beam, or sees the surface past the projector's body",
    "into-a-window": "looks into a window, which takes more than "
    f"{100 * WINDOW_SHARE:g} % of full scale in its picture",
    "covers-too-little": "covers less than half of what is wanted (places are out of view or "
    "hidden, or light is too weak or too bright), or sees fewer than six beacons",
    "over-budget": "costs more than may be spent",
    "takes-too-long": "takes longer to build than there is time",
}
"""What rules a candidate out, in the order of the constraints' columns."""
LEAST_OF_WANTED = 0.5
"""Share of the coverage wanted below which a candidate is no rig at all, however exact in the
little that it sees (our own choice)."""
MOST_COMBINED = 500
"""Combinations of parts up to which all of them are looked at for the cheapest (our own choice)."""
_BLIND_ERROR_MM = 1e3
"""Stands for the error of a candidate that is ruled out anyway."""


@dataclass(frozen=True, eq=False)
class Parts:
    """One combination of parts, worked out once.

    Attributes
    ----------
    resolved
        The rig as numbers, wherever its camera stands; None where the parts do not fit.
    why
        What the check finds against it, or "".
    cost, battery_s
        In the currency of the prices; on the least lasting cell [s], NaN unknown or not used up.
    windows_per_s
        (W,) of full scale that sunlit ground beyond each window takes, per second of exposure.
    errors
        All of what is wrong with it.
    care
        What its lights call for, wherever its camera stands.
    """

    resolved: ResolvedRig | None
    why: str
    cost: float
    battery_s: float
    windows_per_s: Array = field(default_factory=lambda: np.zeros(0))
    errors: tuple[Finding, ...] = ()
    care: Care = field(default_factory=Care)


@dataclass(frozen=True)
class Tried:
    """N candidates and what they are worth.

    Attributes
    ----------
    choices
        (N, V) as bred.
    objectives
        (N, 5) as `OBJECTIVES`, in whole steps.
    constraints
        (N, 9) as `RULED_OUT`; a candidate is ruled out by one above 0.
    """

    choices: Array
    objectives: Array
    constraints: Array

    @property
    def columns(self) -> tuple[Array, Array, Array]:
        """Choices, objectives and constraints."""
        return self.choices, self.objectives, self.constraints

    @property
    def allowed(self) -> Array:
        """(N,) whether nothing rules it out."""
        return np.asarray(np.all(self.constraints <= 0.0, axis=1))


class Trials:
    """Values candidates of one space; what is asked again is not worked out again.

    Parameters
    ----------
    space
        What may be chosen.
    grid
        Columns and rows of places on the surface.
    """

    def __init__(self, space: SearchSpace, grid: tuple[int, int] = (9, 6)) -> None:
        self.space = space
        if not space.rig.surfaces:
            raise RushlightError(_errors(space.rig, space.shelf))
        self._known: dict[tuple[int, ...], Parts] = {}
        first = next(
            (p.resolved for p in map(self.parts, np.ndindex(*space.counts[1:])) if p.resolved),
            None,
        )
        if first is None:
            self._refuse_as_itself()
            why = "; ".join(sorted({parts.why for parts in self._known.values()})[:3])
            raise RushlightError.of(
                "rig.toml: search",
                "",
                f"leaves no parts that go together ({why})",
                "list other cameras, filters or emitters",
                "search-empty",
            )
        self.room: SearchRoom = room_of(space.rig, first, space.corners_m, grid)
        self._bounds = RoomBounds.of(space.rig)

    def _refuse_as_itself(self) -> None:
        """Raise what is wrong with the rig as it stands, and with every other choice alike."""
        known = [set(each.errors) for each in self._known.values()]
        own = _errors(bare(self.space.rig), self.space.shelf)
        common = [each for each in own if all(each in found for found in known)]
        if common:
            raise RushlightError(common)

    def parts(self, key: tuple[int, ...]) -> Parts:
        """The combination of camera, filter, emitter and current of these numbers."""
        if key not in self._known:
            self._known[key] = self._worked_out(key)
        return self._known[key]

    def misfits(self) -> list[str]:
        """What was found against combinations of parts, once each."""
        return sorted({each.why for each in self._known.values() if each.why})

    def forbidden(self, code: str) -> list[str]:
        """What passes a limit of a code of `WORDS`, the worst kinds of parts once each."""
        found = [
            each
            for parts in self._known.values()
            for each in parts.care.findings
            if each.code == code
        ]
        return sorted(set(forbidding_words(found)))

    def _worked_out(self, key: tuple[int, ...]) -> Parts:
        space = self.space
        rig = space.rig_of(key, *space.before_m)
        return parts_of(rig, space.shelf, placed=False)

    def least_cost(self) -> float:
        """The least that any combination of parts that go together costs.

        Where there are more than `MOST_COMBINED`, of those that were tried; infinite without any.
        """
        if math.prod(self.space.counts[1:]) <= MOST_COMBINED:
            for key in np.ndindex(*self.space.counts[1:]):
                self.parts(key)
        return min((p.cost for p in self._known.values() if p.resolved), default=math.inf)

    def least_build_s(self) -> float:
        """The least time that building any combination takes [s]."""
        space = self.space
        return min(
            space.build_s(*one) for one in product(space.places, space.filters, space.emitters)
        )

    def placed(self, choices: Array) -> tuple[list[Parts], Array, Array]:
        """Parts, positions (N, 3) and points looked at (N, 3) [m], to the millimetre."""
        axes = len(self.space.counts)
        numbers = choices[:, :axes].astype(int)
        parts = [self.parts(tuple(int(n) for n in row[1:])) for row in numbers]
        position = self.space.positions_m(numbers[:, 0], choices[:, axes : axes + 3])
        look = self.space.looks_m(choices[:, axes + 3 :])
        return parts, np.round(position, 3), np.round(look, 3)

    def judged(self, parts: list[Parts], poses: Array, place: Array) -> Judged:
        """What is expected of candidates whose parts all fit, at poses (N, 4, 4) in places (N,)."""
        distinct = list(dict.fromkeys(parts))
        rows = stack_rigs([each.resolved for each in distinct if each.resolved is not None])
        number = {each: index for index, each in enumerate(distinct)}
        return ranking(self.room, rows, [number[each] for each in parts], poses, place)

    def value(self, choices: Array) -> Tried:
        """What candidates (N, V) are worth."""
        parts, position, look = self.placed(choices)
        count = len(choices)
        fits = np.array([each.resolved is not None for each in parts], bool)
        least = LEAST_OF_WANTED * self.space.rig.targets.coverage.value
        error, uncovered = np.full(count, _BLIND_ERROR_MM), np.ones(count)
        delay, lacks = np.full(count, 1e3), np.full(count, least + 1.0)
        glare = np.full(count, -1.0)
        # Behind a wall nothing can be computed; elsewhere all is, so that breeding has a slope.
        at = np.flatnonzero(fits & (position[:, 2] > 0.0))
        if len(at):
            poses = rig_from_camera_looking_at(position[at], look[at])
            place = choices[at, 0].astype(int)
            found = self.judged([parts[i] for i in at], poses, place)
            good = found.registerable & np.isfinite(found.error_rms_m)
            error[at] = np.where(good, 1e3 * found.error_rms_m, _BLIND_ERROR_MM)
            uncovered[at] = np.where(good, 1.0 - found.coverage, 1.0)
            delay[at] = 1e3 * found.delay_s
            lacks[at] = np.where(good, least - found.coverage_clear, least + 1.0 - found.in_view)
            share = self._window_share([parts[i] for i in at], poses, found.exposure_s)
            glare[at] = share - WINDOW_SHARE
        cost = np.array([each.cost for each in parts])
        battery = np.nan_to_num(np.array([each.battery_s for each in parts]) / 3600.0)
        objectives = np.stack([cost, error, uncovered, delay, -battery], axis=1)
        assert objectives.shape[1] == len(OBJECTIVES)
        constraints = np.stack(
            [
                np.where(fits, -1.0, 1.0),
                self._eye(parts, choices, position) - 1.0,
                np.array([1.0 if each.care.fresh_too_strong else -1.0 for each in parts]),
                CLEAR_M - self._bounds.clear_m(position),
                np.where(self._bounds.in_beam(position), 1.0, -1.0),
                glare,
                lacks,
                self._over_budget(cost),
                self._over_time(choices),
            ],
            axis=1,
        )
        return Tried(choices, rounded(objectives), constraints)

    def _eye(self, parts: list[Parts], choices: Array, position: Array) -> Array:
        """Greatest share (N,) of a limit for the eye that any light takes, as estimated."""
        share = np.array([each.care.eye for each in parts])
        if self.space.rig.cameras[0].illuminator is None:
            return share
        # What shines beside the camera is as near to an eye as the camera is.
        for i, each in enumerate(parts):
            if each.resolved is not None:
                key = [int(n) for n in choices[i, 1 : len(self.space.counts)]]
                rig = self.space.rig_of(
                    key, position[i], self.space.looks_m(np.full((1, 2), 0.5))[0]
                )
                lines = eye_lines(rig, self.space.shelf, plan_circuits(rig, self.space.shelf))
                share[i] = max(line.ratio or 0.0 for line in lines)
        return share

    def _window_share(self, parts: list[Parts], poses: Array, exposure_s: Array) -> Array:
        """How much (N,) of full scale the brightest window in each picture takes."""
        found = np.zeros(len(parts))
        for one in dict.fromkeys(parts):
            at = np.array([each is one for each in parts])
            if one.resolved is not None and len(one.windows_per_s):
                seen = self._bounds.windows_in_view(one.resolved, poses[at])
                rate = np.max(np.where(seen, one.windows_per_s, 0.0), axis=1)
                found[at] = rate * np.nan_to_num(exposure_s[at])
        return found

    def _over_budget(self, cost: Array) -> Array:
        budget = self.space.settings.budget
        return np.full(len(cost), -1.0) if budget is None else cost / budget.amount - 1.0 - 1e-9

    def _over_time(self, choices: Array) -> Array:
        limit = self.space.settings.minutes
        if limit is None:
            return np.full(len(choices), -1.0)
        return np.array([self.build_s(row) / limit.value - 1.0 - 1e-9 for row in choices])

    def build_s(self, choice: Array) -> float:
        """Time to build one candidate (V,) [s]."""
        place, _, filter_, emitter, _ = (int(n) for n in choice[: len(self.space.counts)])
        space = self.space
        return space.build_s(space.places[place], space.filters[filter_], space.emitters[emitter])


def _errors(rig: Rig, shelf: Shelf) -> list[Finding]:
    return [each for each in check_rig(rig, shelf, "rig.toml") if each.severity == "error"]


def parts_of(rig: Rig, shelf: Shelf, placed: bool = True) -> Parts:
    """A combination of parts, from a rig that has them.

    Parameters
    ----------
    rig, shelf
        The rig and the parts of the shelf.
    placed
        Whether its camera stands where it will, or somewhere in the room.
    """
    against = [
        each
        for each in check_rig(rig, shelf, "rig.toml")
        if each.severity == "error" or each.code == "filter-blind-corners"
    ]
    cost = cost_figure(rig, shelf).value
    price = math.nan if cost is None else cost
    if against:
        return Parts(None, str(against[0]), price, math.nan, errors=tuple(against))
    resolved = resolve(rig, shelf)
    hours = [line.runtime_h for line in power_lines(rig, shelf, resolved)]
    windows = windows_per_s(rig, shelf, resolved)
    care = care_of(rig, shelf, placed=placed)
    return Parts(resolved, "", price, 3600.0 * min(hours), windows, care=care)
