"""The numbers of a plan in space as `Figure` records, ready to be joined with what is measured."""

from __future__ import annotations

import functools

import numpy as np

from rushlight.physics.geometry import depth_of_field, hyperfocal
from rushlight.physics.motion import delay_displacement
from rushlight.physics.sighting import INTERPUPILLARY_M
from rushlight.plan.delay import DelayBudget
from rushlight.plan.figures import AT_EACH_PLACE, Names, delay_figures, finite
from rushlight.plan.space_error import REASONS, SpaceField, mean_over
from rushlight.plan.space_evaluate import SpaceEvaluation, is_eye
from rushlight.plan.space_picture import PictureMap, shift_of_eyes_m, shift_of_motion_m
from rushlight.records.arrays import Array
from rushlight.records.figure import SPACE_CAUSES, Cause, Figure, FigureName, Scope, Statistic
from rushlight.records.space import ResolvedSpace
from rushlight.records.space_plan import Reason

_predicted = functools.partial(Figure, basis="predicted")
_HOW = "first-order budget over places of the zone and ways of turning"
_CAUSES: tuple[Cause, ...] = (*SPACE_CAUSES, "all")
_DRAWS, _DRAW_SEED = 20, 1
_ARCMINUTES = 60.0 * np.degrees(1.0)


def names_of(evaluation: SpaceEvaluation) -> Names:
    """What the rig, its cameras and things are called."""
    space = evaluation.space
    return Names(space.name, space.camera_ids, tuple(each.id for each in space.things))


def space_figures(evaluation: SpaceEvaluation) -> list[Figure]:
    """Errors by cause of everything, coverage, light and view.

    What a rig of one thing does is told of the thing and of the rig as a whole, since either is
    measured.
    """
    space = evaluation.space
    things = list(zip(evaluation.fields, evaluation.pictures, strict=True))
    scopes = [(Scope(rig=space.name, carried=f.thing.id), [(f, p)]) for f, p in things]
    scopes.append((Scope(rig=space.name), things))
    figures = []
    for index, (scope, some) in enumerate(scopes):
        covered = [evaluation.covered(i) for i in range(len(things)) if index in (i, len(things))]
        figures += _error_figures(space, some, scope)
        figures += _share_figures([field for field, _ in some], covered, scope)
    for (scope, _), (field, _) in zip(scopes, things, strict=False):
        figures += _dot_figures(field, scope)
    return figures + _camera_figures(evaluation)


_Seen = tuple[SpaceField, tuple[PictureMap, ...]]


def _error_figures(space: ResolvedSpace, some: list[_Seen], scope: Scope) -> list[Figure]:
    """Errors of place, angle, range and picture by cause."""
    fields = [field for field, _ in some]
    figures = []
    for cause in _CAUSES:
        figures += _lines(
            "error", cause, 1e3, "mm", [f.square_m2(cause) for f in fields], fields, scope
        )
    figures += _single_fixes(space, fields, scope)
    centre = [f.square_m2("centre") for f in fields]
    rest = [f.square_m2("all") - f.square_m2("centre") for f in fields]
    for name, squares in (("jitter", centre), ("precision", centre), ("trueness", rest)):
        cause = None if name == "jitter" else "all"
        figures += _rms(name, cause, 1e3, "mm", squares, fields, scope)
    poses = [f for f in fields if f.thing.solved_as == "pose"]
    for cause in _CAUSES if poses else ():
        turns = [f.turn_square_rad2(cause) for f in poses]
        figures += _lines("turn-error", cause, np.degrees(1.0), "deg", turns, poses, scope)
    eyes = [(f, p) for f, p in some if is_eye(space, f.thing)]
    if eyes and len(space.camera_ids) == 1:
        own = [f for f, _ in eyes]
        for cause in _CAUSES:
            squares = [f.along_square_m2(f.toward_m, cause) for f in own]
            figures += _rms("range-error", cause, 1e3, "mm", squares, own, scope)
    if eyes and all(pictures for _, pictures in eyes):
        for index in range(len(eyes[0][1])):
            figures += _picture_figures([(f, p[index]) for f, p in eyes], scope)
        figures += _angle_figures(eyes, scope)
    return figures


