"""Figures in one another's units."""

from __future__ import annotations

from rushlight.errors import RushlightError
from rushlight.records.sourced import Sourced

_PURE = ("", "1")


def in_unit(value: float, given: str, wanted: str) -> float:
    """A value in another unit of its dimension.

    Parameters
    ----------
    value
        In `given`.
    given, wanted
        Unit words of the grammar; "1" and "" are pure numbers, of which "%" is a hundredth.

    Raises
    ------
    RushlightError
        When the two do not measure the same.
    """
    if given == wanted:
        return value
    one, other = _unit(given), _unit(wanted)
    if one.dimension != other.dimension:
        raise RushlightError.of(
            "figure",
            f'"{given}"',
            f'does not measure the same as "{wanted}"',
            "give both in units of one dimension",
            "figure-units",
        )
    return value * one.si / other.si


def _unit(word: str) -> Sourced:
    # A pure number counts as a hundred per cent.
    value, unit = (100.0, "%") if word in _PURE else (1.0, word)
    return Sourced(value=value, unit=unit, source="the unit itself")
