"""The step "compression": do the pictures show the blocks of a lossy coder?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import fft

from rushlight.inspect.result import Measure, StepResult, interval_of, warning
from rushlight.inspect.takes import Take, lone, stack
from rushlight.records.arrays import Array

MOST_PICTURES = 8
BLOCK = 8
"""Side of a block of JPEG and of the older video coders [px] (ITU-T T.81, from memory)."""

SHUFFLES = 999
BY_CHANCE = 0.01
"""Greatest share of shuffled grids that may show as much, both across and down, for blocks to be
believed; no source."""

COMB_PART = 0.85
"""Least part of the sharpness that rounding to whole levels leaves; no source."""

ROUNDED_STD = 0.35
"""Spread of a coefficient about its multiple [DN]: √(1/12), a little widened for what the two
colour channels add (no source)."""

STRAY = 0.1
"""Part of coefficients that may lie anywhere; no source."""

COMB_ELSEWHERE = 0.3
"""Greatest sharpness on a grid laid across the coder's own; no source."""

OUTLIERS = 4.0
"""Steps beyond this many times the middle one are drawn in to it, and those beside such ones left
out; no source."""

LEAST_COEFFICIENTS = 60
STEPS = np.arange(2, 61)
"""Steps of the coder's scale that are tried; 1 cannot be told from rounding."""

FROZEN_SHARE, CLUSTERED = 0.05, 3.0
"""Part of blocks that stand quite still between pictures, and clustering of the changes, from
which a video coder is suspected; no source."""

LIT_DN, LEAST_BLOCKS = 8, 20
"""Levels above the darkest pixel from which shot noise should stir a block, and fewest such
blocks; no source."""


@dataclass(frozen=True)
class Blockiness:
    """How much steps between pixels stand out at one column (or row) in eight.

    Attributes
    ----------
    excess
        Extra step at the block's border [DN].
    phase
        First border, counted from the picture's edge [px].
    chance
        Share of shuffled columns that show as much.
    null
        Standard deviation of the excess among the shuffled [DN].
    """

    excess: float
    phase: int
    chance: float
    null: float


def compression(takes: Sequence[Take]) -> StepResult:
    """Were the pictures compressed with loss on their way?

    Parameters
    ----------
    takes
        One, of a scene with things in it, not of a dark lens.

    Returns
    -------
    StepResult

    Raises
    ------
    RushlightError
        When there is no picture.
    """
    pictures = stack(lone(takes, "compression"), MOST_PICTURES)
    if min(pictures.shape[1:]) < 6 * BLOCK:
        return StepResult("compression", "cannot tell: the picture is too small for its blocks")
    if float(np.mean(pictures.std(axis=(1, 2)))) < 1.0:
        return StepResult(
            "compression",
            "cannot tell: the pictures hold next to nothing",
            ("Film a scene with things and light in it.",),
        )
    across, down = blockiness(pictures, axis=2), blockiness(pictures, axis=1)
    step, comb, elsewhere = comb_of(pictures)
    frozen, chance, clustering = frozen_blocks(pictures)
    blocks = max(across.chance, down.chance) < BY_CHANCE
    combed = step > 0 and comb > COMB_PART * float(sharpest(step)) and elsewhere < COMB_ELSEWHERE
    still = frozen > FROZEN_SHARE and (chance < 0.1 * FROZEN_SHARE or clustering > CLUSTERED)
    reasons = [
        f"steps at the borders of blocks of 8 px are larger by {across.excess:+.3f} grey levels "
        f"across and {down.excess:+.3f} down; shuffled borders show ±{across.null:.3f} and "
        f"±{down.null:.3f}, as much by chance in {across.chance:.1%} and {down.chance:.1%}",
        f"wave coefficients of such blocks gather at multiples of {step} to {comb:.0%} "
        f"(across the blocks {elsewhere:.0%})"
        if step
        else "wave coefficients of such blocks gather at no step",
    ]
    if len(pictures) > 1:
        reasons.append(f"{frozen:.1%} of lit blocks do not change at all from picture to picture")
    measures = (
        Measure(
            "extra step at block borders, across",
            interval_of(across.excess, across.null, len(pictures), "against shuffled columns"),
        ),
        Measure(
            "extra step at block borders, down",
            interval_of(down.excess, down.null, len(pictures), "against shuffled rows"),
        ),
    )
    extra = {"step_of_scale": step or None, "frozen_share": frozen}
    if not (blocks or combed or still):
        return StepResult(
            "compression",
            "no sign of compression",
            (*reasons, "a coder that smooths its blocks, or one of high quality, may still hide"),
            measures,
            extra=extra,
        )
    return StepResult(
        "compression",
        _verdict(combed, blocks, step),
        tuple(reasons),
        measures,
        (
            warning(
                "compressed",
                "compression",
                "",
                "spreads small dots and makes their centres less exact than the sensor would",
                "choose an uncompressed picture format in the camera's settings, or write the "
                "stream into the rig so that the plan counts with it",
            ),
        ),
        _hint(combed, step),
        extra=extra,
    )