def _share_figures(fields: list[SpaceField], covered: list[Array], scope: Scope) -> list[Figure]:
    count = sum(f.works.size for f in fields)
    return [
        _predicted(
            name="coverage",
            statistic="share",
            scope=scope.model_copy(update={"condition": AT_EACH_PLACE}),
            unit="%",
            value=100.0 * float(np.mean([each.mean() for each in covered])),
            n=count,
            method="places and ways of turning that can be followed, where the errors wanted hold",
        ),
        _predicted(
            name="dropouts",
            statistic="share",
            scope=scope,
            unit="%",
            value=100.0 * float(1.0 - np.mean([f.works.mean() for f in fields])),
            n=count,
            method="; ".join(REASONS) + "; bodies, hands and hair that hide lights are left out",
        ),
    ]


def _together(squares: list[Array], fields: list[SpaceField], axis: int | None = None) -> Array:
    """Root-mean-square over several things, each weighing the same at equal grids."""
    if axis is None:
        flat = np.concatenate([each.ravel() for each in squares])
        return mean_over(flat, np.concatenate([f.works.ravel() for f in fields]))
    return np.concatenate(
        [mean_over(each, f.works, axis) for each, f in zip(squares, fields, strict=True)]
    )


def _drawn(fields: list[SpaceField]) -> list[Array]:
    """Of each thing, errors (D, N, 6) of single fixes over builds, places and turns that work."""
    rng = np.random.default_rng(_DRAW_SEED)
    found = []
    for f in fields:
        cov = sum(f.pose_cov[cause] for cause in SPACE_CAUSES)[f.works]
        scale = np.sqrt(np.maximum(np.einsum("nii->ni", cov), 1e-30))
        values, vectors = np.linalg.eigh(cov / (scale[:, :, None] * scale[:, None, :]))
        root = scale[:, :, None] * vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
        drawn = np.einsum("nij,dnj->dni", root, rng.standard_normal((_DRAWS, len(cov), 6)))
        found.append(drawn + np.concatenate([f.bias_m, f.turn_bias_rad], axis=-1)[f.works])
    return found


def _single_fixes(space: ResolvedSpace, fields: list[SpaceField], scope: Scope) -> list[Figure]:
    """Median and 95 % of the distances of single fixes, and how many are within what is wanted."""
    drawn = _drawn(fields)
    whole = np.concatenate([np.linalg.norm(each[..., :3], axis=-1).ravel() for each in drawn])
    if not len(whole):
        return []
    good, every = 0, 0
    for f, each in zip(fields, drawn, strict=True):
        within = np.linalg.norm(each[..., :3], axis=-1) <= space.worst_error_m
        if f.thing.solved_as == "pose" and np.isfinite(space.turn_error_rad):
            within &= np.linalg.norm(each[..., 3:], axis=-1) <= space.turn_error_rad
        good += int(within.sum())
        every += _DRAWS * f.works.size
    n = sum(int(f.works.sum()) for f in fields)
    lines: list[tuple[FigureName, Cause | None, Statistic, str, float]] = [
        ("error", "all", "median", "mm", 1e3 * float(np.quantile(whole, 0.5))),
        ("error", "all", "p95", "mm", 1e3 * float(np.quantile(whole, 0.95))),
        ("coverage", None, "share", "%", 100.0 * good / every),
    ]
    return [
        _predicted(
            name=name,
            cause=cause,
            statistic=statistic,
            scope=scope,
            unit=unit,
            value=value,
            n=n,
            method="single fixes over many builds drawn from the budget, places and turns; those "
            "that cannot be followed are not covered",
        )
        for name, cause, statistic, unit, value in lines
    ]


