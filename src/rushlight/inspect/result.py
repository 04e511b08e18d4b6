"""What a step of the inspection found: a verdict in words, numbers with their intervals."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

from rushlight.errors import Finding
from rushlight.physics.intervals import Interval, coverage_factor
from rushlight.records.document import Basis
from rushlight.records.sourced import Sourced

LEVEL = 0.95
"""Level of every interval that the inspection gives."""


@dataclass(frozen=True)
class Measure:
    """One number that was measured.

    Attributes
    ----------
    name
        In the user's words.
    interval
        Value, standard uncertainty, low, high; NaN where they are unknown.
    unit
        In the unit's word, empty for a pure number.
    field
        Of the part on the shelf that it overrides, or None.
    """

    name: str
    interval: Interval
    unit: str = ""
    field: str | None = None

    @property
    def text(self) -> str:
        """The number with its interval, as it is shown."""
        unit = f" {self.unit}" if self.unit else ""
        low, high = self.interval.low, self.interval.high
        if math.isnan(low) or math.isnan(high):
            return f"{digits(self.interval.value)}{unit}"
        return (
            f"{digits(self.interval.value)}{unit} "
            f"({self.interval.level:.0%}: {digits(low)} to {digits(high)})"
        )

    def as_dict(self) -> dict[str, Any]:
        """As plain values, unknown as None."""
        known = self.interval._asdict()
        return {
            "name": self.name,
            **{key: _or_none(value) for key, value in known.items()},
            "unit": self.unit,
            "field": self.field,
        }

    def sourced(self, basis: Basis) -> Sourced:
        """As a value of the shelf."""
        what = "simulated pictures" if basis == "simulated" else "own pictures"
        std = self.interval.std
        return Sourced(
            value=self.interval.value,
            std=std if math.isfinite(std) else None,
            unit=self.unit,
            source=f"inspected, {what}: {self.interval.method}",
            basis=basis,
        )


@dataclass(frozen=True)
class Drawing:
    """Points and a line to be drawn, with the words on the axes."""

    title: str
    across: str
    up: str
    points: tuple[tuple[float, float], ...]
    spreads: tuple[float, ...] = ()
    line: tuple[tuple[float, float], ...] = ()
    line_name: str = "fitted"


@dataclass(frozen=True)
class StepResult:
    """What one step found.

    Attributes
    ----------
    step
        Its name.
    verdict
        Of one line; "cannot tell: …" where the pictures do not decide.
    reasons
        The evidence, one sentence each.
    measures
        Numbers.
    findings
        Warnings and notes.
    hints
        Lines to write into ``rig.toml``.
    part_kind
        Of the part whose values were measured.
    extra
        More numbers for the JSON output; "size_px" wherever there are `pixels`.
    drawing
        The step's picture, or None.
    pixels
        Hot and dead pixels as (x, y, what), or None where they were not looked for.
    """

    step: str
    verdict: str
    reasons: tuple[str, ...] = ()
    measures: tuple[Measure, ...] = ()
    findings: tuple[Finding, ...] = ()
    hints: tuple[str, ...] = ()
    part_kind: Literal["camera", "emitter"] = "camera"
    extra: dict[str, Any] = field(default_factory=dict)
    drawing: Drawing | None = None
    pixels: tuple[tuple[int, int, str], ...] | None = None

    @property
    def told(self) -> bool:
        """Whether the pictures decided."""
        return not self.verdict.startswith("cannot tell")

    def as_dict(self) -> dict[str, Any]:
        """As plain values, for JSON."""
        return {
            "step": self.step,
            "verdict": self.verdict,
            "decided": self.told,
            "reasons": list(self.reasons),
            "measures": [measure.as_dict() for measure in self.measures],
            "hints": list(self.hints),
            "findings": [finding.as_dict() for finding in self.findings],
            **self.extra,
        }


def interval_of(
    value: float,
    std: float,
    n: int,
    method: str,
    degrees_of_freedom: float = math.inf,
) -> Interval:
    """A value with its symmetric interval.

    Parameters
    ----------
    value, std
        Of one unit; std NaN when unknown.
    n
        Number of values it rests on.
    method
        In words.
    degrees_of_freedom
        Of the standard uncertainty, > 0.
    """
    half = coverage_factor(LEVEL, degrees_of_freedom) * std
    return Interval(value, std, value - half, value + half, LEVEL, n, method)


def warning(code: str, where: str, given: str, allowed: str, remedy: str) -> Finding:
    """A warning, in one line."""
    return Finding("warning", code, where, given, allowed, remedy)


def note(code: str, where: str, given: str, allowed: str, remedy: str) -> Finding:
    """A note, in one line."""
    return Finding("note", code, where, given, allowed, remedy)


def digits(value: float) -> str:
    """Three digits that count, or "unknown"."""
    if math.isnan(value):
        return "unknown"
    if value != 0 and abs(value) >= 1000:
        return f"{value:.0f}"
    return f"{value:.3g}"


def _or_none(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value
