"""The step "row-time": rolling or global shutter, by a light that blinks at a known frequency.

A rolling shutter exposes each row a little later than the one above, so the blinking shows as
dark and bright bands: one period of the light every 1/(frequency × row time) rows.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rushlight.errors import RushlightError
from rushlight.inspect.result import Drawing, Measure, StepResult, digits, interval_of, note
from rushlight.inspect.takes import Take, images, same_size, stack, too_few
from rushlight.records.arrays import Array

LEAST_FRAMES, MOST_FRAMES = 10, 300
LEAST_LEVEL_DN = 4.0
"""Rows darker than this are left out; no source."""

SPREAD = 0.5
"""Part of the rows' changes that bands must explain to be believed; no source."""

CLEAR = 5.0
"""Times the noise that a change must reach to be seen; no source."""

RESAMPLES = 200
HARMONICS = 3
LEAST_CYCLES = 0.7
"""Fewer cycles than this in a picture do not tell their own length; no source."""


@dataclass(frozen=True, eq=False)
class _Profiles:
    """Brightness of rows over that of the scene, less 1: what the light adds.

    Attributes
    ----------
    row
        (R,) their numbers in the picture.
    change
        (J, R) in each picture.
    noise
        Standard deviation of a value by the pixels' noise.
    """

    row: Array
    change: Array
    noise: float


def row_time(takes: Sequence[Take], frequency_hz: float) -> StepResult:
    """How long after one row the next is exposed.

    Parameters
    ----------
    takes
        One of a sheet that the blinking light lights; and another named "steady", under steady
        light, if there is one: it shows bands that stand still.
    frequency_hz
        Of the light: a lamp on the mains blinks twice in each of its periods.

    Returns
    -------
    StepResult

    Raises
    ------
    RushlightError
        When the frequency is not above 0, or there are too few frames.
    """
    if not (math.isfinite(frequency_hz) and frequency_hz > 0):
        raise RushlightError.of(
            "row-time: frequency",
            "" if math.isnan(frequency_hz) else f"{frequency_hz:g} Hz",
            "must be given, above 0",
            'give --frequency "100 Hz" for a mains lamp at 50 Hz, "120 Hz" at 60 Hz',
            "frequency",
        )
    profiles = _profiles(takes)
    if profiles is None:
        return StepResult(
            "row-time",
            "cannot tell: hardly any row is lit",
            ("Light a matt white sheet that fills the picture.",),
        )
    within = profiles.change - profiles.change.mean(axis=1, keepdims=True)
    across = profiles.change.mean(axis=1)
    whole = float(np.std(across))
    inside = float(np.sqrt(np.mean(within**2)))
    rows = profiles.noise
    if max(inside, whole) < CLEAR * rows:
        return StepResult(
            "row-time",
            "cannot tell: brightness does not change with the light",
            (
                f"rows change by {inside:.2%} within a picture and whole pictures by {whole:.2%}; "
                f"noise alone makes {rows:.2%}",
                "shorten the exposure below half a period of the light, bring the light nearer, "
                "shift its frequency a little if bands could stand still, or film a take named "
                '"steady" beside it',
            ),
        )
    if inside < CLEAR * rows:
        return _global(profiles, frequency_hz, whole, inside)
    return _rolling(profiles, within, frequency_hz)


def _profiles(takes: Sequence[Take]) -> _Profiles | None:
    """Row profiles of the blinking take, the scene divided out; None when it is dark."""
    blinking = [take for take in takes if "steady" not in take.label.words]
    steady = [take for take in takes if "steady" in take.label.words]
    if len(blinking) != 1:
        raise RushlightError.of(
            "row-time",
            ", ".join(repr(take.name) for take in takes) or "no take",
            "wants one take of the blinking light",
            'give one, and one named "steady" if you have it',
            "takes-many",
        )
    means: list[Array] = []
    noise2: list[Array] = []
    previous = np.zeros((0, 0), np.int16)
    for _, image in images(blinking[0]):
        now = image.astype(np.int16)
        if previous.size:
            noise2.append(0.5 * np.var(now - previous, axis=1))
        previous = now
        means.append(image.mean(axis=1, dtype=np.float64))
        if len(means) == MOST_FRAMES:
            break
    if len(means) < LEAST_FRAMES:
        raise too_few(blinking[0], len(means), LEAST_FRAMES)
    brightness = np.array(means)
    scene = brightness.mean(axis=0)
    if steady:
        pictures = stack(steady[0], 32)
        same_size([pictures, previous[None].astype(np.uint8)], "row-time")
        scene = pictures.mean(axis=(0, 2), dtype=np.float64)
        scene = scene * brightness.mean() / max(float(scene.mean()), 1e-9)
    lit = scene > LEAST_LEVEL_DN
    if float(lit.mean()) < 0.3:
        return None
    width = previous.shape[1]
    noise = np.sqrt(np.mean(np.array(noise2)[:, lit], axis=0) / width) / scene[lit]
    change = brightness[:, lit] / scene[lit] - 1.0
    return _Profiles(np.flatnonzero(lit).astype(float), change, float(np.median(noise)))


