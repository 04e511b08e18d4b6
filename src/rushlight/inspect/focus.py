"""The step "focus": how wide dots are, and which way to turn the ring."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from rushlight.errors import Finding, RushlightError
from rushlight.inspect.expected import Setup, expected_width_px
from rushlight.inspect.lit import Light, light_of
from rushlight.inspect.result import Drawing, Measure, StepResult, digits, interval_of, note
from rushlight.inspect.takes import Take
from rushlight.physics.intervals import t_interval
from rushlight.records.arrays import Array

LEAST_FRAMES = 10
WINDOW = 7
"""Frames over which widths are smoothed; no source."""

SHARP, DULL = 1.3, 2.0
"""A dot within the first times its expected width is sharp, beyond the second dull; no source."""

NARROWEST_PX = 0.5
"""Below this width a dot's centre depends on where it falls within a pixel (from memory)."""

TURNED = 1.1
"""Ratio of widths at which the ring is said to have been turned; no source."""


def focus(takes: Sequence[Take], setup: Setup | None = None) -> StepResult:
    """How wide is the dot of a far emitter, and how wide would it be in focus?

    Parameters
    ----------
    takes
        One in which the ring stands still, or is turned slowly; or several, one for each
        position of the ring, in order. An emitter stands at the distance of use.
    setup
        Camera and emitter, for the width expected.

    Returns
    -------
    StepResult

    Raises
    ------
    RushlightError
        When there is no take, or one is too short.
    """
    if not takes:
        raise RushlightError.of("focus", "no take", "was given", "film an emitter far away")
    lights = [light_of(take, LEAST_FRAMES) for take in takes]
    for take, light in zip(takes, lights, strict=True):
        if len(light.width_px) < LEAST_FRAMES // 2:
            return _unseen(take, light)
    distance_m = takes[-1].label.distance_m
    expected, least = (
        expected_width_px(setup, distance_m) if setup is not None else (math.nan, math.nan)
    )
    if len(takes) > 1:
        return _positions(takes, lights, expected, least)
    return _single(lights[0], expected, least)


def _unseen(take: Take, light: Light) -> StepResult:
    if light.saturated:
        return StepResult(
            "focus",
            "cannot tell: the dot is white, which hides its width",
            (f"in take {take.name!r}: shorten the exposure or step back, and film again",),
        )
    return StepResult(
        "focus",
        "cannot tell: no dot is seen",
        (f"in take {take.name!r}: point an emitter at the lens in a dark room",),
    )


def _positions(
    takes: Sequence[Take], lights: Sequence[Light], expected: float, least: float
) -> StepResult:
    """Several positions of the ring, of which the sharpest is named."""
    widths = [t_interval(light.width_px) for light in lights]
    sharpest = int(np.argmin([width.value for width in widths]))
    at_end = sharpest in (0, len(takes) - 1) and len(takes) > 2
    reasons = [
        f"{take.name}: {width.value:.2f} ± {width.std:.2f} px"
        for take, width in zip(takes, widths, strict=True)
    ]
    if at_end:
        reasons.append("the sharpest stands at one end: turn on beyond it and film again")
    result = _judged(widths[sharpest].value, expected)
    return StepResult(
        "focus",
        f"sharpest: {takes[sharpest].name}; {result}",
        tuple(reasons),
        _measures(lights[sharpest].width_px, expected, least),
        tuple(_findings(widths[sharpest].value)),
        extra={"expected_px": None if math.isnan(expected) else expected},
    )


def _single(light: Light, expected: float, least: float) -> StepResult:
    """One take, in which the ring may have been turned."""
    widths = light.width_px
    size = min(WINDOW, len(widths))
    smooth = np.array([np.median(widths[i : i + size]) for i in range(len(widths) - size + 1)])
    best, now = int(smooth.argmin()), float(smooth[-1])
    best_s = float(light.time_s[best + size // 2] - light.time_s[0])
    turned = float(smooth.max()) > TURNED * float(smooth.min())
    reasons, used = [], widths
    if turned:
        used = widths[best : best + size]
        reasons.append(
            f"the width went from {smooth.max():.2f} to {smooth[best]:.2f} px, sharpest after "
            f"{best_s:.1f} s; at the end it is {now:.2f} px"
        )
        reasons.append(
            "turn the ring back to where it was sharpest"
            if now > TURNED * float(smooth[best])
            else "leave the ring where it is"
        )
    else:
        reasons.append(f"the width stands still at {np.median(widths):.2f} px")
    judged = _judged(float(np.median(used)), expected)
    settled = not turned or now <= TURNED * float(smooth[best])
    return StepResult(
        "focus",
        judged if settled else f"the ring was turned past the best; {judged}",
        tuple(reasons),
        _measures(used, expected, least if settled else math.nan),
        tuple(_findings(float(np.median(used)))),
        extra={"expected_px": None if math.isnan(expected) else expected},
        drawing=Drawing(
            "Width of the dot",
            "time [s]",
            "standard deviation along an axis [px]",
            tuple(
                (float(t), float(w))
                for t, w in zip(light.time_s - light.time_s[0], widths, strict=True)
            ),
            line=()
            if math.isnan(expected)
            else ((0.0, expected), (float(np.ptp(light.time_s)), expected)),
            line_name="expected in focus",
        ),
    )


def _judged(width_px: float, expected: float) -> str:
    if math.isnan(expected):
        return f"{width_px:.2f} px wide; without the rig, what to expect is not known"
    part = f"{width_px:.2f} px where {expected:.2f} px is expected in focus"
    if width_px <= SHARP * expected:
        return f"sharp: {part}"
    if width_px <= DULL * expected:
        return f"not quite sharp: {part}"
    return f"out of focus: {part}"


def _measures(widths: Array, expected: float, least: float) -> tuple[Measure, ...]:
    """Width, and the lens's own blur where it is sharp and can be told."""
    width = t_interval(widths)._replace(method="fitted dots, Student t")
    measures = [Measure("width of the dot", width, "px")]
    left = width.value**2 - least**2
    if width.value <= SHARP * expected and left > 4.0 * width.value * width.std:
        blur = math.sqrt(left)
        std = width.value * width.std / blur
        # The formula for diffraction is itself good to a tenth or so (no source).
        std = math.hypot(std, 0.1 * least**2 / blur)
        measures.append(
            Measure(
                "blur of the lens",
                interval_of(blur, std, width.n, "width of dots, diffraction and size taken off"),
                "px",
                "lens_blur",
            )
        )
    return tuple(measures)


def _findings(width_px: float) -> list[Finding]:
    if width_px >= NARROWEST_PX:
        return []
    return [
        note(
            "dot-narrow",
            "focus",
            f"{digits(width_px)} px",
            "is so narrow that the centre depends on where the dot falls within a pixel",
            f"turn the ring a little out of focus, to {NARROWEST_PX:g} px or more",
        )
    ]