def _rms(
    name: FigureName,
    cause: Cause | None,
    times: float,
    unit: str,
    squares: list[Array],
    fields: list[SpaceField],
    scope: Scope,
) -> list[Figure]:
    return [
        _predicted(
            name=name,
            cause=cause,
            statistic="rms",
            scope=scope,
            unit=unit,
            value=finite(times * float(_together(squares, fields))),
            n=sum(int(f.works.sum()) for f in fields),
            method=_HOW,
        )
    ]


def _lines(
    name: FigureName,
    cause: Cause,
    times: float,
    unit: str,
    squares: list[Array],
    fields: list[SpaceField],
    scope: Scope,
) -> list[Figure]:
    """Root-mean-square over all, and the largest of the places'."""
    figures = _rms(name, cause, times, unit, squares, fields, scope)
    at_places = _together(squares, fields, 1)
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


def _picture_figures(some: list[tuple[SpaceField, PictureMap]], scope: Scope) -> list[Figure]:
    picture = some[0][1]
    fields = [f for f, _ in some]
    own = scope.model_copy(update={"surface": picture.screen, "condition": picture.content})
    how = f"content {1e2 * picture.depth_m:g} cm {picture.content} the screen, all over it"

    def value(cause: str, axis: int | None = None) -> Array:
        return 1e3 * _together([p.square_m2(f, cause) for f, p in some], fields, axis)

    whole, at_places = float(value("all")), value("all", 1)
    in_px = own.model_copy(update={"condition": f"{picture.content}, in display pixels"})
    at_each = own.model_copy(update={"condition": f"{picture.content}, {AT_EACH_PLACE}"})
    worst = finite(np.nanmax(at_places)) if np.isfinite(at_places).any() else None
    lines: list[tuple[Cause, Statistic, Scope, str, float | None]] = [
        *((cause, "rms", own, "mm", finite(float(value(cause)))) for cause in _CAUSES),
        ("all", "rms", in_px, "px", finite(whole / picture.mm_a_pixel)),
        ("all", "max", at_each, "mm", worst),
    ]
    figures = [
        _predicted(
            name="picture-error",
            cause=cause,
            statistic=statistic,
            scope=where,
            unit=unit,
            value=number,
            n=sum(int(f.works.sum()) for f in fields),
            method=how,
        )
        for cause, statistic, where, unit, number in lines
    ]
    between = all(f.thing.which_eye is None for f in fields)
    return figures + (_of_two_eyes(some, own, in_px) if between else [])


def _of_two_eyes(
    some: list[tuple[SpaceField, PictureMap]], in_mm: Scope, in_px: Scope
) -> list[Figure]:
    """What either eye sees off when the picture is drawn for the point between both."""
    shifts = [(shift_of_eyes_m(picture, f), int(f.works.sum())) for f, picture in some]
    count = sum(n for _, n in shifts)
    whole = 1e3 * float(np.sqrt(sum(m**2 * n for m, n in shifts if n) / max(count, 1)))
    return [
        _predicted(
            name="picture-error",
            cause="two-eyes",
            statistic="rms",
            scope=scope,
            unit=unit,
            value=finite(whole / size) if count else None,
            n=count,
            method=f"half of {1e3 * INTERPUPILLARY_M:g} mm between the eyes, to either side of the "
            "tracked point; not among all causes, since a single eye can be tracked and the other "
            "one covered",
        )
        for scope, unit, size in (
            (in_mm, "mm", 1.0),
            (in_px, "px", some[0][1].mm_a_pixel),
        )
    ]


def _angle_figures(eyes: list[_Seen], scope: Scope) -> list[Figure]:
    """Error of the picture as an angle at the eye, over all content alike."""
    squares = [
        np.mean([p.angle_square_rad2(f, "all") for p in pictures], axis=0) for f, pictures in eyes
    ]
    own = [f for f, _ in eyes]
    return _rms("view-angle", "all", _ARCMINUTES, "arcmin", squares, own, scope)


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
