"""The numbers of a plan in space as `Figure` records, ready to be joined with what is measured."""

from __future__ import annotations

import functools
from typing import Any

import numpy as np

from rushlight.physics.geometry import depth_of_field, hyperfocal
from rushlight.physics.motion import delay_displacement
from rushlight.plan.delay import DelayBudget
from rushlight.plan.figures import AT_EACH_PLACE, Names, delay_figures, finite
from rushlight.plan.space_error import REASONS, SpaceField, mean_over
from rushlight.plan.space_evaluate import SpaceEvaluation, is_eye
from rushlight.plan.space_picture import PictureMap, shift_of_motion_m
from rushlight.records.arrays import Array
from rushlight.records.figure import SPACE_CAUSES, Cause, Figure, FigureName, Scope
from rushlight.records.space_plan import Reason

_predicted = functools.partial(Figure, basis="predicted")
_HOW = "first-order budget over places of the zone and ways of turning"
_CAUSES: tuple[Cause, ...] = (*SPACE_CAUSES, "all")


def names_of(evaluation: SpaceEvaluation) -> Names:
    """What the rig, its cameras and things are called."""
    space = evaluation.space
    return Names(space.name, space.camera_ids, tuple(each.id for each in space.things))


def space_figures(evaluation: SpaceEvaluation) -> list[Figure]:
    """Errors by cause of everything, coverage, light and view."""
    figures = []
    for index, field in enumerate(evaluation.fields):
        figures += _thing_figures(evaluation, index, field)
    figures.append(
        _predicted(
            name="coverage",
            statistic="share",
            scope=Scope(rig=evaluation.space.name),
            unit="%",
            value=100.0 * evaluation.coverage,
            n=sum(each.works.size for each in evaluation.fields),
            method="places and ways of turning that can be followed, where the errors wanted hold",
        )
    )
    return figures + _camera_figures(evaluation)


def _thing_figures(evaluation: SpaceEvaluation, index: int, field: SpaceField) -> list[Figure]:
    space = evaluation.space
    scope = Scope(rig=space.name, carried=field.thing.id)
    figures = []
    for cause in _CAUSES:
        figures += _lines("error", cause, 1e3, "mm", field.square_m2(cause), field, scope)
    figures += _rms("jitter", None, 1e3, "mm", field.square_m2("centre"), field, scope)
    if field.thing.solved_as == "pose":
        for cause in _CAUSES:
            square = field.turn_square_rad2(cause)
            figures += _lines("turn-error", cause, np.degrees(1.0), "deg", square, field, scope)
    if is_eye(space, field.thing):
        for cause in _CAUSES:
            square = field.along_square_m2(field.toward_m, cause)
            figures += _rms("range-error", cause, 1e3, "mm", square, field, scope)
        for picture in evaluation.pictures[index]:
            figures += _picture_figures(field, picture, scope)
    covered = evaluation.covered(index)
    figures.append(
        _predicted(
            name="coverage",
            statistic="share",
            scope=scope,
            unit="%",
            value=100.0 * float(covered.mean()),
            n=field.works.size,
            method="places and ways of turning that can be followed, where the errors wanted hold",
        )
    )
    figures.append(
        _predicted(
            name="dropouts",
            statistic="share",
            scope=scope,
            unit="%",
            value=100.0 * float(1.0 - field.works.mean()),
            n=field.works.size,
            method="; ".join(REASONS) + "; bodies, hands and hair that hide lights are left out",
        )
    )
    return figures + _dot_figures(field, scope)


def _rms(
    name: FigureName,
    cause: Cause | None,
    times: float,
    unit: str,
    square: Array,
    field: SpaceField,
    scope: Scope,
) -> list[Figure]:
    value = finite(times * float(mean_over(square, field.works)))
    return [
        _predicted(
            name=name,
            cause=cause,
            statistic="rms",
            scope=scope,
            unit=unit,
            value=value,
            n=int(field.works.sum()),
            method=_HOW,
        )
    ]


def _lines(
    name: FigureName,
    cause: Cause,
    times: float,
    unit: str,
    square: Array,
    field: SpaceField,
    scope: Scope,
) -> list[Figure]:
    """Root-mean-square over all, and the largest of the places'."""
    figures = _rms(name, cause, times, unit, square, field, scope)
    at_places = mean_over(square, field.works, 1)
    if cause == "all" and np.isfinite(at_places).any():
        figures.append(
            _predicted(
                name=name,
                cause=cause,
                statistic="max",
                scope=scope.model_copy(update={"condition": AT_EACH_PLACE}),
                unit=unit,
                value=times * float(np.nanmax(at_places)),
                n=len(at_places),
                method=_HOW,
            )
        )
    return figures


