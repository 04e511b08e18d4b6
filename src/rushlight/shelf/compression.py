"""What compressed streams cost a dot's centre: the kept table, and where it ends."""

from __future__ import annotations

import functools
import importlib.resources
import tomllib
from collections.abc import Callable
from typing import Annotated, Literal

import numpy as np
from pydantic import Field, model_validator

from rushlight.physics.stream import SHIFT_SIGMAS_PX
from rushlight.records.arrays import Array
from rushlight.records.document import Basis, Record
from rushlight.records.rig import Rig, Stream
from rushlight.shelf.report import Report

TABLE = "compression.toml"

Shift = Annotated[float, Field(ge=0)]
GREATEST_QUANTISER = 31
"""Of FFmpeg's MJPEG encoder (libavcodec, from memory)."""
CODEC_WORDS = {"raw": "raw", "mjpeg": "MJPEG quantiser", "h264": "H.264 rate factor"}


class MeasuredStream(Record):
    """One codec at one quality.

    Attributes
    ----------
    shift_dn_px, shift_std_dn_px
        Shift of a centre along one axis times the dot's peak, at `SHIFT_SIGMAS_PX` [DN px]; the
        deviation is that of dots of other brightness.
    stays, stays_std
        Share of the shift's square that is the same in every frame where a dot rests.
    """

    codec: Literal["mjpeg", "h264"]
    quality: int
    shift_dn_px: list[Shift]
    shift_std_dn_px: list[Shift]
    stays: Annotated[float, Field(ge=0, le=1)]
    stays_std: Annotated[float, Field(ge=0)]


class CompressionTable(Record):
    """All codecs and qualities that were tried.

    Attributes
    ----------
    source, basis
        Of every number in it.
    sigma_px
        Widths of the dots [px].
    """

    source: str
    basis: Basis
    sigma_px: list[float]
    streams: Annotated[list[MeasuredStream], Field(min_length=1)]

    @model_validator(mode="after")
    def _has_the_widths(self) -> CompressionTable:
        lengths = {
            len(row) for one in self.streams for row in (one.shift_dn_px, one.shift_std_dn_px)
        }
        if tuple(self.sigma_px) != SHIFT_SIGMAS_PX or lengths != {len(SHIFT_SIGMAS_PX)}:
            raise ValueError(f"needs the widths {SHIFT_SIGMAS_PX}; write the table anew")
        return self

    def of(self, codec: str) -> list[MeasuredStream]:
        """The qualities of a codec, from the best to the worst."""
        return sorted((one for one in self.streams if one.codec == codec), key=lambda s: s.quality)

    def shift_dn_px(self, stream: Stream | None) -> Array:
        """Shift times peak at the tabulated widths (5,) [DN px]; 0 for raw pictures.

        Parameters
        ----------
        stream
            Qualities between those tried are found over the logarithm of the shift; beyond them
            the nearest counts, see `beyond`.
        """
        if stream is None or stream.codec == "raw":
            return np.zeros(len(SHIFT_SIGMAS_PX))
        return np.exp(self._between(stream, lambda one: np.log(one.shift_dn_px)))

    def stays(self, stream: Stream | None) -> float:
        """Share of the shift's square that no averaging over frames takes away."""
        if stream is None or stream.codec == "raw":
            return 0.0
        return float(self._between(stream, lambda one: np.array(one.stays)))

    def beyond(self, stream: Stream | None) -> tuple[int, int] | None:
        """The best and worst quality tried, when the stream's own lies outside; else None."""
        if stream is None or stream.quality is None:
            return None
        tried = [one.quality for one in self.of(stream.codec)]
        inside = tried[0] <= stream.quality <= tried[-1]
        return None if inside else (tried[0], tried[-1])

    def _between(self, stream: Stream, value: Callable[[MeasuredStream], Array]) -> Array:
        rows = self.of(stream.codec)
        tried = [one.quality for one in rows]
        place = float(np.interp(stream.quality or 0, tried, np.arange(len(tried))))
        low = min(int(place), len(rows) - 2)
        share = place - low
        return np.asarray((1.0 - share) * value(rows[low]) + share * value(rows[low + 1]))


def check_streams(rig: Rig, report: Report) -> None:
    """Add what is wrong with how each camera's pictures are compressed."""
    for index, camera in enumerate(rig.cameras):
        stream = camera.stream
        path = f"cameras[{index}].stream.quality"
        if stream is None or stream.quality is None:
            continue
        if stream.codec == "mjpeg" and not 1 <= stream.quality <= GREATEST_QUANTISER:
            report.error(
                "stream-quality",
                path,
                stream.quality,
                "is no quantiser of MJPEG",
                f"use 1 to {GREATEST_QUANTISER}, where 1 is best",
            )
            continue
        tried = built_in_compression().beyond(stream)
        if tried is not None:
            near = tried[0] if stream.quality < tried[0] else tried[1]
            hopeful = "hopeful" if stream.quality > tried[1] else "cautious"
            report.warning(
                "stream-quality-untried",
                path,
                stream.quality,
                f"lies beyond the {tried[0]} to {tried[1]} whose cost is known; it is counted as "
                f"{near}, which is too {hopeful}",
                "measure your own dots at rest before relying on the plan",
            )


def stream_words(stream: Stream | None) -> str:
    """A stream in words, as "MJPEG quantiser 3"."""
    if stream is None or stream.codec == "raw":
        return "raw"
    return f"{CODEC_WORDS[stream.codec]} {stream.quality}"


@functools.cache
def built_in_compression() -> CompressionTable:
    """The table that comes with the program."""
    text = importlib.resources.files("rushlight.shelf").joinpath(TABLE).read_text("utf-8")
    return CompressionTable.model_validate(tomllib.loads(text))
