"""What the page of trials asks for, step by step."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import numpy as np

from rushlight.errors import RushlightError
from rushlight.jobs.load import load_rig, rig_path
from rushlight.physics.cautions import CAUTIONS, DEFER
from rushlight.physics.geometry.offaxis import screen_frame
from rushlight.physics.pointing import ring_targets, tapping_order
from rushlight.records.arrays import Array
from rushlight.records.rig import Rig
from rushlight.records.study import Block, Goal
from rushlight.records.trials import RunKind, TryPlan, TryStep
from rushlight.shelf.resolve_space import resolve_space

Task = Literal["ring", "still", "grid", "align", "check"]
TASKS: tuple[Task, ...] = ("ring", "still", "grid", "align", "check")

RING_TARGETS = 13
"""Odd, so that moves are equally long."""
RINGS = {"wide": (0.85, 0.10), "near": (0.5, 0.115), "fine": (0.85, 0.05)}
"""Distance and diameter as shares of the room; 3.2, 2.4 and 4.2 bit. No source but that
ISO/TS 9241-411:2012 asks for a range of difficulties (from memory)."""
ROOM_SHARE = 0.75
"""Of the display's shorter side, so that words about the ring do not hide it."""
TAP_S, HOLD_S, REACH_S, ALIGN_S = 1.2, 2.0, 2.0, 8.0
"""What one tap, one hold, the way to a mark and one alignment take, roughly [s]; no source."""
REST_S, CHECK_S = 20.0, 600.0
"""Rest before every step of a task but the first, and all of the check, whose rests share what its
steps leave of it [s]; our own choice."""
STILL_MARKS, ALIGN_TRIALS = 5, 6
CHECK: tuple[tuple[str, str], ...] = (
    ("ring", "wide"), ("still", "first"), ("ring", "near"), ("grid", "first"), ("ring", "fine"),
    ("ring", "near"), ("ring", "fine"), ("still", "second"), ("ring", "wide"), ("grid", "second"),
    ("ring", "fine"), ("ring", "wide"), ("ring", "near"),
)  # fmt: skip
"""The ten-minute check: every ring three times, each once as first, second and third."""
DEVICE = "shown-on-the-page"


def try_plan(rig: Path, task: str, seed: int = 0) -> TryPlan:
    """The steps of a task, with every mark's place on the rig's display.

    Parameters
    ----------
    rig
        The rig's file or folder.
    task
        One of `TASKS`.
    seed
        Of where marks of the view task stand, and the order of grids.

    Raises
    ------
    RushlightError
        When the task is none, or the rig has no display or no eye for it.
    """
    document, shelf = load_rig(rig)
    if task not in TASKS:
        raise RushlightError.of(
            "try: task", task, "is no task of this page", f"use one of {', '.join(TASKS)}",
            "try-task",
        )  # fmt: skip
    if not document.surfaces:
        raise RushlightError.of(
            f"{rig_path(rig).name}: surfaces", "", "has no display to try on",
            "give the rig a surface", "try-no-display",
        )  # fmt: skip
    surface = document.surfaces[0]
    size = np.array([surface.width.value, surface.height.value])
    rng = np.random.default_rng(seed)
    views = "viewpoint" in document.kinds
    if task == "align" and not views:
        raise RushlightError.of(
            f"{rig_path(rig).name}: kinds", ", ".join(document.kinds),
            "draws no picture that follows an eye", "try it with a viewpoint rig", "try-no-eye",
        )  # fmt: skip

    def step(kind: str, which: str, number: int) -> TryStep:
        if kind == "ring":
            return _ring(size, which, number)
        if kind == "align":
            space = resolve_space(document, shelf, rig_path(rig).name)
            return _align(space.screens[0].corners_m, space.scene_m, _zone(space), rng)
        return _held("still" if kind == "still" else "grid", size, which, number, rng)

    asked: Sequence[tuple[str, str]]
    if task == "check":
        asked = [*CHECK, *([("align", "first")] if views else [])]
    else:
        asked = [("ring", each) for each in RINGS] if task == "ring" else [(task, "first")]
    steps = [step(*each, number) for number, each in enumerate(asked)]
    return TryPlan(
        rig_name=document.name,
        task=task,
        surface_m=(float(size[0]), float(size[1])),
        carried=pointers_of(document),
        steps=_with_rests(steps, task),
        cautions=[CAUTIONS["eye"], CAUTIONS["motion"], CAUTIONS["picture"], DEFER],
    ).stamped("predicted", {"rig": document.content_hash()}, seed)


