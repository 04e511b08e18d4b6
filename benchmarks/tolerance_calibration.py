"""Is a probability that targets are met kept? Rigs built at random, each simulated once.

Some invented rigs are planned with their tolerance. Then each is built several times: parts and
room are drawn from the very doubts that the plan was told, the build is filmed (one registration,
then six touches of every place of a grid) and goes through renderer, detector, the finding of
held touches and the fit, with lens and wall supposed as planned. A build either meets its target
or does not; the plan gave it a probability. Builds whose dots the plan cannot judge (clipped,
weak, parted) are left out, and of the probability's draws as well: there it promises nothing. Two
targets are judged apart: the largest error, and the coverage.

Every build is held against several targets of each kind, set for its rig so that probabilities
from about 0.1 to 0.9 occur: by draws with other seeds than the plan's, so that the probability
itself is the plan's own word. With one target a rig, the outcome hangs on which rig got which:
one and the same builds then give slopes that differ as much as those of fresh builds do.

A touch that gives no fix has no error, in the plan as here: whoever measures touches again. Such
touches are counted and told. A beacon whose touch is not found is touched again, as the guided
registration asks for. The pixels that always glow are known from dark frames, as `inspect`
measures them with the lens covered; a plan supposes a camera without them. A fix that is grossly
wrong counts as it is.

What is asked of the probabilities: in a logistic regression of the outcome on the logit of the
probability, a slope whose 95 % interval holds 1 and an intercept whose interval holds 0 (Cox,
Biometrika 45 (1958) 562, from memory); and a Brier score below that of always telling the share
of builds that met the target (Brier, Monthly Weather Review 78 (1950) 1, from memory). A build
meets several targets together, so the intervals take each build's outcomes as one (the sandwich
of Liang and Zeger, Biometrika 73 (1986) 13, from memory). Where the probabilities are right, each
of the four intervals fails to hold its value about once in twenty runs of fresh seeds; seeds here
are fixed, and a run repeats itself. The quick form, a gate that right code must pass, asks the
99.9 % intervals of its few builds.

Prediction and simulation share the model of light and wall, though not the code of rendering,
detection and fit: that they agree is self-consistency, not proof.
"""

from __future__ import annotations

import argparse
import dataclasses
import multiprocessing
import os
import sys
import time
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy import optimize, special

from closed_loop import brightest, looked_at, supposed_scatter_m
from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.physics.surface_map import surface_from_px
from rushlight.plan.beacons import choose_beacons
from rushlight.plan.doubt import Doubt
from rushlight.plan.doubts import doubts_of
from rushlight.plan.error import mean_height
from rushlight.plan.evaluate import Evaluation, evaluate
from rushlight.plan.grid import Standing, with_fields
from rushlight.plan.rig_draws import BUILDS, MEASURES, RigModel
from rushlight.plan.single_build import build_errors_m, luck_count
from rushlight.plan.variance import draw
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.records.session import ShownGoal
from rushlight.register.fit import Place, fit_registration
from rushlight.register.holds import Hold, find_holds, match_goals
from rushlight.register.solve import Lens, Touches, Wall
from rushlight.see.detect import Detector
from rushlight.see.hot import HotPixels
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve import resolve
from rushlight.simulate import scripts
from rushlight.simulate.footage import sensor_of
from rushlight.simulate.world import World, draw_world
from rushlight.track.rig import noise_of

COLUMNS, ROWS = 4, 3
WAYS = {"tilts": 3, "leans": 5}
VISITS = 6
FRAMES_A_TOUCH = 6
MOST_TRIES = 5  # to touch a beacon
DARK_FRAMES, DARK = 16, np.zeros((0, 6))
COVERED = 0.9
SHARES = np.linspace(0.1, 0.9, 9)
"""Shares of drawn builds that keep the targets a build is held against."""
DRAWS = 128
DOUBTED = len(MEASURES)
FULL, QUICK = (20, 20), (8, 5)  # rigs, builds of each
LEVEL, LEVEL_QUICK = 0.95, 0.999
TARGETS = ("largest error", "coverage")
SCENARIO = Path("src/rushlight/jobs/scenarios/barn-wall")


