"""What a compressed stream costs: dots' centres before and after it, on the same pictures.

Simulated 640×480 pictures of Gaussian dots with shot noise, read noise and rounding to 8 bits, so
the truth is known. Half the dots rest, half go round in circles at up to 8 px a frame. Each
picture is measured as it is, and again after encoder and decoder; printed are the
root-mean-square errors of the centres, their ratio, the mean error, the share of dots missed, and
the share of the error that stays the same from frame to frame where a dot rests, which no
averaging takes away.

The encoders are FFmpeg's MJPEG with a fixed quantiser and libx264 as a live stream is set
(ultrafast, zerolatency, constant rate factor). A camera's own encoder is another one.

What a stream adds to a centre's error turns out to fall as the dot grows brighter: times the
dot's peak it is one figure for a codec, its quality and the dot's width. `--write FILE` keeps
these figures; `src/rushlight/shelf/compression.toml`, by which the plan counts, was written so.
Without it the kept table is held against this run's pictures, and against those of a camera with
other noise, which it was not made from. The program ends with 1 where the table is clearly off.
"""

from __future__ import annotations

import argparse
import math
import sys
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt
from scipy.special import erf

from rushlight.physics.stream import SHIFT_SIGMAS_PX, stream_shift_px
from rushlight.records.rig import Stream
from rushlight.see.detect import Detector
from rushlight.see.sensor import SensorNoise
from rushlight.see.warm import warm
from rushlight.shelf.compression import built_in_compression
from rushlight.simulate.compress import Compressor
from rushlight.track.lights import DOUBTFUL_SHARE, likely_lights

WIDTH_PX, HEIGHT_PX, RATE_HZ = 640, 480, 60.0
CAMERA = SensorNoise(40.0, 0.8, 5.0)
OTHER_CAMERA = SensorNoise(15.0, 1.4, 12.0)
"""Noisier, and brighter in the dark."""
PEAKS_DN = (25.0, 60.0, 120.0, 230.0)
QUALITIES = {"mjpeg": (1, 2, 3, 5, 10), "h264": (10, 18, 23, 28)}
QUICK_SIGMAS_PX, QUICK_PEAKS_DN = (1.2, 2.0), (60.0, 230.0)
QUICK_QUALITIES = {"mjpeg": (1, 3, 5, 10), "h264": (10, 18, 23, 28)}
DOTS, REACH_PX, FASTEST_PX = 24, 20.0, 8.0
FOUND_WITHIN_PX = 2.0
SETTLE_FRAMES = 2
"""The first pictures of a stream are coded by themselves and are left out."""
BATCHES = 5
"""Parts of the pictures whose spread tells how well a ratio is known."""
QUICK_FRAMES, FRAMES = 12, 60
SEED, OTHER_SEED = 20240611, 20240612
MOST_OFF = 1.5
"""Times by which an error after a stream may differ from the table's before this fails."""
MOST_MISSED = 0.01
"""Share of dots missed above which a line does not go into the table."""

Points = npt.NDArray[np.float64]
Picture = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Errors:
    """Errors of the centres found: (frames, dots, 2) [px], NaN where a dot was missed."""

    px: Points

    @property
    def rms_px(self) -> float:
        """Along one axis."""
        return float(np.sqrt(np.nanmean(self.px**2)))

    @property
    def missed(self) -> float:
        """Share of the dots."""
        return float(np.isnan(self.px[..., 0]).mean())

    @property
    def bias_px(self) -> float:
        """Length of the mean error."""
        return float(np.linalg.norm(np.nanmean(self.px, axis=(0, 1))))

    @property
    def staying(self) -> float:
        """Share of the resting dots' squared error that is the same in every frame."""
        rest = self.px[:, ::2]
        enough = np.isfinite(rest[..., 0]).sum(axis=0) >= 4
        if not enough.any():
            return math.nan
        mean = np.nanmean(rest[:, enough], axis=0)
        spread = np.nanvar(rest[:, enough], axis=0, ddof=1) / len(rest)
        return float(np.maximum(mean**2 - spread, 0.0).mean() / np.nanmean(rest[:, enough] ** 2))


def ways(rng: np.random.Generator, frames: int) -> Points:
    """Places of the dots in each frame, (frames, DOTS, 2) [px]; every other dot rests."""
    cells = [(x, y) for x in range(6) for y in range(4)]
    middles = (np.array(cells) + 0.5) * [WIDTH_PX / 6, HEIGHT_PX / 4]
    middles = middles + rng.uniform(-8.0, 8.0, middles.shape)
    speed = np.where(np.arange(DOTS) % 2, rng.uniform(0.5, FASTEST_PX, DOTS), 0.0)
    turn = rng.uniform(0, 2 * np.pi, DOTS) + np.arange(frames)[:, None] * speed / REACH_PX
    return middles + REACH_PX * np.stack([np.cos(turn), np.sin(turn)], axis=-1)


