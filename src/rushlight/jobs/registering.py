"""What a registration by touches has in common, whether footage shows them or a live camera."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from rushlight.errors import Finding
from rushlight.jobs.register_telling import Beacon
from rushlight.jobs.surveyed import surveyed_places, wall_of
from rushlight.jobs.told import keep_told
from rushlight.physics.surface_model import FLATNESS
from rushlight.physics.touch import over_ways, touch_scatter_m
from rushlight.plan.beacons import BeaconField
from rushlight.plan.error import mean_height
from rushlight.plan.light import dots, light_field
from rushlight.records.arrays import Array
from rushlight.records.document import Basis, write_bytes
from rushlight.records.registration import DisplaySurvey, Registration
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.register.error_map import error_map, picture
from rushlight.register.fit import Place, fit_registration
from rushlight.register.holds import Hold
from rushlight.register.solve import Lens, Touches, Wall
from rushlight.shelf.resolve import lit_emitters

Matched = list[tuple[tuple[float, float], str | None, Hold]]
"""Beacon [m], who touched it, and the hold."""

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


@dataclass(frozen=True, eq=False)
class Ground:
    """What is known before anything is touched.

    Attributes
    ----------
    rig, resolved
        The rig, and the same as numbers with its exposure settled.
    camera
        The camera's place in the rig.
    name
        Of the rig's file, for messages.
    size_px
        Columns and rows of the picture.
    survey
        Of the displayed picture, by which beacons become places, and of the wall's bends; None
        takes the picture to fill the surface exactly.
    """

    rig: Rig
    resolved: ResolvedRig
    camera: int
    name: str
    size_px: tuple[int, int]
    survey: DisplaySurvey | None = None

    def emitters(self, carried: Sequence[str | None]) -> list[int]:
        """Places among the resolved emitters of what touched; the first where nobody knows."""
        lit = [thing.id for thing, _ in lit_emitters(self.rig)]
        return [lit.index(who) if who in lit else 0 for who in carried]

    def beforehand(self) -> tuple[Lens, Wall]:
        """Lens and wall as they are supposed, the wall's bends as a survey tells them."""
        return _known_beforehand(self.resolved, self.camera, self.survey)

    def as_known(self, field: BeaconField) -> BeaconField:
        """What touches would tell, the wall's bends in units of what is unknown of them."""
        _, spread = self.beforehand()[1].supposed()
        units = np.eye(field.design.shape[-1])
        units[FLATNESS, FLATNESS] = spread
        return field._replace(design=field.design @ units, design_at=field.design_at @ units)

    def stands(self, places_m: Array) -> Array:
        """Where beacons (N, 2) [m] stand that are meant for a picture which fills the surface."""
        if self.survey is None:
            return np.asarray(places_m, float)
        surface = self.resolved.surface
        return surveyed_places(places_m, self.survey, surface.size_m[0], surface.display_px[0])

    def beacon(
        self, number: int, of: int, place_m: Sequence[float], dashes_left: int, carried: str
    ) -> Beacon:
        """A beacon at a place (2,) [m], with where that is on the display."""
        x_m, y_m = float(place_m[0]), float(place_m[1])
        size_m = self.resolved.surface.size_m[0]
        wide, high = (float(side) for side in self.resolved.surface.display_px[0])
        return Beacon(
            number=number,
            of=of,
            x_m=x_m,
            y_m=y_m,
            x_px=x_m / float(size_m[0]) * wide,
            y_px=(1.0 - y_m / float(size_m[1])) * high,
            dashes_left=dashes_left,
            carried=carried,
        )

    def fit(self, matched: Matched) -> Registration:
        """The registration that touches tell, without header.

        Parameters
        ----------
        matched
            Beacon [m], who touched it, and the hold.

        Raises
        ------
        RushlightError
            When they tell none.
        """
        carried = [who for _, who, _ in matched]
        emitters = self.emitters(carried)
        if self.survey is not None:
            real = self.stands(np.array([place for place, _, _ in matched]).reshape(-1, 2))
            matched = [
                ((float(x), float(y)), who, hold)
                for (x, y), (_, who, hold) in zip(real, matched, strict=True)
            ]
        fitted = fit_registration(
            _touches(matched, emitters, supposed_scatter_m(self.resolved, self.camera)),
            *self.beforehand(),
            Place(
                camera=self.rig.cameras[self.camera].id,
                surface=self.rig.surfaces[0].id,
                size_px=self.size_px,
                mean_height_m=float(
                    mean_height(self.resolved, tuple(sorted(set(emitters)) or (0,)))[0]
                ),
            ),
            frames=[hold.frames for _, _, hold in matched],
            carried=carried,
            survey=self.survey,
        )
        # What a later check compares with: how bright the touches were, and on which display.
        touches = [
            touch.model_copy(update={"flux": hold.flux})
            for touch, (_, _, hold) in zip(fitted.touches, matched, strict=True)
        ]
        wide, high = (int(side) for side in self.resolved.surface.display_px[0])
        valid = fitted.valid_for.model_copy(update={"display_px": (wide, high)})
        return fitted.model_copy(update={"touches": touches, "valid_for": valid})

    def written(
        self,
        fitted: Registration,
        out: Path,
        basis: Basis,
        sources: dict[str, str],
        seed: int | None,
        findings: Sequence[Finding],
    ) -> RegisterResult:
        """A registration with its header and picture, written; and what to tell of it.

        Parameters
        ----------
        fitted
            From `fit`.
        out
            Registration to write; the error map is drawn beside it.
        basis, sources, seed
            Of the header; the rig's hash is added to the sources.
        findings
            On the way; whether the camera is elsewhere than stated is added.
        """
        inputs = {"rig": self.rig.content_hash()} | sources
        registration = fitted.stamped(basis, inputs=inputs, seed=seed)
        registration.write(out)
        drawn = out.with_suffix(".svg")
        write_bytes(drawn, picture(registration, basis == "simulated"))
        result = RegisterResult(
            registration=registration,
            worst_error_m=error_map(registration).worst_m,
            simulated=basis == "simulated",
            findings=(
                *findings,
                *_camera_elsewhere(registration, self.resolved, self.camera, self.name),
            ),
            registration_path=out,
            picture_path=drawn,
        )
        keep_told("register", out, result)
        return result


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


def _known_beforehand(
    resolved: ResolvedRig, camera: int, survey: DisplaySurvey | None
) -> tuple[Lens, Wall]:
    cameras, surface = resolved.cameras, resolved.surface
    return (
        Lens(
            np.array(cameras.K[0, camera]),
            np.array(cameras.distortion[0, camera]),
            np.array(cameras.distortion_std[0, camera]),
            np.array(cameras.distortion_corr[0, camera]),
        ),
        wall_of(np.array(surface.size_m[0]), float(surface.flatness_m[0]), survey),
    )


def _touches(matched: Matched, emitters: list[int], scatter_m: Array) -> Touches:
    return Touches(
        goal_m=np.array([place for place, _, _ in matched]).reshape(-1, 2),
        px=np.array([hold.px for _, _, hold in matched]).reshape(-1, 2),
        px_cov=np.array([hold.px_cov for _, _, hold in matched]).reshape(-1, 2, 2),
        scatter_m=scatter_m[emitters],
        who=np.array(emitters, int),
    )


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
