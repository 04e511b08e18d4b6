"""What to change: concrete single changes, each tried by planning the rig anew with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.errors import RushlightError
from rushlight.physics.geometry import rig_from_camera_looking_at
from rushlight.plan.beacons import choose_beacons
from rushlight.plan.evaluate import Evaluation, evaluate
from rushlight.plan.grid import Standing, with_fields
from rushlight.records.plan import Advice, CostClass
from rushlight.records.quantity import parse_quantity
from rushlight.records.resolved import ResolvedRig, stack_rigs
from rushlight.records.rig import Rig
from rushlight.records.sourced import Price
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve import resolve

Array = NDArray[Any]

COARSE = {"columns": 6, "rows": 4, "tilts": 2, "leans": 3}
"""Grid and nodes for comparing many rigs: a few per cent from the finer ones, far faster."""
WORTH_ERROR, WORTH_COVERAGE = 0.05, 0.02
"""From which relative gain in error, or gain in coverage, a change counts as help."""
_WEIGHT: dict[CostClass, float] = {"free": 1.0, "minutes": 1.5, "money": 4.0}
"""How much more a change must bring to stand before a cheaper one (our own choice)."""
_LEAST_AWAY_M = 0.4
MORE_BEACONS = 16
_CAMERAS_TRIED = 3


@dataclass(frozen=True)
class _Trial:
    change: str
    cost: CostClass
    rig: ResolvedRig
    price: str = ""
    beacons_m: Array | None = None
    registering: tuple[int, ...] | None = None


def advise(
    rig: Rig,
    shelf: Shelf,
    resolved: ResolvedRig,
    standing: Standing,
    beacons_m: Array,
    registering: tuple[int, ...],
) -> list[Advice]:
    """Which single changes would help, the most worth while first.

    Parameters
    ----------
    rig, shelf, resolved
        The rig three ways; exposures of NaN are chosen anew for every change.
    standing, beacons_m, registering
        As for `evaluate`.
    """
    trials = [
        *_free(resolved),
        *_moves(resolved),
        *_better_known(resolved),
        *_other_cameras(rig, shelf, resolved),
    ]
    batch = evaluate(
        stack_rigs([resolved, *(trial.rig for trial in trials)]),
        beacons_m=beacons_m,
        standing=standing,
        registering=registering,
        **COARSE,
    )
    before = _measure(batch, 0)
    found = [_advice(trial, before, _measure(batch, i + 1)) for i, trial in enumerate(trials)]
    for trial in _more_beacons(resolved, standing, beacons_m, registering):
        after = evaluate(
            resolved,
            beacons_m=trial.beacons_m,
            standing=standing,
            registering=trial.registering or registering,
            **COARSE,
        )
        found.append(_advice(trial, before, _measure(after, 0)))
    return sorted(found, key=worth_of, reverse=True)


def _measure(evaluation: Evaluation, index: int) -> tuple[float, float]:
    return float(evaluation.overall_error_m()[index]), float(evaluation.coverage[index])


def _advice(trial: _Trial, before: tuple[float, float], after: tuple[float, float]) -> Advice:
    def mm(error_m: float) -> float | None:
        return 1e3 * error_m if np.isfinite(error_m) else None

    lower = 1.0 - after[0] / before[0] if before[0] > 0 else np.nan
    wider = after[1] - before[1]
    # Seeing nothing anew is no gain, and what costs coverage is no help however exact the rest.
    helps = (lower >= WORTH_ERROR and wider > -1e-9) or wider >= WORTH_COVERAGE
    return Advice(
        change=trial.change,
        cost=trial.cost,
        price=trial.price,
        error_before_mm=mm(before[0]),
        error_after_mm=mm(after[0]),
        coverage_before=100.0 * before[1],
        coverage_after=100.0 * after[1],
        helps=bool(helps),
    )


def worth_of(advice: Advice) -> tuple[bool, float]:
    """What changes are put in order by, the greatest first."""
    gain = (advice.coverage_after - advice.coverage_before) / 100.0
    if advice.error_before_mm and advice.error_after_mm is not None:
        gain += 1.0 - advice.error_after_mm / advice.error_before_mm
    return advice.helps, gain / _WEIGHT[advice.cost]


def _free(resolved: ResolvedRig) -> list[_Trial]:
    trials = []
    if not np.all(np.isnan(resolved.cameras.exposure_s)):
        auto = np.full_like(resolved.cameras.exposure_s, np.nan)
        trials.append(
            _Trial("let the plan choose the exposure", "free", resolved.with_exposure(auto))
        )
    if np.any(resolved.cameras.stream_shift_dn_px > 0.0):
        raw = {"stream_shift_dn_px": np.zeros_like(resolved.cameras.stream_shift_dn_px)}
        change = "let the camera send raw pictures, if it can at this rate"
        trials.append(_Trial(change, "free", with_fields(resolved, cameras=raw)))
    tilt = resolved.emitters.tilt_rad
    middle, half = tilt.mean(axis=-1, keepdims=True), np.diff(tilt, axis=-1) / 4.0
    steadier = np.concatenate([middle - half, middle + half], axis=-1)
    trials.append(
        _Trial(
            "hold the styli more evenly: half the range of tilt and of lean",
            "free",
            with_fields(
                resolved,
                emitters={
                    "tilt_rad": steadier,
                    "lean_std_rad": resolved.emitters.lean_std_rad / 2.0,
                },
            ),
        )
    )
    return trials


def _moves(resolved: ResolvedRig) -> list[_Trial]:
    """The first camera moved, always aimed anew at the middle of the surface; the tip shortened."""
    pose = resolved.cameras.rig_from_camera[0, 0]
    middle = np.append(resolved.surface.size_m[0] / 2.0, 0.0)
    away = pose[:3, 3] - middle
    distance = float(np.linalg.norm(away))
    places = {
        "move the camera 0.5 m nearer to the surface": middle + away * (1.0 - 0.5 / distance),
        "move the camera 0.5 m farther from the surface": middle + away * (1.0 + 0.5 / distance),
        "move the camera square on to the middle of the surface": middle
        + np.array([0.0, 0.0, distance]),
        "hang the camera 0.5 m higher": pose[:3, 3] + np.array([0.0, 0.5, 0.0]),
    }
    trials = []
    for change, place in places.items():
        if place[2] < _LEAST_AWAY_M or np.allclose(place, pose[:3, 3], atol=0.05):
            continue
        poses = resolved.cameras.rig_from_camera.copy()
        poses[0, 0] = rig_from_camera_looking_at(place, middle)
        trials.append(
            _Trial(change, "minutes", with_fields(resolved, cameras={"rig_from_camera": poses}))
        )
    shorter = with_fields(resolved, emitters={"position_m": resolved.emitters.position_m / 2.0})
    return [*trials, _Trial("set the light at half the distance from the tip", "minutes", shorter)]


def _better_known(resolved: ResolvedRig) -> list[_Trial]:
    trials = []
    if np.any(resolved.cameras.distortion_std > 0):
        std = {"distortion_std": resolved.cameras.distortion_std / 10.0}
        change = "calibrate the lens from pictures of a printed pattern (a tenth of the doubt)"
        trials.append(_Trial(change, "minutes", with_fields(resolved, cameras=std)))
    if np.any(resolved.surface.flatness_m > 0):
        flat = {"flatness_m": resolved.surface.flatness_m / 10.0}
        change = "put a rigid board over the wall (a tenth of its departure from a plane)"
        trials.append(_Trial(change, "money", with_fields(resolved, surface=flat)))
    return trials


def _more_beacons(
    resolved: ResolvedRig, standing: Standing, beacons_m: Array, registering: tuple[int, ...]
) -> list[_Trial]:
    more, _ = choose_beacons(resolved, standing, registering, MORE_BEACONS)
    everyone = tuple(range(len(standing.holder)))
    trials = []
    if registering != everyone:
        change = "let every stylus touch the beacons"
        trials.append(_Trial(change, "minutes", resolved, "", beacons_m, everyone))
    return [
        *trials,
        _Trial("touch every beacon twice", "minutes", resolved, "", np.tile(beacons_m, (2, 1))),
        _Trial(f"register with {len(more)} beacons", "minutes", resolved, "", more),
    ]


def _other_cameras(rig: Rig, shelf: Shelf, resolved: ResolvedRig) -> list[_Trial]:
    """The first camera exchanged for parts of the shelf with more pixels, at the same place."""
    mine = shelf.camera(rig.cameras[0].part)
    better = [
        part
        for part in map(shelf.camera, shelf.parts["camera"])
        if part.size_px[0] * part.size_px[1] > mine.size_px[0] * mine.size_px[1]
        and not part.infrared_cut
    ]
    better.sort(key=lambda part: part.size_px[0] * part.size_px[1])
    trials: list[_Trial] = []
    for part in better:
        rate = min(rig.cameras[0].frame_rate.value, part.frame_rate.si)
        camera = rig.cameras[0].model_copy(
            update={
                "part": part.id,
                "lens": None,
                "exposure": "auto",
                "frame_rate": parse_quantity(f"{rate:g} Hz", "frequency"),
            }
        )
        try:
            other = resolve(rig.model_copy(update={"cameras": [camera, *rig.cameras[1:]]}), shelf)
        except RushlightError:
            continue  # a part that this rig cannot take is no advice
        price = rig.prices.get(part.id) or part.price
        said = _price_text(price) or "price not known"
        trials.append(_Trial(f"use the camera {part.id} at the same place", "money", other, said))
    return trials[:_CAMERAS_TRIED]


def _price_text(price: Price | None) -> str:
    return f"{price.amount:g} {price.currency} ({price.date}, {price.basis})" if price else ""


def dominant_cause(error_m: dict[str, Array], causes: tuple[str, ...]) -> str:
    """The cause with the largest mean square over all places of the first rig."""
    return max(causes, key=lambda cause: float(np.nanmean(error_m[cause][0] ** 2)))
