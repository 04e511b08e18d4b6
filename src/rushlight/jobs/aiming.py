"""What an aim rests on, and what it says: places held in, the camera's pose and advice out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.errors import RushlightError
from rushlight.jobs.aim_light import HeldLight, seen_places
from rushlight.jobs.belonging import Source, camera_of
from rushlight.jobs.hanging import hanging_doubts
from rushlight.jobs.load import load_rig, rig_path
from rushlight.physics.geometry import project
from rushlight.physics.surface_model import lens_spread
from rushlight.plan.candidates import Candidates
from rushlight.plan.grid import Standing, hidden_by_holder, with_fields, within_reach
from rushlight.plan.swift import SwiftEvaluator
from rushlight.records.aim import (
    PlaceState,
)
from rushlight.records.resolved import ResolvedCameras, ResolvedRig, stack_rigs
from rushlight.records.rig import Rig
from rushlight.records.survey_readings import MARKS
from rushlight.register.aim import (
    AimFit,
    Held,
    Planned,
    check_places,
    fit_aim,
    next_place,
)
from rushlight.register.holds import Hold
from rushlight.shelf.catalogue import Shelf
from rushlight.shelf.resolve import lit_emitters, resolve

Array = NDArray[Any]

COLUMNS, ROWS = 18, 12
"""Of the grid that coverage is told by; as finely as the plan page draws it."""


@dataclass(eq=False)
class PlaceHeld:
    """What is known of one named place.

    Attributes
    ----------
    state
        Whether a light was held there.
    hold, light
        Where it was seen, and how bright; None until then.
    """

    state: PlaceState = "open"
    hold: Hold | None = None
    light: HeldLight | None = None


@dataclass(frozen=True, eq=False)
class AimGround:
    """A rig before its camera is aimed.

    Attributes
    ----------
    rig, resolved
        The rig, and the same as numbers, with no camera but the one that is aimed, and its
        exposure settled.
    whole
        All cameras of the rig.
    camera
        The camera's place in the rig.
    name
        Of the rig's file, for messages.
    carried
        (E,) what bears each of the resolved emitters.
    holder
        (N,) which emitter is best held at each place: of someone who reaches it and whose body
        does not hide it, where there is one.
    planned
        What is known of the camera's pose.
    places
        Names and (N, 2) places [m].
    able
        (N,) whether its holder reaches it, and the camera then sees it past them, as planned.
    standing
        Who holds what.
    coverage_planned
        As the plan predicts it of this camera.
    """

    rig: Rig
    resolved: ResolvedRig
    whole: ResolvedCameras
    camera: int
    name: str
    carried: tuple[str, ...]
    planned: Planned
    names: tuple[str, ...]
    places_m: Array
    holder: Array
    able: Array
    standing: Standing
    coverage_planned: float

    def held(
        self, resolved: ResolvedRig, which: list[int], places: dict[str, PlaceHeld] | None = None
    ) -> Held:
        """Some of the places as a pose is found by them.

        Parameters
        ----------
        resolved
            With the camera where it is supposed to stand, by which the light seems to stand
            beside the place.
        which
            Indices.
        places
            Where the lights were seen; None where nothing counts but where they would be.
        """
        aside = seen_places(resolved, self.holder[which], self.places_m[which])
        holds = [None if places is None else places[self.names[i]].hold for i in which]
        return Held(
            self.places_m[which] + aside.mean_m,
            aside.cov_m2,
            np.array([np.zeros(2) if hold is None else hold.px for hold in holds]).reshape(-1, 2),
            np.array([np.eye(2) * 0.01 if hold is None else hold.px_cov for hold in holds]).reshape(
                -1, 2, 2
            ),
        )

    def at(self, pose: Array, K: Array | None = None) -> ResolvedRig:
        """The rig with its camera at a pose (4, 4), and with a lens (3, 3)."""
        fields = {"rig_from_camera": np.asarray(pose)[None, None]}
        if K is not None:
            fields["K"] = K[None, None]
        return with_fields(self.resolved, cameras=fields)

    def next_name(self, places: dict[str, PlaceHeld], fit: AimFit | None) -> str | None:
        """Where a light would tell most next: within reach, and probably in view; else None."""
        got = [i for i, name in enumerate(self.names) if places[name].state == "held"]
        free = [i for i, name in enumerate(self.names) if places[name].state == "open"]
        # Someone may stretch or lean aside where no pose is told otherwise.
        able = [i for i in free if self.able[i]] or (free if fit is None else [])
        if not able:
            return None
        resolved = self.resolved if fit is None else self.at(fit.pose, fit.K)
        c = resolved.cameras
        points = np.concatenate([self.places_m, np.zeros((len(self.names), 1))], axis=-1)
        px, _ = project(points, c.K[0, 0], c.distortion[0, 0], c.rig_from_camera[0, 0])
        with np.errstate(invalid="ignore"):
            seen = np.all((px > 0.0) & (px < c.size_px[0, 0] - 1.0), axis=-1)
        likely = [i for i in able if seen[i]] or ([] if fit is not None else able)
        if not likely:
            return None
        best = next_place(
            self.planned,
            fit,
            self.held(resolved, got, places) if got else None,
            self.held(resolved, likely),
        )
        return None if best is None else self.names[likely[best]]

    def who(self, name: str) -> str:
        """What is to be held at a place."""
        return self.carried[int(self.holder[self.names.index(name)])]

    def fit(self, places: dict[str, PlaceHeld]) -> tuple[AimFit, list[int]]:
        """The camera's pose, and which places are held.

        Raises
        ------
        RushlightError
            When they tell none.
        """
        got = [i for i, name in enumerate(self.names) if places[name].state == "held"]
        check_places([self.names[i] for i in got], self.places_m[got])
        first = fit_aim(self.planned, self.held(self.resolved, got, places))
        # Once more, with lights that seem to stand beside the places as seen from there.
        return fit_aim(self.planned, self.held(self.at(first.pose, first.K), got, places)), got

    def coverages(self, poses: list[Array], K: list[Array] | None = None) -> Array:
        """Predicted coverage (R,) of the camera at poses (4, 4), with lenses (3, 3)."""
        lenses = [None] * len(poses) if K is None else K
        rigs = [self.at(pose, lens) for pose, lens in zip(poses, lenses, strict=True)]
        return coverage_of(stack_rigs(rigs), self.standing)


def coverage_of(resolved: ResolvedRig, standing: Standing) -> Array:
    """Predicted coverage (R,) of rigs of one camera."""
    candidates = Candidates.of(resolved)
    found = SwiftEvaluator(
        candidates, columns=COLUMNS, rows=ROWS, standing=standing, fall_back=False
    )(candidates)
    return np.asarray(found.coverage)


def ground_of(rig_file: Path, source: Source, carried: str | None = None) -> AimGround:
    """What is known of a rig before its camera is aimed.

    Parameters
    ----------
    rig_file
        The rig's file, or its folder.
    source
        Of the frames; tells which camera.
    carried
        Id of what is held; the first stylus when left out.

    Raises
    ------
    RushlightError
        When the rig cannot be used, or has no such stylus.
    """
    rig, shelf = load_rig(rig_file)
    name = rig_path(rig_file).name
    check_kind(rig, name)
    resolved = resolve(rig, shelf, name)
    camera = camera_of(rig, resolved, source, name)
    return _ground(rig, shelf, resolved, camera, name, _held_things(rig, carried))


def check_kind(rig: Rig, name: str) -> None:
    """Refuse a rig without a surface.

    Raises
    ------
    RushlightError
        When its camera cannot be aimed by places of a surface.
    """
    if "surface" not in rig.kinds:
        raise RushlightError.of(
            f"{name}: kinds", ", ".join(rig.kinds),
            "follows things in space, and aiming is for rigs whose surface is pointed at: a light "
            "is held at its corners", "register this rig, which finds its cameras' places",
            "aim-kind",
        )  # fmt: skip


def _held_things(rig: Rig, wanted: str | None) -> list[int]:
    """Places among the emitters of what may be held."""
    known = [lit.id for lit, _ in lit_emitters(rig)]
    if wanted is not None and wanted not in known:
        raise RushlightError.of(
            "--stylus", f'"{wanted}"', "is no stylus of the rig",
            f"use {', '.join(dict.fromkeys(known))}", "stylus",
        )  # fmt: skip
    return [i for i, name in enumerate(known) if wanted in (None, name)]


def _ground(
    rig: Rig, shelf: Shelf, resolved: ResolvedRig, camera: int, name: str, things: list[int]
) -> AimGround:
    whole = resolved.cameras
    resolved, standing = one_camera(resolved, camera), Standing.of_rig(rig)
    candidates = Candidates.of(resolved)
    found = SwiftEvaluator(
        candidates, columns=COLUMNS, rows=ROWS, standing=standing, fall_back=False
    )(candidates)
    resolved = resolved.with_exposure(found.exposure_s[:, None])
    doubts, c = hanging_doubts(rig, shelf, camera), resolved.cameras
    size_m = resolved.surface.size_m[0]
    places_m = np.array([(x, 1.0 - y) for x, y in MARKS.values()]) * size_m
    able = (
        within_reach(resolved, standing, places_m[None])[0]
        & ~hidden_by_holder(resolved, standing, places_m[None], 0)[0]
    )
    return AimGround(
        rig=rig,
        resolved=resolved,
        whole=whole,
        camera=camera,
        name=name,
        carried=tuple(thing.id for thing, _ in lit_emitters(rig)),
        planned=Planned(
            pose=np.array(c.rig_from_camera[0, 0]),
            place_std_m=doubts.place_m,
            turn_std_rad=doubts.turn_rad,
            K=np.array(c.K[0, 0]),
            k=np.array(c.distortion[0, 0]),
            k_spread=lens_spread(c.distortion_std[0, 0], c.distortion_corr[0, 0]),
            focal_share=doubts.focal_share,
            size_m=np.array(size_m),
            flatness_rms_m=float(resolved.surface.flatness_m[0]),
        ),
        names=tuple(MARKS),
        places_m=places_m,
        holder=np.array(things)[np.argmax(able[things], axis=0)],
        able=able[things].any(axis=0),
        standing=standing,
        coverage_planned=float(found.coverage[0]),
    )


def one_camera(resolved: ResolvedRig, camera: int) -> ResolvedRig:
    """The rig with one of its cameras alone, a batch of one."""
    kept = {name: value[:, camera : camera + 1] for name, value in vars(resolved.cameras).items()}
    return replace(resolved, cameras=resolved.cameras.replace(**kept))