def _picture_figures(field: SpaceField, picture: PictureMap, scope: Scope) -> list[Figure]:
    own = scope.model_copy(update={"surface": picture.screen, "condition": picture.content})
    how = f"content {1e2 * picture.depth_m:g} cm {picture.content} the screen, all over it"
    figures = [
        _predicted(
            name="picture-error",
            cause=cause,
            statistic="rms",
            scope=own,
            unit="mm",
            value=finite(1e3 * float(picture.error_m(field, cause))),
            n=int(field.works.sum()),
            method=how,
        )
        for cause in _CAUSES
    ]
    whole = 1e3 * float(picture.error_m(field, "all"))
    at_places = 1e3 * picture.error_m(field, "all", 1)
    in_px = own.model_copy(update={"condition": f"{picture.content}, in display pixels"})
    at_each = own.model_copy(update={"condition": f"{picture.content}, {AT_EACH_PLACE}"})
    worst = finite(np.nanmax(at_places)) if np.isfinite(at_places).any() else None
    lines: list[tuple[Any, Scope, str, float | None]] = [
        ("rms", in_px, "px", finite(whole / picture.mm_a_pixel)),
        ("max", at_each, "mm", worst),
    ]
    return figures + [
        _predicted(
            name="picture-error",
            cause="all",
            statistic=statistic,
            scope=where,
            unit=unit,
            value=value,
            n=int(field.works.sum()),
            method=how,
        )
        for statistic, where, unit, value in lines
    ]


def _dot_figures(field: SpaceField, scope: Scope) -> list[Figure]:
    dots = field.dots
    figures = []
    for name, values, unit, statistics in (
        ("dot-width", dots.light.sigma_px, "px", ("median", "max", "min")),
        ("electrons", dots.electrons, "e-", ("max", "min")),
        ("grey-peak", 100.0 * dots.grey_peak, "%", ("max", "min")),
    ):
        known = values[dots.in_view & np.isfinite(values)]
        ways = {"max": np.max, "min": np.min, "median": np.median}
        for statistic in statistics:
            figures.append(
                _predicted(
                    name=name,
                    statistic=statistic,
                    scope=scope,
                    unit=unit,
                    value=float(ways[statistic](known)) if known.size else None,
                    n=int(known.size),
                    method="point prediction over places of the zone and ways of turning in view",
                )
            )
    return figures


def _camera_figures(evaluation: SpaceEvaluation) -> list[Figure]:
    c = evaluation.space.cameras
    focus = evaluation.space.focus_m
    far_focus = hyperfocal(c.focal_m[0], c.f_number[0], c.pixel_m[0])
    near, far = depth_of_field(far_focus, c.focal_m[0], focus)
    figures = []
    for index, camera in enumerate(evaluation.space.camera_ids):
        for name, value, unit, how in (
            ("exposure", 1e3 * evaluation.exposure_s[index], "ms", "as planned or as given"),
            ("depth-of-field-near", near[index], "m", "blur circle of one pixel, thin lens"),
            ("depth-of-field-far", far[index], "m", "blur circle of one pixel; none: no far limit"),
        ):
            figures.append(
                _predicted(
                    name=name,
                    statistic="value",
                    scope=Scope(rig=evaluation.space.name, camera=camera),
                    unit=unit,
                    value=finite(value),
                    method=how,
                )
            )
    return figures


def space_delay_figures(evaluation: SpaceEvaluation, budget: DelayBudget) -> list[Figure]:
    """Delay by stage, how far a moving thing is ahead, and how far the picture is behind."""
    speed = evaluation.space.speed_m_s
    figures = delay_figures(budget, speed, names_of(evaluation))
    for index, field in enumerate(evaluation.fields):
        for picture in evaluation.pictures[index]:
            for statistic, total in (("mean", budget.total_mean_s), ("max", budget.total_worst_s)):
                moved = float(delay_displacement(speed, total[0]))
                figures.append(
                    _predicted(
                        name="delay-displacement",
                        statistic=statistic,
                        scope=Scope(
                            rig=evaluation.space.name,
                            carried=field.thing.id,
                            surface=picture.screen,
                            condition=f"of the picture {picture.content} at {speed:g} m/s",
                        ),
                        unit="mm",
                        value=1e3 * shift_of_motion_m(picture, moved),
                        method="delay × speed sideways, as parallax on the screen; never added "
                        "to the error",
                    )
                )
    return figures


def reasons_of(evaluation: SpaceEvaluation) -> list[Reason]:
    """Why things cannot be followed where they cannot, the most frequent first."""
    found = [
        Reason(carried=field.thing.id, why=why, share=100.0 * float(where.mean()))
        for field in evaluation.fields
        for why, where in field.fails.items()
    ]
    return sorted((each for each in found if each.share > 0.0), key=lambda each: -each.share)
