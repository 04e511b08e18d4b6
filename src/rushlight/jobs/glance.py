"""A quick look at a rig while it is being changed: room, error map and what it comes to.

It is the swift evaluation of the search (`rushlight.plan.swift`), a few milliseconds for a rig
with one camera; the plan itself is slower and closer, and is what counts.
"""

from __future__ import annotations

import importlib.resources
import math
import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rushlight.errors import Finding, RushlightError
from rushlight.jobs.edit import put
from rushlight.jobs.load import RIG_FILE
from rushlight.jobs.plan_space import in_space
from rushlight.jobs.room_sketch import room_sketch
from rushlight.plan.candidates import Candidates
from rushlight.plan.delay import delay_budget
from rushlight.plan.evaluate import Evaluation, evaluate
from rushlight.plan.grid import Standing
from rushlight.plan.space_evaluate import COARSE_CELLS, COARSE_WAYS, evaluate_space
from rushlight.plan.space_planning import slowest_delay
from rushlight.plan.swift import LOSSES, SwiftEvaluator
from rushlight.records.document import validate
from rushlight.records.figure import ERROR_CAUSES, SPACE_CAUSES
from rushlight.records.resolved import ResolvedRig
from rushlight.records.rig import Rig
from rushlight.shelf.catalogue import Shelf, load_shelf
from rushlight.shelf.check import check_rig
from rushlight.shelf.resolve import resolve
from rushlight.shelf.resolve_space import resolve_space

Array = NDArray[Any]

_NOT_A_LOSS = "out of reach"
"""Coverage asks what the camera can do, not who reaches."""

COLUMNS, ROWS = 18, 12
"""Of the map of a surface."""


@dataclass(frozen=True)
class ValueMap:
    """Error at places, of the worst light or thing there.

    Attributes
    ----------
    of
        "surface", or the id of the thing whose zone it is.
    low_m, high_m
        Corners of what it covers, in the rig frame [m].
    shape
        Cells along x, y and z; z runs slowest, then y, then x.
    error_mm
        A value a cell; None where nothing is known.
    lost
        A cell each: the words why it does not count as covered, empty where it does.
    """

    of: str
    low_m: list[float]
    high_m: list[float]
    shape: list[int]
    error_mm: list[float | None]
    lost: list[list[str]]


@dataclass(frozen=True)
class Glance:
    """What a quick look shows.

    Attributes
    ----------
    title, kinds, basis
        Of the rig.
    room
        See `rushlight.jobs.room_sketch.room_sketch`.
    maps
        One for a surface, one a thing for rigs of space.
    error_mm, worst_mm, coverage, delay_ms, exposures_ms
        Root-mean-square and greatest error [mm], share covered [1], mean delay [ms], and the
        exposure of each camera by its id [ms]; None where unknown.
    causes_mm
        Cause to its part of the error [mm], the greatest first.
    targets
        What is wanted: error_mm, coverage, delay_ms; None where nothing is.
    met
        Of each target whether this look reaches it, the greatest error against the wanted one;
        None where one of both is unknown.
    rough
        Whether the quick look is known to be off by more than a few per cent here.
    findings
        Errors, warnings and notes of the rig as it stands.
    """

    title: str = ""
    kinds: list[str] = field(default_factory=list)
    basis: str = ""
    room: dict[str, Any] | None = None
    maps: list[ValueMap] = field(default_factory=list)
    error_mm: float | None = None
    worst_mm: float | None = None
    coverage: float | None = None
    delay_ms: float | None = None
    exposures_ms: dict[str, float] = field(default_factory=dict)
    causes_mm: dict[str, float] = field(default_factory=dict)
    targets: dict[str, float | None] = field(default_factory=dict)
    met: dict[str, bool | None] = field(default_factory=dict)
    rough: bool = False
    findings: list[Finding] = field(default_factory=list)

    def as_dict(self) -> dict[str, Any]:
        """The look as plain values, for JSON."""
        return {**asdict(self), "findings": [each.as_dict() for each in self.findings]}


