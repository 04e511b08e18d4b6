"""The search itself: generations of candidates, and everything that was tried."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Container, Iterator
from dataclasses import dataclass, field
from itertools import combinations, product
from typing import Any

import numpy as np
from numpy.typing import NDArray

import rushlight
from rushlight.plan.search_front import OBJECTIVES, front_of, spread_over
from rushlight.plan.search_space import SHARES, SearchSpace
from rushlight.plan.search_trial import RULED_OUT, Trials, Tried

Array = NDArray[Any]


REVISION = 2
"""Raised where candidates come to be judged otherwise: no search is taken up again across that."""
ROUNDS = 12
"""Times that the winners' neighbours are tried after breeding."""
ROUND_SHARE = 8
"""Greatest size of such a round, in populations."""
ONE_BY_ONE = 0.4
"""Greatest part of a round in which one choice or share is changed at a time."""
ANEW, ALONG = 0.3, 0.7
"""Bounds between the three ways of moving a camera: anew, along, by chance."""
SHIFTS = (0.1, 0.04, 0.015)
"""By which shares are shifted, round after round."""


@dataclass(frozen=True)
class Ledger:
    """Everything tried so far, generation by generation, so that a search can be taken up again.

    Attributes
    ----------
    key
        What the search is of: rig, shelf, seed and size; another search has another one.
    """

    key: str
    generations: list[Tried] = field(default_factory=list)

    def all(self) -> Tried:
        """All generations as one."""
        columns = zip(*(each.columns for each in self.generations), strict=True)
        return Tried(*(np.concatenate(each) for each in columns))

    def distinct(self) -> Tried:
        """Every candidate once, in the order in which they were first tried."""
        everything = self.all()
        _, first = np.unique(everything.choices, axis=0, return_index=True)
        return Tried(*(column[np.sort(first)] for column in everything.columns))

    def as_bytes(self) -> bytes:
        """The ledger as a file of plain arrays."""
        out = io.BytesIO()
        everything = self.all()
        np.savez(
            out,
            key=np.array(self.key),
            sizes=np.array([len(each.choices) for each in self.generations]),
            choices=everything.choices,
            objectives=everything.objectives,
            constraints=everything.constraints,
        )
        return out.getvalue()

    @classmethod
    def from_bytes(cls, content: bytes) -> Ledger:
        """The ledger from its file.

        Raises
        ------
        ValueError
            When it is damaged or none.
        """
        try:
            with np.load(io.BytesIO(content), allow_pickle=False) as file:
                ends = np.cumsum(file["sizes"])[:-1]
                parts = [
                    np.split(file[name], ends) for name in ("choices", "objectives", "constraints")
                ]
                return cls(str(file["key"]), [Tried(*each) for each in zip(*parts, strict=True)])
        except Exception as error:
            raise ValueError("expected the ledger of a search") from error


def key_of(
    space: SearchSpace, seed: int, population: int, generations: int, grid: tuple[int, int]
) -> str:
    """What tells one search from another: all that decides which candidates are tried."""
    parts = "".join(
        part.model_dump_json() for kind in space.shelf.parts.values() for part in kind.values()
    )
    rig = space.rig.model_copy(update={"search": None})
    settings = space.settings.model_dump_json(exclude={"generations", "sets", "spares"})
    said = (
        rushlight.__version__,
        REVISION,
        rig.content_hash(),
        parts,
        settings,
        seed,
        population,
        generations,
        grid,
        OBJECTIVES,
        tuple(RULED_OUT),
    )
    return hashlib.sha256(repr(said).encode()).hexdigest()