def _with_rests(steps: Sequence[TryStep], task: str) -> list[TryStep]:
    """The steps, with a rest of whole seconds before each but the first."""
    rest_s = REST_S
    if task == "check":
        busy_s = sum(step.about_s for step in steps)
        rest_s = max((CHECK_S - busy_s) // (len(steps) - 1), 0.0)
    rested = [step.model_copy(update={"rest_s": rest_s}) for step in steps[1:]]
    return [*steps[:1], *rested]


def pointers_of(rig: Rig) -> list[str]:
    """Names of what points on the rig's surface; none where the rig follows only in space."""
    return [each.id for each in rig.carried] if "surface" in rig.kinds else []


def _zone(space: object) -> Array:
    """(2, 3) lowest and highest corner of where the eye is expected [m]."""
    thing = space.things[0]  # type: ignore[attr-defined]
    return np.stack([thing.low_m, thing.high_m])


def _ring(size_m: Array, which: str, number: int) -> TryStep:
    room_m = ROOM_SHARE * float(size_m.min())
    distance_m, width_m = (share * room_m for share in RINGS[which])
    ring = ring_targets(RING_TARGETS, distance_m, size_m / 2.0)
    # The first target again at the end, so that every target is the end of a move.
    order = [*tapping_order(RING_TARGETS).tolist(), 0]
    goals = [Goal(shape="disc", parameters_m=[float(x), float(y), width_m]) for x, y in ring]
    condition = f"{distance_m * 1e3:.0f} mm away, {width_m * 1e3:.0f} mm wide"
    return _step("tap", f"ring-{which}-{number}", condition, goals, order, TAP_S)


def _held(
    kind: RunKind, size_m: Array, which: str, number: int, rng: np.random.Generator
) -> TryStep:
    """Marks to hold: a few about the middle, or nine over the display."""
    shares = [[x, y] for y in (1 / 6, 1 / 2, 5 / 6) for x in (1 / 6, 1 / 2, 5 / 6)]
    if kind == "still":
        shares = [[1 / 2, 1 / 2], [1 / 4, 1 / 4], [3 / 4, 1 / 4], [3 / 4, 3 / 4], [1 / 4, 3 / 4]]
    goals = [
        Goal(
            shape="point",
            parameters_m=[float(x), float(y)],
            dwell_s=2.0 * HOLD_S if kind == "still" else HOLD_S,
        )
        for x, y in np.array(shares) * size_m
    ]
    order = rng.permutation(len(goals)).tolist()
    each_s = goals[0].dwell_s + REACH_S
    words = "held still" if kind == "still" else "touched and held"
    return _step(kind, f"{kind}-{which}-{number}", words, goals, order, each_s)


def _align(corners_m: Array, scene_m: Array, zone_m: Array, rng: np.random.Generator) -> TryStep:
    """Pairs of marks that stand in line for an eye somewhere in its zone."""
    frame = screen_frame(corners_m)
    eyes = rng.uniform(zone_m[0], zone_m[1], (ALIGN_TRIALS, 3))
    spots = rng.uniform(0.3, 0.7, (ALIGN_TRIALS, 2)) * frame.size_m
    before_m, behind_m = (float(each) if np.isfinite(each) else 0.05 for each in scene_m)
    goals = []
    for eye, spot in zip(eyes, spots, strict=True):
        height = float((eye - frame.corner_m) @ frame.axes[2])
        way = (frame.corner_m + spot @ frame.axes[:2] - eye) / height
        near, far = eye + way * (height - before_m), eye + way * (height + behind_m)
        goals.append(Goal(shape="line", frame="rig", parameters_m=[*near.tolist(), *far.tolist()]))
    order = list(range(ALIGN_TRIALS))
    words = "near mark in line with a far one"
    return _step("align", "align", words, goals, order, ALIGN_S)


def _step(
    kind: RunKind,
    block: str,
    condition: str,
    goals: list[Goal],
    order: list[int],
    each_s: float,
) -> TryStep:
    return TryStep(
        kind=kind,
        block=Block(
            id=block, condition=condition, device=DEVICE, people=[], goals=goals, order=order
        ),
        rest_s=0.0,
        about_s=each_s * len(order),
    )
