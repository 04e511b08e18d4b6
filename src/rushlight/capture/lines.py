"""Sensors that find dots themselves and send their places as lines of numbers."""

from __future__ import annotations

import errno
import os
import re
import threading
import time
from collections.abc import Generator, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from rushlight.capture.clock import Stamper
from rushlight.capture.feed import Arrival, SourceBroken, note_once
from rushlight.capture.settings import CameraSettings
from rushlight.errors import Finding, RushlightError
from rushlight.records.arrays import Array
from rushlight.records.dot_noise import DotNoise
from rushlight.records.dots import Dots
from rushlight.records.rig import DotLines

WAIT_S = 0.2
"""How long one reading of the port waits [s]; no source."""

LONGEST_LINE = 4096
"""Bytes without a line's end that are rubbish; no source."""

FIRST_LINES = 20
"""If so many lines, the first, are all garbled, the declared format is wrong; no source."""

MOST_LOST = 100
"""A longer gap in a wrapped frame count means that the sensor was started anew; no source."""

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?\Z")
_CLOCK_NS = {"time-us": 1_000, "time-ms": 1_000_000}


class GarbledLine(ValueError):
    """A line that is not of the declared format; the text says why."""


@dataclass(frozen=True, eq=False, slots=True)
class SeenLine:
    """What one line said.

    Attributes
    ----------
    dots
        Its dots.
    clock
        The sensor's own time in its own unit, or None.
    count
        The sensor's number of the frame, or None.
    """

    dots: Dots
    clock: int | None
    count: int | None


class LineReader:
    """Reads lines of one declared format.

    Parameters
    ----------
    lines
        The format, from the rig.
    noise
        The sensor's noise learnt at rest, or None; then the dots' covariance is unknown.
    """

    def __init__(self, lines: DotLines, noise: DotNoise | None = None) -> None:
        self._lines = lines
        self._cov = np.full((2, 2), np.nan) if noise is None else np.array(noise.cov_px2)
        self._blank = lines.separator == " "
        self._greatest = np.array(lines.size_px) - 0.5

    def __call__(self, text: str) -> SeenLine:
        """What a line says.

        Parameters
        ----------
        text
            Without its end.

        Raises
        ------
        GarbledLine
            When it is not of the declared format.
        """
        lines = self._lines
        numbers = self._numbers(text)
        if len(numbers) < len(lines.before):
            raise GarbledLine("is too short")
        before = dict(zip(lines.before, numbers, strict=False))
        rest = numbers[len(lines.before) :]
        if len(rest) % len(lines.fields):
            raise GarbledLine("ends within a dot")
        rows = np.array(rest).reshape(-1, len(lines.fields))
        if len(rows) > lines.dots:
            raise GarbledLine(f"holds more than {lines.dots} dots")
        clock = next((before[name] for name in _CLOCK_NS if name in before), None)
        count = before.get("count")
        for value in (clock, count):
            if value is not None and (value < 0 or value != int(value)):
                raise GarbledLine("has a time or count that is no whole number")
        return SeenLine(
            self._dots(rows),
            None if clock is None else int(clock),
            None if count is None else int(count),
        )

    def _numbers(self, text: str) -> list[float]:
        if self._blank:
            words = text.split()
        else:
            words = [word.strip() for word in text.split(self._lines.separator)]
            if words[-1] == "":
                words.pop()  # an empty line, or a mark after the last number
        if not all(_NUMBER.match(word) for word in words):
            raise GarbledLine("holds what is no number")
        return [float(word) for word in words]

    def _dots(self, rows: Array) -> Dots:
        """The rows that hold a dot, as dots."""
        names = self._lines.fields
        if len(rows) and self._lines.absent is not None:
            rows = rows[rows[:, names.index("x")] != self._lines.absent]
        if not len(rows):
            return Dots.none()
        xy = rows[:, [names.index("x"), names.index("y")]]
        if not ((xy >= -0.5) & (xy <= self._greatest)).all():
            raise GarbledLine("holds a place outside the sensor")
        number = len(rows)
        peak = rows[:, names.index("peak")] if "peak" in names else np.full(number, np.nan)
        return Dots(
            xy=xy,
            cov=np.broadcast_to(self._cov, (number, 2, 2)),
            flux=np.full(number, np.nan),
            width=np.full((number, 3), np.nan),
            peak=peak,
            saturated=np.zeros(number, int),
            quality=np.ones(number),
            reason=np.zeros(number, int),
        )


