"""The view task: a viewer moves until a near mark stands in line with a far one.

The viewer is invented: one who sees how far apart the marks stand, and moves the head by it. The
errors of tracking that it meets are those of the session, and the delay is the plan's. So error
and time are simulated, whatever the session is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.assess.intervals import LEVEL
from rushlight.assess.space_stands import Stand
from rushlight.assess.space_view import ARCMINUTES, angle, contents_of
from rushlight.physics.geometry.offaxis import drawn_at, screen_frame
from rushlight.physics.uncertainty import rms, t_interval
from rushlight.records.arrays import Array
from rushlight.records.figure import Figure, FigureName, Scope, Statistic
from rushlight.records.space import ResolvedSpace
from rushlight.records.space_assessment import ViewTrial

STEP_S, LONGEST_S = 0.01, 12.0  # of the trial as it is computed (our choice)
GAIN_A_S = 2.0  # how fast an invented viewer closes the gap [1/s]
REACTION_S = 0.2
"""From seeing to moving [s]; from memory, simple reactions to light take about so long."""
START_M = 0.1  # how far aside a trial begins (our choice)
DWELL_S = 0.4
IN_LINE_RAD = float(np.radians(1.0 / 60.0))
"""Marks that stand less apart on average over both halves of `DWELL_S` are taken to be in line:
one minute of arc, the width that normal sight resolves (from memory). All else of this viewer is
invented."""


@dataclass(frozen=True, eq=False)
class _Task:
    """N trials at once: marks (N, 3), the eye where they are in line (N, 3), the screen."""

    near_m: Array
    far_m: Array
    goal_m: Array
    corners_m: Array
    stands: Sequence[Stand]


def view_trials(
    stands: Sequence[Stand], space: ResolvedSpace, delay_s: float, seed: int = 0
) -> list[ViewTrial]:
    """One trial at each stand's place, with that stand's own errors.

    Parameters
    ----------
    stands
        Of an eye; those that were seen count.
    space
        With its screens and scene; the first screen shows the marks.
    delay_s
        From the middle of an exposure to light from the display [s].
    seed
        Of where marks stand and where the viewer starts.
    """
    seen = [stand for stand in stands if stand.seen]
    screens = {content.screen.id for content in contents_of(space)}
    if not seen or not screens:
        return []
    screen = next(each for each in space.screens if each.id in screens)
    rng = np.random.default_rng(seed)
    frame = screen_frame(screen.corners_m)
    goal = np.array([stand.place_m for stand in seen])
    spots = (
        frame.corner_m + (rng.uniform(0.25, 0.75, (len(seen), 2)) * frame.size_m) @ (frame.axes[:2])
    )
    height = (goal - frame.corner_m) @ frame.axes[2]
    way = (spots - goal) / height[:, None]
    task = _Task(
        goal + way * (height - space.scene_m[0])[:, None],
        goal + way * (height + space.scene_m[1])[:, None],
        goal,
        screen.corners_m,
        seen,
    )
    side = rng.uniform(0.0, 2.0 * np.pi, len(seen))
    start = START_M * (
        np.cos(side)[:, None] * frame.axes[0] + np.sin(side)[:, None] * frame.axes[1]
    )
    error, time_s = _performed(task, start, delay_s, 1.0)
    perfect, perfect_s = _performed(task, start, 0.0, 0.0)
    return [
        ViewTrial(
            session=stand.recording.name,
            near_m=_three(task.near_m[i]),
            far_m=_three(task.far_m[i]),
            error_rad=float(error[i]),
            time_s=float(time_s[i]),
            perfect_error_rad=float(perfect[i]),
            perfect_time_s=float(perfect_s[i]),
            basis="simulated",
        )
        for i, stand in enumerate(seen)
    ]


def _three(values: Array) -> tuple[float, float, float]:
    x, y, z = (float(each) for each in values)
    return x, y, z


def _performed(task: _Task, start_m: Array, delay_s: float, errors: float) -> tuple[Array, Array]:
    """Error at the end [rad] and time until then [s] of each trial; NaN where it never ends."""
    frame = screen_frame(task.corners_m)
    eyes = [task.goal_m + start_m]
    seen: list[Array] = []
    count, late, react = len(task.goal_m), round(delay_s / STEP_S), round(REACTION_S / STEP_S)
    dwell = round(DWELL_S / STEP_S)
    error, time_s = np.full(count, np.nan), np.full(count, np.nan)
    height = (task.goal_m - frame.corner_m) @ frame.axes[2]
    near = height - (task.near_m - frame.corner_m) @ frame.axes[2]
    far = height - (task.far_m - frame.corner_m) @ frame.axes[2]
    by_move = 1.0 / near - 1.0 / far  # [rad/m] sideways
    steps = np.arange(round(LONGEST_S / STEP_S))
    off_m = np.stack([each.off_m[frames_shown(each, steps)] for each in task.stands], axis=1)
    for step in steps:
        found = eyes[max(0, len(eyes) - 1 - late)] + errors * off_m[step]
        between = drawn_at(task.far_m, task.corners_m, found) - drawn_at(
            task.near_m, task.corners_m, found
        )
        seen.append(between / height[:, None])
        told = seen[max(0, len(seen) - 1 - react)]
        speed = GAIN_A_S * told / by_move[:, None]
        eyes.append(eyes[-1] - STEP_S * speed @ frame.axes[:2])
        if step >= dwell + react:
            done = _in_line(seen[-dwell:]) & np.isnan(time_s)
            time_s[done] = (step + 1) * STEP_S
            apart = angle(task.near_m - eyes[-1], task.far_m - eyes[-1])
            error[done] = apart[done]
            if not np.isnan(time_s).any():
                break
    return error, time_s


def _in_line(seen: Sequence[Array]) -> Array:
    """(N,) whether marks stood in line in the first and in the second half: no mere crossing."""
    half = len(seen) // 2
    parts = [np.linalg.norm(np.mean(each, axis=0), axis=-1) for each in (seen[:half], seen[half:])]
    return np.asarray(np.max(parts, axis=0) < IN_LINE_RAD)


def frames_shown(stand: Stand, steps: Array) -> Array:
    """Which of a stand's frames holds at each step of the viewer: (M,), again and again.

    The viewer moves in steps of `STEP_S`, the camera at its own rate: a frame holds until the next.
    """
    period_s = float(np.median(np.diff(stand.recording.frame_ns))) * 1e-9
    # A hair more, so that rounding does not hold a frame for one step too long.
    return np.asarray((steps * STEP_S / period_s + 1e-6).astype(int) % stand.n)


def view_task_figures(trials: Sequence[ViewTrial], scope: Scope) -> list[Figure]:
    """Error and time of the view task.

    Parameters
    ----------
    trials
        From `view_trials`; may be empty.
    scope
        What they speak of.
    """
    known = [trial for trial in trials if np.isfinite(trial.time_s)]
    if len(known) < 2:
        return []
    ours = scope.model_copy(
        update={"condition": "view task: near mark held in line with a far one"}
    )
    scale, unit = ARCMINUTES
    error = np.array([trial.error_rad for trial in known]) * scale
    times = np.array([trial.time_s for trial in known])
    perfect = np.array([trial.perfect_error_rad for trial in known]) * scale
    perfect_s = np.array([trial.perfect_time_s for trial in known])
    missed = len(trials) - len(known)
    rows: tuple[tuple[FigureName, Statistic, Array, str, str], ...] = (
        ("view-angle", "rms", error, unit, f"{float(rms(perfect)):.1f} {unit}"),
        ("movement-time", "mean", times, "s", f"{float(np.mean(perfect_s)):.1f} s"),
    )
    figures = []
    for name, statistic, values, word, alone in rows:
        mean = t_interval(values**2 if statistic == "rms" else values, LEVEL)
        low, high = mean.low, mean.high
        value = mean.value
        if statistic == "rms":
            low, high, value = (np.sqrt(max(each, 0.0)) for each in (low, high, value))
        figures.append(
            Figure(
                name=name,
                statistic=statistic,
                scope=ours,
                value=float(value),
                unit=word,
                low=float(low),
                high=float(high),
                level=LEVEL,
                n=len(values),
                method="an invented viewer on this session's tracking errors and the planned "
                f"delay; with an eye found exactly and at once {alone}; {missed} trials without "
                "an end left out",
                basis="simulated",
            )
        )
    return figures
