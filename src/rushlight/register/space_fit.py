"""From sightings to a registration in space: the cameras, their doubt, and a verdict."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from rushlight.errors import Finding, RushlightError
from rushlight.physics.geometry import quaternion_from_matrix
from rushlight.physics.geometry.rotation import pose_difference
from rushlight.physics.sighting import HELD_STD_M
from rushlight.records.arrays import Array
from rushlight.records.registration import Verdict
from rushlight.records.space import ResolvedSpace
from rushlight.records.space_plan import SpaceMethod
from rushlight.records.space_registration import (
    LengthCheck,
    SpaceCamera,
    SpaceRegistration,
    SpaceRow,
)
from rushlight.register.space_judge import (
    FEWEST,
    reasons_for,
    refuse_few,
    refuse_line,
    rows_word,
    too_great,
)
from rushlight.register.space_left import LeftOver, left_over
from rushlight.register.space_lengths import agrees, found_without_belief
from rushlight.register.space_marks import Sightings, marks_model, spacing_direction
from rushlight.register.space_moments import Seen, ends_of, swing_rows
from rushlight.register.space_redrawn import spacing_redrawn
from rushlight.register.space_solve import (
    Cameras,
    Known,
    Solved,
    first_guess,
    known_beforehand,
    sift,
)
from rushlight.register.space_swing import (
    CLOCK_STD_S,
    RIGID_STD_M,
    Swing,
    length_direction,
    swing_model,
)

ELSEWHERE = 1e-4
"""Chance at which a camera, standing as measured, would be found as far off as it is."""

LOOSER = 20.0
"""How many times less exactly a camera found elsewhere is then taken to be known."""


class RowFacts(NamedTuple):
    """What is to be told of a row beside what the solver finds."""

    carried: str
    from_ns: int
    until_ns: int
    frames: int
    mark_m: tuple[float, float, float] | None
    far_m: tuple[float, float, float] | None = None


@dataclass(frozen=True, eq=False)
class Found:
    """A registration without header, and what to tell of it."""

    registration: SpaceRegistration
    findings: list[Finding]


def doubts_of_places(space: ResolvedSpace) -> Array:
    """(C, 6) deviations of the cameras' places and angles [m, rad]."""
    return np.repeat(np.stack([space.placed_std_m, space.turned_std_rad], axis=1), 3, axis=1)


def register_mounting(space: ResolvedSpace, rig: str) -> Found:
    """The cameras as they were measured to stand, with the doubt of that."""
    known = known_beforehand(space)
    reasons = [
        "nothing was seen: the cameras are taken to stand as measured, within what the rig says"
    ]
    made = registration_of(space, rig, "mounting", known.cameras, known.cov)
    return Found(made.model_copy(update={"verdict": Verdict(vouched=True, reasons=reasons)}), [])


def register_marks(
    space: ResolvedSpace, rig: str, rows: Sightings, poses: Array, facts: Sequence[RowFacts]
) -> Found:
    """The cameras by looks past marks, or placings on them.

    Parameters
    ----------
    space, rig
        The rig, and its content hash.
    rows, poses, facts
        What was seen; (I, 4, 4) about where the thing stood; and what is to be told of each row.

    Raises
    ------
    RushlightError
        When there are too few rows, on one line, or they fit no camera.
    """
    looks = any(anchor.held == 2 for anchor in rows.anchors)
    method: SpaceMethod = "looks" if looks else "placings"
    refuse_few(len(rows), method)
    refuse_line(rows, method)
    known = known_beforehand(space)
    solved, used = _sifted(known, marks_model(known, rows), poses, FEWEST[method], method)
    lengths = _spacings(space, rows.take(used), known, solved)
    known, solved, used, findings = _loosened(
        space, known, solved, used,
        lambda looser: _sifted(
            looser, marks_model(looser, rows), poses, FEWEST[method], method
        ),
    )  # fmt: skip
    left = left_over(solved, used, np.where(rows.seen[..., None, None], rows.px_cov, np.nan))
    off_m = np.sqrt(np.nansum(solved.apart**2, axis=1)) * HELD_STD_M
    told = [
        SpaceRow(
            kind="look" if anchor.held == 2 else "placing",
            carried=fact.carried,
            from_ns=fact.from_ns,
            until_ns=fact.until_ns,
            mark_m=fact.mark_m,
            far_m=fact.far_m,
            cameras=[space.camera_ids[c] for c in np.unique(rows.camera[i][rows.seen[i]])],
            dots=int(rows.seen[i].sum()),
            frames=fact.frames,
            **left.of(i),
            off_mm=_taken(off_m * 1e3, used, i),
            used=bool(used[i]),
        )
        for i, (anchor, fact) in enumerate(zip(rows.anchors, facts, strict=True))
    ]
    return _judged(space, rig, method, known, solved, told, lengths, left, findings)