def render(
    rng: np.random.Generator,
    places: Points,
    sigma_px: float,
    peak_dn: float,
    camera: SensorNoise,
) -> Picture:
    """A picture of the dots; the peak is that of a dot in the middle of a pixel."""
    edges_x, edges_y = np.arange(WIDTH_PX + 1) - 0.5, np.arange(HEIGHT_PX + 1) - 0.5
    scale = sigma_px * math.sqrt(2)
    across = 0.5 * np.diff(erf((edges_x - places[:, :1]) / scale), axis=1)
    along = 0.5 * np.diff(erf((edges_y - places[:, 1:]) / scale), axis=1)
    light = peak_dn / erf(0.5 / scale) ** 2 * (along.T @ across)
    level = light + camera.offset_dn
    variance = camera.read_noise_dn**2 + light * camera.levels_per_electron()
    level += rng.standard_normal(light.shape) * np.sqrt(variance)
    return np.clip(np.rint(level), 0, 255).astype(np.uint8)


def errors(pictures: list[Picture], truth: Points, detector: Detector, peak_dn: float) -> Errors:
    """Errors of the dots that tracking would take for lights."""
    found = np.full(truth.shape, np.nan)
    for index, picture in enumerate(pictures):
        xy = likely_lights(detector(picture), DOUBTFUL_SHARE * peak_dn).xy
        if len(xy) == 0:
            continue
        gaps = np.linalg.norm(xy[None] - truth[index][:, None], axis=2)
        nearest = gaps.argmin(axis=1)
        near = gaps.min(axis=1) < FOUND_WITHIN_PX
        found[index][near] = xy[nearest[near]] - truth[index][near]
    return Errors(found[SETTLE_FRAMES:])


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    codec: str
    quality: int
    sigma_px: float
    peak_dn: float
    raw: Errors
    after: Errors
    kilobytes: float

    @property
    def ratio(self) -> float:
        """Error over that of the raw pictures."""
        return self.after.rms_px / self.raw.rms_px

    @property
    def ratio_std(self) -> float:
        """From the spread of parts of the dots, which are independent of one another."""
        parts = [self.part(index) for index in range(BATCHES)]
        ratios = [after.rms_px / raw.rms_px for raw, after in parts]
        return float(np.std(ratios, ddof=1) / math.sqrt(BATCHES))

    @property
    def shift_dn_px(self) -> float:
        """What the stream adds to the error, times the dot's peak [DN px]."""
        return self.peak_dn * math.sqrt(max(self.after.rms_px**2 - self.raw.rms_px**2, 0.0))

    @property
    def staying(self) -> float:
        """Share of what the stream adds that stays from frame to frame at a resting dot."""
        before, after = self.raw.rms_px**2, self.after.rms_px**2
        stays = self.after.staying * after - self.raw.staying * before
        return min(max(stays / (after - before), 0.0), 1.0) if after > before else math.nan

    def part(self, index: int) -> tuple[Errors, Errors]:
        """Raw and later errors of a part of the dots, resting and moving ones alike."""
        dots = np.flatnonzero(np.arange(DOTS) // 2 % BATCHES == index)
        return Errors(self.raw.px[:, dots]), Errors(self.after.px[:, dots])


def measure(
    frames: int,
    seed: int,
    camera: SensorNoise,
    sigmas_px: tuple[float, ...] = SHIFT_SIGMAS_PX,
    peaks_dn: tuple[float, ...] = PEAKS_DN,
    qualities: dict[str, tuple[int, ...]] = QUALITIES,
) -> list[Row]:
    """Every line of the table."""
    rng = np.random.default_rng(seed)
    detector = Detector(WIDTH_PX, HEIGHT_PX, camera)
    rows = []
    for sigma_px, peak_dn in product(sigmas_px, peaks_dn):
        truth = ways(rng, frames + SETTLE_FRAMES)
        pictures = [render(rng, places, sigma_px, peak_dn, camera) for places in truth]
        raw = errors(pictures, truth, detector, peak_dn)
        for codec, quality in ((c, q) for c, some in qualities.items() for q in some):
            stream = Stream(codec=codec, quality=quality)  # type: ignore[arg-type]
            compress = Compressor(stream, (WIDTH_PX, HEIGHT_PX), RATE_HZ)
            decoded = [compress(picture) for picture in pictures]
            after = errors(decoded, truth, detector, peak_dn)
            size = compress.bytes / len(pictures) * 1e-3
            rows.append(Row(codec, quality, sigma_px, peak_dn, raw, after, size))
    order = list(qualities)
    return sorted(rows, key=lambda row: (order.index(row.codec), row.quality))


def print_table(rows: list[Row]) -> None:
    """The table for people."""
    print(
        f"{'codec':>6} {'quality':>7} {'σ px':>5} {'peak':>5} {'kB':>6} {'raw px':>8} "
        f"{'after px':>8} {'ratio':>12} {'bias px':>8} {'missed':>13} {'stays':>6} {'DN px':>6}"
    )
    for row in rows:
        print(
            f"{row.codec:>6} {row.quality:>7} {row.sigma_px:5.1f} {row.peak_dn:5.0f} "
            f"{row.kilobytes:6.1f} {row.raw.rms_px:8.4f} {row.after.rms_px:8.4f} "
            f"{row.ratio:6.2f} ±{row.ratio_std:4.2f} {row.after.bias_px:8.4f} "
            f"{row.raw.missed:6.1%}→{row.after.missed:6.1%} {row.staying:6.0%} "
            f"{row.shift_dn_px:6.2f}"
        )


def mean_and_std(values: list[float]) -> tuple[float, float]:
    """Of the values that are known: their mean, and the spread that another line would show."""
    known = np.array([value for value in values if math.isfinite(value)])
    if len(known) < 2:
        return float(known.mean()) if len(known) else math.nan, math.nan
    return float(known.mean()), float(known.std(ddof=1))


def written(rows: list[Row], frames: int) -> str:
    """The table that the plan counts by."""
    lines = [
        "# What a compressed stream adds to the error of a dot's centre. Written by",
        "# benchmarks/compression.py --write; do not edit.",
        "#",
        "# shift_dn_px: root-mean-square shift along one axis, times the dot's peak [DN px], for",
        "# dots of the widths sigma_px; std: how far dots of other peaks lie off it. stays: share",
        "# of it that stays the same from frame to frame where a dot rests.",
        f'source = "computed here, benchmarks/compression.py, {frames} frames of {DOTS} dots a '
        f'line; PyAV {av.__version__}, FFmpeg {av.ffmpeg_version_info}; simulated pictures"',
        'basis = "simulated"',
        f"sigma_px = {list(SHIFT_SIGMAS_PX)}",
    ]
    for codec, quality in ((c, q) for c, some in QUALITIES.items() for q in some):
        own = [row for row in rows if (row.codec, row.quality) == (codec, quality)]
        own = [row for row in own if row.after.missed <= MOST_MISSED]
        shifts = [
            mean_and_std([row.shift_dn_px for row in own if row.sigma_px == sigma])
            for sigma in SHIFT_SIGMAS_PX
        ]
        stays = mean_and_std([row.staying for row in own])
        lines += [
            "",
            "[[streams]]",
            f'codec = "{codec}"',
            f"quality = {quality}",
            f"shift_dn_px = [{', '.join(f'{value:.2f}' for value, _ in shifts)}]",
            f"shift_std_dn_px = [{', '.join(f'{std:.2f}' for _, std in shifts)}]",
            f"stays = {stays[0]:.2f}",
            f"stays_std = {stays[1]:.2f}",
        ]
    return "\n".join(lines) + "\n"


def worst_off(rows: list[Row], whose: str) -> float:
    """Times by which the kept table is most off, which is told; lines with missed dots aside."""
    table = built_in_compression()
    off = {}
    for row in rows:
        if row.after.missed > MOST_MISSED:
            continue
        stream = Stream(codec=row.codec, quality=row.quality)  # type: ignore[arg-type]
        shift_px = float(stream_shift_px(table.shift_dn_px(stream), row.sigma_px, row.peak_dn))
        ratio = row.after.rms_px / math.hypot(row.raw.rms_px, shift_px)
        off[f"{row.codec} {row.quality}, σ {row.sigma_px:g} px, peak {row.peak_dn:g}"] = ratio
    worst = max(off, key=lambda line: abs(math.log(off[line])))
    spread = float(np.exp(np.std(np.log(list(off.values())))))
    print(
        f"{whose}: measured over the table's error: ×/÷ {spread:.2f} (standard deviation over "
        f"{len(off)} lines), worst {off[worst]:.2f} ({worst})"
    )
    return max(off[worst], 1.0 / off[worst])


def main() -> int:
    """Print the table, and write it or hold the kept one against it."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--quick", action="store_true", help="fewer lines, rougher figures")
    how.add_argument("--write", type=Path, help="where to keep the table of all lines")
    given = parser.parse_args()
    warm()
    frames = QUICK_FRAMES if given.quick else FRAMES
    some = (QUICK_SIGMAS_PX, QUICK_PEAKS_DN, QUICK_QUALITIES)
    print("Simulated pictures; encoders: FFmpeg mjpeg and libx264, through", av.__version__)
    rows = measure(frames, SEED, CAMERA, *(some if given.quick else ()))
    print_table(rows)
    if given.write:
        given.write.write_text(written(rows, frames), "utf-8")
        print("written:", given.write)
    other = measure(frames, OTHER_SEED, OTHER_CAMERA, *some)
    off = max(worst_off(rows, "this camera"), worst_off(other, "a noisier camera"))
    if off > MOST_OFF:
        print(f"failed: the table is off {off:.2f}×, more than {MOST_OFF:g}×", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
