"""Is a search's front as good as that of twenty times as many candidates drawn at random?

Three invented rooms, made of the demo rig. For each: the search as it comes, from several seeds,
then 20 × as many candidates drawn evenly from the same space, all judged by the same evaluation.
What is compared is the hypervolume of a search's front and of the random one, over the box that
both span. A ratio hangs a little on the seed, by about 0.01 at the quick size, so that a room's
mean decides; each is printed. The optimiser's own time is told beside the evaluator's; no time
decides anything.

    python benchmarks/search_front.py [--quick]

Ends with code 1 where a room's mean ratio lies below 0.99.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.search_rooms import BOXES, place, room

from rushlight.plan.search import Ledger, generations_of, random_candidates
from rushlight.plan.search_front import front_of, hypervolume
from rushlight.plan.search_space import space_of
from rushlight.plan.search_trial import Trials, Tried
from rushlight.shelf.catalogue import built_in_shelf

LEAST = 0.99
TIMES = 20
BLOCK = 2000
SEEDS = (1, 2, 3)
ROOMS = {
    "barn": (BOXES, {"currents": ["10 mA", "20 mA"]}),
    "classroom": (
        [
            place("ceiling", "ceiling", (0.2, 1.8, 1.2), (2.2, 2.0, 3.8)),
            place("cupboard", "shelf", (-1.2, 1.2, 2.0), (-0.8, 1.4, 3.0)),
        ],
        {"currents": ["5 mA", "10 mA", "20 mA"]},
    ),
    "passage": (
        [
            place("rail", "wall", (-0.9, 0.9, 0.8), (-0.8, 1.6, 2.4)),
            place("lamp", "ceiling", (0.8, 1.9, 1.0), (1.6, 2.1, 2.2)),
            place("bench", "table", (0.0, 0.2, 1.9), (2.4, 0.4, 2.4)),
        ],
        {"cameras": ["vga-global-60", "wide-vga-global-60", "vga-global-120", "hd-rolling-30"]},
    ),
}


def compared(name: str, quick: bool) -> float:
    """The mean of one room's ratios of hypervolumes, printed with the times."""
    places, settings = ROOMS[name]
    size = {"population": 60, "generations": 12} if quick else {"population": 100,
                                                                "generations": 50}  # fmt: skip
    space = space_of(room(places, **settings, **size), built_in_shelf())
    began = time.perf_counter()
    trials = Trials(space, (6, 4) if quick else (9, 6))
    tabled_s = time.perf_counter() - began
    valuing_s, value = 0.0, trials.value

    def timed(choices: np.ndarray) -> Tried:
        nonlocal valuing_s
        start = time.perf_counter()
        tried = value(choices)
        valuing_s += time.perf_counter() - start
        return tried

    # Whatever is compiled or worked out once for the parts is no part of either side's time.
    value(random_candidates(space, 400, 3))
    trials.value = timed  # type: ignore[method-assign]
    start = time.perf_counter()
    searches = []
    for seed in SEEDS:
        ledger = Ledger(name)
        for _ in generations_of(trials, ledger, size["population"], seed, size["generations"]):
            pass
        searches.append(ledger.distinct())
    whole_s = time.perf_counter() - start
    tried = max(len(each.choices) for each in searches)
    drawn = _front(
        [
            value(random_candidates(space, min(BLOCK, TIMES * tried - first), 1000 + first))
            for first in range(0, TIMES * tried, BLOCK)
        ]
    )
    fronts = [_front([each]) for each in searches]
    ratios = [_ratio(each, drawn) for each in fronts]
    print(
        f"{name:10} {tried:6} candidates, fronts {'/'.join(str(len(each)) for each in fronts)}; "
        f"{TIMES * tried:7} at random, front {len(drawn)}; hypervolume ratios "
        f"{' '.join(f'{each:.4f}' for each in ratios)}, mean {np.mean(ratios):.4f}; shadow tabled "
        f"in {tabled_s:.1f} s, {len(SEEDS)} searches: evaluator {valuing_s:.1f} s, optimiser "
        f"{whole_s - valuing_s:.1f} s",
        flush=True,
    )
    return float(np.mean(ratios))


def _ratio(searched: np.ndarray, random: np.ndarray) -> float:
    """One front's hypervolume over the other's."""
    both = np.concatenate([searched, random])
    most = both.max(axis=0) + 0.1 * np.ptp(both, axis=0)
    one, other = (hypervolume(side, both.min(axis=0), most) for side in (searched, random))
    return float(one / other)


def _front(tried: list[Tried]) -> np.ndarray:
    """The front of many batches."""
    rows = [each.objectives[each.allowed] for each in tried]
    fronts = np.concatenate([each[front_of(each)] for each in rows])
    return fronts[front_of(fronts)]


def main() -> None:
    """Compare in every room."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="smaller searches, a coarser grid")
    quick = parser.parse_args().quick
    ratios = {name: compared(name, quick) for name in ROOMS}
    low = [name for name, ratio in ratios.items() if ratio < LEAST]
    print(f"least mean ratio {min(ratios.values()):.4f}, wanted {LEAST}")
    if low:
        sys.exit(f"below {LEAST}: {', '.join(low)}")


if __name__ == "__main__":
    main()