def register_swing(space: ResolvedSpace, rig: str, seen: Seen, frames: int) -> Found:
    """The cameras by a scale bar swung through what they see.

    Parameters
    ----------
    space, rig
        The rig with its scale bar, and its content hash.
    seen
        From `seen_swing`.
    frames
        How many frames a dot between them rests on.

    Raises
    ------
    RushlightError
        When there are too few moments, or they fit no camera.
    """
    bar = space.scale_bar
    assert bar is not None  # whoever calls has looked
    length = float(np.linalg.norm(bar.lights_m[1] - bar.lights_m[0]))
    length_std = float(np.sqrt(np.sum(bar.lights_std_m[:2] ** 2)))
    late, places, moments = np.array(seen.late_s), seen.pose, None
    loosened = {c: LOOSER for c, measured in enumerate(seen.measured) if not measured}
    known = known_beforehand(space, loosened)
    for _ in range(3):
        swing, moments = swing_rows(seen, late, length, length_std, moments)
        refuse_few(len(swing), "swing")
        solved, used = _swung(known, swing, places)
        step = CLOCK_STD_S * solved.shared.units[-(swing.extra - 1) :]
        late[1:] += step
        places = solved.shared.cameras.pose
        if np.all(np.abs(step) < 1e-6):
            break
    off = found_without_belief(length_direction(known, swing), solved.shared.units, solved.unit_cov)
    lengths = [_length(bar.id, bar.light_ids, length, length_std, off)]
    known, solved, used, findings = _loosened(
        space, known, solved, used, lambda looser: _swung(looser, swing, places), loosened
    )
    left = left_over(solved, used, swing.px_cov.reshape(len(swing), -1, 2, 2))
    off_m = solved.apart[:, -1] * RIGID_STD_M
    told = []
    for i, at in enumerate(moments):
        at_ns = seen.origin_ns + round(float(at) * 1e9)
        told.append(
            SpaceRow(
                kind="frame",
                carried=bar.id,
                from_ns=at_ns,
                until_ns=at_ns,
                cameras=[
                    each
                    for each, saw in zip(space.camera_ids, swing.seen[i].all(axis=-1), strict=True)
                    if saw
                ],
                dots=int(swing.seen[i].sum()),
                frames=frames,
                **left.of(i),
                off_mm=_taken(-off_m * 1e3, used, i),
                used=bool(used[i]),
            )
        )
    clocks = np.sqrt(np.diag(solved.unit_cov)[-(swing.extra - 1) :]) * CLOCK_STD_S
    return _judged(
        space, rig, "swing", known, solved, told, lengths, left, findings,
        late_s=late, clock_std_s=np.concatenate([[np.nan], clocks]),
    )  # fmt: skip


def _swung(known: Known, swing: Swing, places: Array) -> tuple[Solved[Array], Array]:
    model = swing_model(known, swing)
    start = first_guess(known, model.extra, places)
    ends = ends_of(swing, start.cameras)
    return _sifted(known, model, ends, FEWEST["swing"], "swing", start)


def _sifted(known, model, own, fewest, method, start=None):  # type: ignore[no-untyped-def]
    try:
        return sift(known, model, own, fewest, start)
    except ValueError as error:
        raise RushlightError.of(
            "registration",
            f"{len(own)} {rows_word(method)}",
            f"tell no cameras ({error})",
            "check that the rig says how the cameras stand, to within placed_within and "
            "turned_within, and register anew",
            "no-cameras",
        ) from error


def _taken(values: Array, used: Array, row: int) -> float | None:
    """A value of a used row; the solver tells nothing of those that were left out."""
    if not used[row]:
        return None
    value = float(values[int(np.count_nonzero(used[:row]))])
    return value if np.isfinite(value) else None


def _spacings(
    space: ResolvedSpace, rows: Sightings, known: Known, solved: Solved[Array]
) -> list[LengthCheck]:
    """The longest distance between two lights of each thing that was held, told and found."""
    held = {int(light) for light in np.unique(rows.light[rows.seen])}
    checks = []
    first = 0
    for thing in space.things:
        own = [i for i in range(len(thing.lights)) if first + i in held]
        if len(own) >= 2:
            apart = np.linalg.norm(
                thing.lights_m[own][:, None] - thing.lights_m[own][None], axis=-1
            )
            i, j = np.unravel_index(int(np.argmax(apart)), apart.shape)
            one, other = own[i], own[j]
            std = float(np.hypot(thing.lights_std_m[one], thing.lights_std_m[other]))
            direction = spacing_direction(rows, known, first + one, first + other)
            if any(anchor.held == 2 for anchor in rows.anchors):
                off = spacing_redrawn(rows, known, solved, direction)
            else:
                off = found_without_belief(direction, solved.shared.units, solved.unit_cov)
            names = (thing.light_ids[one], thing.light_ids[other])
            checks.append(_length(thing.id, names, float(apart[i, j]), std, off))
        first += len(thing.lights)
    return checks