class Task(NamedTuple):
    """One build: the rig as planned and as it turned out, errors (2, L) wanted [m] and told."""

    planned: ResolvedRig
    built: ResolvedRig
    beacons_m: np.ndarray
    wanted_m: np.ndarray
    told: np.ndarray
    seed: int


class Outcome(NamedTuple):
    """What the plan told (2, L) of both kinds of targets, and whether each was met.

    And how many touches gave no fix, None where the registration was refused; and how many touches
    of beacons were not found.
    """

    told: np.ndarray
    met: np.ndarray
    missed: int | None
    again: int


def random_document(rng: np.random.Generator, rig: Rig) -> Rig:
    """The scenario's rig with one stylus, its place, wall, hand and camera drawn at random."""
    text = rig.model_dump(mode="json", by_alias=True)
    text["carried"] = text["carried"][:1]
    text["people"] = text["people"][:1]
    width = rng.uniform(1.6, 2.4)
    text["surfaces"][0] |= {
        "width": f"{width:.3f} m",
        "height": f"{width * rng.uniform(0.56, 0.7):.3f} m",
        "flatness": f"{rng.uniform(1.0, 5.0):.2f} mm",
    }
    side, up, away = rng.uniform(-0.3, 0.3), rng.uniform(0.2, 0.9), rng.uniform(1.2, 1.5)
    text["cameras"][0] |= {
        "position": [f"{(0.5 + side) * width:.3f} m", f"{up:.3f} m", f"{away * width:.3f} m"],
        "look_at": [f"{width / 2:.3f} m", f"{0.3 * width:.3f} m", "0 m"],
        "aim": None,
        "exposure": "auto",
    }
    text["people"][0]["touch_scatter"] = f"{rng.uniform(0.8, 2.5):.2f} mm"
    return Rig.model_validate(text)


NOBODY = dict.fromkeys(("shoulder_m", "reach_m", "breadth_m", "stature_m"), np.zeros((1, 0)))
UNSEEN = ("people", "camera-delay")
"""Doubts left out: bodies are not filmed, and delay is not asked for."""
DIMMED = 0.5
"""Exposure over the one the plan would choose, so that few builds clip their dots."""


class Planned(NamedTuple):
    """A rig whose builds are looked at."""

    rig: ResolvedRig
    doubts: list[Doubt]
    beacons_m: np.ndarray


def usable(document: Rig, shelf: Shelf) -> Planned | None:
    """The rig, unless its plan already has something bad to say of a place."""
    resolved = with_fields(
        resolve(document, shelf), people=NOBODY | {"standing_m": np.zeros((1, 0, 2))}
    )
    standing = Standing.unknown(resolved)
    beacons, _ = choose_beacons(resolved, standing, (0,))
    beacons = np.asarray(beacons)
    found = evaluate(resolved, COLUMNS, ROWS, beacons, standing, (0,), **WAYS)
    dimmed = resolved.with_exposure(DIMMED * found.exposure_s)
    found = evaluate(dimmed, COLUMNS, ROWS, beacons, standing, (0,), **WAYS)
    good = found.in_view & ~found.saturated & ~found.weak & ~found.parted
    if not np.all(good) or not np.all(found.views[0].error.seen_touches):
        return None
    doubts = [d for d in doubts_of(document, shelf, resolved) if d.name not in UNSEEN]
    return Planned(dimmed, doubts, beacons)


def judged(planned: Planned, batch: ResolvedRig) -> Evaluation:
    """What the plan expects of drawn rigs at the places that are simulated."""
    standing = Standing.unknown(batch)
    return evaluate(batch, COLUMNS, ROWS, planned.beacons_m, standing, (0,), **WAYS)


def wanted(planned: Planned, seed: int) -> np.ndarray:
    """Largest error, and error at nine places of ten, that these shares of builds keep to [m]."""
    model = RigModel(planned.rig, planned.doubts, lambda batch: judged(planned, batch))
    batch = model.rigs(drawn(planned, 64, seed))
    rng = np.random.default_rng(seed)
    largest, most = [], []
    for at in range(0, len(batch), 32):
        ev = judged(planned, batch.take(slice(at, at + 32)))
        luck = rng.standard_normal((len(ev.coverage), BUILDS, luck_count(ev)))
        errors = np.sort(build_errors_m(ev, luck, VISITS, rng)[:, :, 0], axis=-1)
        largest.append(errors[..., -1].ravel())
        most.append(errors[..., int(np.ceil(COVERED * errors.shape[-1])) - 1].ravel())
    return np.array([np.nanquantile(np.concatenate(one), SHARES) for one in (largest, most)])


