"""What an aim says: the camera's pose, what it means for the plan, and the least that helps."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.errors import Finding
from rushlight.jobs.aim_light import judge_lights
from rushlight.jobs.aiming import AimGround, PlaceHeld
from rushlight.jobs.ready_light import RoomLight
from rushlight.jobs.room_sketch import camera_sketch, view_reach
from rushlight.physics.geometry import project, quaternion_from_matrix
from rushlight.physics.geometry.rotation import pose_moved
from rushlight.records.aim import Aim, AimChoice, AimCorner, AimPlace, AimStep, ChoiceName
from rushlight.records.plan import PlanFinding
from rushlight.records.resolved import ResolvedRig
from rushlight.register.aim import AimFit, looking_at_aim, steps_between

Array = NDArray[Any]

LEAST_MOVE_M = 0.01
LEAST_TURN_RAD = math.radians(0.5)
"""Nobody sets a clamp more finely by hand (common practice, no source)."""

FAR_OFF_PLAN = 3.0
"""Doubts beforehand, root-mean-square, beyond which the camera stands elsewhere than supposed."""

DRAWS = 12
"""Of the pose, to tell how sure its coverage is (our own choice)."""

CORNERS = ("upper-left", "upper-right", "lower-right", "lower-left")


@dataclass(eq=False)
class Judging:
    """From the places held to the document; one for each aim."""

    ground: AimGround
    full_scale_dn: int
    room: RoomLight
    places: dict[str, PlaceHeld]
    findings: list[Finding] = field(default_factory=list)

    def judged(self) -> tuple[Aim, AimFit]:
        """The aim as it is now, without header.

        Raises
        ------
        RushlightError
            When the places tell no pose.
        """
        ground = self.ground
        fit, got = ground.fit(self.places)
        wanted, target = self._wanted()
        choices, low, high = self._choices(fit)
        coverage = choices[0].coverage
        enough = [each.name for each in choices if each.coverage >= wanted - 1e-9]
        advice = enough[0] if enough else choices[-1].name
        there = ground.at(fit.pose, fit.K)
        lights = {
            name: place.light for name, place in self.places.items() if place.light is not None
        }
        lit = [ground.names.index(name) for name in lights]
        light, shares, told = judge_lights(
            there, self.room, self.full_scale_dn, lights, ground.places_m[lit], ground.holder[lit],
        )  # fmt: skip
        records = []
        for index, name in enumerate(ground.names):
            place = self.places[name]
            record = AimPlace(
                name=name,
                at_m=_pair(ground.places_m[index]),
                state=place.state,
                able=bool(ground.able[index]),
                carried=ground.who(name),
            )
            if place.hold is not None:
                row = got.index(index)
                record = record.model_copy(
                    update={
                        "px": _pair(place.hold.px),
                        "missed_px": float(np.hypot(*fit.missed_px[row])),
                        "used": bool(fit.used[row]),
                        **shares.get(name, {}),
                    }
                )
            records.append(record)
        findings = [*self.findings, *self._doubts(fit, got, coverage, low, wanted, target), *told]
        planned = ground.planned.pose
        return (
            Aim(
                camera=ground.rig.cameras[ground.camera].id,
                surface=ground.rig.surfaces[0].id,
                places=records,
                planned_m=planned[:3, 3].tolist(),
                planned_quaternion=quaternion_from_matrix(planned[:3, :3]).tolist(),
                planned_view_m=self._view_m(ground.resolved),
                found_m=fit.pose[:3, 3].tolist(),
                found_quaternion=quaternion_from_matrix(fit.pose[:3, :3]).tolist(),
                found_view_m=self._view_m(there),
                cov=fit.cov.tolist(),
                focal_share=fit.focal_share,
                misfit=fit.misfit,
                freedom=fit.freedom,
                coverage_planned=ground.coverage_planned,
                coverage_target=target,
                coverage_wanted=wanted,
                coverage=coverage,
                coverage_low=low,
                coverage_high=high,
                reached=advice == "leave",
                choices=choices,
                advice=advice,
                corners=self._corners(fit),
                light=light,
                findings=[PlanFinding.of(each) for each in findings],
            ),
            fit,
        )

    def _view_m(self, resolved: ResolvedRig) -> list[list[float]]:
        """Where the corners of the picture look, as the plan page draws it."""
        ground = self.ground
        reach_m = view_reach(ground.rig, ground.whole, ground.camera)
        return list(camera_sketch("", resolved.cameras, 0, reach_m)["corners_m"])

    def _wanted(self) -> tuple[float, float]:
        """Coverage that is enough, and the target."""
        target = float(self.ground.resolved.targets.coverage[0])
        planned = self.ground.coverage_planned
        return (min(target, planned) if math.isfinite(target) else planned), target

    def _choices(self, fit: AimFit) -> tuple[list[AimChoice], float, float]:
        """What can be done, and between what the present coverage lies."""
        ground, planned = self.ground, self.ground.planned.pose
        turned = looking_at_aim(fit.pose, planned)
        random = np.random.default_rng(0)  # the same aim is told the same way each time
        root = np.linalg.cholesky(fit.cov)
        draws = random.standard_normal((DRAWS, 7)) @ root.T
        lenses = []
        for draw in draws:
            lens = fit.K.copy()
            lens[[0, 1], [0, 1]] *= np.exp(draw[6])
            lenses.append(lens)
        told = ground.coverages(
            [fit.pose, turned, planned, *(pose_moved(fit.pose, draw[:6]) for draw in draws)],
            [fit.K] * 3 + lenses,
        )
        names: tuple[ChoiceName, ...] = ("leave", "turn", "move")
        cov = fit.cov[:6, :6]
        steps = [
            [],
            _steps(steps_between(fit.pose, cov, planned, True)[3:]),
            _steps(steps_between(fit.pose, cov, planned, False)),
        ]
        choices = [
            AimChoice(name=name, coverage=float(share), steps=some)
            for name, share, some in zip(names, told[:3], steps, strict=True)
        ]
        return choices, float(told[3:].min()), float(told[3:].max())

    def _corners(self, fit: AimFit) -> list[AimCorner]:
        """Where the surface's corners lie in the picture."""
        ground = self.ground
        at = np.array([ground.places_m[ground.names.index(name)] for name in CORNERS])
        px, _ = project(np.concatenate([at, np.zeros((4, 1))], axis=-1), fit.K, fit.k, fit.pose)
        size = ground.resolved.cameras.size_px[0, 0]
        margin = np.minimum(px + 0.5, size - 0.5 - px).min(axis=-1)
        return [
            AimCorner(name=name, inside=bool(value >= 0.0), margin_px=float(value))
            for name, value in zip(CORNERS, margin, strict=True)
        ]

    def _doubts(
        self,
        fit: AimFit,
        got: list[int],
        coverage: float,
        low: float,
        wanted: float,
        target: float,
    ) -> list[Finding]:
        """What is to be said of the pose."""
        found: list[Finding] = []
        for row, index in enumerate(got):
            if not fit.used[row]:
                found.append(
                    Finding(
                        "warning", "aim-place-off", f"the light at {self.ground.names[index]}",
                        f"{np.hypot(*fit.missed_px[row]):.0f} px",
                        "off where the other places have it, and is not used",
                        "hold it there again, and keep other lights out of view",
                    )
                )  # fmt: skip
        if fit.rare:
            found.append(
                Finding(
                    "warning", "aim-misfit", "the places", "",
                    "do not fit together as a light held at them should",
                    "hold them again, and see whether the surface's size and the lens are as the "
                    "rig says",
                )
            )  # fmt: skip
        if fit.off_plan > FAR_OFF_PLAN:
            found.append(
                Finding(
                    "note", "aim-far", "the camera", f"{fit.off_plan:.1f} times",
                    "farther off its plan than was supposed of a hung camera",
                    "measure its planned place again",
                )
            )  # fmt: skip
        if low < wanted <= coverage:
            found.append(
                Finding(
                    "note", "aim-doubt", "the coverage", f"{coverage:.0%}",
                    f"is enough, but might be {low:.0%} by the doubt of the camera's pose",
                    "hold the light at more places",
                )
            )  # fmt: skip
        if math.isfinite(target) and self.ground.coverage_planned < target:
            found.append(
                Finding(
                    "note", "aim-plan-short", "the plan", f"{self.ground.coverage_planned:.0%}",
                    f"does not reach the {target:.0%} wanted even with the camera exactly in place",
                    "change the plan; until then its own coverage counts as enough",
                )
            )  # fmt: skip
        return found


def _steps(steps: list[Any]) -> list[AimStep]:
    return [
        AimStep(
            kind=step.kind,
            amount=step.amount,
            std=step.std,
            told=abs(step.amount)
            >= max(LEAST_MOVE_M if step.kind.startswith("move") else LEAST_TURN_RAD, step.std),
        )
        for step in steps
    ]


def _pair(values: Array) -> tuple[float, float]:
    return float(values[0]), float(values[1])
