"""The step "exposure": does the camera obey the exposure it is asked for?"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from rushlight.errors import RushlightError
from rushlight.inspect.result import (
    Drawing,
    Measure,
    StepResult,
    digits,
    interval_of,
    note,
)
from rushlight.inspect.takes import Take, same_size, stack
from rushlight.physics.intervals import coverage_factor
from rushlight.records.arrays import Array

MOST_PICTURES = 32
WHITE_DN = 250
"""From here a pixel counts as white, and its take as too bright for it; no source."""

LEAST_SHARE = 0.02
"""Part of the picture that must be lit and not white in every take; no source."""

OBEYS, IGNORES = 0.1, 0.3
"""Exponents this near to 1 obey; below the second nothing is obeyed; no source."""

STEP_BACK, ALIKE = 1.15, 0.05
"""Brightness a second beyond the first ratio to the longer takes' shows a shortest exposure,
where those three or more keep to one another within the second; no source."""


def exposure(
    takes: Sequence[Take], shelf_black_dn: float = 0.0, shelf_black_std_dn: float = 2.0
) -> StepResult:
    """Does brightness grow in proportion to the exposure asked for?

    Parameters
    ----------
    takes
        Three or more whose names tell their exposure, of one still and steadily lit scene; and
        one named "dark" if there is one.
    shelf_black_dn, shelf_black_std_dn
        Black level to count from when there is no dark take [DN].

    Returns
    -------
    StepResult

    Raises
    ------
    RushlightError
        When fewer than three different exposures are told, or the sizes differ.
    """
    lit = sorted(
        (take for take in takes if not take.label.dark and math.isfinite(take.label.exposure_s)),
        key=lambda take: take.label.exposure_s,
    )
    if len({take.label.exposure_s for take in lit}) < 3:
        raise RushlightError.of(
            "exposure",
            ", ".join(repr(take.name) for take in takes) or "no take",
            "tells fewer than three exposures",
            'name the takes by them, as "1 ms", "2 ms", "4 ms"',
            "takes-few",
        )
    stacks = [stack(take, MOST_PICTURES) for take in lit]
    dark = [stack(take, MOST_PICTURES) for take in takes if take.label.dark]
    same_size([*stacks, *dark], "exposure")
    asked_s = np.array([take.label.exposure_s for take in lit])
    return proportion(asked_s, stacks, dark, shelf_black_dn, shelf_black_std_dn)


def proportion(
    asked_s: Array,
    stacks: Sequence[npt.NDArray[np.uint8]],
    dark: Sequence[npt.NDArray[np.uint8]],
    shelf_black_dn: float = 0.0,
    shelf_black_std_dn: float = 2.0,
) -> StepResult:
    """As `exposure`, of pictures that are at hand.

    Parameters
    ----------
    asked_s
        (T,) exposures in rising order [s], T ≥ 3.
    stacks
        T of (N, H, W), in the same order.
    dark
        Stacks of dark pictures, or none.
    shelf_black_dn, shelf_black_std_dn
        As of `exposure`.
    """
    black, black_std = (
        (float(np.mean([d.mean() for d in dark])), 0.3)
        if dark
        else (shelf_black_dn, shelf_black_std_dn)
    )
    usable = _usable(stacks, black)
    if float(usable.mean()) < LEAST_SHARE:
        return StepResult(
            "exposure",
            "cannot tell: hardly any part of the picture is lit and not white in every take",
            ("Light the sheet less, or ask for exposures that lie nearer to one another.",),
        )
    means = [[float(picture[usable].mean()) for picture in pictures] for pictures in stacks]
    return _judged(asked_s, means, black, black_std, bool(dark))


def _usable(stacks: Sequence[npt.NDArray[np.uint8]], black: float) -> npt.NDArray[np.bool_]:
    """Pixels that are not white in any take, and lit in the brightest."""
    brightest = max(stacks, key=lambda pictures: float(pictures.mean()))
    fair = np.ones(stacks[0].shape[1:], bool)
    for pictures in stacks:
        fair &= np.all(pictures < WHITE_DN, axis=0)
    return np.asarray(fair & (brightest.mean(axis=0) > black + 10.0))


def _judged(
    asked_s: Array, means: Sequence[Sequence[float]], black: float, black_std: float, dark: bool
) -> StepResult:
    """The verdict from the mean levels of each take's pictures."""
    level = np.array([np.mean(each) for each in means])
    flicker = np.array([np.std(each, ddof=1) if len(each) > 1 else 0.0 for each in means])
    std = np.sqrt(flicker**2 / [len(each) for each in means] + 0.02**2)
    signal = level - black
    if np.any(signal < 3.0 * black_std):
        return StepResult(
            "exposure",
            "cannot tell: the darkest take is hardly above darkness",
            ("Light the sheet more, or leave the shortest exposure out.",),
        )
    # The black level shifts every signal alike, so it is drawn once for all of them.
    exponent, exponent_std = _exponent(asked_s, signal, std, black_std)
    half = coverage_factor(0.95, len(asked_s) - 2) * exponent_std
    rate = signal / asked_s
    shortest, obeying = _shortest(rate)
    verdict = _verdict(exponent, half, shortest)
    line = float(np.sum(signal * asked_s) / np.sum(asked_s**2))
    departure = float(np.max(np.abs(signal - line * asked_s)) / np.max(signal))
    n = sum(len(each) for each in means)
    measures = [
        Measure(
            "exponent (1: in proportion)",
            interval_of(exponent, exponent_std, n, "line through the logarithms", len(asked_s) - 2),
        ),
        Measure(
            "greatest departure from proportion",
            interval_of(100.0 * departure, math.nan, n, "of the brightest take's signal"),
            "%",
        ),
    ]
    if shortest and not math.isnan(obeying):
        real_s = signal[:shortest] / obeying
        measures.append(
            Measure(
                "shortest exposure obeyed",
                interval_of(
                    1e3 * float(real_s.max()), 1e2 * float(real_s.max()), n, "from its brightness"
                ),
                "ms",
                "shortest_exposure",
            )
        )
    reasons = [
        f"{1e3 * t:g} ms asked: {s:.1f} grey levels above darkness"
        for t, s in zip(asked_s, signal, strict=True)
    ]
    findings = []
    if not dark:
        findings.append(
            note(
                "dark-missing",
                "exposure",
                "",
                f"counts from the shelf's black level of {black:g}, as there is no dark take",
                'cover the lens and film one named "dark"',
            )
        )
    if np.any(flicker > np.maximum(0.02 * signal, 0.5)):
        findings.append(
            note(
                "light-flickers",
                "exposure: light",
                f"{float(np.max(flicker / signal)):.1%}",
                "is how much brightness changes from picture to picture",
                "use daylight or a lamp on direct current",
            )
        )
    return StepResult(
        "exposure",
        verdict,
        tuple(reasons),
        tuple(measures),
        tuple(findings),
        drawing=Drawing(
            "Brightness against the exposure asked for",
            "exposure asked for [ms]",
            "grey level above darkness [DN]",
            tuple((1e3 * float(t), float(s)) for t, s in zip(asked_s, signal, strict=True)),
            tuple(float(each) for each in np.sqrt(std**2 + black_std**2)),
            ((0.0, 0.0), (1e3 * float(asked_s[-1]), line * float(asked_s[-1]))),
            "in proportion",
        ),
    )