def _length(
    carried: str,
    lights: Sequence[str],
    told_m: float,
    told_std_m: float,
    found: tuple[float, float],
) -> LengthCheck:
    off, std = found
    return LengthCheck(
        carried=carried,
        lights=(lights[0], lights[1]),
        told_m=told_m,
        told_std_m=told_std_m,
        found_m=told_m + off,
        std_m=std,
        agrees=agrees(off, std, told_m, told_std_m),
    )


Again = Callable[[Known], tuple[Solved[Array], Array]]


def _loosened(
    space: ResolvedSpace, known: Known, solved: Solved[Array], used: Array, again: Again,
    before: dict[int, float] | None = None,
) -> tuple[Known, Solved[Array], Array, list[Finding]]:  # fmt: skip
    """Fit anew where a camera is found to stand elsewhere than measured, and say so."""
    from scipy import stats

    loosened = dict(before or {})
    for camera, numbers in enumerate(known.placed):
        own = numbers[numbers >= 0]
        if camera in loosened or not len(own):
            continue
        units = solved.shared.units[own]
        spread = np.eye(len(own)) - solved.unit_cov[np.ix_(own, own)]
        # How far the estimate strays from the belief, in units of how far it should.
        values, vectors = np.linalg.eigh(spread)
        told = values > 0.05
        square = float(np.sum((vectors.T @ units)[told] ** 2 / values[told]))
        if stats.chi2.sf(square, int(told.sum())) < ELSEWHERE:
            loosened[camera] = LOOSER
    if loosened != (before or {}):
        known = known_beforehand(space, loosened)
        solved, used = again(known)
    findings = []
    stated = space.cameras.rig_from_camera[0]
    for camera in loosened:
        off = pose_difference(solved.shared.cameras.pose[camera], stated[camera])
        findings.append(
            Finding(
                "warning",
                "camera-elsewhere",
                f"cameras[{camera}]",
                "",
                f"stands {np.linalg.norm(off[:3]) * 1e3:.0f} mm and "
                f"{np.degrees(np.linalg.norm(off[3:])):.1f}° from where the rig says, farther "
                "than placed_within and turned_within allow; the registration goes by what was "
                "seen",
                "measure it again, so that the plan is about the rig as it stands",
            )
        )
    return known, solved, used, findings


def _judged(
    space: ResolvedSpace,
    rig: str,
    method: SpaceMethod,
    known: Known,
    solved: Solved[Array],
    rows: list[SpaceRow],
    lengths: list[LengthCheck],
    left: LeftOver,
    findings: list[Finding],
    late_s: Array | None = None,
    clock_std_s: Array | None = None,
) -> Found:
    stretch = max(1.0, solved.misfit / solved.freedom) if too_great(solved) else 1.0
    made = registration_of(
        space, rig, method, solved.shared.cameras, solved.cov * stretch, late_s, clock_std_s
    )
    against, notes = reasons_for(method, known, solved, rows, lengths, left)
    return Found(
        made.model_copy(
            update={
                "rows": rows,
                "lengths": lengths,
                "rms_px": left.whole_px,
                "expected_px": left.whole_expected_px,
                "misfit": solved.misfit,
                "freedom": solved.freedom,
                "verdict": Verdict(vouched=not against, reasons=[*against, *notes]),
            }
        ),
        findings,
    )


def registration_of(
    space: ResolvedSpace,
    rig: str,
    method: SpaceMethod | Literal["pair"],
    cameras: Cameras,
    cov: Array,
    late_s: Array | None = None,
    clock_std_s: Array | None = None,
) -> SpaceRegistration:
    """The document without rows; nothing vouched for yet."""
    made = []
    for i, name in enumerate(space.camera_ids):
        std = None if clock_std_s is None or not np.isfinite(clock_std_s[i]) else clock_std_s[i]
        w, x, y, z = quaternion_from_matrix(cameras.pose[i, :3, :3]).tolist()
        right, up, out = cameras.pose[i, :3, 3].tolist()
        wide, high = (int(side) for side in space.cameras.size_px[0, i])
        made.append(
            SpaceCamera(
                camera=name,
                size_px=(wide, high),
                camera_matrix=cameras.K[i].tolist(),
                distortion=cameras.k[i].tolist(),
                translation_m=(right, up, out),
                quaternion=(w, x, y, z),
                clock_offset_ns=0 if late_s is None else round(float(late_s[i]) * 1e9),
                clock_std_ns=None if std is None else float(std) * 1e9,
            )
        )
    return SpaceRegistration(
        rig=rig,
        kinds=list(space.kinds),
        method=method,
        cameras=made,
        cov=((cov + cov.T) / 2.0).tolist(),
        verdict=Verdict(vouched=False, reasons=[]),
    )
