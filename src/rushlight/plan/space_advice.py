"""What to change about a rig of space: single changes, each tried by planning the rig anew."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rushlight.physics.geometry import rig_from_camera_looking_at
from rushlight.plan.space_evaluate import (
    COARSE_CELLS,
    COARSE_WAYS,
    SpaceEvaluation,
    evaluate_space,
)
from rushlight.plan.verdict import WORTH_COVERAGE, WORTH_ERROR, worth_of
from rushlight.records.arrays import Array
from rushlight.records.plan import Advice, CostClass
from rushlight.records.space import ResolvedSpace, Thing
from rushlight.records.space_plan import Baseline

CALIBRATED = {"focal": 0.003, "centre_px": 2.0, "bend": 0.1}
"""What a lens calibration leaves: of the focal length, of the centre, and as a share of the doubt
of each coefficient (assumptions; the calibration at hand tells better)."""
_BASELINES = (0.4, 0.6, 0.8, 1.0, 1.25, 1.6, 2.0)  # of the rig's own
_WIDER, _NEARER, _LEAST_AWAY_M = 1.5, 0.75, 0.3
_WIDEST_PAIR_M = 0.3  # wider is too unwieldy to wear; all of these are our choice, no source


@dataclass(frozen=True)
class _Trial:
    change: str
    cost: CostClass
    space: ResolvedSpace
    repeats: int = 1


def advise_space(space: ResolvedSpace) -> list[Advice]:
    """Which single changes would help, the most worth while first; exposures are chosen anew."""
    chosen = np.full_like(space.cameras.exposure_s, np.nan)
    free = space.replace(cameras=space.cameras.replace(exposure_s=chosen))
    before = evaluate_space(free, COARSE_CELLS, COARSE_WAYS)
    trials = [
        *_better_known(free),
        *_more_steps(free, before),
        *_lights(free),
        *_cameras(free),
        *_straighter(free),
    ]
    found = [
        _advice(
            trial, before, evaluate_space(trial.space, COARSE_CELLS, COARSE_WAYS, trial.repeats)
        )
        for trial in trials
    ]
    return sorted(found, key=worth_of, reverse=True)


def _advice(trial: _Trial, before: SpaceEvaluation, after: SpaceEvaluation) -> Advice:
    old, new = before.error_m(), after.error_m()
    lower = 1.0 - new / old if old > 0.0 else np.nan
    wider = after.coverage - before.coverage
    helps = (lower >= WORTH_ERROR and wider > -1e-9) or wider >= WORTH_COVERAGE
    return Advice(
        change=trial.change,
        cost=trial.cost,
        error_before_mm=_mm(old),
        error_after_mm=_mm(new),
        coverage_before=100.0 * before.coverage,
        coverage_after=100.0 * after.coverage,
        helps=bool(helps),
    )


def _mm(error_m: float) -> float | None:
    return 1e3 * error_m if np.isfinite(error_m) else None


def _better_known(space: ResolvedSpace) -> list[_Trial]:
    trials = []
    calibrated = calibrated_cov(space)
    now, then = (np.einsum("cii->ci", cov)[:, :4] for cov in (space.lens_cov, calibrated))
    if np.any(then < now / 2.0):
        change = "calibrate the lens from pictures of a printed pattern"
        trials.append(_Trial(change, "minutes", space.replace(lens_cov=calibrated)))
    mounted = space.replace(
        placed_std_m=space.placed_std_m / 3.0, turned_std_rad=space.turned_std_rad / 3.0
    )
    trials.append(
        _Trial("measure the cameras' places and aims three times as exactly", "minutes", mounted)
    )
    exact = _with_things(space, lambda thing: thing.replace(lights_std_m=thing.lights_std_m / 3.0))
    change = "measure the places of the lights on the thing three times as exactly"
    trials.append(_Trial(change, "minutes", exact))
    if any(thing.points_std_m[0] > 0.0 for thing in space.things):
        name = space.things[0].main
        fitted = _with_things(
            space, lambda thing: thing.replace(points_std_m=thing.points_std_m / 3.0)
        )
        change = f"measure where the {name} is on the thing three times as exactly, each time"
        trials.append(_Trial(change, "minutes", fitted))
    return trials


def _more_steps(space: ResolvedSpace, before: SpaceEvaluation) -> list[_Trial]:
    words = {"looks": "take every look of the registration three times, looking up between"}
    words["placings"] = "place three times on every mark of the registration"
    change = words.get(before.design.method)
    return [_Trial(change, "minutes", space, 3)] if change else []


def calibrated_cov(space: ResolvedSpace) -> Array:
    """(C, 9, 9) of the lenses after a calibration: never worse than now."""
    cov = np.array(space.lens_cov)
    for camera, own in enumerate(cov):
        now = np.sqrt(np.diag(own))
        focal = space.cameras.K[0, camera, 0, 0]
        left = np.concatenate(
            [
                [CALIBRATED["focal"] * focal] * 2,
                [CALIBRATED["centre_px"]] * 2,
                CALIBRATED["bend"] * now[4:],
            ]
        )
        share = np.where(now > 0.0, np.minimum(left / np.where(now > 0.0, now, 1.0), 1.0), 1.0)
        cov[camera] = own * np.outer(share, share)
    return cov


def _lights(space: ResolvedSpace) -> list[_Trial]:
    """Lights farther apart, and more of them."""
    trials = []
    caps = [thing for thing in space.things if thing.solved_as == "pair"]
    if caps:
        spacing = max(float(np.linalg.norm(np.ptp(each.lights_m, axis=0))) for each in caps)
        if spacing * _WIDER <= _WIDEST_PAIR_M:
            wide = _with_things(space, lambda t: _spread(t) if t.solved_as == "pair" else t)
            change = f"set the lights {1e3 * spacing * _WIDER:.0f} mm apart"
            trials.append(_Trial(change, "minutes", wide))
        for extra, words in ((1, "a third light"), (2, "a third and a fourth light")):
            more = _with_more_lights(space, extra)
            change = f"add {words} out of the line of the two, and solve the pose"
            trials.append(_Trial(change, "money", more))
    bodies = [thing for thing in space.things if thing.solved_as == "pose"]
    if bodies:
        larger = _with_things(space, lambda t: _spread(t) if t.solved_as == "pose" else t)
        trials.append(
            _Trial("spread the lights over half as much again in each direction", "minutes", larger)
        )
    bar = space.scale_bar
    if bar is not None:
        longer = space.replace(scale_bar=_spread(bar))
        change = "swing a scale bar half as long again, measured as exactly"
        trials.append(_Trial(change, "minutes", longer))
        finer = space.replace(scale_bar=bar.replace(lights_std_m=bar.lights_std_m / 3.0))
        change = "measure the scale bar's length three times as exactly"
        trials.append(_Trial(change, "minutes", finer))
    return trials


def _spread(thing: Thing) -> Thing:
    middle = thing.lights_m.mean(axis=0)
    return thing.replace(lights_m=middle + _WIDER * (thing.lights_m - middle))


def _with_more_lights(space: ResolvedSpace, extra: int) -> ResolvedSpace:
    """Each pair with one or two lights more, off the middle by two thirds of the spacing."""
    things, count = [], space.emitters.position_m.shape[1]
    picked = list(range(count))
    for thing in space.things:
        if thing.solved_as != "pair" or len(thing.lights) != 2:
            things.append(thing)
            continue
        one, other = thing.lights_m
        middle, size = (one + other) / 2.0, float(np.linalg.norm(other - one))
        places = [
            middle + size * np.array([0.0, 0.45, 0.5]),
            middle + size * np.array([0.1, -0.1, 0.6]),
        ]
        names = [f"{thing.id}-more-{i}" for i in range(extra)]
        lights = [*thing.lights]
        for _ in range(extra):
            lights.append(len(picked))
            picked.append(thing.lights[0])
        things.append(
            dataclasses.replace(
                thing,
                solved_as="pose",
                lights=tuple(lights),
                light_ids=(*thing.light_ids, *names),
                codes=(*thing.codes, *([None] * extra)),
                lights_m=np.vstack([thing.lights_m, *places[:extra]]),
                lights_std_m=np.append(
                    thing.lights_std_m, np.full(extra, thing.lights_std_m.mean())
                ),
            )
        )
    return _with_emitters(space, picked).replace(things=tuple(things))


def _with_emitters(space: ResolvedSpace, picked: list[int]) -> ResolvedSpace:
    e, c = space.emitters, space.cameras
    emitters = e.replace(**{f.name: getattr(e, f.name)[:, picked] for f in dataclasses.fields(e)})
    cameras = c.replace(
        **{
            name: getattr(c, name)[:, :, picked]
            for name in ("transmission", "quantum_efficiency", "angle_share")
        }
    )
    return space.replace(emitters=emitters, cameras=cameras)


def _cameras(space: ResolvedSpace) -> list[_Trial]:
    middle = zone_middle(space)
    trials = []
    poses = space.cameras.rig_from_camera[0]
    aimed = _aimed(space, [pose[:3, 3] for pose in poses])
    trials.append(_Trial("aim every camera at the middle of the zone", "free", aimed))
    for share, words in ((_NEARER, "a quarter nearer"), (2.0 - _NEARER, "a quarter farther")):
        places = [middle + share * (pose[:3, 3] - middle) for pose in poses]
        if min(float(np.linalg.norm(place - middle)) for place in places) > _LEAST_AWAY_M:
            change = f"move the cameras {words} from the zone, aimed at its middle"
            trials.append(_Trial(change, "minutes", _aimed(space, places)))
    if len(poses) > 1:
        change = "set the first two cameras half as far apart again, aimed at the zone's middle"
        trials.append(_Trial(change, "minutes", with_baseline(space, _WIDER)))
    return trials


def zone_middle(space: ResolvedSpace) -> Array:
    """(3,) middle of all zones [m]."""
    return np.asarray(np.mean([(t.low_m + t.high_m) / 2.0 for t in space.things], axis=0))


def _aimed(space: ResolvedSpace, places: list[Array]) -> ResolvedSpace:
    middle = zone_middle(space)
    poses = np.stack([rig_from_camera_looking_at(place, middle) for place in places])
    focus = np.array([np.linalg.norm(place - middle) for place in places])
    cameras = space.cameras.replace(rig_from_camera=poses[None])
    return space.replace(cameras=cameras, focus_m=np.maximum(focus, 0.05))


def with_baseline(space: ResolvedSpace, times: float) -> ResolvedSpace:
    """The first two cameras so many times as far apart about their middle, aimed at the zone's."""
    places = [np.array(pose[:3, 3]) for pose in space.cameras.rig_from_camera[0]]
    middle = (places[0] + places[1]) / 2.0
    for i in (0, 1):
        places[i] = middle + times * (places[i] - middle)
    return _aimed(space, places)