def _rolling(profiles: _Profiles, within: Array, frequency_hz: float) -> StepResult:
    """Length of the bands, and from it the row time."""
    row, span = profiles.row, float(np.ptp(profiles.row)) + 1.0
    tried = np.arange(0.25, span / 2.5, 0.05) / span
    left = np.array([_left(within, row, each, 1).sum() for each in tried])
    total = float(np.sum(within**2))
    best = float(tried[left.argmin()])
    explained = 1.0 - float(left.min()) / total
    if best * span < LEAST_CYCLES:
        return StepResult(
            "row-time",
            "cannot tell: less than one band fits into the picture",
            (
                "the rows change, so the shutter rolls; make the light blink faster to learn "
                f"how fast, by {1.5 / max(best * span, 0.25):.0f} times or more",
            ),
        )
    if explained < SPREAD:
        return StepResult(
            "row-time",
            "cannot tell: the bands are not regular",
            (
                f"a steady period explains {explained:.0%} of what rows change",
                "use a single light that blinks evenly, and keep camera and sheet still",
            ),
        )
    fine = best + np.linspace(-0.3, 0.3, 241) / span
    fine = fine[fine * span > 0.5]
    each = np.stack([_left(within, row, value, HARMONICS) for value in fine], axis=1)
    waves, std = _lowest(fine, each)
    value = interval_of(
        1e6 * waves / frequency_hz,
        1e6 * std / frequency_hz,
        len(within),
        f"bands of a light at {frequency_hz:g} Hz; pictures resampled",
    )
    return StepResult(
        "row-time",
        f"rolling shutter, {digits(value.value)} µs a row",
        (
            f"bands repeat every {1 / waves:.1f} rows, {waves * span:.2f} times in the picture, "
            f"and explain {explained:.0%} of what rows change",
            "the frequency of the light is taken as exact: an error of 1 % in it is 1 % here",
        ),
        (Measure("row time", value, "µs", "row_time"),),
        (
            note(
                "row-time-alias",
                "row-time",
                "",
                "would be another if the light blinked at a multiple of the frequency given",
                "film again at a second frequency: the row time must stay the same",
            ),
        ),
        drawing=Drawing(
            "Bands of the blinking light in one picture",
            "row",
            "brightness over the scene's, less 1",
            tuple((float(r), float(v)) for r, v in zip(row, within[0], strict=True)),
        ),
    )


def _left(within: Array, row: Array, waves: float, harmonics: int) -> Array:
    """(J,) squares that waves of this frequency [cycles a row] leave of each picture's rows."""
    phase = 2.0 * np.pi * waves * row[:, None] * np.arange(1, harmonics + 1)
    design = np.concatenate([np.ones((len(row), 1)), np.cos(phase), np.sin(phase)], axis=1)
    basis = np.linalg.qr(design)[0]
    return np.asarray(np.sum(within**2, axis=1) - np.sum((within @ basis) ** 2, axis=1))


def _lowest(tried: Array, left: Array) -> tuple[float, float]:
    """The frequency that leaves least, and its standard uncertainty by resampling pictures."""
    count = left.shape[0]
    drawn = np.random.default_rng(0).multinomial(count, np.full(count, 1 / count), RESAMPLES)
    sums = np.concatenate([left.sum(axis=0)[None], drawn @ left])
    at = np.clip(sums.argmin(axis=1), 1, len(tried) - 2)
    pick = np.arange(len(sums))
    low, mid, high = sums[pick, at - 1], sums[pick, at], sums[pick, at + 1]
    bend = np.maximum(low - 2.0 * mid + high, 1e-300)
    lowest = tried[at] + np.clip(0.5 * (low - high) / bend, -1, 1) * (tried[1] - tried[0])
    return float(lowest[0]), float(np.std(lowest[1:], ddof=1))


def _global(profiles: _Profiles, frequency_hz: float, whole: float, inside: float) -> StepResult:
    """No bands: the whole picture is exposed at once, or nearly."""
    # A readout that took longer would make rows differ by 2π frequency × readout × change.
    most_s = CLEAR * profiles.noise / (2.0 * np.pi * frequency_hz * whole) * math.sqrt(12.0)
    rows = float(np.ptp(profiles.row)) + 1.0
    reasons = (
        f"whole pictures change by {whole:.1%}, rows within a picture by {inside:.2%} only, as "
        "noise makes them",
        f"reading a picture out takes less than about {1e3 * most_s:.2g} ms "
        f"({1e6 * most_s / rows:.2g} µs a row)",
    )
    if most_s > 3e-3:
        return StepResult(
            "row-time",
            "cannot tell: no bands, but the light blinks too slowly or weakly to rule them out",
            (*reasons, "make the light blink faster or stronger"),
        )
    return StepResult(
        "row-time",
        "global shutter: all rows are exposed together",
        reasons,
        extra={"readout_below_s": most_s},
        hints=('shutter = "global" in your own *.shelf.toml, if the shelf says rolling',),
    )
