"""How tables round: three digits, and nothing where a number is not known."""

from __future__ import annotations


def number(value: float | None) -> str | None:
    """A number to three digits, None where it is not known."""
    if value is None:
        return None
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"


def quantity(value: float | None, unit: str) -> str | None:
    """A number with its unit, None where it is not known."""
    return None if value is None else f"{number(value)} {unit}"