def _verdict(combed: bool, blocks: bool, step: int) -> str:
    if combed:
        return f"compressed: blocks of 8 px whose coefficients are rounded to steps of {step}"
    if blocks:
        return "compressed: the borders of blocks of 8 px show"
    return "compressed, it seems: blocks stand still while the picture's noise does not"


def _hint(combed: bool, step: int) -> tuple[str, ...]:
    """The line for the rig, where the step tells the coder's quantiser."""
    if not combed:
        return ()
    # The coder's customary matrix has 16 at the three lowest frequencies and is taken over 8, so
    # that the step is twice the quantiser (from memory; the tests ask the encoder itself).
    quality = int(np.clip(round(step / 2), 1, 31))
    return (f'stream = {{ codec = "mjpeg", quality = {quality} }}',)


def blockiness(pictures: npt.NDArray[np.uint8], axis: int, seed: int = 0) -> Blockiness:
    """How much larger steps are at every eighth column (axis 2) or row (axis 1).

    Parameters
    ----------
    pictures
        (N, H, W).
    axis
        1 or 2.
    seed
        Of the shuffling.

    Notes
    -----
    A step less the mean of the steps beside it, outliers drawn in, averaged over rows; its mean at
    each of the eight places less that of all. The null distribution is that of the greatest of
    the eight when the columns are shuffled, so that no place is favoured. Common practice, no
    source.
    """
    moved = np.moveaxis(pictures.astype(np.float32), axis, -1)
    step = np.abs(np.diff(moved, axis=-1))
    each = step[..., 1:-1] - 0.5 * (step[..., :-2] + step[..., 2:])
    # Sharp things of the scene that happen to stand at such a place must not count as blocks.
    most = OUTLIERS * max(float(np.median(np.abs(each))), 0.5)
    calm = np.maximum(step[..., :-2], step[..., 2:]) <= most
    over = tuple(range(moved.ndim - 1))
    total = np.where(calm, np.clip(each, -most, most), 0.0).sum(axis=over, dtype=np.float64)
    extra = total / np.maximum(calm.sum(axis=over), 1)
    place = (np.arange(len(extra)) + 2) % BLOCK  # of the pixel after the step
    excess = _by_place(extra[None], place)[0]
    rng = np.random.default_rng(seed)
    shuffled = rng.permuted(np.tile(extra, (SHUFFLES, 1)), axis=1)
    null = _by_place(shuffled, place)
    most = null.max(axis=1)
    phase = int(excess.argmax())
    chance = (1.0 + float(np.sum(most >= excess[phase]))) / (SHUFFLES + 1.0)
    return Blockiness(float(excess[phase]), phase, chance, float(null[:, phase].std()))


def _by_place(extra: Array, place: npt.NDArray[np.int64]) -> Array:
    """(S, 8) mean of (S, K) values at each place in eight, less the mean of the other places."""
    inside = np.stack([extra[:, place == each].mean(axis=1) for each in range(BLOCK)], axis=1)
    return np.asarray((inside - inside.mean(axis=1, keepdims=True)) * BLOCK / (BLOCK - 1))


