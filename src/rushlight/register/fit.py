"""From touches to a registration: the map, its doubt, and whether it may be relied on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy import special
from scipy.spatial import ConvexHull

from rushlight.errors import RushlightError
from rushlight.physics.surface_model import PARAMETERS, PLANE
from rushlight.records.arrays import Array
from rushlight.records.registration import (
    CameraMap,
    DisplaySurvey,
    Registration,
    Touch,
    Validity,
    Verdict,
)
from rushlight.register.bad_touch import FEWEST_TELLING, fewest_telling, sift
from rushlight.register.solve import Lens, MapFit, Touches, Wall

FEWEST = 5
"""Four touches leave no residual whatever their error, so that nothing could be judged."""

LEVEL = 0.99
"""Two-sided level at which the residuals are held against their expectation (our own choice)."""

LEAST_PART = 0.1
"""A map whose touches enclose a smaller part of the surface is stretched far beyond them."""

_NUMBERS = {5: "five", 6: "six", 7: "seven"}

LEAST_EXTENT = 5.0
"""Touches must spread over so many of their own scatter, across their narrow way too."""


class Place(NamedTuple):
    """What is registered to what.

    Fields
    ------
    camera, surface
        Their ids.
    size_px
        Columns and rows of the picture.
    mean_height_m
        At which the lights stand above the surface while touching, on average.
    """

    camera: str
    surface: str
    size_px: tuple[int, int]
    mean_height_m: float


def fit_registration(
    touches: Touches,
    lens: Lens,
    wall: Wall,
    place: Place,
    frames: Sequence[int],
    carried: Sequence[str | None],
    survey: DisplaySurvey | None = None,
) -> Registration:
    """Which registration do the touches tell, and may it be relied on?

    Parameters
    ----------
    touches
        At least five, spread over the surface.
    lens, wall, place
        As known beforehand.
    frames, carried
        (T,) number of frames averaged, and what was held, for each touch.
    survey
        By which the beacons' places are told. A small change of all of them by a plane map is
        the same change of the registration's plane, so the survey's covariance is added there.

    Returns
    -------
    Registration
        Without header. Where the residuals are greater than touches, lens and wall explain,
        its covariance is stretched until they do (Birge, Physical Review 40, 1932, 207; from
        memory), and the verdict says so.

    Raises
    ------
    RushlightError
        When there are too few touches, or they lie in one spot or on one line.
    """
    _refuse(touches)
    mirrored = is_mirrored(touches)
    if mirrored:
        lens = lens.mirrored(place.size_px[0])
    try:
        fit, used = sift(touches, lens, wall)
    except ValueError as error:
        raise RushlightError.of(
            "registration",
            f"{len(touches)} touches",
            f"tell no map ({error})",
            "touch each beacon as it is shown, and check that the camera's picture shows the "
            "whole surface",
            "no-map",
        ) from error
    vouched, reasons = judge(fit, touches, used, wall)
    aside = _aside_by_stylus(fit, touches.take(used), [carried[i] for i in np.flatnonzero(used)])
    if mirrored:
        reasons = [*reasons, "the picture is mirrored left to right; the map allows for it"]
    stretch = max(1.0, fit.misfit / fit.freedom) if _too_great(fit) else 1.0
    cov = fit.cov * stretch
    if survey is not None and survey.cov is not None:
        cov[PLANE, PLANE] += np.array(survey.cov, float)
    return Registration(
        maps=[
            CameraMap(
                camera=place.camera,
                camera_matrix=lens.K.tolist(),
                distortion=fit.k.tolist(),
                surface_from_normalised=fit.surface_from_normalised.tolist(),
                camera_position_m=tuple(fit.surface_from_camera[:3, 3].tolist()),
            )
        ],
        parameters=list(PARAMETERS),
        estimate=fit.estimate.tolist(),
        cov=cov.tolist(),
        flatness_m=fit.flatness_m.tolist(),
        mean_height_m=place.mean_height_m,
        clock_offset_ns=[0],
        touches=_touch_records(touches, fit, used, lens, wall, frames, carried),
        valid_for=Validity(
            camera=place.camera,
            size_px=place.size_px,
            surface=place.surface,
            surface_size_m=(float(wall.size_m[0]), float(wall.size_m[1])),
            mirrored=mirrored,
            survey=None if survey is None else survey.content_hash(),
        ),
        rms_residual_m=fit.rms_residual_m,
        touch_std_m=float(np.sqrt(np.mean(touches.scatter_m**2))),
        verdict=Verdict(vouched=vouched, reasons=reasons),
        lens_std=lens.k_std.tolist(),
        lens_corr=lens.k_corr.tolist() if np.any(lens.k_corr) else None,
        flatness_rms_m=wall.flatness_rms_m,
        expected_rms_m=fit.rms_expected_m,
        misfit=fit.misfit,
        freedom=fit.freedom,
        aside_m=aside,
    )


def is_mirrored(touches: Touches) -> bool:
    """Whether the picture shows the surface mirrored, as some cameras deliver it.

    By the sign of the affine map that fits the touches best: pixels count down, the surface
    up, so that an upright picture turns over, and a mirrored one does not.
    """
    spread = touches.px - touches.px.mean(axis=0)
    affine = np.linalg.lstsq(spread, touches.goal_m - touches.goal_m.mean(axis=0), rcond=None)[0]
    return bool(np.linalg.det(affine) > 0.0)


def judge(fit: MapFit, touches: Touches, used: Array, wall: Wall) -> tuple[bool, list[str]]:
    """May the map be relied on, and why or why not?

    Parameters
    ----------
    fit
        By the used touches.
    touches, used
        All touches, and (T,) which of them are used.
    wall
        As known beforehand.

    Returns
    -------
    vouched : bool
    reasons : list of sentences
    """
    against, notes = [], []
    count = int(np.count_nonzero(used))
    left_out = [
        f"({touches.goal_m[i, 0]:.3f}, {touches.goal_m[i, 1]:.3f}) m" for i in np.flatnonzero(~used)
    ]
    if left_out:
        notes.append(
            f"left out as bad: the touch{'es' if len(left_out) > 1 else ''} at "
            f"{', '.join(left_out)}"
        )
    rms, expected = fit.rms_residual_m * 1e3, fit.rms_expected_m * 1e3
    needed = fewest_telling(touches.take(used))
    if _too_great(fit) and count < needed and not left_out:
        against.append(
            f"{_NUMBERS.get(count, count)} touches show that one is bad, not which; touch at "
            f"least {_NUMBERS.get(needed, needed)} beacons"
        )
    elif _too_great(fit):
        against.append(
            f"the touches miss their beacons by {rms:.2f} mm rms where {expected:.2f} mm is "
            "expected: something moved, or the wall is less flat, the lens more distorting or "
            "the hand less steady than stated"
        )
    elif fit.misfit < special.chdtri(fit.freedom, (1.0 + LEVEL) / 2.0):
        notes.append(
            f"the touches miss their beacons by only {rms:.2f} mm rms where {expected:.2f} mm is "
            "expected: the stated scatter is probably too great"
        )
    if count < needed:
        against.append(f"only {count} touches are usable and {needed} are needed to tell a bad one")
    part = _part_enclosed(touches.goal_m[used], wall)
    if part < LEAST_PART:
        against.append(
            f"the touches enclose {part:.0%} of the surface, so that the map is stretched far "
            "beyond them; touch beacons farther apart"
        )
    if against:
        return False, against + notes
    agreed = (
        f"{count} touches agree: {rms:.2f} mm rms from their beacons, {expected:.2f} mm expected"
    )
    return True, [agreed, *notes]


def _aside_by_stylus(
    fit: MapFit, touches: Touches, carried: Sequence[str | None]
) -> dict[str, tuple[float, float]]:
    """Where each stylus's touches lie on average, from the mean of all [m]; empty for one."""
    number, count = touches.styli()
    if count == 1:
        return {}
    return {
        name: (float(fit.aside_m[which, 0]), float(fit.aside_m[which, 1]))
        for name, which in zip(carried, number.tolist(), strict=True)
        if name is not None
    }


