"""The step "rate": how many different frames really come in a second, and how evenly."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from rushlight.errors import Finding
from rushlight.inspect.result import (
    Drawing,
    Measure,
    StepResult,
    digits,
    interval_of,
    note,
    warning,
)
from rushlight.inspect.takes import Take, images, lone, too_few
from rushlight.physics.intervals import t_interval
from rushlight.records.arrays import Array

LEAST_FRAMES = 20
BLOCKS = 10
"""Stretches whose own rates tell how sure the rate is; no source."""

SHORT_OF = 0.995
"""Below this part of the rate asked for, the camera is said not to reach it; no source."""


def rate(takes: Sequence[Take], asked_hz: float = math.nan) -> StepResult:
    """How many frames come in a second, how evenly, and how many are lost or come twice.

    Parameters
    ----------
    takes
        One, of a scene with some light in it.
    asked_hz
        Rate that the camera was set to [Hz]; NaN when unknown.

    Returns
    -------
    StepResult

    Raises
    ------
    RushlightError
        When there are fewer than 20 frames.
    """
    take = lone(takes, "rate")
    times_ns: list[int] = []
    indices: list[int] = []
    repeats = still = 0
    before = None
    for frame, image in images(take):
        if before is not None:
            if int(image.min()) == int(image.max()):
                still += 1  # a picture of one level is like the last even when it is new
            elif np.array_equal(image, before):
                repeats += 1
        before = image
        times_ns.append(frame.capture_ns)
        indices.append(frame.index)
    if len(times_ns) < LEAST_FRAMES:
        raise too_few(take, len(times_ns), LEAST_FRAMES)
    if take.times_counted:
        return StepResult(
            "rate",
            f"cannot tell: the times were {take.times}, not read from a clock",
            (_repeats_reason(repeats, still, len(times_ns)),),
            extra={"frames": len(times_ns), "repeated": repeats},
        )
    begin_ns = times_ns[0]
    time_s = np.array([each - begin_ns for each in times_ns], np.float64) * 1e-9
    passed_over = indices[-1] - indices[0] + 1 - len(indices)
    return _timed(time_s, repeats, still, max(passed_over, 0), asked_hz)


def _timed(
    time_s: Array, repeats: int, still: int, passed_over: int, asked_hz: float
) -> StepResult:
    """The step with times that can be trusted."""
    gap_s = np.diff(time_s)
    if not np.all(gap_s > 0):
        return StepResult(
            "rate",
            "cannot tell: times stand still or run backwards",
            ("Film anew; what stamps the frames does not keep their order.",),
            extra={"frames": len(time_s), "repeated": repeats},
        )
    middle_s = float(np.median(gap_s))
    steps = np.maximum(np.rint(gap_s / middle_s), 1.0)
    lost = int(np.sum(steps - 1.0))
    number = np.concatenate([[0.0], np.cumsum(steps)])
    slopes = [
        float(np.polyfit(number[part], time_s[part] - time_s[part][0], 1)[0])
        for part in np.array_split(np.arange(len(time_s)), min(BLOCKS, len(time_s) // 5))
    ]
    period = t_interval(slopes)
    due_s = np.polyval(np.polyfit(number, time_s, 1), number)
    jitter_s = float(np.std(time_s - due_s, ddof=2))
    new_share = 1.0 - repeats / len(gap_s)
    hz = new_share / period.value
    hz_std = hz * period.std / period.value
    method = f"mean over {period.n} stretches, Student t"
    value = interval_of(hz, hz_std, len(time_s), method, period.n - 1)
    short = math.isfinite(asked_hz) and value.high < SHORT_OF * asked_hz
    jitter = interval_of(
        1e3 * jitter_s, 1e3 * jitter_s / math.sqrt(2 * len(time_s)), len(time_s), "about a line"
    )
    measures = (
        Measure("frame rate of different pictures", value, "Hz", "frame_rate" if short else None),
        Measure("unevenness of the times", jitter, "ms"),
    )
    verdict = f"{digits(hz)} different pictures a second" + (
        f", not the {asked_hz:g} Hz asked for" if short else ""
    )
    reasons = (
        f"{lost} of {int(number[-1]) + 1} frames were lost, {passed_over} of them known to the "
        "source, which passes frames over when the computer is too slow",
        _repeats_reason(repeats, still, len(time_s)),
        f"intervals last from {1e3 * gap_s.min():.2f} to {1e3 * gap_s.max():.2f} ms, "
        f"{1e3 * middle_s:.2f} ms in the middle",
    )
    return StepResult(
        "rate",
        verdict,
        reasons,
        measures,
        tuple(_findings(hz, asked_hz, short, lost / number[-1], repeats / len(gap_s))),
        (f'frame_rate = "{hz:.2f} Hz"',) if math.isfinite(asked_hz) and short else (),
        extra={
            "frames": len(time_s),
            "lost": lost,
            "passed_over": passed_over,
            "repeated": repeats,
        },
        drawing=Drawing(
            "Time between frames",
            "frame",
            "interval [ms]",
            tuple((float(i), 1e3 * float(gap)) for i, gap in enumerate(gap_s[:2000])),
            line=((0.0, 1e3 * middle_s), (float(min(len(gap_s), 2000)), 1e3 * middle_s)),
            line_name="middle one",
        ),
    )


def _repeats_reason(repeats: int, still: int, frames: int) -> str:
    if still == frames - 1:
        return "every picture has a single level, so that repeated ones cannot be told"
    return f"{repeats} of {frames} pictures are the one before once more"


def _findings(
    hz: float, asked_hz: float, short: bool, lost: float, repeated: float
) -> list[Finding]:
    findings = []
    if short:
        findings.append(
            warning(
                "rate-not-reached",
                "rate",
                f"{digits(hz)} Hz",
                f"is less than the {asked_hz:g} Hz asked for",
                "light the scene more or set a shorter exposure, switch automatic exposure off, "
                "choose a smaller picture, or plan with the rate measured",
            )
        )
    if lost > 0.01:
        findings.append(
            warning(
                "frames-lost",
                "rate",
                f"{lost:.1%} of frames",
                "never came",
                "use a port or cable of its own, close other programs, or lower the rate",
            )
        )
    if repeated > 0.01:
        findings.append(
            warning(
                "frames-repeated",
                "rate",
                f"{repeated:.1%} of pictures",
                "are the one before once more: the camera makes fewer than it sends",
                "count on the rate of different pictures",
            )
        )
    if not math.isfinite(asked_hz):
        findings.append(
            note(
                "rate-unasked",
                "rate",
                "",
                "has nothing to be compared with",
                "give --rig and --camera to compare it with the rate of the rig",
            )
        )
    return findings
