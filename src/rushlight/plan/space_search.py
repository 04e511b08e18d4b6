"""Searching parts and camera places for a rig in space: each candidate planned coarsely.

First candidates spread evenly over all that may be chosen, then others about the best of them.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from rushlight.errors import RushlightError
from rushlight.plan.planning import cautions_of
from rushlight.plan.search_choice import prices_to_write, unpriced, unpriced_words, warned_words
from rushlight.plan.search_limits import (
    EYE,
    FRESH,
    TOLD,
    WORDS,
    Care,
    care_of,
    findings_of,
    forbidding_words,
)
from rushlight.plan.search_space import Drive, SearchSpace, bare, choices_of, length_of, prices_of
from rushlight.plan.space_error import mean_over
from rushlight.plan.space_evaluate import (
    CELLS,
    COARSE_CELLS,
    COARSE_WAYS,
    SpaceEvaluation,
    evaluate_space,
)
from rushlight.plan.space_planning import slowest_delay
from rushlight.records.arrays import Array
from rushlight.records.plan import PlanFinding
from rushlight.records.quantity import parse_quantity
from rushlight.records.rig import Carried, Rig
from rushlight.records.search import SearchReason
from rushlight.records.space_search import SpaceCandidate, SpaceSearchResult
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.check import check_rig
from rushlight.shelf.check_search import prices_of_no_part
from rushlight.shelf.cost import cost_figure, cost_lines
from rushlight.shelf.resolve_space import resolve_space

TRIED = 60
"""Candidates spread over all choices (our choice)."""
BEST, ABOUT, NEAR = 4, 4, 0.25
"""About so many of the best, so many others are tried, within this share of each place's box and
then of half of it (our choice)."""
STEPS = (0.01, 2e-5, 0.005, 5e-4)
"""Candidates nearer than this in cost, error [m], coverage and delay [s] count as equal."""
MOST_SHOWN = 12

ASSUMPTIONS = (
    "everything here is predicted to first order, nothing measured or simulated",
    f"candidates are judged at {math.prod(COARSE_CELLS)} places of each zone and {COARSE_WAYS} "
    f"ways of turning, each registered as its plan would be; the best {BEST} are judged as a plan "
    "is before one of them is taken",
    "all cameras are of one part with one filter, and look at the middle of the zones; all lights "
    "are of one part with one current, where these are searched",
    "costs, and with them the budget, count the parts whose price is known",
    "a search of so few candidates finds a good rig, not surely the best one; bodies, hands and "
    "hair hide no light; building time and cells are not searched",
)


@dataclass(frozen=True)
class _Choice:
    """A candidate before it is judged: part numbers, and by camera its place and share of it."""

    parts: tuple[int, int, int, int]
    places: tuple[int, ...]
    shares: tuple[tuple[float, float, float], ...]


def search_space(
    rig: Rig,
    shelf: Shelf,
    seed: int | None = None,
    tried: int = TRIED,
    name: str = "rig.toml",
    progress: Callable[[str, float], None] = lambda _what, _share: None,
    best: int = BEST,
) -> SpaceSearchResult:
    """Which parts and camera places suit a rig in space?

    Parameters
    ----------
    rig, shelf
        The rig with its ``[[room.places]]`` and ``[search]``, and the parts.
    seed
        Of the choice among all candidates; None takes the rig's.
    tried
        How many are spread over all choices.
    name
        Of the rig's file, for messages.
    progress
        Told how far the search is.
    best
        About so many of the best others are tried, and so many are judged closely.

    Raises
    ------
    RushlightError
        When nothing may be chosen from, or no candidate can be followed anywhere.
    """
    space = choices_of(rig, shelf, name)
    look = _middle_of_zones(rig)
    seed = space.settings.seed if seed is None else seed
    trial = _Trial(space, look, name)
    whole = tried + 2 * best * ABOUT
    rng = np.random.default_rng(seed)
    for number in range(tried):
        progress("searching", number / whole)
        trial.judge(_drawn(rng, space, len(rig.cameras)))
    for round_number, near in enumerate((NEAR, NEAR / 2.0)):
        for choice, _ in sorted(trial.found, key=lambda each: preference(each[1]))[:best]:
            for _ in range(ABOUT):
                trial.judge(_beside(rng, choice, near))
        progress("searching", (tried + (round_number + 1) * best * ABOUT) / whole)
    if not trial.found:
        reasons = "; ".join(f"{each.words} ({each.count})" for each in trial.reasons())
        raise RushlightError.of(
            f"{name}: search",
            "",
            f"finds no rig in space: of every candidate it holds that it {reasons}",
            "give more places, parts or money, or a smaller zone",
            "search-nothing-found",
        )
    ordered = sorted(trial.found, key=lambda each: preference(each[1]))
    front = _front([each for _, each in ordered])
    made = [each.model_copy(update={"number": i + 1}) for i, each in enumerate(front[:MOST_SHOWN])]
    progress("judging closely", 0.0)
    close = [(choice, trial.closely(choice)) for choice, _ in ordered[:best]]
    choice, chosen = min(close, key=lambda each: preference(each[1]))
    own = trial.own()
    choices = {id(each): choice for choice, each in ordered}
    told = [("the one to take", trial.care(trial.rig_of(choice)).findings)]
    for number, each in enumerate(front[:MOST_SHOWN], 1):
        told.append((f"number {number}", trial.care(trial.rig_of(choices[id(each)])).findings))
    if own is not None:
        told.append(("the rig as it stands", trial.care(bare(rig)).findings))
    currency = next(iter(trial.currencies), "")
    new_prices, old_prices = prices_to_write(rig, trial.rig_of(choice))
    without = [unpriced(cost_lines(each, shelf)) for each in (trial.rig_of(choice), rig)]
    return SpaceSearchResult(
        rig=rig.content_hash(),
        rig_name=rig.name,
        rig_basis=rig.basis,
        tried=trial.count,
        seed=seed,
        currency=currency,
        candidates=made,
        own=own,
        chosen=chosen,
        why=_why((chosen, own), currency, without),
        thrown_out=[*space.reasons, *trial.reasons()],
        new_prices=new_prices,
        old_prices=old_prices,
        findings=[
            PlanFinding.of(each)
            for each in [*findings_of(told), *prices_of_no_part(rig, shelf, name)]
        ],
        cautions=cautions_of(trial.rig_of(choice), shelf),
        assumptions=list(ASSUMPTIONS),
    )


def preference(one: SpaceCandidate) -> tuple[Any, ...]:
    """By which the candidate to take is found: the fewest targets missed, then the least cost,
    the most coverage in whole hundredths, and the least error."""
    cost = one.cost if math.isfinite(one.cost) else math.inf
    error = one.error_rms_m if math.isfinite(one.error_rms_m) else math.inf
    return len(one.missed), round(cost, 2), -round(one.coverage, 2), error


class _Trial:
    """Judges candidates one by one, and counts those that cannot be."""

    def __init__(self, space: SearchSpace, look: Array, name: str) -> None:
        self._space, self._look, self._name = space, look, name
        self.found: list[tuple[_Choice, SpaceCandidate]] = []
        self.currencies: dict[str, None] = {}
        self.count = 0
        self._out: Counter[str] = Counter()
        self._words: dict[str, str] = {}
        self._examples: dict[str, dict[str, None]] = {}

    def rig_of(self, choice: _Choice) -> Rig:
        """The rig as the candidate has it."""
        space, (camera, filter_, emitter, drive) = self._space, choice.parts
        part = space.shelf.camera(space.cameras[camera])
        cameras = []
        for old, position in zip(space.rig.cameras, self._positions(choice), strict=True):
            rate = min(old.frame_rate.value, part.frame_rate.si)
            same = old.part == space.cameras[camera]
            cameras.append(
                old.model_copy(
                    update={
                        "part": space.cameras[camera],
                        "filter": space.filters[filter_],
                        "lens": old.lens if same else None,
                        "exposure": "auto",
                        "frame_rate": parse_quantity(f"{rate:g} Hz", "frequency"),
                        "position": tuple(length_of(step) for step in position),
                        "look_at": tuple(length_of(step) for step in self._look),
                        "aim": None,
                    }
                )
            )
        carried = [
            _with_light(each, space.emitters[emitter], space.drives[drive], space)
            for each in space.rig.carried
        ]
        changed = space.rig.model_copy(update={"cameras": cameras, "carried": carried})
        return bare(changed.model_copy(update={"prices": prices_of(changed, space.shelf)}))

    def _positions(self, choice: _Choice) -> Array:
        places = np.array(choice.places)
        return self._space.positions_m(places, np.array(choice.shares))

    def judge(self, choice: _Choice) -> None:
        """Plan a candidate coarsely, or count why it cannot be."""
        self.count += 1
        rig = self.rig_of(choice)
        wrong = [each for each in check_rig(rig, self._space.shelf) if each.severity == "error"]
        if wrong:
            for code, each in {each.code: each for each in reversed(wrong)}.items():
                self._throw_out(code, f"{each.where} {each.allowed}")
            return
        care = self.care(rig)
        for code in (EYE, FRESH):
            worst = forbidding_words(each for each in care.findings if each.code == code)
            if worst:
                self._throw_out(code, WORDS[code], worst)
        cost = cost_figure(rig, self._space.shelf).value
        budget = self._space.settings.budget
        dear = budget is not None and cost is not None and round(cost, 2) > budget.amount
        if dear:
            self._throw_out("over-budget", "costs more than the budget")
        if care.forbidding or dear:
            return
        one = self._judged(rig, choice, COARSE_CELLS, COARSE_WAYS)
        if one.coverage <= 0.0 and not math.isfinite(one.error_rms_m):
            self._throw_out("never-followed", "cannot be followed anywhere in its zone")
        else:
            self.found.append((choice, one))

    def care(self, rig: Rig) -> Care:
        """What the lights of a rig without errors call for."""
        return care_of(rig, self._space.shelf, self._name)

    def _throw_out(self, code: str, words: str, examples: Sequence[str] = ()) -> None:
        self._out[code] += 1
        self._words.setdefault(code, words)
        known = self._examples.setdefault(code, {})
        known.update(dict.fromkeys(examples))

    def closely(self, choice: _Choice) -> SpaceCandidate:
        """A candidate as a plan judges it."""
        return self._judged(self.rig_of(choice), choice, CELLS)

    def own(self) -> SpaceCandidate | None:
        """The rig as it stands, as a plan judges it; None where it is wrong."""
        rig, shelf = bare(self._space.rig), self._space.shelf
        if any(each.severity == "error" for each in check_rig(rig, shelf)):
            return None
        return self._judged(rig, None, CELLS)

    def _judged(
        self, rig: Rig, choice: _Choice | None, cells: tuple[int, int, int], ways: int | None = None
    ) -> SpaceCandidate:
        resolved = resolve_space(rig, self._space.shelf, self._name)
        seen = (
            evaluate_space(resolved, cells) if ways is None
            else evaluate_space(resolved, cells, ways)
        )  # fmt: skip
        cost = cost_figure(rig, self._space.shelf)
        if cost.value is not None:
            self.currencies[cost.unit] = None
        delay_s = float(slowest_delay(seen).total_mean_s[0])
        camera = rig.cameras[0]
        lights = {
            (each.part, each.current.value if each.current else None)
            for thing in rig.carried
            for each in thing.emitters
        }
        emitter, current = lights.pop() if len(lights) == 1 else (None, None)
        places = (
            [""] * len(rig.cameras)
            if choice is None
            else [self._space.places[each].id for each in choice.places]
        )
        poses = resolved.cameras.rig_from_camera[0]
        return SpaceCandidate(
            number=0,
            places=places,
            positions_m=[tuple(round(float(v), 4) for v in pose[:3, 3]) for pose in poses],  # type: ignore[misc]
            look_at_m=tuple(round(float(v), 4) for v in self._look),  # type: ignore[arg-type]
            camera=camera.part,
            filter=camera.filter,
            emitter=emitter,
            current_a=current,
            cost=math.nan if cost.value is None else round(cost.value, 2),
            error_rms_m=seen.error_m(),
            error_worst_m=_worst_m(seen),
            coverage=seen.coverage,
            delay_s=delay_s,
            missed=_missed(seen, delay_s),
            warned=self.care(rig).words,
        )

    def reasons(self) -> list[SearchReason]:
        """Why candidates were thrown out, the most frequent first."""
        return [
            SearchReason(
                code=code,
                of="candidate",
                words=self._words[code],
                count=count,
                examples=sorted(self._examples[code])[:4],
            )
            for code, count in self._out.most_common()
        ]


def _with_light(thing: Carried, emitter: str, drive: Drive, space: SearchSpace) -> Carried:
    """A thing with other lights; as it is where the search names none."""
    update: dict[str, Any] = {}
    if space.settings.emitters:
        update["part"] = emitter
    if math.isfinite(drive.current_a):
        update["current"] = parse_quantity(f"{1e3 * drive.current_a:.6g} mA", "current")
    lights = [
        each.model_copy(update=update) if each.part is not None else each for each in thing.emitters
    ]
    return thing.model_copy(update={"emitters": lights})


def _middle_of_zones(rig: Rig) -> Array:
    middles = [
        [(a.value + b.value) / 2.0 for a, b in zip(each.zone.low, each.zone.high, strict=True)]
        for each in rig.carried
        if each.zone is not None and each.kind not in ("stylus", "scale-bar")
    ]
    return np.mean(middles, axis=0)


def _drawn(rng: np.random.Generator, space: SearchSpace, cameras: int) -> _Choice:
    _, *counts = space.counts
    parts = tuple(int(rng.integers(each)) for each in counts)
    places = tuple(int(each) for each in rng.integers(len(space.places), size=cameras))
    shares = rng.uniform(size=(cameras, 3)).round(3)
    return _Choice(parts, places, tuple(map(tuple, shares.tolist())))  # type: ignore[arg-type]


def _beside(rng: np.random.Generator, one: _Choice, near: float) -> _Choice:
    shares = np.array(one.shares) + rng.uniform(-near, near, (len(one.shares), 3))
    clipped = np.clip(shares, 0.0, 1.0).round(3)
    return _Choice(one.parts, one.places, tuple(map(tuple, clipped.tolist())))  # type: ignore[arg-type]


def _worst_m(seen: SpaceEvaluation) -> float:
    at = [mean_over(each.square_m2("all"), each.works, 1) for each in seen.fields]
    known = np.concatenate([each[np.isfinite(each)] for each in at])
    return float(known.max()) if known.size else math.nan


def _missed(seen: SpaceEvaluation, delay_s: float) -> list[str]:
    space = seen.space
    wanted = [
        ("coverage", seen.coverage >= space.coverage),
        ("largest error at a place", _worst_m(seen) <= space.worst_error_m),
        ("mean delay", delay_s <= space.delay_s),
    ]
    return [what for what, met in wanted if not met]


def _front(ordered: list[SpaceCandidate]) -> list[SpaceCandidate]:
    """Those that none betters in everything, by the steps that count, in the order given."""

    def worth(one: SpaceCandidate) -> Array:
        values = np.array([one.cost, one.error_rms_m, -one.coverage, one.delay_s])
        return np.round(np.where(np.isfinite(values), values, 1e9) / STEPS)

    kept: list[SpaceCandidate] = []
    worths = [worth(each) for each in ordered]
    for i, own in enumerate(worths):
        beaten = any(
            np.all(other <= own) and (np.any(other < own) or j < i)
            for j, other in enumerate(worths)
            if j != i
        )
        if not beaten:
            kept.append(ordered[i])
    return kept


def _why(
    judged: tuple[SpaceCandidate, SpaceCandidate | None], currency: str, without: list[list[str]]
) -> list[str]:
    """The reasons in sentences, of the one to take and the rig as it stands; each cost leaves out
    its parts `without` a price."""
    chosen, own = judged

    def worth(one: SpaceCandidate, bare: list[str]) -> str:
        cost = f", {one.cost:.2f} {currency} {unpriced_words(bare)}".rstrip()
        cost = cost if math.isfinite(one.cost) else ""
        missed = f"; it misses: {', '.join(one.missed)}" if one.missed else ""
        return (
            f"covers {100.0 * one.coverage:.0f} % of the zone, error "
            f"{1e3 * one.error_rms_m:.3g} mm rms, delay {1e3 * one.delay_s:.0f} ms{cost}{missed}"
        )

    lines = [f"The one to take, judged closely, {worth(chosen, without[0])}."]
    if own is not None:
        lines.append(f"The rig as it stands {worth(own, without[1])}.")
        if {TOLD[EYE], TOLD[FRESH]} & set(own.warned):
            lines.append("The rig as it stands is not to be built so: see the findings.")
        elif preference(own) <= preference(chosen):
            lines.append("The rig as it stands is preferred to all that was found: keep it.")
    lines += [f"{each}." for each in warned_words("the one to take", chosen.warned)]
    return lines
