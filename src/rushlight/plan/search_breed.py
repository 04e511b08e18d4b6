"""The optimiser: NSGA-II over mixed choices, one generation of candidates at a time.

Source: Deb, Pratap, Agarwal and Meyarivan, "A fast and elitist multiobjective genetic algorithm:
NSGA-II", IEEE Transactions on Evolutionary Computation 6(2), 2002, from memory; by pymoo 0.6. What
is ours: choices among a few are exchanged and drawn anew, shares are crossed (SBX) and shifted
(polynomial mutation).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pymoo.algorithms.moo.nsga2 import NSGA2
from pymoo.core.crossover import Crossover
from pymoo.core.evaluator import Evaluator
from pymoo.core.mutation import Mutation
from pymoo.core.problem import Problem
from pymoo.core.repair import Repair
from pymoo.core.termination import NoTermination
from pymoo.operators.crossover.sbx import SBX
from pymoo.operators.mutation.pm import PM
from pymoo.problems.static import StaticProblem

from rushlight.plan.search_space import SHARES, SearchSpace

Array = NDArray[Any]


class Breeder:
    """Asked for candidates and told what they are worth, generation by generation.

    A candidate is a row (V,): the number of each choice among a few, then `SHARES` from 0 to 1.

    Parameters
    ----------
    space
        What may be chosen.
    first
        (N, V) the first generation; N is the size of all.
    objectives, constraints
        How many of each; a constraint holds at 0 or below.
    seed
        The same seed and the same answers give the same candidates.
    """

    def __init__(
        self, space: SearchSpace, first: Array, objectives: int, constraints: int, seed: int
    ) -> None:
        counts = space.counts
        high = np.concatenate([np.array(counts) - 1.0, np.ones(SHARES)])
        self._problem = Problem(
            n_var=len(high),
            n_obj=objectives,
            n_ieq_constr=constraints,
            xl=np.zeros(len(high)),
            xu=high,
        )
        self._algorithm = NSGA2(
            pop_size=len(first),
            sampling=np.asarray(first, float),
            crossover=_Crossing(len(counts)),
            mutation=_Change(len(counts)),
            repair=_Whole(space.whole),
        )
        self._algorithm.setup(self._problem, termination=NoTermination(), seed=seed)
        self._asked: Any = None

    def ask(self) -> Array:
        """The next generation (N, V); empty when nothing new can be bred."""
        self._asked = self._algorithm.ask()
        if self._asked is None or not len(self._asked):
            return np.empty((0, self._problem.n_var))
        return np.asarray(self._asked.get("X"), float)

    def tell(self, objectives: Array, constraints: Array) -> None:
        """What the last generation is worth: (N, objectives) and (N, constraints)."""
        known = StaticProblem(self._problem, F=objectives, G=constraints)
        Evaluator().eval(known, self._asked)
        self._algorithm.tell(infills=self._asked)


class _Whole(Repair):
    """Candidates of which two that come to the same rig are equal."""

    def __init__(self, whole: Callable[[Array], Array]) -> None:
        super().__init__()
        self._whole = whole

    def _do(self, problem: Any, X: Array, **kwargs: Any) -> Array:
        return self._whole(X)


class _Crossing(Crossover):
    """Choices are exchanged whole, each with even chance; shares by simulated binary crossover."""

    def __init__(self, choices: int) -> None:
        super().__init__(2, 2)
        self._choices, self._shares = choices, SBX(eta=10, prob=0.9)

    def _do(
        self, problem: Any, X: Array, *args: Any, random_state: Any = None, **kwargs: Any
    ) -> Any:
        crossed = np.array(self._shares._do(problem, X, random_state=random_state))
        choices = X[:, :, : self._choices]
        swap = random_state.random(choices.shape[1:]) < 0.5
        crossed[:, :, : self._choices] = np.where(swap, choices[::-1], choices)
        return crossed


class _Change(Mutation):
    """Choices are drawn anew now and then; shares by polynomial mutation."""

    def __init__(self, choices: int) -> None:
        super().__init__(prob=1.0)
        self._choices, self._shares = choices, PM(eta=12)

    def _do(
        self, problem: Any, X: Array, *args: Any, random_state: Any = None, **kwargs: Any
    ) -> Any:
        changed = np.array(self._shares._do(problem, X, random_state=random_state))
        shape = (len(X), self._choices)
        drawn = np.floor(random_state.random(shape) * (problem.xu[: self._choices] + 1.0))
        anew = random_state.random(shape) < 1.0 / problem.n_var
        changed[:, : self._choices] = np.where(anew, drawn, X[:, : self._choices])
        return changed
