"""Register a camera to its display by the touches in footage."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.capture.footage import Footage
from rushlight.capture.open import open_footage
from rushlight.errors import Finding, RushlightError
from rushlight.jobs.belonging import camera_of, plan_of
from rushlight.jobs.load import bits_of, load_rig, rig_path, typed_quantity
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.register_space import SpaceRegisterResult, register_space
from rushlight.physics.touch import over_ways, touch_scatter_m
from rushlight.plan.error import mean_height
from rushlight.plan.evaluate import evaluate
from rushlight.plan.light import dots, light_field
from rushlight.records.arrays import Array
from rushlight.records.document import write_bytes
from rushlight.records.dots import Dots
from rushlight.records.plan import Plan
from rushlight.records.registration import Registration
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.records.session import ShownGoal
from rushlight.records.space_footage import SPACE_FOOTAGE
from rushlight.register.error_map import error_map, picture
from rushlight.register.fit import Place, fit_registration
from rushlight.register.holds import Hold, find_holds, match_goals, match_in_order
from rushlight.register.solve import Lens, Touches, Wall
from rushlight.see.detect import Detector
from rushlight.shelf.resolve import lit_emitters, resolve
from rushlight.shelf.resolve_space import space_kinds
from rushlight.track.rig import noise_of

_TELL_EVERY = 20

MOVED_SHARE = 0.05
"""A camera that the touches place off by more than this share of its distance is reported."""


@dataclass(frozen=True)
class RegisterResult:
    """A registration, and what to tell of it.

    Attributes
    ----------
    registration
        As written.
    worst_error_m
        Greatest expected error of the map over the surface [m].
    simulated
        Whether the footage was simulated.
    findings
        What the user should know.
    registration_path, picture_path
        The files written.
    """

    registration: Registration
    worst_error_m: float
    simulated: bool
    findings: tuple[Finding, ...]
    registration_path: Path
    picture_path: Path

    def as_dict(self) -> dict[str, Any]:
        """What is told, as plain values in the units in which it is shown."""
        found = self.registration
        return {
            "basis": "simulated" if self.simulated else "measured",
            "vouched": found.verdict.vouched,
            "reasons": found.verdict.reasons,
            "rms_residual_mm": round(found.rms_residual_m * 1e3, 3),
            "expected_rms_mm": round((found.expected_rms_m or np.nan) * 1e3, 3),
            "touch_std_mm": round(found.touch_std_m * 1e3, 3),
            "worst_error_mm": round(self.worst_error_m * 1e3, 3),
            "aside_mm": {
                name: [round(step * 1e3, 2) for step in aside]
                for name, aside in found.aside_m.items()
            },
            "touches": [
                {
                    "x_m": round(touch.goal_m[0], 4),
                    "y_m": round(touch.goal_m[1], 4),
                    "carried": touch.carried,
                    "frames": touch.frames,
                    "missed_mm": _length_mm(touch.residual_m),
                    "missed_without_it_mm": _length_mm(touch.leave_one_out_m),
                    "used": touch.used,
                }
                for touch in found.touches
            ],
            "findings": [each.as_dict() for each in self.findings],
            "registration": str(self.registration_path),
            "picture": str(self.picture_path),
        }


def register(
    footage_path: Path | None,
    rig_file: Path,
    out: Path = Path("registration.json"),
    plan_path: Path | None = None,
    rate: str | None = None,
    progress: Progress = silent,
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
        for option, given in (("--plan", plan_path), ("--rate", rate)):
            _refuse_idle(option, given)
        return register_space(footage_path, rig_file, out, progress)
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
    goals = _goals_of(footage, plan)
    holds, passed_over = find_holds(_seen(footage, resolved, camera, progress))
    matched, unmatched = _matched(holds, goals, plan)
    carried = [lit.id for lit, _ in lit_emitters(rig)]
    emitters = [carried.index(who) if who in carried else 0 for _, who, _ in matched]
    resolved = _with_exposure(resolved, camera, footage)
    try:
        fitted = fit_registration(
            _touches(matched, emitters, supposed_scatter_m(resolved, camera)),
            *_known_beforehand(resolved, camera),
            Place(
                camera=rig.cameras[camera].id,
                surface=rig.surfaces[0].id,
                size_px=footage.size_px,
                mean_height_m=float(mean_height(resolved, tuple(sorted(set(emitters)) or (0,)))[0]),
            ),
            frames=[hold.frames for _, _, hold in matched],
            carried=[who for _, who, _ in matched],
        )
    except RushlightError as error:
        # What was passed over on the way is often why.
        told = (*findings, *footage.findings, *passed_over, *unmatched, *_by_order(goals))
        raise RushlightError([*error.findings, *told]) from error
    sources = {"rig": rig.content_hash(), "footage": footage.content_hash}
    if plan is not None:
        sources["plan"] = plan.content_hash()
    origin = footage.header.header if footage.header else None
    registration = fitted.stamped(
        "simulated" if footage.simulated else "measured",
        inputs=sources,
        seed=origin.seed if origin and footage.simulated else None,
    )
    registration.write(out)
    drawn = out.with_suffix(".svg")
    write_bytes(drawn, picture(registration, footage.simulated))
    return RegisterResult(
        registration=registration,
        worst_error_m=error_map(registration).worst_m,
        simulated=footage.simulated,
        findings=(
            *findings,
            *footage.findings,
            *passed_over,
            *unmatched,
            *([] if registration.verdict.vouched else _by_order(goals)),
            *_camera_elsewhere(registration, resolved, camera, name),
        ),
        registration_path=out,
        picture_path=drawn,
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


def supposed_scatter_m(resolved: ResolvedRig, camera: int) -> Array:
    """How far a touch is supposed to lie from its beacon, each axis: (E,) [m] for each emitter.

    As the plan supposes: the hand, and the apparent offset of the light at the middle of the
    surface over all ways of holding.

    Parameters
    ----------
    resolved
        A batch of one with a known exposure.
    camera
        The camera's place in the rig.
    """
    middle = resolved.surface.size_m[:, None, :] / 2.0
    field = light_field(resolved, camera, middle)
    seen = dots(resolved, camera, field, resolved.cameras.exposure_s[:, camera])
    tip = over_ways(seen.apparent_m, field.weights).cov_m2[0, :, 0]
    hand = resolved.emitters.touch_std_m[0]
    scatter = touch_scatter_m(hand, tip)
    # Where the camera misses the middle, the hand alone is known.
    return np.where(np.isfinite(scatter), scatter, hand)


def _known_beforehand(resolved: ResolvedRig, camera: int) -> tuple[Lens, Wall]:
    cameras, surface = resolved.cameras, resolved.surface
    return (
        Lens(
            np.array(cameras.K[0, camera]),
            np.array(cameras.distortion[0, camera]),
            np.array(cameras.distortion_std[0, camera]),
            np.array(cameras.distortion_corr[0, camera]),
        ),
        Wall(np.array(surface.size_m[0]), float(surface.flatness_m[0])),
    )


def _seen(
    footage: Footage, resolved: ResolvedRig, camera: int, progress: Progress
) -> Iterator[tuple[int, Dots]]:
    """Capture time and dots of every frame."""
    detect = Detector(*footage.size_px, noise_of(resolved, camera, footage.full_scale_dn))
    for frame in footage:
        if frame.image is None:
            continue
        yield frame.capture_ns, detect(frame.image)
        if footage.frames and frame.index % _TELL_EVERY == 0:
            progress("finding the touches", frame.index / footage.frames)
    progress("finding the touches", 1.0)


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


Matched = list[tuple[tuple[float, float], str | None, Hold]]


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


def _touches(matched: Matched, emitters: list[int], scatter_m: Array) -> Touches:
    return Touches(
        goal_m=np.array([place for place, _, _ in matched]).reshape(-1, 2),
        px=np.array([hold.px for _, _, hold in matched]).reshape(-1, 2),
        px_cov=np.array([hold.px_cov for _, _, hold in matched]).reshape(-1, 2, 2),
        scatter_m=scatter_m[emitters],
        who=np.array(emitters, int),
    )


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


def _camera_elsewhere(
    registration: Registration, resolved: ResolvedRig, camera: int, name: str
) -> list[Finding]:
    """A warning when the touches place the camera elsewhere than the rig does."""
    told = np.array(registration.maps[0].camera_position_m)
    told[2] += registration.mean_height_m
    stated = resolved.cameras.rig_from_camera[0, camera, :3, 3]
    middle = np.append(resolved.surface.size_m[0] / 2.0, 0.0)
    apart = float(np.linalg.norm(told - stated))
    if apart < MOVED_SHARE * float(np.linalg.norm(stated - middle)):
        return []
    place = ", ".join(f"{value:.2f}" for value in stated)
    found = ", ".join(f"{value:.2f}" for value in told)
    return [
        Finding(
            "warning",
            "camera-elsewhere",
            f"{name}: cameras[{camera}].position",
            f"({place}) m",
            f"is {apart:.2f} m from where the touches place it, ({found}) m",
            "measure it again, or check the lens; the plan is about the camera as stated",
        )
    ]


def _length_mm(step_m: tuple[float, float] | None) -> float | None:
    return None if step_m is None else round(float(np.hypot(*step_m)) * 1e3, 2)