def _too_great(fit: MapFit) -> bool:
    return bool(fit.misfit > special.chdtri(fit.freedom, (1.0 - LEVEL) / 2.0))


def _part_enclosed(goal_m: Array, wall: Wall) -> float:
    """Part of the surface within the outermost beacons."""
    return float(ConvexHull(goal_m).volume / np.prod(wall.size_m))


def _refuse(touches: Touches) -> None:
    """Errors that no fit can get round."""
    if len(touches) < FEWEST:
        raise RushlightError.of(
            "registration",
            f"{len(touches)} touches",
            f"are too few: {FEWEST} are the least from which an error shows, "
            f"{FEWEST_TELLING} the least for a registration that is vouched for",
            "touch nine beacons spread over the surface",
            "too-few-touches",
        )
    for what, points, least in (
        ("beacons", touches.goal_m, LEAST_EXTENT * float(touches.scatter_m.max())),
        ("dots in the picture", touches.px, LEAST_EXTENT),
    ):
        narrow = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)[-1]
        narrow = float(narrow / np.sqrt(len(points)))
        if narrow < least or narrow < 1e-9:
            raise RushlightError.of(
                "registration",
                f"{len(touches)} touches",
                f"lie in one spot or on one line: the {what} spread too little across it to "
                "tell a map",
                "touch beacons spread over the surface both ways",
                "touches-on-a-line",
            )


def _touch_records(
    touches: Touches,
    fit: MapFit,
    used: Array,
    lens: Lens,
    wall: Wall,
    frames: Sequence[int],
    carried: Sequence[str | None],
) -> list[Touch]:
    """Every touch with its residuals; those left out by the fit that leaves them out."""
    missed = fit.map(touches.px, lens, wall) - touches.goal_m
    if touches.who is not None:
        # A stylus none of whose touches is used counts as the mean of all.
        for stylus, aside in zip(np.unique(touches.who[used]), fit.aside_m, strict=True):
            missed[touches.who == stylus] -= aside
    alone = missed.copy()
    alone[used] = fit.leave_one_out_m
    return [
        Touch(
            goal_m=tuple(touches.goal_m[i].tolist()),
            px=tuple(touches.px[i].tolist()),
            px_cov=touches.px_cov[i].tolist(),
            frames=int(frames[i]),
            carried=carried[i],
            residual_m=tuple(missed[i].tolist()),
            leave_one_out_m=tuple(alone[i].tolist()) if np.all(np.isfinite(alone[i])) else None,
            used=bool(used[i]),
        )
        for i in range(len(touches))
    ]
