"""Numbers that carry their doubt and their source, and prices that carry their date."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import (
    Field,
    SerializerFunctionWrapHandler,
    StringConstraints,
    model_serializer,
    model_validator,
)

from rushlight.records.document import Basis, Record
from rushlight.records.quantity import (
    SI_WORD,
    UNITS,
    ZERO_CELSIUS_K,
    Dimension,
    parse_quantity,
)

FROM_MEMORY = "typical, from memory"
"""The source of a typical value that was recalled and not checked."""


class Sourced(Record):
    """A number with its unit, standard deviation, source and basis.

    Attributes
    ----------
    value, std
        In `unit`; `std` is None when unknown.
    unit
        A unit word of the grammar, or ``""`` for a pure number.
    source
        Where the number comes from: standard and clause, paper and table, data sheet, or
        "typical, from memory".
    basis
        What kind of statement it is.
    """

    value: float
    std: float | None = Field(default=None, ge=0)
    unit: str = ""
    source: Annotated[str, StringConstraints(min_length=3)]
    basis: Basis = "typical"

    @model_validator(mode="after")
    def _unit_is_known(self) -> Sourced:
        if self.unit and not any(self.unit in words for words in UNITS.values()):
            raise ValueError(f'has the unknown unit "{self.unit}"; use a listed unit word')
        return self

    @property
    def dimension(self) -> Dimension | None:
        """The dimension of the unit, None for a pure number."""
        return next((d for d, words in UNITS.items() if self.unit in words), None)

    @property
    def si(self) -> float:
        """The value in SI."""
        zero = ZERO_CELSIUS_K if self.dimension == "temperature" else 0.0
        return zero + self.value * self._factor()

    @property
    def si_std(self) -> float:
        """The standard deviation in SI, NaN when unknown."""
        return float("nan") if self.std is None else self.std * self._factor()

    @property
    def si_word(self) -> str:
        """The SI unit's word."""
        return SI_WORD[self.dimension] if self.dimension else ""

    def _factor(self) -> float:
        if self.dimension is None:
            return 1.0
        one = parse_quantity(f"1 {self.unit}", self.dimension).value
        return one - ZERO_CELSIUS_K if self.dimension == "temperature" else one


class Price(Record):
    """What something costs, where and when; absent rather than guessed.

    Attributes
    ----------
    amount, std
        In `currency`; the standard deviation of what it is sold for is None when unknown.
    currency
        ISO 4217.
    date
        Year and month, or day.
    basis, source
        What kind of statement it is, and whose.
    """

    amount: float = Field(ge=0)
    std: float | None = Field(default=None, ge=0)
    currency: Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]
    date: Annotated[str, StringConstraints(pattern=r"^\d{4}-\d{2}(-\d{2})?$")]
    basis: Basis
    source: str = ""

    @model_serializer(mode="wrap")
    def _without_unknown_spread(self, write: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """A rig that tells no spread keeps the content hash that it had before there was one."""
        told: dict[str, Any] = write(self)
        if self.std is None:
            told.pop("std", None)
        return told
