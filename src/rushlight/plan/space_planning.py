"""The plan of one viewpoint, body or volume rig, as a document."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rushlight.errors import Finding
from rushlight.physics.cautions import CAUTIONS
from rushlight.physics.sighting import FACED_STD_RAD, HELD_STD_M
from rushlight.plan.constellation import constellation_plan
from rushlight.plan.delay import COMPUTING_S, TYPICAL, DelayBudget, budget_of
from rushlight.plan.eyes import eye_lines
from rushlight.plan.figures import (
    Names,
    eye_figures,
    finite,
    power_figures,
    relative_cost_figure,
)
from rushlight.plan.findings import eye_findings
from rushlight.plan.light import FAINTEST_PEAK, FULLEST_PEAK
from rushlight.plan.planning import cautions_of, plan_costs
from rushlight.plan.power import lines_of_circuits, plan_circuits
from rushlight.plan.power_report import power_findings
from rushlight.plan.space_advice import advise_space, baselines
from rushlight.plan.space_checks import check_figures
from rushlight.plan.space_design import HELD_S, STAND_M, SWING_POSES
from rushlight.plan.space_error import LOST_WORDS, mean_over
from rushlight.plan.space_evaluate import CELLS, SpaceEvaluation, evaluate_space
from rushlight.plan.space_figures import (
    names_of,
    reasons_of,
    space_delay_figures,
    space_figures,
)
from rushlight.plan.space_reach import reach_figures
from rushlight.plan.space_twins import twin_figures, twin_findings
from rushlight.records.arrays import Array
from rushlight.records.circuit import PlanCircuit
from rushlight.records.figure import SPACE_CAUSES, Figure
from rushlight.records.plan import PlanFinding, TargetVerdict
from rushlight.records.rig import Rig
from rushlight.records.space_plan import CameraDoubt, RegistrationPlan, SpacePlan, ZoneMap
from rushlight.records.space_registration import CAMERA_NUMBERS
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.check import check_rig
from rushlight.shelf.cost import cost_figure
from rushlight.shelf.resolve_space import resolve_space

_HIGH_M = 1.8  # above the floor, from which hanging a camera takes a ladder (our own rule)
_ASSUMED = (
    "first order about the rig as planned; every place of the zone and every angle within the "
    "ranges equally likely; at rest",
    "a pose is the likeliest one given its dots and the ranges of facing; the right one is found",
    f"the brightest pixel is kept at {100 * FULLEST_PEAK:.0f} % of full scale; a dot counts from "
    f"a peak of {FAINTEST_PEAK:g} times the noise (common practice, no source)",
    f"{1e3 * COMPUTING_S:g} ms of computing, until it is measured; {TYPICAL}",
    "bodies, hands, hair and the thing itself hide no light; cameras are focused on the middle of "
    "the zones, and those of several run in step",
)
_LOOKS = (
    f"each look lasts {HELD_S:g} s past beads {1e2 * STAND_M:g} cm before the display; the eye "
    f"strays {1e3 * HELD_STD_M:g} mm from the line and the head is turned "
    f"{math.degrees(FACED_STD_RAD):g}° from it (assumptions, no source); whoever looks later wears "
    "the cap anew"
)
_PLACINGS = (
    f"each placing lasts {HELD_S:g} s and strays {1e3 * HELD_STD_M:g} mm from its mark "
    "(assumption, no source)"
)
_SWING = f"{SWING_POSES} different poses of the swung bar count (assumption, no source)"


@dataclass(frozen=True)
class SpacePlanned:
    """A plan, and the arrays that its pictures are drawn from."""

    plan: SpacePlan
    evaluation: SpaceEvaluation
    delay: DelayBudget


def plan_space(
    rig: Rig,
    shelf: Shelf,
    cells: tuple[int, int, int] = CELLS,
    name: str = "rig.toml",
    progress: Callable[[str, float], None] = lambda _what, _share: None,
) -> SpacePlanned:
    """What a viewpoint, body or volume rig can be expected to do.

    Parameters
    ----------
    rig, shelf
        The rig, and the parts that it is made of.
    cells
        Of each zone along x, y and z that are looked at.
    name
        Of the rig's file, to stand in the findings.
    progress
        Told what is being done.

    Raises
    ------
    RushlightError
        When the rig cannot be computed.
    """
    space = resolve_space(rig, shelf, name)
    found = [each for each in check_rig(rig, shelf, name) if each.severity != "error"]
    progress("evaluating", 0.0)
    evaluation = evaluate_space(space, cells)
    progress("trying changes", 0.3)
    advice = advise_space(space)
    apart = baselines(space)
    progress("placing lights", 0.7)
    constellations = [
        constellation_plan(space, thing, evaluation.exposure_s)
        for thing in space.things
        if thing.solved_as == "pose" and len(thing.lights) >= 4
    ]
    progress("adding up", 0.9)
    delay = slowest_delay(evaluation)
    circuits = plan_circuits(rig, shelf)
    eyes = eye_lines(rig, shelf, circuits)
    cost = cost_figure(rig, shelf)
    relative = relative_cost_figure(rig, cost)
    names = names_of(evaluation)
    wanted_h = None if rig.targets.runtime is None else rig.targets.runtime.value / 3600.0
    found += _light_findings(evaluation, name)
    found += power_findings(circuits, wanted_h, name) + eye_findings(eyes, name)
    twins = twin_figures(evaluation)
    found += twin_findings(twins, name)
    figures = [
        *space_figures(evaluation),
        *reach_figures(evaluation),
        *check_figures(evaluation),
        *twins,
        *space_delay_figures(evaluation, delay),
        *_power_figures(circuits, names),
        *eye_figures(eyes, names),
        cost,
        *([relative] if relative else []),
    ]
    plan = SpacePlan(
        rig=rig.content_hash(),
        rig_name=rig.name,
        rig_title=rig.title,
        rig_basis=rig.basis,
        kinds=list(rig.kinds),
        targets=_targets(evaluation, delay, circuits, wanted_h),
        figures=figures,
        maps=[_map(evaluation, index) for index in range(len(evaluation.fields))],
        reasons=reasons_of(evaluation),
        registration=_registration(evaluation),
        exposures_s={
            camera: float(value)
            for camera, value in zip(space.camera_ids, evaluation.exposure_s, strict=True)
        },
        dominant=_dominant(evaluation),
        advice=advice,
        baselines=apart,
        constellations=constellations,
        findings=[PlanFinding.of(each) for each in found],
        costs=plan_costs(rig, shelf),
        cautions=_cautions(rig, shelf),
        assumptions=[*_ASSUMED, *_assumed_of(evaluation)],
        circuits=circuits,
        eyes=eyes,
    )
    return SpacePlanned(plan, evaluation, delay)


def _dominant(evaluation: SpaceEvaluation) -> str:
    errors = {cause: evaluation.error_m(cause) for cause in SPACE_CAUSES}
    if not any(math.isfinite(value) for value in errors.values()):
        return "unknown"
    return max(errors, key=lambda cause: errors[cause])


def slowest_delay(evaluation: SpaceEvaluation) -> DelayBudget:
    """The budget of the slowest camera, with the slowest display where there are any."""
    space = evaluation.space
    screens = [(each.delay_s + 1.0 / each.refresh_hz, each) for each in space.screens]
    slow = max(screens, key=lambda pair: pair[0])[1] if screens else None
    display, refresh = (slow.delay_s, slow.refresh_hz) if slow else (0.0, math.inf)
    budgets = [
        budget_of(
            space.cameras,
            evaluation.exposure_s[index : index + 1],
            index,
            np.array([display]),
            np.array([refresh]),
        )
        for index in range(len(space.camera_ids))
    ]
    return max(budgets, key=lambda budget: float(budget.total_mean_s[0]))


def _targets(
    evaluation: SpaceEvaluation,
    delay: DelayBudget,
    circuits: list[PlanCircuit],
    wanted_h: float | None,
) -> list[TargetVerdict]:
    space = evaluation.space
    clipped = any(bool(_clips(evaluation, i).any()) for i in range(len(evaluation.fields)))

    def most(what: str, wanted: float, values: list[Array], unit: str) -> TargetVerdict:
        known = np.concatenate([each.ravel() for each in values] or [np.zeros(0)])
        worst = float(np.nanmax(known)) if np.isfinite(known).any() else None
        met = None if worst is None or (clipped and worst <= wanted) else worst <= wanted
        return TargetVerdict(what=what, wanted=wanted, predicted=worst, unit=unit, met=met)

    share, share_goal = 100.0 * evaluation.coverage, 100.0 * space.coverage
    lag, lag_goal = 1e3 * float(delay.total_mean_s[0]), 1e3 * space.delay_s
    fields = evaluation.fields
    lines = [
        TargetVerdict(
            what="coverage", wanted=share_goal, predicted=share, unit="%", met=share >= share_goal
        ),
        most(
            "largest error at a place",
            1e3 * space.worst_error_m,
            [1e3 * mean_over(each.square_m2("all"), each.works, 1) for each in fields],
            "mm",
        ),
    ]
    poses = [each for each in fields if each.thing.solved_as == "pose"]
    if poses and math.isfinite(space.turn_error_rad):
        turns = [
            np.degrees(mean_over(each.turn_square_rad2("all"), each.works, 1)) for each in poses
        ]
        wanted = math.degrees(space.turn_error_rad)
        lines.append(most("largest error of the angle at a place", wanted, turns, "deg"))
    pictures = [
        1e3 * picture.error_m(field, "all", 1)
        for field, own in zip(fields, evaluation.pictures, strict=True)
        for picture in own
    ]
    if pictures and math.isfinite(space.picture_error_m):
        wanted = 1e3 * space.picture_error_m
        lines.append(most("largest error of the picture at a place", wanted, pictures, "mm"))
    lines.append(
        TargetVerdict(
            what="mean delay", wanted=lag_goal, predicted=lag, unit="ms", met=lag <= lag_goal
        )
    )
    if wanted_h is not None:
        hours = [each.runtime_h for each in circuits if each.kind == "carried"]
        known = [each for each in hours if each is not None]
        least = min(known) if known and len(known) == len(hours) else None
        met = None if least is None else least >= wanted_h
        lines.append(
            TargetVerdict(what="runtime", wanted=wanted_h, predicted=least, unit="h", met=met)
        )
    return lines


def _power_figures(circuits: list[PlanCircuit], names: Names) -> list[Figure]:
    """Of every light by its id, since things in space bear several; the hours once a thing."""
    figures = power_figures([], circuits, names)
    for line in lines_of_circuits(circuits):
        for one in power_figures([line], [], names):
            if one.name == "runtime":
                if any(f.name == "runtime" and f.scope == one.scope for f in figures):
                    continue
                figures.append(one)
                continue
            scope = one.scope.model_copy(update={"region": line.emitter})
            figures.append(one.model_copy(update={"scope": scope}))
    return figures


def _clips(evaluation: SpaceEvaluation, index: int) -> Array:
    """(C,) whether a thing's dots pass full scale somewhere in a camera's view."""
    dots = evaluation.fields[index].dots
    with np.errstate(invalid="ignore"):
        clipped = dots.in_view & (dots.grey_peak > 1.0)
    return np.asarray(clipped.any(axis=(1, 2)))


def _light_findings(evaluation: SpaceEvaluation, file: str) -> list[Finding]:
    found = []
    for index, field in enumerate(evaluation.fields):
        for camera, clips in zip(
            evaluation.space.camera_ids, _clips(evaluation, index), strict=True
        ):
            if not clips:
                continue
            at = evaluation.space.camera_ids.index(camera)
            dots = field.dots
            most = float(np.nanmax(np.where(dots.in_view[at], dots.grey_peak[at], np.nan)))
            found.append(
                Finding(
                    "warning",
                    "dots-clip",
                    f"{file}: carried {field.thing.id}",
                    f"{100 * most:.0f} % of full scale in camera {camera}",
                    "is beyond white, and a clipped dot's middle is known less well than told here",
                    f"lower the current to {100 * FULLEST_PEAK / most:.0f} % of it, put a "
                    "diffusing cap on the light, or shorten the exposure if the camera can",
                )
            )
        if not field.works.all():
            share = 100.0 * float(1.0 - field.works.mean())
            worst = max(field.fails, key=lambda why: float(field.fails[why].mean()))
            found.append(
                Finding(
                    "warning" if share > 10.0 else "note",
                    "zone-lost",
                    f"{file}: carried {field.thing.id}",
                    f"{share:.0f} % of places and turns",
                    f"cannot be followed, most often because dots are {worst}",
                    "aim or move the cameras, keep a smaller zone, or turn the lights toward them",
                )
            )
    return found


def _map(evaluation: SpaceEvaluation, index: int) -> ZoneMap:
    field, axes = evaluation.fields[index], evaluation.axes_m[index]
    layers: list[tuple[str, str, Array]] = [
        (
            "error" if cause == "all" else f"error-{cause}",
            "mm",
            1e3 * mean_over(field.square_m2(cause), field.works, 1),
        )
        for cause in ("all", *SPACE_CAUSES)
    ]
    if field.thing.solved_as == "pose":
        turn = np.degrees(mean_over(field.turn_square_rad2("all"), field.works, 1))
        layers.append(("turn-error", "deg", turn))
    for picture in evaluation.pictures[index]:
        layers.append(
            (
                f"picture-error-{picture.content}-{picture.screen}",
                "mm",
                1e3 * picture.error_m(field, "all", 1),
            )
        )
    layers.append(("works", "%", 100.0 * field.works.mean(axis=1)))
    layers.append(("covered", "%", 100.0 * evaluation.covered(index)))
    layers += [
        ("lost-" + LOST_WORDS[why], "%", 100.0 * where.mean(axis=1))
        for why, where in field.fails.items()
    ]
    shape = tuple(len(axis) for axis in reversed(axes))
    return ZoneMap(
        carried=field.thing.id,
        x_m=[float(v) for v in axes[0]],
        y_m=[float(v) for v in axes[1]],
        z_m=[float(v) for v in axes[2]],
        names=[name for name, _, _ in layers],
        units=[unit for _, unit, _ in layers],
        values=[
            [[[finite(v) for v in row] for row in sheet] for sheet in values.reshape(shape)]
            for _, _, values in layers
        ],
    )


def _registration(evaluation: SpaceEvaluation) -> RegistrationPlan:
    space, design = evaluation.space, evaluation.design
    std = np.sqrt(np.maximum(np.diag(evaluation.known.whole), 0.0))
    each = std.reshape(-1, CAMERA_NUMBERS)
    cameras = []
    for index, camera in enumerate(space.camera_ids):
        free = index != space.fixed_camera
        focal = float(space.cameras.K[0, index, 0, 0])
        cameras.append(
            CameraDoubt(
                camera=camera,
                place_before_m=float(space.placed_std_m[index]) * free,
                turn_before_rad=float(space.turned_std_rad[index]) * free,
                place_after_m=float(np.sqrt(np.mean(each[index, :3] ** 2))),
                turn_after_rad=float(np.sqrt(np.mean(each[index, 3:6] ** 2))),
                focal_before=float(np.sqrt(space.lens_cov[index, 0, 0])) / focal,
                focal_after=float(each[index, 6]) / focal,
            )
        )
    return RegistrationPlan(
        method=design.method,
        carried=design.thing.id if design.thing else None,
        marks=list(design.marks),
        frames=SWING_POSES if design.method == "swing" else design.frames,
        cameras=cameras,
    )


def _assumed_of(evaluation: SpaceEvaluation) -> list[str]:
    words = {"looks": _LOOKS, "placings": _PLACINGS, "swing": _SWING}
    own = words.get(evaluation.design.method)
    return [own] if own else ["no registration is planned: cameras count as mounted"]


def _cautions(rig: Rig, shelf: Shelf) -> dict[str, str]:
    """As for any rig; where a display lies flat, its camera hangs above it."""
    cautions = cautions_of(rig, shelf)
    floor = rig.surfaces[0].height_above_floor.value if rig.surfaces else 0.0
    high = max(max(c.position[1].value, c.position[2].value) for c in rig.cameras)
    if high + floor > _HIGH_M:
        cautions["height"] = CAUTIONS["height"]
    return cautions