def first_generation(space: SearchSpace, population: int, seed: int) -> Array:
    """Where a search begins (population, V): spread evenly, and the middle of every place.

    The shares are a Latin hypercube (McKay, Beckman and Conover, Technometrics 21(2), 1979, from
    memory).
    """
    rng = np.random.default_rng(seed)
    axes = len(space.counts)
    strata = np.stack([rng.permutation(population) for _ in range(axes + SHARES)], axis=1)
    drawn = (strata + rng.random(strata.shape)) / population
    drawn[:, :axes] = np.floor(drawn[:, :axes] * np.array(space.counts))
    middles = min(len(space.places), population // 2)
    drawn[:middles, 0] = np.arange(middles)
    drawn[:middles, axes:] = 0.5
    return drawn


def generations_of(
    trials: Trials, ledger: Ledger, population: int, seed: int, count: int
) -> Iterator[float]:
    """Breed and value `count` generations, then look round the winners; yields the share done.

    Each step is added to the ledger. What the ledger holds already is not valued again, and what
    follows is the same, bit by bit, as had it never been interrupted. In the end no winner can be
    bettered by exchanging one part, its place or two of these, as far as `ROUNDS` rounds reach.

    Raises
    ------
    ValueError
        When the ledger's candidates are not those that this search tries.
    """
    from rushlight.plan.search_breed import Breeder

    first = first_generation(trials.space, population, seed)
    breeder = Breeder(trials.space, first, len(OBJECTIVES), len(RULED_OUT), seed)
    done = Ledger(ledger.key)
    seen: dict[bytes, list[Array]] = {}

    def worth(choices: Array) -> Tried:
        number = len(done.generations)
        if number < len(ledger.generations):
            tried = ledger.generations[number]
            if not np.array_equal(choices, tried.choices):
                raise ValueError(f"generation {number} of the ledger is another search's")
        else:
            tried = _valued(trials, choices, seen)
            ledger.generations.append(tried)
        done.generations.append(tried)
        seen.update({row.tobytes(): told for row, *told in zip(*tried.columns, strict=True)})
        return tried

    for number in range(count):
        choices = breeder.ask()
        if not len(choices):
            break
        tried = worth(choices)
        breeder.tell(tried.objectives, tried.constraints)
        yield (number + 1) / (count + ROUNDS)
    for number in range(ROUNDS):
        rng = np.random.default_rng([seed, number])
        near = _around(trials.space, done.distinct(), ROUND_SHARE * population, number, seen, rng)
        if not len(near):
            break
        worth(near)
        yield (count + number + 1) / (count + ROUNDS)


def _around(
    space: SearchSpace,
    tried: Tried,
    most: int,
    number: int,
    seen: Container[bytes],
    rng: np.random.Generator,
) -> Array:
    """Neighbours (N, V) of the winners that were not tried yet.

    A part of the round exchanges one choice or shifts one share; where all of these are known, it
    exchanges two choices at once. The rest moves all shares of winners together (`_jostled`), since
    a camera that moves aside is often bettered only if it turns back as well.
    """
    front = winners(tried)
    if not len(front):
        return np.empty((0, len(space.counts) + SHARES))
    shift = SHIFTS[number % len(SHIFTS)]
    moved = _jostled(space, tried.choices[front], tried.objectives[front], most, shift, rng)
    for changes in (_single_changes(space, shift), _double_changes(space)):
        spread = spread_over(tried.objectives[front], max(most // max(len(changes), 1), 1))
        # Those far from one another first; the others once nothing is new about these.
        for rows in (front[spread], np.delete(front, spread)):
            near: dict[bytes, Array] = {}
            for row in tried.choices[rows]:
                if not changes or len(near) >= ONE_BY_ONE * most:
                    break
                whole = space.whole(np.array([_changed(row, change) for change in changes]))
                near |= {one.tobytes(): one for one in whole if one.tobytes() not in seen}
            if near:
                near = dict(list(near.items())[: round(ONE_BY_ONE * most)])
                near |= {one.tobytes(): one for one in moved if one.tobytes() not in seen}
                return np.array(list(near.values())[:most])
    return np.empty((0, len(space.counts) + SHARES))


def _jostled(
    space: SearchSpace,
    rows: Array,
    objectives: Array,
    count: int,
    shift: float,
    rng: np.random.Generator,
) -> Array:
    """Winners (N, V) with all their shares moved together, in one of three ways.

    Along the line to another winner's of the same place, or beyond it, and a little aside: a front
    is a trade, between whose winners others lie. By chance, by about `shift`. And anew: another
    corner of the room may be better. Half of them stand with the parts of another winner.
    """
    axes = len(space.counts)
    chosen, others, parts = (
        rows[_preferred(objectives, count, rng)],
        rows[rng.integers(len(rows), size=count)],
        rows[_preferred(objectives, count, rng)],
    )
    same = chosen[:, :1] == others[:, :1]
    aside = shift * rng.standard_normal((count, SHARES))
    along = rng.uniform(-0.5, 1.5, (count, 1)) * (others - chosen)[:, axes:]
    way = rng.random((count, 1))
    shares = chosen[:, axes:]
    chosen[:, axes:] = np.where(
        way < ANEW,
        rng.random(shares.shape),
        shares + np.where((way < ALONG) & same, along + 0.2 * aside, aside),
    )
    swap = rng.random((count, 1)) < 0.5
    chosen[:, 1:axes] = np.where(swap, parts[:, 1:axes], chosen[:, 1:axes])
    return space.whole(chosen)


def _preferred(objectives: Array, count: int, rng: np.random.Generator) -> Array:
    """Rows (count,) of winners (N, M), each the best by a preference drawn at random.

    So what is bred most is what lies far from the others, not where winners crowd: the smallest
    greatest weighted distance from the best of each objective (the weighted Chebyshev norm).
    """
    span = np.ptp(objectives, axis=0)
    unit = (objectives - objectives.min(axis=0)) / np.where(span > 0, span, 1.0)
    weight = rng.exponential(size=(count, 1, objectives.shape[1])) ** 2
    far = weight * unit
    return np.asarray(np.argmin(far.max(axis=2) + 1e-3 * far.sum(axis=2), axis=1))


Change = tuple[tuple[int, float], ...]
"""Columns and what they become: a choice's number, or by how much a share is shifted."""


def _single_changes(space: SearchSpace, shift: float) -> list[Change]:
    axes = len(space.counts)
    choices = [((axis, float(to)),) for axis in range(axes) for to in range(space.counts[axis])]
    shares = [((axes + share, by),) for share in range(SHARES) for by in (-shift, shift)]
    return [*choices, *shares]


def _double_changes(space: SearchSpace) -> list[Change]:
    choices = [
        [(axis, float(to)) for to in range(count)] for axis, count in enumerate(space.counts)
    ]
    return [pair for one, other in combinations(choices, 2) for pair in product(one, other)]


def _changed(row: Array, change: Change) -> Array:
    other = row.copy()
    for column, value in change:
        other[column] = value if column < len(row) - SHARES else other[column] + value
    return other


def _valued(trials: Trials, choices: Array, seen: dict[bytes, list[Array]]) -> Tried:
    """What candidates are worth, those seen before by what they were worth then."""
    new = [index for index, row in enumerate(choices) if row.tobytes() not in seen]
    valued = trials.value(choices[new]) if new else None
    worth = [list(seen.get(row.tobytes(), ())) for row in choices]
    if valued is not None:
        for index, *pair in zip(new, valued.objectives, valued.constraints, strict=True):
            worth[index] = pair
    objectives, constraints = zip(*worth, strict=True)
    return Tried(choices, np.array(objectives), np.array(constraints))


def winners(tried: Tried) -> Array:
    """Indices of the candidates that nothing rules out and no other beats in everything."""
    allowed = np.flatnonzero(tried.allowed)
    return np.asarray(allowed[front_of(tried.objectives[allowed])])


def random_candidates(space: SearchSpace, count: int, seed: int) -> Array:
    """Candidates (count, V) drawn evenly, to measure a search against."""
    rng = np.random.default_rng(seed)
    choices = np.floor(rng.random((count, len(space.counts))) * np.array(space.counts))
    return space.whole(np.concatenate([choices, rng.random((count, SHARES))], axis=1))