def drawn(planned: Planned, draws: int, seed: int) -> np.ndarray:
    """Variates of the doubts."""
    kinds = [doubt.kind for doubt in planned.doubts for _ in range(doubt.count)]
    return draw(kinds, draws, seed)


def told(planned: Planned, wanted_m: np.ndarray) -> np.ndarray:
    """The probabilities (2, L) that the tolerance tells of the targets, over all drawn builds."""
    known: dict[bytes, Evaluation] = {}

    def once(batch: ResolvedRig) -> Evaluation:
        # Only the target differs from call to call, and an evaluation does not hang on it.
        key = batch.cameras.rig_from_camera.tobytes()
        if key not in known:
            known[key] = judged(planned, batch)
        return known[key]

    variates, found = drawn(planned, DRAWS, 1), []
    for largest_m, most_m in wanted_m.T:
        rig = with_fields(planned.rig, targets={"worst_error_m": np.array([most_m])})
        values = RigModel(rig, planned.doubts, once, 1, touches=VISITS)(variates)
        builds = values[values[:, DOUBTED] == 0.0, DOUBTED + 1 :]
        worst, coverage = builds[:, :BUILDS], builds[:, BUILDS:]
        found.append(
            [np.mean(worst <= 1e3 * largest_m), np.mean(coverage >= 100.0 * COVERED - 1e-9)]
        )
    return np.transpose(found)


def detector_of(world: World, plan: ResolvedRig) -> Detector:
    """The detector, told of the pixels that always glow."""
    sensor = sensor_of(world, scripts.Script("dark", (), (), 0.0))
    hot = HotPixels.from_dark([sensor.expose(DARK) for _ in range(DARK_FRAMES)])
    return Detector(*world.size_px, noise_of(plan, 0), hot=hot)


def touched(
    world: World, beacons_m: np.ndarray, detect: Detector
) -> tuple[list[tuple[ShownGoal, Hold]], int]:
    """A touch of every beacon that could be found, and how many touches were not."""
    pairs: list[tuple[ShownGoal, Hold]] = []
    left, again = beacons_m, 0
    for attempt in range(MOST_TRIES):
        script = scripts.registration(
            dataclasses.replace(world, seed=world.seed + 104_729 * attempt), left
        )
        within = 0.07 * np.arange(FRAMES_A_TOUCH) - 0.5
        moments = np.concatenate([goal.until_ns * 1e-9 + within for goal in script.goals])
        seen = looked_at(world, script, moments, detect)
        found, _ = match_goals(find_holds(seen)[0], script.goals)
        pairs += found
        places = np.array([goal.place_m for goal, _ in found]).reshape(-1, 2)
        left = left[~(left[:, None] == places).all(axis=-1).any(axis=-1)]
        if not len(left):
            break
        again += len(left)
    return pairs, again


