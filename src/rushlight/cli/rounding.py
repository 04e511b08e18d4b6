"""How tables round: three digits, and nothing where a number is not known."""

from __future__ import annotations


def number(value: float | None) -> str | None:
    """A number to three digits, None where it is not known."""
    if value is None:
        return None
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"


def digits(value: float | None) -> str | None:
    """The same with zeros at the end, for columns of like numbers: 2.50 beside 2.49."""
    if value is None:
        return None
    return f"{value:.0f}" if abs(value) >= 99.95 else f"{value:#.3g}"


def quantity(value: float | None, unit: str) -> str | None:
    """A number with its unit, None where it is not known."""
    return None if value is None else f"{number(value)} {unit}"
