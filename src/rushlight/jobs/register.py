"""Register a camera to its display by the touches in footage."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from rushlight.capture.footage import Footage
from rushlight.capture.open import open_footage
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.belonging import camera_of, plan_of
from rushlight.jobs.held import dots_of
from rushlight.jobs.load import bits_of, load_rig, rig_path, typed_quantity
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.register_space import SpaceRegisterResult, register_space
from rushlight.jobs.registering import Ground, Matched, RegisterResult
from rushlight.jobs.surveyed import doubt_of, left_out, survey_to_register
from rushlight.plan.evaluate import evaluate
from rushlight.records.plan import Plan
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.records.session import ShownGoal
from rushlight.records.space_footage import SPACE_FOOTAGE
from rushlight.register.holds import Hold, find_holds, match_goals, match_in_order
from rushlight.shelf.resolve import resolve
from rushlight.shelf.resolve_space import space_kinds


def register(
    footage_path: Path | None,
    rig_file: Path,
    out: Path = Path("registration.json"),
    plan_path: Path | None = None,
    rate: str | None = None,
    progress: Progress = silent,
    survey_path: Path | None = None,
    pair_path: Path | None = None,
) -> RegisterResult | SpaceRegisterResult:
    """Find the held touches in footage, and the map from camera to surface that they tell.

    A rig that follows things in space is registered by `register_space`.

    Parameters
    ----------
    footage_path
        What `open_footage` reads; None for the measured mounting of a rig in space.
    rig_file
        The rig's file, or its folder.
    out
        Registration to write; the error map is drawn beside it.
    plan_path
        A plan of this rig. Its beacons are taken, in their order, where the footage does not
        say which beacon stood when.
    rate
        By which frame times are counted, as ``"30 Hz"``.
    progress
        Told the share of frames done.
    survey_path
        Survey of the displayed picture and the wall's bends; without it the picture is taken to
        fill the surface.
    pair_path
        Of a volume rig, how its two cameras stand by photographs of one board.

    Returns
    -------
    RegisterResult
        Written even if it is not vouched for; its verdict then says why.

    Raises
    ------
    RushlightError
        When an input cannot be used, or the touches tell no map.
    """
    rig, shelf = load_rig(rig_file)
    name = rig_path(rig_file).name
    if in_space(rig, footage_path):
        for option, given in (("--plan", plan_path), ("--rate", rate), ("--survey", survey_path)):
            _refuse_idle(option, given)
        return register_space(footage_path, rig_file, out, progress, pair_path)
    if pair_path is not None:
        raise RushlightError.of(
            "--pair",
            str(pair_path),
            "tells how two cameras stand to one another, not to a surface",
            "leave it out",
            "option-idle",
        )
    if footage_path is None:
        raise RushlightError.of(
            "--footage",
            "",
            "is needed to register a surface",
            "give footage of beacons being touched",
            "footage-missing",
        )
    resolved = resolve(rig, shelf, name)
    footage = open_footage(
        footage_path,
        typed_quantity(rate, "frequency", "--rate"),
        rig.cameras[0].id,
        bits=bits_of(rig, shelf),
    )
    camera = camera_of(rig, resolved, footage, name)
    plan = None if plan_path is None else plan_of(rig, plan_path)
    findings = _belonging(rig, footage, name)
    survey = None if survey_path is None else survey_to_register(survey_path, rig.surfaces[0])
    goals = _goals_of(footage, plan)
    holds, passed_over = find_holds(dots_of(footage, resolved, camera, progress))
    matched, unmatched = _matched(holds, goals, plan)
    if survey is not None and survey_path is not None:
        findings += doubt_of(survey, survey_path.name, footage.simulated)
    else:
        findings += left_out(rig_file)
    settled = _with_exposure(resolved, camera, footage)
    ground = Ground(rig, settled, camera, name, footage.size_px, survey)
    try:
        fitted = ground.fit(matched)
    except RushlightError as error:
        # What was passed over on the way is often why.
        told = (*findings, *footage.findings, *passed_over, *unmatched, *_by_order(goals))
        raise RushlightError([*error.findings, *told]) from error
    sources = {"footage": footage.content_hash}
    if plan is not None:
        sources["plan"] = plan.content_hash()
    if survey is not None:
        sources["survey"] = survey.content_hash()
    origin = footage.header.header if footage.header else None
    return ground.written(
        fitted,
        out,
        "simulated" if footage.simulated else "measured",
        sources,
        origin.seed if origin and footage.simulated else None,
        (
            *findings,
            *footage.findings,
            *passed_over,
            *unmatched,
            *([] if fitted.verdict.vouched else _by_order(goals)),
        ),
    )


def in_space(rig: Rig, footage_path: Path | None) -> bool:
    """Whether a registration is of cameras in space: by the rig's kinds, and where it is of both
    sorts, by what the footage shows."""
    if not space_kinds(rig) or "surface" not in rig.kinds:
        return bool(space_kinds(rig))
    return footage_path is None or (footage_path / SPACE_FOOTAGE).exists()


def _refuse_idle(option: str, given: object) -> None:
    if given is not None:
        raise RushlightError.of(
            option,
            str(given),
            "does nothing for a rig that follows things in space: its footage tells marks and "
            "times",
            "leave it out",
            "option-idle",
        )


def _goals_of(footage: Footage, plan: Plan | None) -> list[ShownGoal]:
    """The beacons that the footage tells, if it does; refused where nothing tells any."""
    goals = footage.header.goals if footage.header else []
    if not goals and plan is None:
        raise RushlightError.of(
            footage.name,
            "",
            "does not say which beacons were touched",
            "give the plan whose beacons were touched in order, with --plan",
            "beacons-unknown",
        )
    return goals


def _by_order(goals: list[ShownGoal]) -> list[Finding]:
    """Where only the plan's order told which beacon was touched: a likely cause of a bad map."""
    if goals:
        return []
    return [
        Finding(
            "note",
            "taken-in-order",
            "touches",
            "",
            "were taken in the order of the plan's beacons; in another order no map fits them",
            "touch the beacons by their numbers, all with one stylus before the next",
        )
    ]