def glance(
    text: str, folder: Path, changes: Mapping[str, str] | None = None, checked: bool = True
) -> Glance:
    """Look at a rig's text, saved or not.

    Parameters
    ----------
    text
        Of a ``rig.toml``.
    folder
        Where it lies, or shall lie: the user's own parts and lenses are looked for there.
    changes
        Path of a value, such as ``"cameras[0].position[2]"``, to what shall stand there instead.
    checked
        Whether warnings and notes are looked for too; errors are told in any case.

    Returns
    -------
    Glance
        Where the text is wrong, with nothing but findings.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        wrong = Finding("error", "toml", RIG_FILE, "", f"is not valid TOML: {error}", "mend it")
        return Glance(findings=[wrong])
    try:
        for path, given in (changes or {}).items():
            put(data, path, given)
        rig, shelf = validate(Rig, data, RIG_FILE), load_shelf(folder)
        seen = _judged(_of_space(rig, shelf) if in_space(rig) else _of_surface(rig, shelf))
        return replace(seen, findings=check_rig(rig, shelf, RIG_FILE)) if checked else seen
    except RushlightError as error:
        return Glance(findings=list(error.findings))


def warm() -> None:
    """Look at an invented rig once, so that the next look is a quick one."""
    scenario = importlib.resources.files("rushlight.jobs") / "scenarios" / "barn-wall"
    with importlib.resources.as_file(scenario) as folder:
        glance((folder / RIG_FILE).read_text(encoding="utf-8"), folder)


def _common(rig: Rig) -> dict[str, Any]:
    return {
        "title": rig.title or rig.name,
        "kinds": list(rig.kinds),
        "basis": str(rig.basis),
        "targets": {
            "error_mm": 1e3 * rig.targets.worst_error.value,
            "coverage": rig.targets.coverage.value,
            "delay_ms": 1e3 * rig.targets.delay.value,
        },
    }


def _judged(seen: Glance) -> Glance:
    """The look with its targets judged."""

    def met(low: float | None, high: float | None) -> bool | None:
        return None if low is None or high is None else low <= high

    wanted = seen.targets
    return replace(
        seen,
        met={
            "error_mm": met(seen.worst_mm, wanted["error_mm"]),
            "coverage": met(wanted["coverage"], seen.coverage),
            "delay_ms": met(seen.delay_ms, wanted["delay_ms"]),
        },
    )


def _of_surface(rig: Rig, shelf: Shelf) -> Glance:
    resolved = resolve(rig, shelf, RIG_FILE)
    told = _one_camera(rig, resolved) if len(rig.cameras) == 1 else _cameras(rig, resolved)
    error, lost, coverage, exposures, causes, rough, registerable = told
    width, height = (float(each) for each in resolved.surface.size_m[0])
    known = np.isfinite(error)
    worst = np.where(known, error, -np.inf).max(axis=0)
    bits = np.bitwise_or.reduce(lost, axis=0)
    delays = [
        delay_budget(resolved, np.array([each]), i).total_mean_s[0]
        for i, each in enumerate(exposures)
    ]
    rms = math.sqrt(float((error[known] ** 2).mean())) if known.any() and registerable else None
    parts = {cause: 1e3 * value for cause, value in causes.items() if np.isfinite(value)}
    return Glance(
        **_common(rig),
        room=room_sketch(rig, resolved.cameras),
        maps=[
            ValueMap(
                "surface",
                [0.0, 0.0, 0.0],
                [width, height, 0.0],
                [COLUMNS, ROWS, 1],
                [None if value == -np.inf else 1e3 * float(value) for value in worst],
                [_words(each) for each in bits.tolist()],
            )
        ],
        error_mm=None if rms is None else 1e3 * rms,
        worst_mm=1e3 * float(worst.max()) if known.any() and registerable else None,
        coverage=coverage,
        delay_ms=1e3 * float(max(delays)),
        exposures_ms={
            camera.id: 1e3 * float(value)
            for camera, value in zip(rig.cameras, exposures, strict=True)
        },
        causes_mm=_greatest_first(parts),
        rough=rough,
    )


_Told = tuple[Array, Array, float, list[float], dict[str, float], bool, bool]


def _one_camera(rig: Rig, resolved: ResolvedRig) -> _Told:
    """Errors (E, G) [m], bits of losses, coverage, exposures, causes, rough, registerable."""
    candidates = Candidates.of(resolved)
    found = SwiftEvaluator(
        candidates, columns=COLUMNS, rows=ROWS, standing=Standing.of_rig(rig), fall_back=False
    )(candidates)
    causes = {cause: float(value[0]) for cause, value in found.cause_rms_m.items()}
    return (
        found.error_m[0],
        found.lost[0],
        float(found.coverage[0]),
        [float(found.exposure_s[0])],
        causes,
        bool(found.doubtful[0]),
        bool(found.registerable[0]),
    )


def _cameras(rig: Rig, resolved: ResolvedRig) -> _Told:
    """The same for several cameras, by the full evaluation with few ways of holding."""
    found = evaluate(resolved, COLUMNS, ROWS, None, Standing.of_rig(rig), None, 1, 1)
    goal = resolved.targets.worst_error_m[0]
    lost = np.zeros(found.in_view[0].shape, np.uint8)
    error = np.where(found.in_view, found.error_m["all"], np.nan)[0]
    with np.errstate(invalid="ignore"):
        for name, mask in (
            ("out of view", ~found.in_view[0]),
            ("saturated", found.saturated[0]),
            ("weak", found.weak[0]),
            ("hidden", found.hidden[0] & found.in_view[0]),
            ("parted", found.parted[0]),
            ("inaccurate", error > goal),
            ("out of reach", ~found.reached[0]),
        ):
            lost |= np.where(mask, LOSSES[name], 0).astype(np.uint8)
    causes = {cause: _root_mean_square(found, cause) for cause in ERROR_CAUSES}
    return (
        error,
        lost,
        float(found.coverage[0]),
        [float(each) for each in found.exposure_s[0]],
        causes,
        False,
        bool(found.registerable[0]),
    )


def _root_mean_square(found: Evaluation, cause: str) -> float:
    """Of one cause over the places in view [m]; NaN where there is none."""
    square = found.error_m[cause][found.in_view] ** 2
    known = square[np.isfinite(square)]
    return float(np.sqrt(known.mean())) if known.size else math.nan


def _of_space(rig: Rig, shelf: Shelf) -> Glance:
    space = resolve_space(rig, shelf, RIG_FILE)
    found = evaluate_space(space, COARSE_CELLS, COARSE_WAYS)
    maps = []
    for index, one in enumerate(found.fields):
        square = one.square_m2("all")
        works = one.works
        count = works.sum(axis=1)
        total = np.where(works & np.isfinite(square), square, 0.0).sum(axis=1)
        error = np.sqrt(total / np.maximum(count, 1))
        axes, covered = found.axes_m[index], found.covered(index)
        maps.append(
            ValueMap(
                one.thing.id,
                [float(each) for each in one.thing.low_m],
                [float(each) for each in one.thing.high_m],
                [len(each) for each in axes],
                [1e3 * float(e) if n else None for e, n in zip(error, count, strict=True)],
                [[] if share > 0 else ["inaccurate"] for share in covered],
            )
        )
    error_m = found.error_m()
    causes = {cause: 1e3 * found.error_m(cause) for cause in SPACE_CAUSES}
    return Glance(
        **_common(rig),
        room=room_sketch(rig, space.cameras),
        maps=maps,
        error_mm=1e3 * error_m if math.isfinite(error_m) else None,
        coverage=found.coverage,
        delay_ms=1e3 * float(slowest_delay(found).total_mean_s[0]),
        exposures_ms={
            name: 1e3 * float(value)
            for name, value in zip(space.camera_ids, found.exposure_s, strict=True)
        },
        causes_mm=_greatest_first({k: v for k, v in causes.items() if math.isfinite(v)}),
        rough=True,
    )


@cache
def _words(bits: int) -> list[str]:
    return [name for name, bit in LOSSES.items() if bits & bit and name != _NOT_A_LOSS]


def _greatest_first(parts: dict[str, float]) -> dict[str, float]:
    return dict(sorted(parts.items(), key=lambda each: -each[1]))