def errors_m(task: Task) -> tuple[np.ndarray, int, int]:
    """Root-mean-square error (G,) [m] of one simulated build over the fixes of each place.

    Infinite where none of the visits gave one. And how many touches gave no fix, and how many
    of beacons were not found.

    Raises
    ------
    RushlightError
        When the touches found tell no map.
    """
    world, plan = draw_world(task.built, task.seed), task.planned
    detect = detector_of(world, plan)
    pairs, again = touched(world, task.beacons_m, detect)
    touches = Touches(
        goal_m=np.array([goal.place_m for goal, _ in pairs]).reshape(-1, 2),
        px=np.array([hold.px for _, hold in pairs]).reshape(-1, 2),
        px_cov=np.array([hold.px_cov for _, hold in pairs]).reshape(-1, 2, 2),
        scatter_m=np.full(len(pairs), supposed_scatter_m(plan)),
    )
    c = plan.cameras
    lens = Lens(np.array(c.K[0, 0]), np.array(c.distortion[0, 0]), np.array(c.distortion_std[0, 0]))
    wall = Wall(world.size_m, float(plan.surface.flatness_m[0]))
    place = Place("camera-1", "surface-1", world.size_px, float(mean_height(plan, (0,))[0]))
    frames = [hold.frames for _, hold in pairs]
    found = fit_registration(touches, lens, wall, place, frames, [None] * len(frames))
    one, squares = found.maps[0], []
    for visit in range(VISITS):
        # The same room and wall, other movements of the hand and other noise.
        visitor = dataclasses.replace(world, seed=task.seed + 7919 * (visit + 1))
        xy, goals = visited(visitor, detect, one, found.flatness_m)
        squares.append(np.sum((xy - goals) ** 2, axis=-1))
    fixed = np.isfinite(squares)
    fixes, total = fixed.sum(axis=0), np.sum(np.where(fixed, squares, 0.0), axis=0)
    mean = np.where(fixes > 0, total / np.maximum(fixes, 1), np.inf)
    return np.sqrt(mean), int(np.count_nonzero(~fixed)), again


def visited(world: World, detect: Detector, one, flatness_m) -> tuple[np.ndarray, np.ndarray]:
    """Where one touch of every place was mapped to, and where it was, (G, 2) [m] each."""
    script = scripts.grid(world, COLUMNS, ROWS)
    moments = np.array([goal.until_ns * 1e-9 - 0.2 for goal in script.goals])
    px = np.array([brightest(dots) for _, dots in looked_at(world, script, moments, detect)])
    xy = surface_from_px(
        px,
        one.camera_matrix,
        one.distortion,
        one.surface_from_normalised,
        flatness_m,
        world.size_m,
        one.camera_position_m,
    )
    pitch = world.size_m / world.rig.surface.display_px[0]
    phase = np.random.default_rng([world.seed, 1]).uniform(size=xy.shape)
    xy = (np.round(xy / pitch + phase) - phase) * pitch
    return xy, np.array([goal.place_m for goal in script.goals])


def judge(task: Task) -> Outcome:
    """Build, film and measure one rig."""
    try:
        errors, missed, again = errors_m(task)
    except RushlightError:
        return Outcome(task.told, np.zeros(task.told.shape, bool), None, 0)
    largest_m, most_m = task.wanted_m
    share = np.mean(errors <= most_m[:, None], axis=-1)
    met = np.stack([errors.max() <= largest_m, share >= COVERED])
    return Outcome(task.told, met, missed, again)


def tasks_of(rigs: int, builds: int, seed: int) -> tuple[list[Task], int, int]:
    """Rigs with their targets and probabilities, and how many rigs and builds were left out."""
    rng = np.random.default_rng(seed)
    document, shelf = load_rig(SCENARIO)
    tasks: list[Task] = []
    passed_over = left_out = 0
    for number in range(rigs):
        while (planned := usable(random_document(rng, document), shelf)) is None:
            passed_over += 1
        goals = wanted(planned, 1000 + number)
        probabilities = told(planned, goals)
        model = RigModel(planned.rig, planned.doubts, lambda batch: judged(planned, batch))
        variates = drawn(planned, 4 * builds, 5000 + number)
        known = model(variates)[:, DOUBTED] == 0.0
        left_out += int(np.count_nonzero(~known[: np.flatnonzero(known)[builds - 1]]))
        built = model.rigs(variates[known][:builds])
        tasks += [
            Task(planned.rig, built.take(slice(index, index + 1)), planned.beacons_m, goals,
                 probabilities, 100_000 * number + index)
            for index in range(builds)
        ]  # fmt: skip
        print(f"\r{number + 1} of {rigs} rigs planned", end="", file=sys.stderr, flush=True)
    return tasks, passed_over, left_out


class Calibration(NamedTuple):
    """Slope and intercept with their deviations, and the two Brier scores."""

    slope: float
    slope_std: float
    intercept: float
    intercept_std: float
    brier: float
    base_brier: float