@dataclass(slots=True)
class _Unwrapped:
    """A counter of limited width, continued past its end."""

    spans: Sequence[int]
    last: int | None = None
    beyond: int = 0
    restarted: bool = field(default=False)

    def __call__(self, value: int) -> int:
        """The value with all that went by before; `restarted` tells where it began anew."""
        self.restarted = False
        if self.last is not None and value < self.last:
            span = next((each for each in self.spans if self._wrapped(value, each)), 0)
            self.beyond += span
            self.restarted = span == 0
        self.last = value
        return value + self.beyond

    def _wrapped(self, value: int, span: int) -> bool:
        last = self.last or 0
        return last < span and span - last + value <= max(MOST_LOST, span // 16)


class LinesFeed:
    """A sensor on a serial port.

    Parameters
    ----------
    port
        What follows ``serial:``, as ``"/dev/ttyUSB0"`` or ``"socket://192.0.2.7:7000"``.
    settings
        With the format of its lines.
    noise
        Learnt at rest, or None.

    Attributes
    ----------
    lines, garbled
        Whole lines so far, and those among them that were not of the declared format.

    Raises
    ------
    RushlightError
        When the rig declares no format.
    """

    simulated = False
    full_scale_dn = 255
    renewable = True

    def __init__(self, port: str, settings: CameraSettings, noise: DotNoise | None = None) -> None:
        self.name, self.camera = f"serial:{port}", settings.camera
        if settings.lines is None:
            raise RushlightError.of(
                self.name,
                "",
                "sends lines whose format the rig does not tell",
                'give its camera a table "lines" with fields and size_px',
                "lines-missing",
            )
        self._format = settings.lines
        self.size_px: tuple[int, int] | None = settings.lines.size_px
        self.times = "arrival, by the host's clock"
        self.findings: list[Finding] = [] if noise else [_unlearnt(self.name)]
        self.lines = self.garbled = 0
        self._port, self._settings, self._noise = port, settings, noise

    def arrivals(self, stopping: threading.Event) -> Generator[Arrival | None, None, None]:
        """Open the port, and give the dots of each line.

        Raises
        ------
        SourceBroken
            When the port cannot be opened, or breaks.
        """
        import serial

        try:
            port = serial.serial_for_url(self._port, baudrate=self._format.baud, timeout=WAIT_S)
        except (OSError, ValueError) as error:
            raise _no_port(self.name, error) from None
        with closing(port):
            yield None
            try:
                yield from self._sightings(port, stopping)
            except OSError as error:  # the library's own error is one
                raise SourceBroken(f"broke off ({_reason(error)})") from None
            finally:
                self._tell_garbled()

    def _sightings(
        self, port: Any, stopping: threading.Event
    ) -> Generator[Arrival | None, None, None]:
        """The dots of each whole line, None while nothing comes."""
        reader = LineReader(self._format, self._noise)
        unit_ns = next((_CLOCK_NS[name] for name in _CLOCK_NS if name in self._format.before), 0)
        settings = self._settings
        stamper = Stamper(settings.exposure_s, settings.delay_s, unit_ns)
        # 32-bit counters of time wrap; frame counts are of 8, 16 or 32 bits. No source.
        clock, count = _Unwrapped((2**32,)), _Unwrapped((2**8, 2**16, 2**32))
        previous: int | None = None
        lost = 0
        for text, arrived_ns in self._whole_lines(port, stopping):
            if text is None:
                yield None
                continue
            self.lines += 1
            try:
                seen = reader(text)
            except GarbledLine as garbled:
                self.garbled += 1
                lost += 1
                self._tell_format(text, garbled)
                continue
            if seen.count is not None:
                number = count(seen.count)
                if previous is not None and not count.restarted:
                    lost = max(number - previous - 1, 0)
                previous = number
            source_ns = None if seen.clock is None else clock(seen.clock) * unit_ns
            capture_ns, std_ns = stamper(arrived_ns, source_ns)
            if source_ns is not None:
                self.times = "the sensor's clock, on the host's"
            yield Arrival(capture_ns, std_ns, dots=seen.dots, lost=lost)
            lost = 0

    def _whole_lines(
        self, port: Any, stopping: threading.Event
    ) -> Iterator[tuple[str | None, int]]:
        """Lines with their arrival; the first, which may lack its beginning, is passed over."""
        rest = b""
        joined = False
        while not stopping.is_set():
            chunk = port.read(max(1, min(port.in_waiting, LONGEST_LINE)))
            arrived_ns = time.monotonic_ns()
            if not chunk:
                yield None, arrived_ns
                continue
            *whole, rest = (rest + chunk).split(b"\n")
            for line in whole:
                if joined:
                    yield line.decode("ascii", "replace").rstrip("\r"), arrived_ns
                joined = True
            if len(rest) > LONGEST_LINE:
                rest, joined = b"", False
                self.lines += 1
                self.garbled += 1

    def _tell_format(self, text: str, garbled: GarbledLine) -> None:
        """Say that the declared format is wrong, where no line at all is of it."""
        if self.garbled == self.lines == FIRST_LINES:
            note_once(
                self.findings,
                Finding(
                    "warning",
                    "lines-format",
                    self.name,
                    repr(text[:60]),
                    f"{garbled}, as do all the first {FIRST_LINES} lines",
                    "compare the rig's table lines with what the sensor sends, and its baud",
                ),
            )

    def _tell_garbled(self) -> None:
        """Keep one finding that says how many lines were garbled."""
        self.findings[:] = [each for each in self.findings if each.code != "lines-garbled"]
        if self.garbled:
            self.findings.append(
                Finding(
                    "warning",
                    "lines-garbled",
                    self.name,
                    f"{self.garbled} of {self.lines} lines",
                    "were not of the declared format and were passed over",
                    "check the cable and the baud if they are many",
                )
            )


def _unlearnt(name: str) -> Finding:
    """Without its noise the tracker guesses, and takes a noisy light for several."""
    return Finding(
        "warning",
        "noise-unlearnt",
        name,
        "",
        "is followed without its noise, which was never learnt: a resting light may break into "
        "several trails, and no place tells its doubt",
        'lay the lights down in view, and run "rushlight inspect at-rest" once',
    )


def _reason(error: Exception) -> str:
    """Why the port failed, in the system's words."""
    number = getattr(error, "errno", None)
    return os.strerror(number) if isinstance(number, int) else str(error)


def _no_port(name: str, error: Exception) -> Exception:
    """Why a port could not be opened, and what to do."""
    number = getattr(error, "errno", None)
    if number == errno.EACCES:
        return RushlightError.of(
            name,
            "",
            "may not be opened by this user",
            'add the user to the group that owns it, mostly "dialout", and log in again',
            "port-not-allowed",
        )
    if number != errno.ENOENT:
        return SourceBroken(f"cannot be opened ({_reason(error)})")
    from serial.tools import list_ports

    others = [f"serial:{each.device}" for each in list_ports.comports()]
    remedy = f"use one of {', '.join(others)}" if others else "plug the sensor in; there is none"
    return RushlightError.of(name, "", "is not there", remedy, "port-missing")