def comb_of(pictures: npt.NDArray[np.uint8]) -> tuple[int, float, float]:
    """The step to whose multiples wave coefficients gather, how sharply, and on a crossed grid.

    Returns
    -------
    step
        0 when none could be tried.
    comb, elsewhere
        Mean of cos(2π c/step) over coefficients that are not nought: 1 when all lie at
        multiples, about 0 when they lie anywhere; on the coder's grid, and on one that lies
        across it.

    Notes
    -----
    Source: ITU-T T.81 (coefficients of 8 × 8 blocks are rounded to multiples of a step; from
    memory). The three lowest frequencies are looked at, each with its own step; the sharpest of
    each picture's is told.
    """
    own, crossed = _coefficients(pictures, 0), _coefficients(pictures, BLOCK // 2)
    best, found = -math.inf, (0, 0.0, 0.0)
    for at in ((0, 1), (1, 0), (1, 1)):
        values = _large(own[:, at[0], at[1]])
        if len(values) < LEAST_COEFFICIENTS:
            continue
        step = _likeliest(values)
        sharp = _sharpness(values, step)
        part = sharp / float(sharpest(step))
        if part > best:
            other = _large(crossed[:, at[0], at[1]])
            elsewhere = _sharpness(other, step) if len(other) >= LEAST_COEFFICIENTS else 0.0
            best, found = part, (step, sharp, elsewhere)
    return found


def _large(values: Array) -> Array:
    """Coefficients that are no rounded nought."""
    return np.asarray(values[np.abs(values) > 1.5])


def _likeliest(values: Array) -> int:
    """The step whose multiples, each with the spread of rounding, explain coefficients best.

    The density of multiples grows as the step shrinks, so that a step's divisors explain less.
    """
    off = values[None] - np.rint(values[None] / STEPS[:, None]) * STEPS[:, None]
    close = np.exp(-0.5 * (off / ROUNDED_STD) ** 2) / (ROUNDED_STD * math.sqrt(2.0 * np.pi))
    weight = np.log((1.0 - STRAY) * STEPS[:, None] * close + STRAY)
    return int(STEPS[weight.mean(axis=1).argmax()])


def _sharpness(values: Array, step: int) -> float:
    return float(np.mean(np.cos(2.0 * np.pi * values / step)))


def sharpest(step: npt.ArrayLike) -> Array:
    """How sharply coefficients rounded to a step gather, once their picture is in whole levels.

    Parameters
    ----------
    step
        (...) ≥ 1.

    Notes
    -----
    Rounding the picture moves a coefficient by normal noise of variance 1/12:
    exp(−2π²/(12 step²)) (computed here).
    """
    return np.asarray(np.exp(-2.0 * np.pi**2 / (12.0 * np.asarray(step, float) ** 2)))


def _coefficients(pictures: npt.NDArray[np.uint8], shift: int) -> Array:
    """(N, 8, 8) cosine coefficients of blocks on a grid shifted by some pixels."""
    part = pictures[:, shift:, shift:]
    high, wide = part.shape[1] // BLOCK, part.shape[2] // BLOCK
    blocks = part[:, : high * BLOCK, : wide * BLOCK].reshape(-1, high, BLOCK, wide, BLOCK)
    blocks = blocks.swapaxes(2, 3).reshape(-1, BLOCK, BLOCK).astype(np.float32)
    # White or black pixels were cut off after the coder's rounding and hide it.
    fair = (blocks.max(axis=(1, 2)) < 255) & (blocks.min(axis=(1, 2)) > 0)
    return np.asarray(fft.dctn(blocks[fair], axes=(1, 2), norm="ortho"), np.float64)


def frozen_blocks(pictures: npt.NDArray[np.uint8]) -> tuple[float, float, float]:
    """Part of the lit blocks that are the same in two pictures, and how pixels' changes cluster.

    Returns
    -------
    share
        0 where it cannot be told: one picture, or hardly any lit block.
    chance
        The share expected were each pixel to change by itself.
    clustering
        Changes in blocks that change, over those expected there were each pixel to change by
        itself: about 1 for noise, more where whole blocks are kept.
    """
    if len(pictures) < 2:
        return 0.0, 1.0, 1.0
    high, wide = pictures.shape[1] // BLOCK, pictures.shape[2] // BLOCK
    same = pictures[1:] == pictures[:-1]
    same = same[~same.all(axis=(1, 2))]  # a picture sent twice tells nothing of blocks
    # Blocks without light, or clipped, are still without a coder.
    first = pictures[0]
    lit = (first > int(first.min()) + LIT_DN) & (first < 255)
    inside = lit[: high * BLOCK, : wide * BLOCK].reshape(high, BLOCK, wide, BLOCK).all(axis=(1, 3))
    if not len(same) or inside.sum() < LEAST_BLOCKS:
        return 0.0, 1.0, 1.0
    blocks = same[:, : high * BLOCK, : wide * BLOCK].reshape(-1, high, BLOCK, wide, BLOCK)
    whole = float(blocks.all(axis=(2, 4))[:, inside].mean())
    alike = float(blocks.mean(axis=(2, 4))[:, inside].mean())
    if whole == 1.0:
        return 1.0, 1.0, math.inf
    chance = alike ** (BLOCK * BLOCK)
    return whole, chance, (1.0 - chance) / (1.0 - whole)