def _matched(
    holds: list[Hold], goals: list[ShownGoal], plan: Plan | None
) -> tuple[Matched, list[Finding]]:
    """Beacon, who touched it, and the hold: by the goals' times, else by the plan's order."""
    if plan is not None and not goals:
        # As the plan has it: one stylus after another touches all beacons.
        styli: list[str | None] = [*plan.registering] or [None]
        order = [((at[0], at[1]), who) for who in styli for at in plan.beacons]
        paired = match_in_order(holds, [place for place, _ in order])
        touched = zip(order, paired, strict=True)
        return [(place, who, hold) for (place, who), (_, hold) in touched], []
    pairs, findings = match_goals(holds, goals)
    return [(goal.place_m, goal.carried, hold) for goal, hold in pairs], findings


def _with_exposure(resolved: ResolvedRig, camera: int, footage: Footage) -> ResolvedRig:
    """The exposure of the footage, or else of the rig, or else as a plan would choose it."""
    exposures = np.array(resolved.cameras.exposure_s)
    if footage.header is not None and footage.header.exposure_ns > 0:
        exposures[0, camera] = footage.header.exposure_ns * 1e-9
    if np.isnan(exposures[0, camera]):
        exposures = evaluate(resolved).exposure_s
    return resolved.with_exposure(exposures)


def _belonging(rig: Rig, footage: Footage, name: str) -> list[Finding]:
    """Whether the footage belongs to the rig, and shows touches."""
    header = footage.header
    if header is not None and header.script not in (None, "registration"):
        raise RushlightError.of(
            footage.name,
            f'the script "{header.script}"',
            "shows no touched beacons",
            "give footage of a registration",
            "not-a-registration",
        )
    if header is None or header.rig in (None, rig.content_hash()):
        return []
    return [
        Finding(
            "warning",
            "rig-changed",
            name,
            "",
            "has changed since the footage was made from it",
            "make it anew, or take the rig as it was",
        )
    ]