def _exponent(asked_s: Array, signal: Array, std: Array, black_std: float) -> tuple[float, float]:
    """Slope of the logarithms, and its standard uncertainty with that of the black level."""
    x = np.log(asked_s) - np.mean(np.log(asked_s))
    slope = float(x @ np.log(signal) / (x @ x))
    left = np.log(signal) - np.mean(np.log(signal)) - slope * x
    scatter = float(left @ left) / (len(x) - 2)
    chance = float(np.sum((x * std / signal) ** 2)) / float(x @ x) ** 2
    shift = float(x @ (1.0 / signal)) / float(x @ x) * black_std
    return slope, math.sqrt(max(scatter / float(x @ x), chance) + shift**2)


def _shortest(rate: Array) -> tuple[int, float]:
    """How many of the shortest takes are brighter than asked, and the others' common rate."""
    for count in range(1, len(rate) - 2):
        others = rate[count:]
        common = float(np.median(others))
        if np.all(np.abs(others / common - 1.0) < ALIKE) and np.all(
            rate[:count] > STEP_BACK * common
        ):
            return count, common
    return 0, math.nan


def _verdict(exponent: float, half: float, shortest: int) -> str:
    if shortest:
        return "obeyed, but for the shortest: the camera exposes longer than asked there"
    if abs(exponent - 1.0) < OBEYS:
        return "obeyed: brightness grows in proportion to the exposure"
    if exponent + half < IGNORES:
        return (
            "not obeyed: brightness hardly follows; automatic exposure or gain is still on, or "
            "the control does nothing"
        )
    if exponent + half < 1.0 - OBEYS:
        return (
            f"not in proportion: brightness grows by the power {digits(exponent)}; a gamma curve "
            "is on, or automatic gain works against the exposure"
        )
    if exponent - half > 1.0 + OBEYS:
        return (
            f"not in proportion: brightness grows by the power {digits(exponent)}; the levels "
            "are stretched, or gain rises with exposure"
        )
    return "cannot tell: brightness scatters too much about any law"