def calibrate(probability: np.ndarray, met: np.ndarray) -> Calibration:
    """The logistic regression of outcomes (N, L) on the logit of the probability, N builds."""
    least = 0.5 / (DRAWS * BUILDS)
    x = special.logit(np.clip(probability, least, 1.0 - least))
    rows = np.stack([np.ones_like(x), x], axis=-1)

    def cost(beta: np.ndarray) -> float:
        return float(np.sum(np.logaddexp(0.0, rows @ beta) - met * (rows @ beta)))

    def slope(beta: np.ndarray) -> np.ndarray:
        return np.einsum("nlp,nl->p", rows, special.expit(rows @ beta) - met)

    beta = optimize.minimize(cost, [0.0, 1.0], jac=slope, method="BFGS").x
    fitted = special.expit(rows @ beta)
    bread = np.linalg.inv(np.einsum("nlp,nl,nlq->pq", rows, fitted * (1.0 - fitted), rows))
    of_build = np.einsum("nlp,nl->np", rows, fitted - met)
    cov = bread @ (of_build.T @ of_build) @ bread
    base = float(np.mean(met))
    return Calibration(
        float(beta[1]), float(np.sqrt(cov[1, 1])), float(beta[0]), float(np.sqrt(cov[0, 0])),
        float(np.mean((probability - met) ** 2)), base * (1.0 - base),
    )  # fmt: skip


def show(outcomes: list[Outcome], level: float) -> bool:
    """Print what was found, with intervals of this level; whether the gate is passed."""
    passed, reach = True, special.ndtri(0.5 + level / 2.0)
    print(f"intervals of {100.0 * level:g} %")
    for index, name in enumerate(TARGETS):
        probability = np.array([one.told[index] for one in outcomes])
        met = np.array([one.met[index] for one in outcomes], float)
        found = calibrate(probability, met)
        wide, off = reach * found.slope_std, reach * found.intercept_std
        good = abs(found.slope - 1.0) <= wide and abs(found.intercept) <= off
        good &= found.brier < found.base_brier
        passed &= good
        print(
            f"\n{name}: {met.size} targets of {len(met)} builds, {met.sum():.0f} met"
            f"{'' if good else '   FAILED'}"
        )
        print(f"  slope {found.slope:.2f} ({found.slope - wide:.2f} to {found.slope + wide:.2f})")
        print(
            f"  intercept {found.intercept:.2f} "
            f"({found.intercept - off:.2f} to {found.intercept + off:.2f})"
        )
        print(f"  Brier score {found.brier:.3f}, of the share alone {found.base_brier:.3f}")
        for low, high in ((0.0, 0.2), (0.2, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 1.01)):
            chosen = (probability >= low) & (probability < high)
            if chosen.any():
                print(
                    f"  told {low:.1f} to {min(high, 1.0):.1f} (mean "
                    f"{probability[chosen].mean():.2f}): met {met[chosen].mean():.2f} "
                    f"of {chosen.sum()}"
                )
    print("\nself-consistency of plan and simulation, not proof")
    return passed


def main() -> int:
    """Run the benchmark; 1 when the gate is not passed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="few rigs, few builds")
    parser.add_argument("--seed", type=int, default=11, help="of the rigs")
    given = parser.parse_args()
    began = time.monotonic()
    tasks, passed_over, left_out = tasks_of(*(QUICK if given.quick else FULL), given.seed)
    print(f"\nrigs passed over because the plan warns of them: {passed_over}")
    print(f"builds left out because their dots clip, are weak or part: {left_out}")
    with multiprocessing.get_context("spawn").Pool(os.cpu_count()) as pool:
        outcomes = []
        for outcome in pool.imap(judge, tasks, chunksize=2):
            outcomes.append(outcome)
            print(f"\r{len(outcomes)} of {len(tasks)} built", end="", file=sys.stderr, flush=True)
    missed = [one.missed for one in outcomes if one.missed is not None]
    touches = COLUMNS * ROWS * VISITS * len(missed)
    print(f"\nregistrations refused: {len(outcomes) - len(missed)} of {len(outcomes)}")
    print(f"touches without a fix: {sum(missed)} of {touches}")
    print(f"touches of beacons that were not found: {sum(one.again for one in outcomes)}")
    passed = show(outcomes, LEVEL_QUICK if given.quick else LEVEL)
    print(f"{time.monotonic() - began:.0f} s")
    return 0 if passed else 1


if __name__ == "__main__":
    sys.exit(main())
