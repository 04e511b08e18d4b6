"""The step "sees-infrared": does the camera see infrared, and is a filter in its way?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.errors import RushlightError
from rushlight.inspect.expected import Setup, expected_flux_dn
from rushlight.inspect.lit import light_of
from rushlight.inspect.result import Measure, StepResult, digits
from rushlight.inspect.takes import Take, images, too_few
from rushlight.physics.intervals import Interval
from rushlight.records.arrays import Array

LEAST_FRAMES = 20
BLOCK = 8
CLEAR, CLEAR_DN = 10.0, 4.0
"""Least swing of a blinking spot, in noise of a block's mean and in grey levels; no source."""

TURNS = 4
"""Fewest comings and goings: a hand that moves makes one or two; no source."""

LARGEST_PART = 0.4
"""A change of more of the picture than this is not a spot; no source."""

BETWEEN = 0.5
"""Greatest part of frames between light and dark: a light that blinks is rarely between; no
source."""

BLOCKED = 0.2
"""Part of the light expected below which a filter is taken to be in its way: infrared-cut
filters pass a few per cent at most (from memory)."""

REMEDIES = (
    "the simplest remedy is another camera: one sold without an infrared-cut filter, or as a "
    "night-vision camera",
    "taking the filter out voids the warranty and may end the camera's life: the glass splinters "
    "(wear eye protection and gloves, keep it from children), the sensor must not be touched, "
    "and the lens must be focused anew afterwards",
)


@dataclass(frozen=True)
class _Blinking:
    """The place of a picture that changes most.

    Attributes
    ----------
    swing_dn, noise_dn
        From dark to light, and noise of a block's mean.
    turns
        Comings and goings together.
    between
        Part of frames that are neither light nor dark.
    part
        Part of the picture that changes half as much or more.
    place
        Middle of the block (x, y) [px].
    """

    swing_dn: float
    noise_dn: float
    turns: int
    between: float
    part: float
    place: tuple[float, float]

    @property
    def clear(self) -> bool:
        """Whether it is more than noise."""
        return self.swing_dn > max(CLEAR * self.noise_dn, CLEAR_DN)


def sees_infrared(takes: Sequence[Take], setup: Setup | None = None) -> StepResult:
    """Does the camera see infrared light, and as much of it as it should?

    Parameters
    ----------
    takes
        "remote": a remote control, held 10 to 20 cm before the lens, some key pressed all the
        time; or any single take. "emitter 1 m 2 ms": one emitter of known strength that points
        at the lens from that distance, at that exposure. Either will do.
    setup
        Camera and emitter, for the second.

    Returns
    -------
    StepResult

    Raises
    ------
    RushlightError
        When no take is of either kind, or one is too short.
    """
    known = [take for take in takes if math.isfinite(take.label.distance_m)]
    remote = [take for take in takes if take not in known and not take.label.dark]
    if len(remote) > 1 or len(known) > 1 or not (remote or known):
        raise RushlightError.of(
            "sees-infrared",
            ", ".join(repr(take.name) for take in takes) or "no take",
            "wants one take of a remote control, or one of a known emitter, or both",
            'name them "remote" and, by its distance and exposure, "emitter 1 m 2 ms"',
            "takes-many",
        )
    seen = [_by_remote(remote[0])] if remote else []
    if known:
        seen.append(_by_emitter(known[0], setup))
    if len(seen) == 1:
        return seen[0]
    # A known emitter says how much; the remote control only whether.
    first, second = (seen[1], seen[0]) if seen[1].told else (seen[0], seen[1])
    return StepResult(
        "sees-infrared",
        first.verdict,
        (*first.reasons, *second.reasons),
        first.measures + second.measures,
        extra={**second.extra, **first.extra},
    )


def _by_remote(take: Take) -> StepResult:
    """Whether a light comes and goes."""
    found = _blinking(take)
    extra = {
        "swing_dn": round(found.swing_dn, 2),
        "turns": found.turns,
        "place_px": list(found.place),
    }
    told = (
        f"the place that changes most, at ({found.place[0]:.0f}, {found.place[1]:.0f}) px, swings "
        f"by {found.swing_dn:.1f} grey levels (noise {found.noise_dn:.2f}) and turns "
        f"{found.turns} times"
    )
    if not found.clear:
        return StepResult(
            "sees-infrared",
            "no infrared seen",
            (
                told,
                "first make sure that the remote control works: another camera, such as the one "
                "on the front of a telephone, often shows its light; not every remote control "
                "uses infrared",
                *REMEDIES,
            ),
            extra=extra,
        )
    if found.part > LARGEST_PART:
        why = "the whole picture changes; shade the room, switch automatic exposure off, and "
        return StepResult(
            "sees-infrared",
            "cannot tell: too much of the picture changes at once",
            (told, why + "hold the remote control farther away"),
            extra=extra,
        )
    if found.turns < TURNS or found.between > BETWEEN:
        return StepResult(
            "sees-infrared",
            "cannot tell: something changes, but not as a blinking light does",
            (told, "keep still, hold the key pressed for several seconds, and film again"),
            extra=extra,
        )
    return StepResult(
        "sees-infrared",
        "the camera sees infrared",
        (
            told,
            "how much of it, a remote control cannot tell: film an emitter of the shelf from a "
            'measured distance, "emitter 1 m 2 ms", to learn whether a filter weakens it',
        ),
        extra=extra,
    )


