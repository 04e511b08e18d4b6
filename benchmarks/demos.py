"""How long the demos of rigs in space take, each as a whole process, from its start to its kit.

Each demo is what a newcomer types: ``rushlight demo --scenario …``, with the program's own start,
on simulated footage, in an empty folder. Beside it stands what the peer takes in the same run, just
before and after: a Python that starts and loads the libraries that the demos lean on, numpy,
scipy and numba. The ratio over it tells demos of different machines apart from the machines.

The goal, 60 s a demo, is printed with whether it was met (our own choice). The gate is wider,
since other work may hold the machine: a demo that takes more than four times the goal fails, and
so does one that ends in an error. Processor seconds, of all processes of a demo together, stand
beside the clock's.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from rushlight.jobs.demo_space import SPACE_SCENARIOS

GOAL_S, GATE = 60.0, 4.0
QUICK = SPACE_SCENARIOS[-1:]
PEER = [sys.executable, "-c", "import numba, numpy, scipy.optimize, scipy.stats"]
PEER_STARTS = 3


def timed(command: list[str], folder: Path | None = None) -> tuple[float, float]:
    """Seconds by the clock and by the processor that a process and its children take.

    Raises
    ------
    subprocess.CalledProcessError
        When it ends in an error.
    subprocess.TimeoutExpired
        When it takes longer than the gate allows twice over.
    """
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    begun = time.perf_counter()
    subprocess.run(
        command, cwd=folder, check=True, capture_output=True, text=True, timeout=2 * GATE * GOAL_S
    )
    took = time.perf_counter() - begun
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return took, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def peer_s() -> list[float]:
    """Seconds of some starts of the peer."""
    return [timed(PEER)[0] for _ in range(PEER_STARTS)]


def main() -> int:
    """Measure, print, judge."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="one demo in place of three")
    scenarios = QUICK if parser.parse_args().quick else SPACE_SCENARIOS
    print("demos of invented rigs in space, each a whole process")
    starts = peer_s()
    passed = True
    for scenario in scenarios:
        words = [sys.executable, "-m", "rushlight", "demo", "--scenario", scenario, "--out", "out"]
        try:
            with tempfile.TemporaryDirectory() as made:
                took, worked = timed(words, Path(made))
        except (subprocess.CalledProcessError, subprocess.TimeoutExpired) as error:
            print(f"  {scenario}: {error}\n{error.stderr or ''}")
            passed = False
            continue
        around = peer_s()
        own = float(np.median(starts + around))
        starts = around
        met = "met" if took <= GOAL_S else "NOT MET"
        print(
            f"  {scenario}: {took:.1f} s, {worked:.1f} s of the processors, {took / own:.0f} times "
            f"the peer's {own:.2f} s; goal {GOAL_S:.0f} s: {met}"
        )
        passed = passed and took <= GATE * GOAL_S
    print("passed" if passed else f"FAILED: an error, or more than {GATE * GOAL_S:.0f} s")
    return 0 if passed else 1


if __name__ == "__main__":
    sys.exit(main())
