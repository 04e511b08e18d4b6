"""One rig's plan: every budget, the beacons, the findings and the advice, as one document."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.errors import RushlightError
from rushlight.physics.cautions import CAUTIONS
from rushlight.plan.beacons import choose_beacons
from rushlight.plan.beam_light import beam_findings, beam_lines
from rushlight.plan.delay import COMPUTING_S, TYPICAL, DelayBudget, delay_budget
from rushlight.plan.error import DWELL_S
from rushlight.plan.evaluate import Evaluation, evaluate
from rushlight.plan.eyes import eye_lines
from rushlight.plan.figures import (
    Names,
    delay_figures,
    error_figures,
    eye_figures,
    finite,
    place_figures,
    power_figures,
    relative_cost_figure,
)
from rushlight.plan.findings import evaluation_findings, eye_findings
from rushlight.plan.grid import HAND_ASIDE_M, Standing, cell_middles
from rushlight.plan.light import FAINTEST_PEAK, FULLEST_PEAK
from rushlight.plan.light_report import light_findings, light_range
from rushlight.plan.power import PowerLine, plan_circuits, power_lines
from rushlight.plan.power_report import power_findings
from rushlight.plan.room_figures import room_figures
from rushlight.plan.room_findings import room_findings
from rushlight.plan.room_plan import Layer, room_of_plan
from rushlight.plan.shadow import SCENES, ShadowField, scenes_of_rig, shadow_of_scenes
from rushlight.plan.shadow_report import shadow_figures, shadow_findings
from rushlight.plan.stream import stream_findings
from rushlight.plan.verdict import advise, dominant_cause
from rushlight.records.figure import ERROR_CAUSES
from rushlight.records.plan import Plan, PlanCost, PlanFinding, PlanMap, TargetVerdict
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.records.room import Room
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.check import check_rig
from rushlight.shelf.cost import cost_figure, cost_lines
from rushlight.shelf.resolve import lit_emitters, resolve

Array = NDArray[Any]

ASSUMPTIONS = (
    "first order about the rig as planned; one light at a time; the camera is focused on the "
    "middle of the surface",
    f"every beacon is touched for {DWELL_S:g} s by each stylus that registers and is not "
    "hidden there by its holder's body",
    f"a person stands {HAND_ASIDE_M:g} m beside the hand, within their standing place (no source)",
    f"the brightest pixel is kept at {100 * FULLEST_PEAK:.0f} % of full scale; a dot counts from "
    f"a peak of {FAINTEST_PEAK:g} times the noise (common practice, no source)",
    f"{1e3 * COMPUTING_S:g} ms of computing, until it is measured; {TYPICAL}",
    "what counts as covered or as a touch unseen is told by an upright column for the holder's "
    "body, as in simulated footage; arms, hands and other people are told of in the shadow, "
    f"beside it: {SCENES} equally likely scenes in which everyone is at work",
    "the stylus's own body hides nothing of the light",
)
_HIGH_M = 1.8


@dataclass(frozen=True)
class Planned:
    """A plan, and the arrays that its pictures are drawn from."""

    plan: Plan
    resolved: ResolvedRig
    evaluation: Evaluation
    delay: DelayBudget
    standing: Standing
    names: Names
    shadow: ShadowField
    room: Room | None


def plan_rig(
    rig: Rig,
    shelf: Shelf,
    columns: int = 9,
    rows: int = 6,
    name: str = "rig.toml",
    progress: Callable[[str, float], None] = lambda _what, _share: None,
    touched_by: Sequence[str] = (),
) -> Planned:
    """What a rig can be expected to do.

    Parameters
    ----------
    rig, shelf
        The rig, and the parts that it is made of.
    columns, rows
        Grid of places that are looked at.
    name
        Of the rig's file, to stand in the findings.
    progress
        Told what is being done.
    touched_by
        Ids of the carried things that touch the beacons; every stylus where none is given.

    Raises
    ------
    RushlightError
        When the rig cannot be computed, or nothing of an id in `touched_by` is carried.
    """
    resolved = resolve(rig, shelf, name)
    findings = [each for each in check_rig(rig, shelf, name) if each.severity != "error"]
    names = Names(
        rig.name,
        tuple(camera.id for camera in rig.cameras),
        tuple(carried.id for carried, _ in lit_emitters(rig)),
    )
    standing = Standing.of_rig(rig)
    registering = _registering(names, touched_by)
    progress("choosing beacons", 0.0)
    beacons, suitable = choose_beacons(resolved, standing, registering)
    progress("evaluating", 0.1)
    evaluation = evaluate(resolved, columns, rows, beacons, standing, registering)
    progress("trying changes", 0.4)
    advice = advise(rig, shelf, resolved, standing, beacons, registering)
    light = light_range(rig, shelf, resolved, evaluation.exposure_s, names)
    progress("adding up", 0.9)
    delay = _slowest(resolved, evaluation)
    scenes = scenes_of_rig(rig, resolved, evaluation.places_m[0])
    shadow = shadow_of_scenes(scenes, resolved, columns * rows)
    room, layers = room_of_plan(rig, shelf, resolved, evaluation, scenes, standing, registering)
    power, circuits = power_lines(rig, shelf, resolved), plan_circuits(rig, shelf)
    eyes, beams = eye_lines(rig, shelf, circuits), beam_lines(rig, shelf)
    cost = cost_figure(rig, shelf)
    relative = relative_cost_figure(rig, cost)
    findings += evaluation_findings(evaluation, resolved, names, suitable, name)
    findings += shadow_findings(shadow, names, name)
    findings += stream_findings(rig, evaluation, name)
    findings += light_findings(light, name)
    findings += room_findings(room, rig, name)
    findings += power_findings(circuits, _wanted_runtime_h(rig), name)
    figures = [
        *error_figures(evaluation, names),
        *place_figures(evaluation, resolved, names),
        *shadow_figures(shadow, evaluation, names),
        *delay_figures(delay, float(resolved.targets.speed_m_s[0]), names),
        *power_figures(power, circuits, names),
        *room_figures(room, names.rig),
        *eye_figures(eyes, names),
        cost,
        *([relative] if relative else []),
    ]
    findings += eye_findings(eyes, name) + beam_findings(beams, name)
    plan = Plan(
        rig=rig.content_hash(),
        rig_name=rig.name,
        rig_title=rig.title,
        rig_basis=rig.basis,
        columns=columns,
        rows=rows,
        floor_m=float(resolved.surface.floor_m[0]),
        targets=_targets(rig, resolved, evaluation, delay, power),
        figures=figures,
        maps=_maps(evaluation, names, resolved, shadow, layers),
        beacons=[(float(x), float(y)) for x, y in beacons],
        registering=[names.carried[index] for index in registering],
        exposures_s={
            camera: float(evaluation.exposure_s[0, i]) for i, camera in enumerate(names.cameras)
        },
        dominant=_dominant(evaluation),
        advice=advice,
        findings=[PlanFinding.of(finding) for finding in findings],
        costs=plan_costs(rig, shelf),
        room=room,
        cautions=cautions_of(rig, shelf),
        assumptions=list(ASSUMPTIONS),
        light=light,
        circuits=circuits,
        eyes=eyes,
        beams=beams,
    )
    return Planned(plan, resolved, evaluation, delay, standing, names, shadow, rig.room)


def _registering(names: Names, touched_by: Sequence[str]) -> tuple[int, ...]:
    for thing in touched_by:
        if thing not in names.carried:
            raise RushlightError.of(
                "touched by",
                f'"{thing}"',
                "is no stylus of this rig",
                f"use {', '.join(dict.fromkeys(names.carried))}",
                "touched-by",
            )
    return tuple(
        index
        for index, carried in enumerate(names.carried)
        if not touched_by or carried in touched_by
    )


def _dominant(evaluation: Evaluation) -> str:
    seen = {c: np.where(evaluation.in_view, v, np.nan) for c, v in evaluation.error_m.items()}
    if not np.isfinite(seen["all"]).any():
        return "unknown"
    return dominant_cause(seen, ERROR_CAUSES)


def _slowest(resolved: ResolvedRig, evaluation: Evaluation) -> DelayBudget:
    """The budget of the camera with the longest mean delay."""
    budgets = [
        delay_budget(resolved, evaluation.exposure_s[:, camera], camera)
        for camera in range(evaluation.exposure_s.shape[1])
    ]
    return max(budgets, key=lambda budget: float(budget.total_mean_s[0]))


def _targets(
    rig: Rig,
    resolved: ResolvedRig,
    evaluation: Evaluation,
    delay: DelayBudget,
    power: list[PowerLine],
) -> list[TargetVerdict]:
    wanted = resolved.targets
    worst = np.where(evaluation.in_view[0], evaluation.error_m["all"][0], np.nan)
    error = 1e3 * float(np.nanmax(worst)) if np.isfinite(worst).any() else None
    goal = 1e3 * float(wanted.worst_error_m[0])
    # Where dots are clipped, weak or parted the detector may doubt them: no error can be promised.
    doubted = bool(np.any((evaluation.saturated | evaluation.weak | evaluation.parted)[0]))
    small = None if error is None or (doubted and error <= goal) else error <= goal
    lag, lag_goal = 1e3 * float(delay.total_mean_s[0]), 1e3 * float(wanted.delay_s[0])
    share, share_goal = 100.0 * float(evaluation.coverage[0]), 100.0 * float(wanted.coverage[0])
    lines = [
        TargetVerdict(
            what="coverage", wanted=share_goal, predicted=share, unit="%", met=share >= share_goal
        ),
        TargetVerdict(
            what="largest error at a place in view",
            wanted=goal,
            predicted=error,
            unit="mm",
            met=small,
        ),
        TargetVerdict(
            what="mean delay", wanted=lag_goal, predicted=lag, unit="ms", met=lag <= lag_goal
        ),
    ]
    if rig.targets.runtime is not None:
        hours = [line.runtime_h for line in power]
        least = finite(min(hours)) if all(map(math.isfinite, hours)) else None
        goal_h = _wanted_runtime_h(rig) or math.nan
        met = None if least is None else least >= goal_h
        lines.append(
            TargetVerdict(what="runtime", wanted=goal_h, predicted=least, unit="h", met=met)
        )
    return lines


def _wanted_runtime_h(rig: Rig) -> float | None:
    return None if rig.targets.runtime is None else rig.targets.runtime.value / 3600.0


def _maps(
    evaluation: Evaluation,
    names: Names,
    resolved: ResolvedRig,
    shadow: ShadowField,
    more: list[Layer],
) -> list[PlanMap]:
    """One map for each emitter: errors by cause, light, geometry, and what stands in the way."""
    ev = evaluation
    layers: list[Layer] = [
        *(
            ("error" if cause == "all" else f"error-{cause}", "mm", 1e3 * ev.error_m[cause])
            for cause in ("all", *ERROR_CAUSES)
        ),
        ("millimetres-a-pixel", "mm/px", ev.mm_per_px[..., 0]),
        ("millimetres-a-pixel-minor", "mm/px", ev.mm_per_px[..., 1]),
        ("incidence", "deg", np.degrees(ev.incidence_rad)),
        ("dot-width", "px", ev.sigma_px),
        ("electrons", "e-", ev.electrons),
        ("grey-peak", "%", 100.0 * ev.grey_peak),
        ("peak-over-noise", "1", ev.peak_over_noise),
        ("background", "e-", ev.background_e),
        ("centre-px", "px", ev.centre_px),
        *(
            (word, "0 or 1", mask.astype(float))
            for word, mask in (
                ("in-view", ev.in_view),
                ("hidden", ev.hidden),
                ("saturated", ev.saturated),
                ("weak", ev.weak),
                ("parted", ev.parted),
                ("reached", ev.reached),
                ("covered", ev.covered),
            )
        ),
        ("shadow", "%", 100.0 * shadow.everywhere[None]),
        ("shadow-alone", "%", 100.0 * shadow.alone.min(axis=1)[None]),
        *more,
    ]
    size = resolved.surface.size_m[0]
    axes = [
        [float(v) for v in cell_middles(side, count)]
        for side, count in zip(size, (ev.columns, ev.rows), strict=True)
    ]
    return [
        PlanMap(
            carried=carried,
            x_m=axes[0],
            y_m=axes[1],
            names=[name for name, _, _ in layers],
            units=[unit for _, unit, _ in layers],
            values=[
                [
                    [finite(value) for value in row]
                    for row in values[0, index].reshape(ev.rows, ev.columns)
                ]
                for _, _, values in layers
            ],
        )
        for index, carried in enumerate(names.carried)
    ]


def plan_costs(rig: Rig, shelf: Shelf) -> list[PlanCost]:
    """What every part costs, as far as is known."""
    return [
        PlanCost(
            what=line.what,
            count=line.count,
            amount=line.amount,
            currency=line.price.currency if line.price else "",
            basis=line.price.basis if line.price else None,
            note="; ".join(filter(None, (line.price.date, line.price.source)))
            if line.price
            else "price not known",
        )
        for line in cost_lines(rig, shelf)
    ]


def cautions_of(rig: Rig, shelf: Shelf) -> dict[str, str]:
    """The cautions that this rig calls for; the eye always."""
    wanted = {"eye", "heat", "motion", "mains", "picture", "cables"}
    if any(thing.cell for thing in rig.carried):
        wanted.add("cell")
    if any(camera.filter for camera in rig.cameras):
        wanted.add("filter_glass")
    displays = [shelf.display(each.display) for each in rig.surfaces if each.display]
    if any(part.technology == "projector" for part in displays):
        wanted.add("beam")
    floor = rig.surfaces[0].height_above_floor.value if rig.surfaces else 0.0
    hung = [each for each in (*rig.cameras, *(s.projector for s in rig.surfaces)) if each]
    if any(each.position[1].value + floor > _HIGH_M for each in hung):
        wanted.add("height")
    return {name: text for name, text in CAUTIONS.items() if name in wanted}