def baselines(space: ResolvedSpace) -> list[Baseline]:
    """Distance between the first two cameras against error; none for one camera."""
    if len(space.camera_ids) < 2:
        return []
    poses = space.cameras.rig_from_camera[0]
    apart = float(np.linalg.norm(poses[0, :3, 3] - poses[1, :3, 3]))
    found = []
    for times in _BASELINES:
        tried = space if times == 1.0 else with_baseline(space, times)
        seen = evaluate_space(tried, COARSE_CELLS, COARSE_WAYS)
        error, dots = seen.error_m(), seen.error_m("centre")
        found.append(
            Baseline(
                baseline_m=times * apart,
                error_m=error if np.isfinite(error) else None,
                dots_m=dots if np.isfinite(dots) else None,
                coverage=100.0 * seen.coverage,
                now=times == 1.0,
            )
        )
    return found


def _straighter(space: ResolvedSpace) -> list[_Trial]:
    if not any(thing.solved_as == "pair" for thing in space.things):
        return []
    steady = _with_things(
        space,
        lambda t: t.replace(ranges_rad=t.ranges_rad / 2.0) if t.solved_as == "pair" else t,
    )
    return [_Trial("ask people to face the display: half the turn, nod and lean", "free", steady)]


def _with_things(space: ResolvedSpace, change: Callable[[Thing], Thing]) -> ResolvedSpace:
    return space.replace(things=tuple(change(thing) for thing in space.things))
