"""Register several cameras to one surface, each by its own footage of the touched beacons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig
from rushlight.jobs.progress import Progress, silent
from rushlight.jobs.register import in_space, register
from rushlight.jobs.registering import RegisterResult
from rushlight.jobs.told import keep_told, told_path
from rushlight.records.joint_registration import Agreement, JointRegistration
from rushlight.records.registration import Registration, Verdict


@dataclass(frozen=True)
class SeveralRegistered:
    """Several cameras' registrations, and what to tell of them.

    Attributes
    ----------
    joint
        As written.
    each
        Camera by camera, each with files of its own.
    joint_path
        The file written.
    """

    joint: JointRegistration
    each: tuple[RegisterResult, ...]
    joint_path: Path

    def as_dict(self) -> dict[str, Any]:
        """What is told, as plain values in the units in which it is shown."""
        return {
            "vouched": self.joint.verdict.vouched,
            "reasons": self.joint.verdict.reasons,
            "cameras": [
                {"camera": one.registration.valid_for.camera} | one.as_dict() for one in self.each
            ],
            "agreements": [
                {
                    "cameras": list(pair.cameras),
                    "beacons": pair.beacons,
                    "apart_mm": None if pair.apart_m is None else round(pair.apart_m * 1e3, 2),
                }
                for pair in self.joint.agreements
            ],
            "registration": str(self.joint_path),
        }


def register_several(
    footages: Sequence[Path],
    rig_file: Path,
    out: Path = Path("registration.json"),
    plan_path: Path | None = None,
    rate: str | None = None,
    progress: Progress = silent,
    survey_path: Path | None = None,
) -> SeveralRegistered:
    """The maps of several cameras to the surface that they see, in one document.

    Parameters
    ----------
    footages
        Two or more, each of another camera; best all of the same touches.
    rig_file, plan_path, rate, progress, survey_path
        As for `rushlight.jobs.register.register`.
    out
        Joint registration to write; each camera's own stands beside it, named for the camera.

    Raises
    ------
    RushlightError
        When one cannot be used, two are of one camera, or the rig follows things in space.
    """
    if in_space(load_rig(rig_file)[0], footages[0]):
        raise RushlightError.of(
            "--footage",
            f"{len(footages)} of them",
            "cannot be given for a rig that follows things in space: its cameras film at once",
            "give the one folder that holds all cameras",
            "footage-several",
        )
    found: list[RegisterResult] = []
    for number, path in enumerate(footages):
        own = out.with_stem(f"{out.stem}-{number + 1}")
        result = register(path, rig_file, own, plan_path, rate, progress, survey_path)
        assert isinstance(result, RegisterResult)  # no rig in space comes here
        camera = result.registration.valid_for.camera
        if camera in [each.registration.valid_for.camera for each in found]:
            raise RushlightError.of(
                "--footage",
                str(path),
                f'is of the camera "{camera}", as another one is',
                "give footage of each camera once",
                "footage-twice",
            )
        found.append(_named(result, out.with_stem(f"{out.stem}-{camera}")))
    registrations = [each.registration for each in found]
    joint = JointRegistration(
        surface=registrations[0].valid_for.surface,
        registrations=registrations,
        agreements=[_agreement(a, b) for a, b in combinations(registrations, 2)],
        verdict=_verdict(registrations),
    )
    simulated = any(each.simulated for each in found)
    inputs = {f"registration-{one.valid_for.camera}": one.content_hash() for one in registrations}
    joint = joint.stamped("simulated" if simulated else "measured", inputs=inputs)
    joint.write(out)
    told = SeveralRegistered(joint, tuple(found), out)
    keep_told("register", out, told)
    return told


def _named(result: RegisterResult, path: Path) -> RegisterResult:
    """The same with its files named for the camera."""
    drawn = path.with_suffix(".svg")
    result.registration_path.replace(path)
    result.picture_path.replace(drawn)
    told_path(result.registration_path).unlink()
    named = replace(result, registration_path=path, picture_path=drawn)
    keep_told("register", path, named)
    return named


def _agreement(one: Registration, other: Registration) -> Agreement:
    """By the touches of the same beacon by the same stylus that both maps rest on."""
    missed = {
        (touch.goal_m, touch.carried): touch.residual_m for touch in other.touches if touch.used
    }
    apart = [
        np.subtract(touch.residual_m, theirs)
        for touch in one.touches
        if touch.used
        and touch.residual_m is not None
        and (theirs := missed.get((touch.goal_m, touch.carried))) is not None
    ]
    rms = float(np.sqrt(np.mean(np.sum(np.square(apart), axis=1)))) if apart else None
    return Agreement(
        cameras=(one.valid_for.camera, other.valid_for.camera), beacons=len(apart), apart_m=rms
    )


def _verdict(registrations: Sequence[Registration]) -> Verdict:
    bad = [one for one in registrations if not one.verdict.vouched]
    if bad:
        return Verdict(
            vouched=False,
            reasons=[
                f"{one.valid_for.camera}: {reason}" for one in bad for reason in one.verdict.reasons
            ],
        )
    return Verdict(vouched=True, reasons=[f"all {len(registrations)} cameras are vouched for"])