def _blinking(take: Take) -> _Blinking:
    means, noises, before = [], [], None
    for _, image in images(take):
        high, wide = (side // BLOCK * BLOCK for side in image.shape)
        blocks = _blocks(image[:high, :wide].astype(np.float32))
        means.append(blocks.mean(axis=(2, 3)))
        if before is not None:
            difference = blocks - before
            noises.append(float(np.median(difference.var(axis=(2, 3)))))
        before = blocks
    if len(means) < LEAST_FRAMES:
        raise too_few(take, len(means), LEAST_FRAMES)
    level = np.array(means)
    low, high_level = np.percentile(level, [5, 95], axis=0)
    swing = high_level - low
    row, column = np.unravel_index(int(swing.argmax()), swing.shape)
    course, top = level[:, row, column], float(swing[row, column])
    relative = (course - low[row, column]) / max(top, 1e-9)
    return _Blinking(
        swing_dn=top,
        # Half the variance of a difference, over the pixels of a block; rounding at least.
        noise_dn=math.sqrt(max(0.5 * float(np.median(noises)), 1 / 12) / BLOCK**2),
        turns=_turns(relative),
        between=float(np.mean((relative > 0.3) & (relative < 0.7))),
        part=float(np.mean(swing > 0.5 * top)),
        place=(float(column * BLOCK + BLOCK / 2), float(row * BLOCK + BLOCK / 2)),
    )


def _blocks(image: Array) -> Array:
    """(h, w, 8, 8) blocks of a picture whose sides are multiples of 8."""
    high, wide = image.shape
    parts = image.reshape(high // BLOCK, BLOCK, wide // BLOCK, BLOCK)
    return np.asarray(parts.swapaxes(1, 2))


def _turns(relative: Array) -> int:
    """How often it goes from below 0.3 to above 0.7 or back."""
    states = [1 if value > 0.7 else 0 for value in relative if value > 0.7 or value < 0.3]
    return int(np.sum(np.abs(np.diff(states)))) if len(states) > 1 else 0


def _by_emitter(take: Take, setup: Setup | None) -> StepResult:
    """How much of the light of a known emitter arrives."""
    if setup is None or setup.emitter is None:
        raise RushlightError.of(
            f"take {take.name!r}",
            "",
            "tells a distance, but not of which emitter",
            "give --rig, --camera and --emitter",
            "emitter-missing",
        )
    exposure_s = take.label.exposure_s
    if math.isnan(exposure_s):
        exposure_s = setup.exposure_s
    if math.isnan(exposure_s):
        raise RushlightError.of(
            f"take {take.name!r}",
            "",
            "does not tell its exposure, nor does the rig",
            'add it to the name, as "emitter 1 m 2 ms"',
            "exposure-missing",
        )
    expected, log_std = expected_flux_dn(setup, take.label.distance_m, exposure_s)
    light = light_of(take, LEAST_FRAMES // 2)
    if light.saturated > light.frames // 2:
        return StepResult(
            "sees-infrared",
            "the camera sees infrared",
            (
                "the emitter's dot is white, so that how much of its light arrives is not told; "
                "shorten the exposure or step back",
            ),
        )
    if light.seen < light.frames // 2:
        return StepResult(
            "sees-infrared",
            "cannot tell: no dot of the emitter is seen",
            (
                f"{digits(expected)} grey levels in all were expected; make sure that the emitter "
                "is lit (right way round, fresh cell) and in the picture",
                *REMEDIES,
            ),
        )
    return _compared(float(np.median(light.flux_dn)), expected, log_std, light.frames)


def _compared(flux_dn: float, expected: float, log_std: float, n: int) -> StepResult:
    ratio = flux_dn / expected
    stretch = math.exp(1.96 * log_std)
    value = Interval(
        ratio, ratio * log_std, ratio / stretch, ratio * stretch, 0.95, n, "shelf's doubts, on logs"
    )
    reasons = [
        f"the dot holds {digits(flux_dn)} grey levels in all where the shelf lets expect "
        f"{digits(expected)}, a ratio of {digits(ratio)} ({digits(value.low)} to "
        f"{digits(value.high)})"
    ]
    if value.high < BLOCKED:
        verdict = "an infrared-cut filter, or another that blocks, is very likely in the way"
        reasons += REMEDIES
    elif value.low > BLOCKED:
        verdict = "the camera sees infrared, and no infrared-cut filter is in its way"
    else:
        verdict = "cannot tell: less light than expected, but the shelf's figures are too uncertain"
        reasons.append(
            "compare with a camera known to be without a filter at the same place and settings"
        )
    return StepResult(
        "sees-infrared",
        verdict,
        tuple(reasons),
        (Measure("light that arrives over that expected", value),),
    )
